//! Features: what is machined at a place on a face.

use super::words::words;
use crate::units::{Fit, Length, Thread};
use serde::{Deserialize, Serialize};
use std::cmp::Ordering;
use strum::{EnumString, IntoStaticStr, VariantArray};

/// A face of an engine block, as it stands in the vehicle.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    Serialize,
    Deserialize,
    EnumString,
    IntoStaticStr,
    VariantArray,
)]
#[serde(rename_all = "snake_case")]
#[strum(serialize_all = "snake_case")]
pub enum Face {
    /// The top, where the cylinder head sits.
    Deck,
    /// The bottom, where the sump bolts on.
    Sump,
    /// The timing end.
    Front,
    /// The flywheel end.
    Rear,
    /// Left side, looking from the rear to the front.
    Left,
    /// Right side, looking from the rear to the front.
    Right,
    /// Inside the crankcase: main bearing caps and housings.
    Crankcase,
}

words!(Face {
    Deck = "deck";
    Sump = "sump face";
    Front = "front face";
    Rear = "rear face";
    Left = "left side";
    Right = "right side";
    Crankcase = "crankcase";
});

/// Where a feature is: the face and the shop's own label for the spot, e.g. `rear / R7`.
///
/// Places are in order by face, then by label as people count: R2 before R10.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Place {
    /// The face.
    pub face: Face,
    /// The label of the spot on that face.
    pub label: String,
}

impl Place {
    /// The spot with this label on this face.
    #[must_use]
    pub fn new(face: Face, label: impl Into<String>) -> Self {
        Self {
            face,
            label: label.into(),
        }
    }
}

impl Ord for Place {
    fn cmp(&self, other: &Self) -> Ordering {
        self.face
            .cmp(&other.face)
            .then_with(|| parts(&self.label).cmp(&parts(&other.label)))
            .then_with(|| self.label.cmp(&other.label))
    }
}

impl PartialOrd for Place {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// A label as words and numbers in turn; numbers compare by length, then digit by digit, so none is too long.
fn parts(label: &str) -> Vec<(&str, usize, &str)> {
    let mut rest = label;
    let mut parts = Vec::new();
    while !rest.is_empty() {
        let digits_at = rest
            .find(|c: char| c.is_ascii_digit())
            .unwrap_or(rest.len());
        let (word, after) = rest.split_at(digits_at);
        let digits_end = after
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(after.len());
        let (digits, after) = after.split_at(digits_end);
        let digits = digits.trim_start_matches('0');
        parts.push((word, digits.len(), digits));
        rest = after;
    }
    parts
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}, {}", self.face, self.label)
    }
}

/// What kind of thing is machined.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    Serialize,
    Deserialize,
    EnumString,
    IntoStaticStr,
    VariantArray,
)]
#[serde(rename_all = "snake_case")]
#[strum(serialize_all = "snake_case")]
pub enum FeatureKind {
    /// A reamed hole for a fitted dowel.
    DowelHole,
    /// A drilled and tapped hole.
    TappedHole,
    /// A plain drilled hole.
    PlainHole,
    /// A flat-bottomed enlargement of a hole.
    Counterbore,
    /// A locating diameter, e.g. for a seal housing.
    Register,
    /// A bored diameter, e.g. a main bearing housing or a cylinder.
    Bore,
    /// A faced seat round a hole.
    Spotface,
    /// A bore that a core plug is pressed into.
    CorePlugBore,
    /// The seat of a sealing ring or washer round a parallel port, faced square to its thread.
    SealSeat,
}

words!(FeatureKind {
    DowelHole = "dowel hole";
    TappedHole = "tapped hole";
    PlainHole = "plain hole";
    Counterbore = "counterbore";
    Register = "register";
    Bore = "bore";
    Spotface = "spotface";
    CorePlugBore = "core plug bore";
    SealSeat = "seal seat";
});

/// Where a centre is on a face, from the face's datum.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Point {
    /// Across.
    pub x: Length,
    /// Up.
    pub y: Length,
}

/// One machined feature.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Feature {
    /// Where it is.
    pub place: Place,
    /// What it is.
    pub kind: FeatureKind,
    /// Where the (first) centre is; `None` where nobody has measured it.
    #[serde(flatten)]
    pub at: Option<Point>,
    /// Diameter; for a tapped hole the major diameter of its thread.
    pub size: Length,
    /// Depth; `None` when it goes through. For a tapped hole the depth of full thread: the drilled hole below may go on.
    pub depth: Option<Length>,
    /// The thread of a tapped hole.
    pub thread: Option<Thread>,
    /// The tolerance class where it matters.
    pub fit: Option<Fit>,
    /// How many alike at this place (a bolt group drawn as one place).
    pub count: u32,
    /// Anything a drawing would say in words. Words alone make no difference between two features.
    pub note: String,
}

impl Feature {
    /// Whether both have their centre at the same spot. A place is one spot of the pattern, so where one of the two was not
    /// measured they count as the same.
    #[must_use]
    pub fn same_centre(&self, other: &Self) -> bool {
        self.at.zip(other.at).is_none_or(|(a, b)| a == b)
    }

    /// Whether both ask for the same machined metal: everything but the note.
    #[must_use]
    pub fn same_work(&self, other: &Self) -> bool {
        self.place == other.place
            && self.kind == other.kind
            && self.same_centre(other)
            && self.size == other.size
            && self.depth == other.depth
            && self.thread == other.thread
            && self.fit == other.fit
            && self.count == other.count
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::castings::samples::{at, fitted, length, plain, tapped};

    /// A difference of one thing alone is a difference of work; words are none.
    #[test]
    fn every_part_of_a_feature_counts_but_its_note() {
        let hole = Feature {
            depth: Some(length("20")),
            ..plain("10")
        };
        let but = |change: fn(&mut Feature)| {
            let mut other = hole.clone();
            change(&mut other);
            hole.same_work(&other)
        };
        assert!(but(|f| f.note = "drill first".to_owned()));
        assert!(!but(|f| f.place.label = "R2".to_owned()));
        assert!(!but(|f| f.kind = FeatureKind::Bore));
        assert!(!but(|f| f.at = at(plain("10"), "1", "0").at));
        assert!(!but(|f| f.size = length("10.1")));
        assert!(!but(|f| f.depth = None));
        assert!(!but(|f| f.thread = tapped("M10").thread));
        assert!(!but(|f| f.fit = fitted("10", "H7").fit));
        assert!(!but(|f| f.count = 2));
    }

    #[test]
    fn places_are_counted_as_people_do() {
        let mut labels = [
            "R10", "R2", "OIL", "R2b", "R1", "R02", "R", "R2a", "12", "9",
        ];
        labels.sort_by_key(|label| Place::new(Face::Rear, *label));
        assert_eq!(
            labels,
            [
                "9", "12", "OIL", "R", "R1", "R02", "R2", "R2a", "R2b", "R10"
            ]
        );
        assert!(
            Place::new(Face::Sump, "Z9") < Place::new(Face::Rear, "A1"),
            "face first"
        );
    }
}
