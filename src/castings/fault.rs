//! What can be wrong with a feature, a pattern, a variant or a rule as entered, each fault with its field.

use super::{Boss, Face, Feature, FeatureKind, Outline, Pattern, Place, RemedyRule, Variant};
use crate::units::{Fit, FitError, Length};
use rust_decimal::Decimal;
use std::collections::BTreeSet;

/// Longest name, in characters.
pub const LONGEST_NAME: usize = 80;
/// Longest label of a place, in characters: it must fit beside its hole on the drawing.
pub const LONGEST_LABEL: usize = 12;
/// Longest note, in characters.
pub const LONGEST_NOTE: usize = 2000;
/// Most features alike at one place.
pub const MOST_ALIKE: u32 = 200;
/// Most cylinders or main bearings of a pattern.
pub const MOST_CYLINDERS: u32 = 24;
/// Longest dimension of a casting: ten metres is beyond any block that goes on a machine.
pub const LONGEST_MM: u32 = 10_000;

/// One thing wrong with what was entered.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Fault {
    /// A name is missing.
    #[error("give it a name")]
    NoName,
    /// A text is too long for its field.
    #[error("at most {most} characters, please")]
    TooLong {
        /// The field.
        field: &'static str,
        /// Its limit.
        most: usize,
    },
    /// A place without a label.
    #[error("give the spot a label, e.g. R7")]
    NoLabel,
    /// Two things at one place.
    #[error("there is something at {0} already; give each spot its own label")]
    LabelTaken(Place),
    /// A length that must be more than nothing.
    #[error("must be more than nothing")]
    NotPositive {
        /// The field.
        field: &'static str,
    },
    /// A length no casting has.
    #[error("more than {LONGEST_MM} mm: check the unit")]
    TooLarge {
        /// The field.
        field: &'static str,
    },
    /// A position off the face.
    #[error("off the {face}, which is {extent} {way}", way = if *.field == "across" { "across" } else { "up" })]
    OffTheFace {
        /// The field: `across` or `up`.
        field: &'static str,
        /// The face.
        face: Face,
        /// How far the face goes that way.
        extent: Length,
    },
    /// A feature on a face the pattern has no outline of.
    #[error("the pattern has no outline of the {0} yet; add it there first")]
    NoOutline(Face),
    /// A tapped hole without a thread.
    #[error("a tapped hole needs its thread, e.g. M10x1.5")]
    ThreadWanting,
    /// A thread on something else.
    #[error("only a tapped hole has a thread; a {0} has none")]
    ThreadUnwanted(FeatureKind),
    /// A size that is not the thread's.
    #[error("{thread} has a major diameter of {major}")]
    SizeNotThreads {
        /// The thread, as written.
        thread: String,
        /// Its major diameter.
        major: Length,
    },
    /// A tolerance class on a thread.
    #[error("a tapped hole takes its limits from its thread; leave the fit empty")]
    FitOnThread,
    /// A shaft's tolerance class on a hole.
    #[error("{0} is for a shaft; a hole takes a capital letter, e.g. H7")]
    FitOfAShaft(Fit),
    /// ISO 286-1 gives no limits of this class at this size.
    #[error(transparent)]
    NoLimits(FitError),
    /// A count out of bounds.
    #[error("between {least} and {most}, please")]
    OutOfBounds {
        /// The field.
        field: &'static str,
        /// At least.
        least: u32,
        /// At most.
        most: u32,
    },
    /// One face outlined twice.
    #[error("the {0} is outlined twice")]
    OutlineTwice(Face),
    /// A rule whose smallest size is above its largest.
    #[error("the smallest size is larger than the largest")]
    SizesCrossed,
    /// A code that no element can have.
    #[error("“{0}” is not an element's code: capitals, digits and hyphens, e.g. DOWEL-REAM")]
    NotACode(String),
    /// Work without an element to do.
    #[error("name at least one element of work, or nothing will be timed or charged")]
    NoElements,
    /// Elements on a rule that does no work.
    #[error("nothing is done here, so no element of work belongs to it")]
    ElementsUnwanted,
    /// A caution or a refusal without words.
    #[error("say what the customer must hear, or why it cannot be done")]
    NothingSaid,
    /// A fault of one part of the whole.
    #[error("{place}: {fault}")]
    At {
        /// Which feature or boss.
        place: Place,
        /// What is wrong with it.
        fault: Box<Fault>,
    },
}

