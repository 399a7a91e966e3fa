//! All remedies from a donor variant to a wanted one.

use super::{
    Action, Difference, Feature, Pattern, Remedy, RemedyRule, Variant, When, differences,
    pattern::NoMetal,
};
use crate::units::Thread;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// The element that measures how thick the metal is, by ultrasound, before it is cut.
pub const WALL_MEASURE: &str = "WALL-MEASURE";

/// The element that winds a wire insert into a hole tapped for one.
pub const INSERT_FIT: &str = "INSERT-FIT";

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
        "“{donor}” and “{wanted}” are not castings of the pattern “{pattern}”, nor is one of a pattern related to it; only those can be converted"
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
    let unknown = matches!(no_metal, Some(NoMetal::Unknown(_)));
    let (action, rule, mut elements, mut say) = match fitting {
        Some(rule) => (
            rule.action,
            rule.name.clone(),
            rule.elements.clone(),
            match no_metal {
                // The shop's own words, with the limit that stands in the way.
                Some(ref no_metal) if rule.action == Action::Impossible => {
                    format!("{} ({no_metal}).", rule.say.trim_end_matches('.'))
                }
                _ => rule.say.clone(),
            },
        ),
        None => (
            Action::Impossible,
            String::new(),
            Vec::new(),
            why_not(when, &difference, no_metal.filter(|_| !unknown)),
        ),
    };
    let measure_first = unknown && action.is_work();
    if measure_first {
        elements.insert(0, WALL_MEASURE.to_owned());
        let question = "Nobody has said how thick the metal is here: it is measured first, and the work depends on it.";
        say = format!("{say} {question}").trim().to_owned();
    }
    let wanted = difference.wanted().and_then(|f| f.thread.as_ref());
    if action.is_work() && wanted.is_some_and(Thread::takes_insert) {
        elements.push(INSERT_FIT.to_owned());
    }
    Remedy {
        difference,
        action,
        rule,
        elements,
        say,
        measure_first,
    }
}

/// Which kind of case a difference is, and what metal is wanting if any.
fn case(pattern: &Pattern, difference: &Difference) -> (When, Option<NoMetal>) {
    match difference {
        Difference::Missing { wanted } => match pattern.metal_for(wanted) {
            Ok(()) => (When::MissingWithMetal, None),
            Err(unknown @ NoMetal::Unknown(_)) => (When::MissingWithMetal, Some(unknown)),
            Err(no_metal) => (When::MissingNoMetal, Some(no_metal)),
        },
        Difference::Changed { donor, wanted } => {
            // The donor's own feature shows that there was metal; only taking more is in question, and where the pattern
            // says nothing of the place nobody knows.
            let no_metal = match pattern.boss(&wanted.place) {
                _ if !takes_more(wanted, donor) => None,
                Some(boss) => boss.takes(wanted).err(),
                None => Some(NoMetal::Unknown(wanted.place.clone())),
            };
            let clears = match wanted.clears(donor) {
                true => When::ChangedClears,
                false => When::ChangedDoesNotClear,
            };
            match no_metal {
                Some(unknown @ NoMetal::Unknown(_)) => (clears, Some(unknown)),
                Some(no_metal) => (When::ChangedNoMetal, Some(no_metal)),
                None => (clears, None),
            }
        }
        Difference::Extra { .. } => (When::Extra, None),
    }
}

/// Whether a feature is wider than the one that is there, or its tools go deeper.
fn takes_more(wanted: &Feature, donor: &Feature) -> bool {
    let deeper = match (wanted.depths(None), donor.depths(None)) {
        (_, None) => false,
        (None, Some(_)) => true,
        (Some(wanted), Some(donor)) => wanted.bottom() > donor.bottom(),
    };
    deeper || wanted.size > donor.size
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
        "No rule in the shop's table covers a {} of this size on the {} that is {when}{trace}.",
        subject.kind, subject.place.face
    )
}

#[cfg(test)]
mod tests;
