//! Patterns of one engine family. A later or a sister pattern has its bosses at the places of the wanted one, or all of a
//! face moved by the same amount, for example because its crankcase is deeper and the corner that positions are measured
//! from lies lower. Once positions and labels are those of the wanted pattern, its castings are compared like any other
//! donor: what is missing is made where the donor's own bosses have the metal for it.
//!
//! ```
//! use borewright::castings::{Correspondence, Face, Place, SameSpot, Shift};
//! use borewright::units::Length;
//!
//! let across = Correspondence {
//!     shifts: vec![Shift { face: Face::Rear, across: Length::ZERO, up: "6".parse()? }],
//!     labels: vec![SameSpot { face: Face::Left, wanted: "L1".to_owned(), donor: "L3".to_owned() }],
//! };
//! // What the donor's drawing calls L3 is L1 here; what it calls L1 has no counterpart.
//! assert_eq!(across.place(&Place::new(Face::Left, "L3")), Place::new(Face::Left, "L1"));
//! assert_eq!(across.place(&Place::new(Face::Left, "L1")).label, "L1 of the donor");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use super::fault::LONGEST_LABEL;
use super::{Boss, Face, Feature, Pattern, Place, Point, Variant};
use crate::units::Length;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// What a label of the donor becomes that has no counterpart. With a label before it, it is longer than [`LONGEST_LABEL`],
/// so that no label is ever the same.
const OF_THE_DONOR: &str = " of the donor";
const _: () = assert!(OF_THE_DONOR.len() >= LONGEST_LABEL);

/// How far the places of a face are moved on the donor: what is added to a position on the wanted pattern to find it on
/// the donor, each measured from its own face's datum.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shift {
    /// The face.
    pub face: Face,
    /// Across, to the right as one looks at the face.
    pub across: Length,
    /// Up.
    pub up: Length,
}

impl Shift {
    /// Whether anything is moved.
    #[must_use]
    pub fn moves(&self) -> bool {
        self.across != Length::ZERO || self.up != Length::ZERO
    }
}

/// A spot that the two patterns label differently.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SameSpot {
    /// The face.
    pub face: Face,
    /// Its label on the wanted pattern; empty when the donor's spot has no counterpart there.
    pub wanted: String,
    /// Its label on the donor.
    pub donor: String,
}

/// Which place of a donor's pattern is which place of the wanted one. Where nothing is said, a label means the same spot at
/// the same position.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Correspondence {
    /// Faces whose places are moved.
    pub shifts: Vec<Shift>,
    /// Spots with another label.
    pub labels: Vec<SameSpot>,
}

/// What is wrong with a correspondence as entered.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CorrespondenceFault {
    /// A face is moved twice.
    #[error("Enter one offset for the {0}, not several")]
    FaceTwice(Face),
    /// One label is two spots.
    #[error("Enter {0} once: it can be one spot only")]
    SpotTwice(Place),
}

/// Why castings of a pattern cannot stand in for those of another.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "“{donor}” has {donor_cylinders} cylinders and {donor_mains} main bearings, “{wanted}” {wanted_cylinders} and {wanted_mains}: a donor needs the same"
)]
pub struct OtherEngine {
    donor: String,
    donor_cylinders: u32,
    donor_mains: u32,
    wanted: String,
    wanted_cylinders: u32,
    wanted_mains: u32,
}

/// Whether castings of one pattern can stand in for those of another at all: they have as many cylinders and mains.
///
/// # Errors
/// [`OtherEngine`], with the figures.
pub fn same_engine(donor: &Pattern, wanted: &Pattern) -> Result<(), OtherEngine> {
    if (donor.cylinders, donor.mains) == (wanted.cylinders, wanted.mains) {
        return Ok(());
    }
    Err(OtherEngine {
        donor: donor.name.clone(),
        donor_cylinders: donor.cylinders,
        donor_mains: donor.mains,
        wanted: wanted.name.clone(),
        wanted_cylinders: wanted.cylinders,
        wanted_mains: wanted.mains,
    })
}

