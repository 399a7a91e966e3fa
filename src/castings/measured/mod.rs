//! Records of what was measured on a casting: its cylinders, its main line, its deck, its cam tunnel and lifter bores, its
//! rear face with the gearbox housing on, and the crankshaft that goes with it. Readings are taken at named places and entered in one table; what follows from them is
//! computed here.
//!
//! All of it rests on *two-point sizes*, as a bore gauge or a micrometer gives them: the distance between two opposite
//! points (ISO 14405-1, symbol LP, from memory). *Ovality* is the difference of the two sizes at one height, *taper* the
//! difference of the sizes at several heights in one direction (common practice, no source). Neither is a form deviation
//! of ISO 1101: roundness (circularity) is there the width of a ring, which for a plain oval is half the difference of the
//! two diameters, and a two-point gauge does not see a form with an odd number of lobes at all.
//!
//! *Ra* is the arithmetic mean height of a roughness profile: the mean distance of the profile from its mean line,
//! Ra = (1/l)·∫|z(x)|dx over the length l that is evaluated (ISO 21920-2:2021, which took the place of ISO 4287; both from
//! memory). An instrument gives it; here it is held against limits. It is kept in millimetres like every length and shown in
//! micrometres.
//!
//! ```
//! use borewright::castings::measured::{Bore, BoreSizes, Cylinders, CylinderRemedy};
//! let mm = |text: &str| text.parse().ok();
//! let sizes = BoreSizes {
//!     smallest: mm("95"),
//!     largest: mm("95.022"),
//!     wear: mm("0.15"),
//!     oversizes: ["0.5", "1"].iter().filter_map(|one| mm(one)).collect(),
//!     clean_up: mm("0.1"),
//!     ..BoreSizes::default()
//! };
//! // Worn across at the top, where the rings turn round: 0.28 mm, so it is bored; 95.28 + 0.1 is below 95.5.
//! let at = [[mm("95.12"), mm("95.28")], [mm("95.06"), mm("95.1")], [mm("95.02"), mm("95.03")]];
//! let worn = Cylinders { bores: vec![Bore { at, ..Bore::default() }], ..Cylinders::default() };
//! let found = &worn.findings(&sizes)[0];
//! assert_eq!((found.ovality, found.taper), (mm("0.16"), mm("0.25")));
//! assert_eq!(worn.remedy(&sizes), CylinderRemedy::Bore { over: "0.5".parse()?, sleeve: vec![] });
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod cam;
mod crankshaft;
mod cylinders;
mod deck;
mod fields;
mod judgement;
mod main_line;
mod rear_face;
mod size_faults;
mod sizes;

pub use cam::{CamAndLifters, CamBearing, CamFinding, Lifter, RoundFinding};
pub use crankshaft::{CrankRemedy, Crankshaft, Grind, Journal, JournalFinding};
pub use cylinders::{
    Bore, BoreFinding, CylinderRemedy, Cylinders, HEIGHTS, LINER_PLACES, Oversize,
};
pub use deck::{Deck, DeckFinding, FLAT_LINES};
pub use fields::{Reading, reading};
pub use judgement::{Judgement, Outside, Part, Quantity, Verdict};
pub use main_line::{Housing, HousingFinding, LineFinding, MainLine};
pub use rear_face::{CLOCK, DowelFit, Offset, OffsetDowels, RearFace, RearFinding};
pub use size_faults::SizeFault;
pub use sizes::{
    BoreSizes, CamSizes, CrankSizes, DeckSizes, HousingSizes, JournalSizes, Liner, RearSizes, Sizes,
};

use super::words::words;
use crate::units::Length;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use strum::{EnumString, IntoStaticStr, VariantArray};

/// What a record is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum RecordKind {
    /// The cylinder bores.
    Cylinders,
    /// The main bearing housings.
    MainLine,
    /// The deck, with piston heights.
    Deck,
    /// The journals of the crankshaft.
    Crankshaft,
    /// The cam tunnel, its bushes, and the lifter bores.
    CamAndLifters,
    /// The rear face with the adaptor or gearbox housing on.
    RearFace,
}

words!(RecordKind {
    Cylinders = "cylinders";
    MainLine = "main line";
    Deck = "deck";
    Crankshaft = "crankshaft";
    CamAndLifters = "cam and lifter bores";
    RearFace = "rear face";
});

/// How many of each there are on a casting, which says what is in a table.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Layout {
    /// Cylinders.
    pub cylinders: usize,
    /// Main bearings.
    pub mains: usize,
    /// Big-end pins.
    pub pins: usize,
    /// Cam bearings.
    pub cam_bearings: usize,
    /// Lifter bores.
    pub lifters: usize,
    /// What stands in the cylinders.
    pub liner: Option<Liner>,
}

