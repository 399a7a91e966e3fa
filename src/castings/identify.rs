//! Which variant is this casting? Its marks and what is found at its places, against every variant of the register.
//!
//! Each thing found speaks for a variant, against it, or not at all. How much one finding weighs is a plain reading-error
//! model of our own (no source): a true variant agrees with what is found at a place 19 times in 20, the rest being holes that
//! somebody made or plugged later. A mark cast with the block comes first: it agrees 9999 times in 10000, because
//! nobody changes the mould afterwards and only a misreading is left: three places that say otherwise do not outweigh it. Findings are taken as independent and all variants as equally likely
//! before, so the share of a variant is Bayes' rule over its agreements and disagreements; a finding that says nothing of
//! any variant changes nothing.

use super::{Feature, Pattern, Place, Variant};
use crate::units::Length;
use rust_decimal::Decimal;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// The share of findings at places that speak against the true variant.
const READING_ERROR: f64 = 0.05;

/// The share of cast marks that do.
const MISREAD_MARK: f64 = 0.0001;

/// How far a hole may be from its nominal size and still be that hole, in mm: wear, paint and a calliper read in passing.
/// Common practice, no source.
const SAME_SIZE_MM: Decimal = Decimal::from_parts(3, 0, 0, false, 1);

/// How a mark was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum MarkKind {
    /// Cast with the block: it tells the pattern.
    Cast,
    /// Stamped afterwards: it tells this one block.
    Stamped,
}

/// A mark as it was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    /// How it was made.
    pub kind: MarkKind,
    /// Where, in words.
    pub place: String,
    /// What it says.
    pub text: String,
}

/// What was found at a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Found {
    /// Nothing is machined there.
    Absent,
    /// Something is, not measured.
    There,
    /// Something of this diameter is.
    Measured(Length),
}

/// Something found on the casting.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Finding {
    /// A mark.
    Mark(Mark),
    /// What is at a place.
    At(Place, Found),
}

/// What a finding says of a variant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Says {
    /// It speaks for it.
    Agrees,
    /// It speaks against it, and why.
    Disagrees(String),
    /// It says nothing, and why.
    Unknown(&'static str),
}

/// One variant, with what each finding says of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// The variant.
    pub variant_id: Uuid,
    /// Its name.
    pub name: String,
    /// What each finding says of it, in the order of the findings.
    pub says: Vec<Says>,
    /// Its share among all variants, from 0 to 1.
    pub share: f64,
}

impl Candidate {
    /// How many findings speak for it.
    #[must_use]
    pub fn agreeing(&self) -> usize {
        self.says.iter().filter(|s| **s == Says::Agrees).count()
    }

    /// How many speak against it.
    #[must_use]
    pub fn disagreeing(&self) -> usize {
        let against = |s: &&Says| matches!(s, Says::Disagrees(_));
        self.says.iter().filter(against).count()
    }
}

/// Every variant with what the findings say of it, the likeliest first; equal ones by name.
#[must_use]
pub fn identify(findings: &[Finding], register: &[(Pattern, Vec<Variant>)]) -> Vec<Candidate> {
    let mut candidates: Vec<Candidate> = register
        .iter()
        .flat_map(|(pattern, variants)| variants.iter().map(move |variant| (pattern, variant)))
        .map(|(pattern, variant)| Candidate {
            variant_id: variant.id,
            name: variant.name.clone(),
            says: findings
                .iter()
                .map(|finding| says(finding, pattern, variant))
                .collect(),
            share: 0.0,
        })
        .collect();
    let odds: Vec<f64> = findings.iter().map(odds).collect();
    // Log of each variant's weight; the greatest is taken off first, so that long lists of findings do not underflow.
    let logs: Vec<f64> = candidates
        .iter()
        .map(|c| {
            let weighed = c.says.iter().zip(&odds);
            let said = weighed.map(|(says, odds)| match says {
                Says::Agrees => odds / 2.0,
                Says::Disagrees(_) => -odds / 2.0,
                Says::Unknown(_) => 0.0,
            });
            said.sum()
        })
        .collect();
    let greatest = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = logs.iter().map(|log| (log - greatest).exp()).collect();
    let sum: f64 = weights.iter().sum();
    for (candidate, weight) in candidates.iter_mut().zip(weights) {
        candidate.share = weight / sum;
    }
    candidates.sort_by(|a, b| {
        b.share
            .total_cmp(&a.share)
            .then_with(|| a.name.cmp(&b.name))
    });
    candidates
}