impl Fault {
    /// The form field to say it beside.
    #[must_use]
    pub fn field(&self) -> &'static str {
        match self {
            Self::NoName => "name",
            Self::TooLong { field, .. }
            | Self::NotPositive { field }
            | Self::TooLarge { field }
            | Self::OffTheFace { field, .. }
            | Self::OutOfBounds { field, .. } => field,
            Self::NoLabel | Self::LabelTaken(_) => "label",
            Self::NoOutline(_) | Self::OutlineTwice(_) => "face",
            Self::ThreadWanting | Self::ThreadUnwanted(_) => "thread",
            Self::SizeNotThreads { .. } => "size",
            Self::FitOnThread | Self::FitOfAShaft(_) | Self::NoLimits(_) => "fit",
            Self::SizesCrossed => "smallest",
            Self::NotACode(_) | Self::NoElements | Self::ElementsUnwanted => "elements",
            Self::NothingSaid => "say",
            Self::At { fault, .. } => fault.field(),
        }
    }
}

fn check_name(name: &str, faults: &mut Vec<Fault>) {
    if name.trim().is_empty() {
        faults.push(Fault::NoName);
    }
    check_length_of(name, "name", LONGEST_NAME, faults);
}

fn check_length_of(text: &str, field: &'static str, most: usize, faults: &mut Vec<Fault>) {
    if text.chars().count() > most {
        faults.push(Fault::TooLong { field, most });
    }
}

fn check_label(label: &str, faults: &mut Vec<Fault>) {
    if label.trim().is_empty() {
        faults.push(Fault::NoLabel);
    }
    check_length_of(label, "label", LONGEST_LABEL, faults);
}

fn check_extent(length: Length, field: &'static str, faults: &mut Vec<Fault>) {
    if length.mm() <= Decimal::ZERO {
        faults.push(Fault::NotPositive { field });
    } else if length.mm() > Decimal::from(LONGEST_MM) {
        faults.push(Fault::TooLarge { field });
    }
}

fn check_count(count: u32, field: &'static str, most: u32, faults: &mut Vec<Fault>) {
    if !(1..=most).contains(&count) {
        faults.push(Fault::OutOfBounds {
            field,
            least: 1,
            most,
        });
    }
}

/// Places that stand in a list more than once, each once.
fn taken_twice<'a>(places: impl Iterator<Item = &'a Place>) -> BTreeSet<&'a Place> {
    let mut seen = BTreeSet::new();
    places.filter(|place| !seen.insert(*place)).collect()
}

impl Feature {
    /// What is wrong with it, standing on a face with this outline.
    #[must_use]
    pub fn faults(&self, outline: Option<&Outline>) -> Vec<Fault> {
        let mut faults = Vec::new();
        check_label(&self.place.label, &mut faults);
        match (self.at, outline) {
            (None, _) => {}
            (Some(_), None) => faults.push(Fault::NoOutline(self.place.face)),
            (Some(point), Some(outline)) => {
                for (field, at, extent) in [
                    ("across", point.x, outline.width),
                    ("up", point.y, outline.height),
                ] {
                    if at.mm() < Decimal::ZERO || at > extent {
                        faults.push(Fault::OffTheFace {
                            field,
                            face: self.place.face,
                            extent,
                        });
                    }
                }
            }
        }
        check_extent(self.size, "size", &mut faults);
        if let Some(depth) = self.depth {
            check_extent(depth, "depth", &mut faults);
        }
        let tapped = self.kind == FeatureKind::TappedHole;
        match &self.thread {
            None if tapped => faults.push(Fault::ThreadWanting),
            Some(_) if !tapped => faults.push(Fault::ThreadUnwanted(self.kind)),
            Some(thread) if thread.major_diameter() != self.size => {
                faults.push(Fault::SizeNotThreads {
                    thread: thread.to_string(),
                    major: thread.major_diameter(),
                });
            }
            _ => {}
        }
        match self.fit {
            Some(_) if tapped => faults.push(Fault::FitOnThread),
            Some(fit) if !fit.is_hole() => faults.push(Fault::FitOfAShaft(fit)),
            Some(fit) => faults.extend(fit.limits(self.size).err().map(Fault::NoLimits)),
            None => {}
        }
        check_count(self.count, "count", MOST_ALIKE, &mut faults);
        check_length_of(&self.note, "note", LONGEST_NOTE, &mut faults);
        faults
    }
}