impl Layout {
    /// That of a pattern: one pin a cylinder, a cam bearing a main and two lifters a cylinder where its sizes do not say
    /// otherwise (common practice, no source).
    #[must_use]
    pub fn of(cylinders: u32, mains: u32, sizes: &Sizes) -> Self {
        let (crank, cam) = (&sizes.crank, &sizes.cam);
        Self {
            cylinders: cylinders as usize,
            mains: mains as usize,
            pins: crank.pin_count.unwrap_or(cylinders) as usize,
            cam_bearings: cam.bearings.unwrap_or(mains) as usize,
            lifters: cam.lifters.unwrap_or(2 * cylinders) as usize,
            liner: sizes.bores.liner,
        }
    }
}

/// When it was measured: to see what a casting needs, or to check what was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Purpose {
    /// As it came: what does it need?
    Inspection,
    /// When the work is done: is it right?
    Finished,
}

/// The readings of one record, all in millimetres.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Readings {
    /// The cylinder bores.
    Cylinders(Cylinders),
    /// The main bearing housings.
    MainLine(MainLine),
    /// The deck.
    Deck(Deck),
    /// The crankshaft.
    Crankshaft(Crankshaft),
    /// The cam tunnel and the lifter bores.
    CamAndLifters(CamAndLifters),
    /// The rear face.
    RearFace(RearFace),
}

impl Readings {
    /// An empty table for a casting that has so many of each.
    #[must_use]
    pub fn blank(kind: RecordKind, layout: &Layout) -> Self {
        match kind {
            RecordKind::Cylinders => Self::Cylinders(Cylinders {
                liner: layout.liner,
                bores: vec![Bore::default(); layout.cylinders],
                ..Cylinders::default()
            }),
            RecordKind::MainLine => Self::MainLine(MainLine {
                housings: vec![Housing::default(); layout.mains],
                thrust: None,
            }),
            RecordKind::Deck => Self::Deck(Deck::blank(layout.cylinders)),
            RecordKind::Crankshaft => Self::Crankshaft(Crankshaft {
                mains: vec![Journal::default(); layout.mains],
                pins: vec![Journal::default(); layout.pins],
                ..Crankshaft::default()
            }),
            RecordKind::CamAndLifters => Self::CamAndLifters(CamAndLifters {
                bearings: vec![CamBearing::default(); layout.cam_bearings],
                lifters: vec![Lifter::default(); layout.lifters],
            }),
            RecordKind::RearFace => Self::RearFace(RearFace::default()),
        }
    }

    /// What its table has room for.
    #[must_use]
    pub fn layout(&self) -> Layout {
        let none = Layout::default();
        match self {
            Self::Cylinders(record) => Layout {
                cylinders: record.bores.len(),
                liner: record.liner,
                ..none
            },
            Self::MainLine(record) => Layout {
                mains: record.housings.len(),
                ..none
            },
            Self::Deck(record) => Layout {
                cylinders: record.pistons.len(),
                ..none
            },
            Self::Crankshaft(record) => Layout {
                mains: record.mains.len(),
                pins: record.pins.len(),
                ..none
            },
            Self::CamAndLifters(record) => Layout {
                cam_bearings: record.bearings.len(),
                lifters: record.lifters.len(),
                ..none
            },
            Self::RearFace(_) => none,
        }
    }

    /// What it is of.
    #[must_use]
    pub fn kind(&self) -> RecordKind {
        match self {
            Self::Cylinders(_) => RecordKind::Cylinders,
            Self::MainLine(_) => RecordKind::MainLine,
            Self::Deck(_) => RecordKind::Deck,
            Self::Crankshaft(_) => RecordKind::Crankshaft,
            Self::CamAndLifters(_) => RecordKind::CamAndLifters,
            Self::RearFace(_) => RecordKind::RearFace,
        }
    }

    /// Every field of the table in the order in which it is filled in, under the name it has in a form.
    pub fn fields(&mut self) -> Vec<(String, &mut Option<Length>)> {
        match self {
            Self::Cylinders(record) => record.fields(),
            Self::MainLine(record) => record.fields(),
            Self::Deck(record) => record.fields(),
            Self::Crankshaft(record) => record.fields(),
            Self::CamAndLifters(record) => record.fields(),
            Self::RearFace(record) => record.fields(),
        }
    }

