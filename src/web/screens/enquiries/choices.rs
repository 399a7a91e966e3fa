//! What a customer may say, to choose from.

use crate::enquiry::{Condition, Purpose};
use crate::units::Code;
use crate::web::ui::forms::Choice;

/// What the engine may be for, to choose from.
pub(super) fn purposes() -> Vec<Choice> {
    Purpose::ALL
        .iter()
        .map(|purpose| {
            let words = match purpose {
                Purpose::NotSaid => "not said",
                Purpose::Original => "restored to original",
                Purpose::Working => "a working boat or machine",
                Purpose::Competition => "competition",
            };
            Choice::new(purpose.code(), words)
        })
        .collect()
}

/// How the customer's own block may be, to choose from.
pub(super) fn conditions() -> Vec<Choice> {
    Condition::ALL
        .iter()
        .map(|condition| {
            let words = match condition {
                Condition::NotSaid => "not known",
                Condition::Sound => "sound, as far as known",
                Condition::Worn => "worn",
                Condition::Welded => "welded or stitched before",
                Condition::CrackedJacket => "cracked: water jacket",
                Condition::CrackedDeck => "cracked: deck",
                Condition::CrackedCylinder => "cracked: cylinder",
                Condition::CrackedMainWeb => "cracked: through a main web",
                Condition::CrackedElsewhere => "cracked: elsewhere",
            };
            Choice::new(condition.code(), words)
        })
        .collect()
}

/// The words of a choice, by its code.
pub(super) fn word_of(choices: Vec<Choice>, code: &str) -> String {
    choices
        .into_iter()
        .find(|choice| choice.value == code)
        .map_or_else(|| code.to_owned(), |choice| choice.label)
}