impl Boss {
    /// What is wrong with it.
    #[must_use]
    pub fn faults(&self) -> Vec<Fault> {
        let mut faults = Vec::new();
        check_label(&self.place.label, &mut faults);
        check_extent(self.largest, "largest", &mut faults);
        if let Some(deepest) = self.deepest {
            check_extent(deepest, "deepest", &mut faults);
        }
        faults
    }
}

impl Outline {
    /// What is wrong with it.
    #[must_use]
    pub fn faults(&self) -> Vec<Fault> {
        let mut faults = Vec::new();
        check_extent(self.width, "width", &mut faults);
        check_extent(self.height, "height", &mut faults);
        faults
    }
}

impl Pattern {
    /// What is wrong with it.
    #[must_use]
    pub fn faults(&self) -> Vec<Fault> {
        let mut faults = Vec::new();
        check_name(&self.name, &mut faults);
        check_count(self.cylinders, "cylinders", MOST_CYLINDERS, &mut faults);
        check_count(self.mains, "mains", MOST_CYLINDERS + 1, &mut faults);
        check_length_of(&self.marks, "marks", LONGEST_NOTE, &mut faults);
        let mut outlined = BTreeSet::new();
        for outline in &self.outlines {
            faults.extend(outline.faults());
            if !outlined.insert(outline.face) {
                faults.push(Fault::OutlineTwice(outline.face));
            }
        }
        for boss in &self.bosses {
            faults.extend(boss.faults().into_iter().map(|fault| fault.at(&boss.place)));
        }
        for place in taken_twice(self.bosses.iter().map(|boss| &boss.place)) {
            faults.push(Fault::LabelTaken(place.clone()));
        }
        faults
    }
}

impl Variant {
    /// What is wrong with it, as a casting of this pattern.
    #[must_use]
    pub fn faults(&self, pattern: &Pattern) -> Vec<Fault> {
        let mut faults = Vec::new();
        check_name(&self.name, &mut faults);
        check_length_of(&self.note, "note", LONGEST_NOTE, &mut faults);
        for feature in &self.features {
            let outline = pattern.outline(feature.place.face);
            let of_feature = feature.faults(outline).into_iter();
            faults.extend(of_feature.map(|fault| fault.at(&feature.place)));
        }
        for place in taken_twice(self.features.iter().map(|feature| &feature.place)) {
            faults.push(Fault::LabelTaken(place.clone()));
        }
        faults
    }
}

impl RemedyRule {
    /// What is wrong with it.
    #[must_use]
    pub fn faults(&self) -> Vec<Fault> {
        let mut faults = Vec::new();
        check_name(&self.name, &mut faults);
        for (field, size) in [("smallest", self.smallest), ("largest", self.largest)] {
            if let Some(size) = size {
                check_extent(size, field, &mut faults);
            }
        }
        if let (Some(smallest), Some(largest)) = (self.smallest, self.largest)
            && smallest > largest
        {
            faults.push(Fault::SizesCrossed);
        }
        for code in &self.elements {
            let of_code = |c: char| c.is_ascii_uppercase() || c.is_ascii_digit() || c == '-';
            if code.is_empty() || code.len() > 40 || !code.chars().all(of_code) {
                faults.push(Fault::NotACode(code.clone()));
            }
        }
        match (self.action.is_work(), self.elements.is_empty()) {
            (true, true) => faults.push(Fault::NoElements),
            (false, false) => faults.push(Fault::ElementsUnwanted),
            _ => {}
        }
        let must_speak = matches!(
            self.action,
            super::Action::Caution | super::Action::Impossible
        );
        if must_speak && self.say.trim().is_empty() {
            faults.push(Fault::NothingSaid);
        }
        check_length_of(&self.say, "say", LONGEST_NOTE, &mut faults);
        faults
    }
}

impl Fault {
    fn at(self, place: &Place) -> Self {
        Self::At {
            place: place.clone(),
            fault: Box::new(self),
        }
    }
}

#[cfg(test)]
mod tests;
