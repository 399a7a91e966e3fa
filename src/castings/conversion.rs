//! All remedies from a donor variant to a wanted one.

use super::{
    Action, Difference, Pattern, Remedy, RemedyRule, Variant, When, differences, pattern::NoMetal,
};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// All remedies from a donor variant to a wanted variant.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Conversion {
    /// The donor variant.
    pub donor: Uuid,
    /// The wanted variant.
    pub wanted: Uuid,
    /// One remedy per difference, by face then place.
    pub remedies: Vec<Remedy>,
}

/// Why two variants cannot be compared at all.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ConversionError {
    /// They were cast from different patterns, so metal is in different places.
    #[error(
        "“{donor}” and “{wanted}” are not castings of the pattern “{pattern}”; only castings of one pattern can be converted"
    )]
    OtherPattern {
        /// The donor's name.
        donor: String,
        /// The wanted variant's name.
        wanted: String,
        /// The pattern's name.
        pattern: String,
    },
}

impl Conversion {
    /// Finds the remedy of every difference: the first rule that fits, by priority (then by its order in `rules`).
    ///
    /// Where no rule fits, the difference cannot be dealt with and the remedy says why: the boss's limit where metal
    /// is wanting, else that the shop's table does not cover the case.
    ///
    /// # Errors
    /// [`ConversionError::OtherPattern`] when donor or wanted is not a casting of `pattern`.
    pub fn plan(
        pattern: &Pattern,
        donor: &Variant,
        wanted: &Variant,
        rules: &[RemedyRule],
    ) -> Result<Self, ConversionError> {
        if donor.pattern_id != pattern.id || wanted.pattern_id != pattern.id {
            return Err(ConversionError::OtherPattern {
                donor: donor.name.clone(),
                wanted: wanted.name.clone(),
                pattern: pattern.name.clone(),
            });
        }
        let mut in_order: Vec<&RemedyRule> = rules.iter().collect();
        in_order.sort_by_key(|rule| rule.priority);
        let remedies = differences(donor, wanted)
            .into_iter()
            .map(|difference| remedy(pattern, wanted.gearbox_under, difference, &in_order))
            .collect();
        Ok(Self {
            donor: donor.id,
            wanted: wanted.id,
            remedies,
        })
    }

    /// Remedies that cannot be done.
    pub fn impossible(&self) -> impl Iterator<Item = &Remedy> {
        self.with(|action| action == Action::Impossible)
    }

    /// Remedies the customer must hear of.
    pub fn cautions(&self) -> impl Iterator<Item = &Remedy> {
        self.with(|action| action == Action::Caution)
    }

    /// Remedies that are work on the block.
    pub fn to_machine(&self) -> impl Iterator<Item = &Remedy> {
        self.with(Action::is_work)
    }

    /// Whether every difference can be dealt with.
    #[must_use]
    pub fn is_possible(&self) -> bool {
        self.impossible().next().is_none()
    }

    fn with(&self, is: impl Fn(Action) -> bool) -> impl Iterator<Item = &Remedy> {
        self.remedies.iter().filter(move |remedy| is(remedy.action))
    }
}

fn remedy(
    pattern: &Pattern,
    gearbox_under: bool,
    difference: Difference,
    rules: &[&RemedyRule],
) -> Remedy {
    let (when, no_metal) = case(pattern, &difference);
    let subject = difference.subject();
    let fitting = rules
        .iter()
        .find(|rule| rule.fits(when, subject, gearbox_under));
    let (action, rule, elements, say) = match fitting {
        Some(rule) => (
            rule.action,
            rule.name.clone(),
            rule.elements.clone(),
            rule.say.clone(),
        ),
        None => (
            Action::Impossible,
            String::new(),
            Vec::new(),
            why_not(when, &difference, no_metal),
        ),
    };
    Remedy {
        difference,
        action,
        rule,
        elements,
        say,
    }
}

/// Which kind of case a difference is, and what metal is wanting if any.
fn case(pattern: &Pattern, difference: &Difference) -> (When, Option<NoMetal>) {
    match difference {
        Difference::Missing { wanted } => match pattern.metal_for(wanted) {
            Ok(()) => (When::MissingWithMetal, None),
            Err(no_metal) => (When::MissingNoMetal, Some(no_metal)),
        },
        Difference::Changed { donor, wanted } => {
            // Where no boss is recorded the donor's own feature shows that there is metal; only a recorded limit stands in the way.
            let no_metal = pattern
                .boss(&wanted.place)
                .and_then(|boss| boss.takes(wanted).err());
            match no_metal {
                Some(no_metal) => (When::ChangedNoMetal, Some(no_metal)),
                None if wanted.clears(donor) => (When::ChangedClears, None),
                None => (When::ChangedDoesNotClear, None),
            }
        }
        Difference::Extra { .. } => (When::Extra, None),
    }
}

fn why_not(when: When, difference: &Difference, no_metal: Option<NoMetal>) -> String {
    if let Some(no_metal) = no_metal {
        return format!("There is not metal enough: {no_metal}.");
    }
    let subject = difference.subject();
    let trace = match difference {
        Difference::Changed { donor, wanted } => wanted
            .trace_of(donor)
            .map(|trace| format!(" ({trace})"))
            .unwrap_or_default(),
        _ => String::new(),
    };
    format!(
        "No rule in the shop's table covers a {} on the {} that is {when}{trace}.",
        subject.kind, subject.place.face
    )
}