impl Correspondence {
    /// How the places of a face are moved.
    #[must_use]
    pub fn shift(&self, face: Face) -> Option<&Shift> {
        shift_of(&self.shifts, face)
    }

    /// A place of the donor as the wanted pattern labels it.
    #[must_use]
    pub fn place(&self, donor: &Place) -> Place {
        let mut here = self.labels.iter().filter(|spot| spot.face == donor.face);
        let label = match here.clone().find(|spot| spot.donor == donor.label) {
            Some(spot) if !spot.wanted.is_empty() => spot.wanted.clone(),
            None if !here.any(|spot| spot.wanted == donor.label) => donor.label.clone(),
            _ => format!("{}{OF_THE_DONOR}", donor.label),
        };
        Place::new(donor.face, label)
    }

    /// A variant of the donor's pattern with the labels of the wanted one, its positions from the donor's own datums.
    #[must_use]
    pub fn relabelled(&self, donor: &Variant) -> Variant {
        let mut variant = donor.clone();
        for feature in &mut variant.features {
            feature.place = self.place(&feature.place);
        }
        variant.features.sort_by(|a, b| a.place.cmp(&b.place));
        variant
    }

    /// A variant of the donor's pattern as if it were one of the wanted pattern: its places and positions are those of the
    /// wanted one.
    #[must_use]
    pub fn variant(&self, donor: &Variant, wanted: &Pattern) -> Variant {
        let mut variant = self.relabelled(donor);
        variant.pattern_id = wanted.id;
        for feature in &mut variant.features {
            if let Some(shift) = self.shift(feature.place.face) {
                feature.at = feature.at.map(|at| Point {
                    x: at.x - shift.across,
                    y: at.y - shift.up,
                });
            }
        }
        variant
    }

    /// The donor's pattern as the wanted one sees it: its metal, weight and bosses under the labels of the wanted pattern,
    /// and its name, because that is what stands on the table. What the finished block must measure is the wanted one's, and
    /// so are the faces as drawn.
    #[must_use]
    pub fn pattern(&self, donor: &Pattern, wanted: &Pattern) -> Pattern {
        let mut bosses: Vec<Boss> = donor
            .bosses
            .iter()
            .map(|boss| Boss {
                place: self.place(&boss.place),
                ..boss.clone()
            })
            .collect();
        bosses.sort_by(|a, b| a.place.cmp(&b.place));
        Pattern {
            id: wanted.id,
            name: donor.name.clone(),
            cylinders: donor.cylinders,
            mains: donor.mains,
            outlines: wanted.outlines.clone(),
            bosses,
            marks: donor.marks.clone(),
            metal: donor.metal,
            weight_kg: donor.weight_kg,
            sizes: wanted.sizes.clone(),
            version: wanted.version,
        }
    }

    /// What is wrong with it, each with the place in its list of what says it again.
    #[must_use]
    pub fn faults(&self) -> Vec<(usize, CorrespondenceFault)> {
        let mut faults = Vec::new();
        let mut faces = BTreeSet::new();
        for (row, shift) in self.shifts.iter().enumerate() {
            if !faces.insert(shift.face) {
                faults.push((row, CorrespondenceFault::FaceTwice(shift.face)));
            }
        }
        let (mut wanted, mut donor) = (BTreeSet::new(), BTreeSet::new());
        for (row, spot) in self.labels.iter().enumerate() {
            let here = Place::new(spot.face, spot.wanted.clone());
            let there = Place::new(spot.face, spot.donor.clone());
            if !there.label.is_empty() && !donor.insert(there.clone()) {
                faults.push((row, CorrespondenceFault::SpotTwice(there)));
            } else if !here.label.is_empty() && !wanted.insert(here.clone()) {
                faults.push((row, CorrespondenceFault::SpotTwice(here)));
            }
        }
        faults
    }
}