    /// Whether nothing has been entered.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.clone()
            .fields()
            .iter()
            .all(|(_, value)| value.is_none())
    }

    /// These readings in the blank table of a casting; `None` when they are of other places than it has.
    #[must_use]
    pub fn placed_in(mut self, mut blank: Self) -> Option<Self> {
        if self.kind() != blank.kind() || self.layout() != blank.layout() {
            return None;
        }
        if let Self::Cylinders(record) = &self
            && record.liner.is_none()
            && record
                .bores
                .iter()
                .any(|bore| bore.liner.iter().any(Option::is_some))
        {
            return None;
        }
        match (&mut blank, &self) {
            (Self::Cylinders(to), Self::Cylinders(from)) => {
                to.over = from.over;
                to.torque_plate = from.torque_plate;
            }
            (Self::Crankshaft(to), Self::Crankshaft(from)) => {
                to.under_mains = from.under_mains;
                to.under_pins = from.under_pins;
            }
            _ => {}
        }
        let (to, from) = (blank.fields(), self.fields());
        let named = |fields: &[(String, &mut Option<Length>)]| -> Vec<String> {
            fields.iter().map(|(name, _)| name.clone()).collect()
        };
        if named(&to) != named(&from) {
            return None;
        }
        for ((_, to), (_, from)) in to.into_iter().zip(from) {
            *to = *from;
        }
        Some(blank)
    }

    /// How far they are over or under their standard, under the names these have in a form.
    fn steps(&self) -> Vec<(&'static str, Length)> {
        match self {
            Self::Cylinders(record) => vec![("over", record.over)],
            Self::Crankshaft(record) => vec![
                ("under_mains", record.under_mains),
                ("under_pins", record.under_pins),
            ],
            Self::MainLine(_) | Self::Deck(_) | Self::CamAndLifters(_) | Self::RearFace(_) => {
                Vec::new()
            }
        }
    }

    /// The fields whose reading cannot be: below what its sort may be, longer than any length that is believed, or a diameter
    /// more than 5 mm from the pattern's.
    #[must_use]
    pub fn not_believed(&self, sizes: &Sizes) -> Vec<String> {
        let mut copy = self.clone();
        let steps = self.steps().into_iter();
        let steps = steps.filter(|(_, by)| !by.is_believed() || *by < Length::ZERO);
        let far = |value: Length, size: Option<Length>| {
            size.is_some_and(|size| (value - size).mm().abs() > BELIEVED_MM)
        };
        copy.fields()
            .into_iter()
            .filter_map(|(name, value)| Some((name, (*value)?)))
            .filter(|(name, value)| {
                !value.is_believed()
                    || !reading(name).may_be(*value)
                    || far(*value, fields::nominal(name, sizes))
            })
            .map(|(name, _)| name)
            .chain(steps.map(|(name, _)| name.to_owned()))
            .collect()
    }

    /// What these readings say against the pattern's sizes, as a whole.
    #[must_use]
    pub fn judgement(&self, sizes: &Sizes, purpose: Purpose) -> Judgement {
        match self {
            Self::Cylinders(record) => record.judgement(&sizes.bores, purpose),
            Self::MainLine(record) => record.judgement(&sizes.mains),
            Self::Deck(record) => record.findings(&sizes.deck).judgement,
            Self::Crankshaft(record) => record.judgement(&sizes.crank, purpose),
            Self::CamAndLifters(record) => record.judgement(&sizes.cam, purpose),
            Self::RearFace(record) => record.judgement(&sizes.rear),
        }
    }
}

/// How far a diameter may be from the pattern's and still be believed: beyond any oversize, so it was read or typed wrong.
const BELIEVED_MM: Decimal = Decimal::from_parts(5, 0, 0, false, 0);

/// The smallest and the largest of the readings that were taken.
fn range<'a>(readings: impl IntoIterator<Item = &'a Option<Length>>) -> Option<(Length, Length)> {
    readings
        .into_iter()
        .flatten()
        .fold(None, |found, one| match found {
            None => Some((*one, *one)),
            Some((low, high)) => Some((low.min(*one), high.max(*one))),
        })
}

/// How far apart the smallest and the largest are; `None` of fewer than two readings.
fn spread<'a>(readings: impl IntoIterator<Item = &'a Option<Length>>) -> Option<Length> {
    let taken: Vec<Option<Length>> = readings
        .into_iter()
        .copied()
        .filter(Option::is_some)
        .collect();
    let (low, high) = range(&taken)?;
    (taken.len() > 1).then(|| high - low)
}

/// A result of a division, to a tenth of a micrometre: finer than anything here is measured.
fn rounded(mm: Decimal) -> Length {
    Length::from_mm(mm.round_dp(4).normalize())
}

#[cfg(test)]
mod more_tests;
#[cfg(test)]
mod tests;
