//! The customer's own block: how it is said to be decides what is offered for it. What is not known to be sound is
//! inspected first, at a fixed price; a crack is repaired where the shop has said how, and nowhere else.

use super::customer::{Condition, CrackPlace, Purpose};
use super::procurement::Procurement;
use super::ways::{NoWay, Way};
use super::wish::{Knowledge, OwnBlock, Supply, Wish, Work};
use crate::estimating::Route;

/// The work that its condition takes before anything else is done to it.
///
/// # Errors
/// Why nothing can be done with it.
pub(super) fn work(own: &OwnBlock, wish: &Wish, knowledge: &Knowledge) -> Result<Work, NoWay> {
    let Some(place) = own.condition.crack() else {
        return Ok(Vec::new());
    };
    if wish.purpose == Purpose::Competition {
        return Err(NoWay::because("A repaired crack is not for competition."));
    }
    let rule = knowledge
        .crack_repairs
        .iter()
        .find(|rule| rule.place == place);
    match rule {
        Some(rule) if rule.repaired => {
            Ok(rule.elements.iter().map(|code| (code.clone(), 1)).collect())
        }
        Some(rule) if !rule.say.is_empty() => Err(NoWay::because(&rule.say)),
        Some(_) => Err(NoWay::because(format!(
            "A crack {} is not repaired here.",
            place.words()
        ))),
        None => Err(NoWay::because(format!(
            "It is cracked {}, and nobody has said yet what the shop does about that. Set it under Castings, Crack repairs.",
            place.words()
        ))),
    }
}

/// Whether it is of the wanted kind and nothing is known yet that is to be done with it: then there is no work to name a price
/// for, and it is inspected.
pub(super) fn needs_unknown(own: &OwnBlock, wish: &Wish) -> bool {
    own.variant.id == wish.wanted.id
        && own.repairs.is_empty()
        && wish.also.is_empty()
        && own.condition.crack().is_none()
}

/// What must be said of a block in this condition.
pub(super) fn caution(condition: Condition) -> Option<String> {
    let said = match condition {
        Condition::Sound => return None,
        Condition::NotSaid => "Its condition is not known: the price holds if it proves sound. Inspect it first.".to_owned(),
        Condition::Worn => {
            "It is worn: bores and mains are measured first, and what they need beyond the listed work is quoted then."
                .to_owned()
        }
        Condition::Welded => {
            "It was welded or stitched before: the old repair is crack-tested, and may not pass.".to_owned()
        }
        cracked => format!(
            "It is cracked{}: the price holds if the crack is no longer or deeper than it looks. Inspect it first.",
            cracked.crack().map(|place| format!(" {}", place.words())).unwrap_or_default()
        ),
    };
    Some(said)
}

/// The inspection of it alone, and what happens next by what is found.
pub(super) fn inspected(supply: &Supply, route: Route, knowledge: &Knowledge) -> Way {
    let mut next = vec!["Found sound: the options here hold at their prices.".to_owned()];
    for place in [
        CrackPlace::Jacket,
        CrackPlace::Deck,
        CrackPlace::Cylinder,
        CrackPlace::MainWeb,
        CrackPlace::Elsewhere,
    ] {
        let rule = knowledge
            .crack_repairs
            .iter()
            .find(|rule| rule.place == place);
        let then = match rule {
            Some(rule) if rule.repaired && rule.say.is_empty() => "a repair is quoted.".to_owned(),
            Some(rule) if !rule.say.is_empty() => rule.say.clone(),
            Some(_) => "not repaired here.".to_owned(),
            None => continue,
        };
        next.push(format!("Found cracked {}: {then}", place.words()));
    }
    next.push("Found worn or otherwise bad: what it needs is quoted then.".to_owned());
    Way {
        casting: None,
        risks: next,
        route: route.inspection(),
        conversion: None,
        related: None,
        donor: None,
        procurement: Procurement::Brought,
        casting_of: supply.variant.id,
        good: None,
        offer: None,
    }
}