/// How the places of a face are moved, if they are.
fn shift_of(shifts: &[Shift], face: Face) -> Option<&Shift> {
    shifts
        .iter()
        .find(|shift| shift.face == face && shift.moves())
}

/// A wanted variant as it is machined into a casting whose faces are moved: positions from the donor's own datums.
#[must_use]
pub fn on_the_donor(wanted: &Variant, shifts: &[Shift]) -> Variant {
    let moved = |feature: &Feature| match (feature.at, shift_of(shifts, feature.place.face)) {
        (Some(at), Some(shift)) => Feature {
            at: Some(Point {
                x: at.x + shift.across,
                y: at.y + shift.up,
            }),
            ..feature.clone()
        },
        _ => feature.clone(),
    };
    Variant {
        features: wanted.features.iter().map(moved).collect(),
        ..wanted.clone()
    }
}

/// What must be said at the machine of a face whose places are moved; `None` where they are not.
#[must_use]
pub fn caution_of(shifts: &[Shift], face: Face, donor: &str, wanted: &Pattern) -> Option<String> {
    let shift = shift_of(shifts, face)?;
    let far = |length: Length, there: &str, back: &str| {
        let mm = length.mm().normalize();
        let way = if mm < Decimal::ZERO { back } else { there };
        (!mm.is_zero()).then(|| format!("{} mm {way}", mm.abs()))
    };
    let ways = [
        far(shift.across, "further right", "further left"),
        far(shift.up, "higher", "lower"),
    ];
    let ways: Vec<String> = ways.into_iter().flatten().collect();
    Some(format!(
        "A casting of the pattern {donor}: on its {face} every place is {} than on the drawing of the {}. The positions on the route card allow for it.",
        ways.join(" and "),
        wanted.name
    ))
}

#[cfg(test)]
mod tests {
    use super::super::samples::{at, length, on, pattern, plain, rules, tapped, variant};
    use super::*;
    use crate::castings::{Action, Conversion};
    use proptest::prelude::*;
    use uuid::Uuid;

    fn sister() -> Pattern {
        let mut sister = pattern();
        sister.id = Uuid::from_u128(2);
        sister.name = "Fell 4/90".to_owned();
        sister
    }

    /// The feature as the sister pattern has it: 6 mm higher on the rear face.
    fn higher(feature: Feature) -> Feature {
        let at = feature.at.map(|at| Point {
            x: at.x,
            y: at.y + length("6"),
        });
        Feature { at, ..feature }
    }

    fn up_six() -> Correspondence {
        Correspondence {
            shifts: vec![Shift {
                face: Face::Rear,
                across: Length::ZERO,
                up: length("6"),
            }],
            labels: Vec::new(),
        }
    }

    fn of_sister(features: Vec<Feature>) -> Variant {
        Variant {
            pattern_id: sister().id,
            ..variant("Fell 4/90 compressor", false, features)
        }
    }

    fn plan(across: &Correspondence, donor: &Variant, wanted: &Variant) -> Conversion {
        let (here, there) = (pattern(), sister());
        let seen = across.pattern(&there, &here);
        Conversion::plan(&seen, &across.variant(donor, &here), wanted, &rules()).unwrap()
    }

    #[test]
    fn a_feature_at_the_stated_offset_is_no_difference() {
        let hole = at(tapped("M10"), "100", "60");
        let wanted = variant("marine", false, vec![hole.clone()]);
        let donor = of_sister(vec![higher(hole.clone())]);
        assert_eq!(plan(&up_six(), &donor, &wanted).remedies, []);
        // Without the offset it stands at another centre, so it is plugged and made again.
        let unsaid = plan(&Correspondence::default(), &donor, &wanted);
        assert_eq!(unsaid.remedies[0].action, Action::PlugAndRedo);
        // What is machined into the donor is measured from the donor's own datum.
        let card = on_the_donor(&wanted, &up_six().shifts);
        assert_eq!(card.features[0].at, higher(hole).at);
    }