/// The logarithm of how much more likely a finding is to agree with the true variant than to speak against it.
fn odds(finding: &Finding) -> f64 {
    let error = match finding {
        Finding::Mark(_) => MISREAD_MARK,
        Finding::At(..) => READING_ERROR,
    };
    ((1.0 - error) / error).ln()
}

fn says(finding: &Finding, pattern: &Pattern, variant: &Variant) -> Says {
    match finding {
        Finding::Mark(mark) => mark_says(mark, pattern),
        Finding::At(place, found) => place_says(place, *found, pattern, variant),
    }
}

/// Letters and digits only, in one case: `Tarn  k` and `TARN-K` are one mark.
fn plain(text: &str) -> String {
    text.chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_uppercase)
        .collect()
}

/// A cast mark speaks for the pattern whose marks hold its first word or all of it, and against others that have marks.
/// The first word is enough, because a pattern's marks say "and a letter for the year" where the block has the letter.
fn mark_says(mark: &Mark, pattern: &Pattern) -> Says {
    if mark.kind == MarkKind::Stamped {
        return Says::Unknown("stamped marks tell one block, not its kind");
    }
    if pattern.marks.trim().is_empty() {
        return Says::Unknown("the register knows no marks of its pattern");
    }
    let words: Vec<String> = pattern
        .marks
        .split(|c: char| !c.is_alphanumeric())
        .map(plain)
        .collect();
    let first = mark.text.split_whitespace().next().map(plain);
    let known = first.is_some_and(|first| !first.is_empty() && words.contains(&first))
        || plain(&pattern.marks).contains(&plain(&mark.text));
    if known && !plain(&mark.text).is_empty() {
        Says::Agrees
    } else {
        Says::Disagrees(format!("its pattern is marked: {}", pattern.marks))
    }
}

fn place_says(place: &Place, found: Found, pattern: &Pattern, variant: &Variant) -> Says {
    let feature = variant.feature(place);
    match (found, feature) {
        (Found::Absent, None) => Says::Agrees,
        (Found::Absent, Some(feature)) => {
            Says::Disagrees(format!("it has {} there", described(feature)))
        }
        (_, None) if pattern.boss(place).is_none() => {
            Says::Disagrees("its pattern has nothing at that place".to_owned())
        }
        (_, None) => Says::Disagrees("it has nothing machined there".to_owned()),
        (Found::There, Some(_)) => Says::Agrees,
        (Found::Measured(size), Some(feature)) => {
            let apart = (size.mm() - feature.size.mm()).abs();
            // A tapped hole is measured over its crests or in its core, so anything from the core up is that thread.
            let core = feature.thread.as_ref().map(|t| t.minor_diameter().mm());
            let fits = apart <= SAME_SIZE_MM
                || core.is_some_and(|core| {
                    size.mm() >= core - SAME_SIZE_MM && size.mm() <= feature.size.mm()
                });
            if fits {
                Says::Agrees
            } else {
                Says::Disagrees(format!("it has {} there", described(feature)))
            }
        }
    }
}

fn described(feature: &Feature) -> String {
    match &feature.thread {
        Some(thread) => format!("a {} {thread}", feature.kind),
        None => format!("a {} of {}", feature.kind, feature.size),
    }
}

#[cfg(test)]
mod tests;