    #[test]
    fn the_metal_is_the_donors_under_the_labels_of_the_wanted_pattern() {
        let across = Correspondence {
            labels: vec![SameSpot {
                face: Face::Rear,
                wanted: "R3".to_owned(),
                donor: "R9".to_owned(),
            }],
            ..Correspondence::default()
        };
        let mut there = sister();
        there.bosses[2].place.label = "R9".to_owned();
        let wanted = variant("marine", false, vec![on(tapped("M10"), Face::Rear, "R3")]);
        let seen = across.pattern(&there, &pattern());
        let bare = across.variant(&of_sister(vec![]), &pattern());
        let made = Conversion::plan(&seen, &bare, &wanted, &rules()).unwrap();
        assert_eq!(made.remedies[0].action, Action::Machine);
        // Without the label the donor has no boss there.
        let seen = Correspondence::default().pattern(&there, &pattern());
        let none = Conversion::plan(&seen, &bare, &wanted, &rules()).unwrap();
        assert_eq!(none.remedies[0].action, Action::Impossible);
        // Its own R3 is another spot, and does not hide the feature that is there.
        let both = of_sister(vec![
            on(tapped("M10"), Face::Rear, "R9"),
            on(plain("8"), Face::Rear, "R3"),
        ]);
        let labels: Vec<String> = across
            .relabelled(&both)
            .features
            .into_iter()
            .map(|f| f.place.label)
            .collect();
        assert_eq!(labels, ["R3", "R3 of the donor"]);
    }

    #[test]
    fn what_contradicts_itself_is_named_by_its_row() {
        let spot = |wanted: &str, donor: &str| SameSpot {
            face: Face::Rear,
            wanted: wanted.to_owned(),
            donor: donor.to_owned(),
        };
        let shift = up_six().shifts.remove(0);
        let across = Correspondence {
            shifts: vec![shift.clone(), shift],
            labels: vec![spot("R1", "R2"), spot("", "R3"), spot("R4", "R2")],
        };
        let rear = |label| Place::new(Face::Rear, label);
        assert_eq!(
            across.faults(),
            [
                (1, CorrespondenceFault::FaceTwice(Face::Rear)),
                (2, CorrespondenceFault::SpotTwice(rear("R2")))
            ]
        );
        assert_eq!(up_six().faults(), []);
        let said = caution_of(&up_six().shifts, Face::Rear, "Fell 4/90", &pattern());
        assert!(
            said.unwrap()
                .contains("rear face every place is 6 mm higher than")
        );
        assert_eq!(
            caution_of(&up_six().shifts, Face::Sump, "Fell 4/90", &pattern()),
            None
        );
    }

    #[test]
    fn another_number_of_cylinders_is_another_engine() {
        let mut six = sister();
        assert_eq!(same_engine(&six, &pattern()), Ok(()));
        six.cylinders = 6;
        let why = same_engine(&six, &pattern()).unwrap_err().to_string();
        assert!(why.contains("6 cylinders"), "{why}");
    }

    proptest! {
        /// Moved there and back, a variant is the same, whatever the offset.
        #[test]
        fn an_offset_undoes_itself(across in -5_000_i64..5_000, up in -5_000_i64..5_000) {
            let moved = Correspondence {
                shifts: vec![Shift {
                    face: Face::Rear,
                    across: Length::from_mm(Decimal::new(across, 2)),
                    up: Length::from_mm(Decimal::new(up, 2)),
                }],
                labels: Vec::new(),
            };
            let wanted = variant("marine", false, vec![at(plain("8"), "10", "20")]);
            let there = on_the_donor(&wanted, &moved.shifts);
            prop_assert_eq!(moved.variant(&there, &pattern()), wanted);
        }
    }
}
