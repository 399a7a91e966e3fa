//! How deep the tool really goes, which is what breaks through: a thread needs run-out below its last full turn, a reamer
//! room for its lead, and a drill has a point.

use super::{Feature, FeatureKind};
use crate::units::{Length, Thread};
use rust_decimal::{Decimal, RoundingStrategy};

/// How deep a blind hole is, piece by piece, in the order the tool meets them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Depths {
    /// What the drawing asks for: full thread, reamed length, full diameter, or the depth milled or bored.
    pub full: Length,
    /// Below it, for the lead of the tap or reamer.
    pub run_out: Length,
    /// The point of the drill; nought for what is milled or bored.
    pub point: Length,
    /// Whether the run-out is the short one, which needs a bottoming tap.
    pub short: bool,
}

impl Depths {
    /// To where the drill has its full diameter: what the stop of the quill is set by.
    #[must_use]
    pub fn shoulder(&self) -> Length {
        self.full + self.run_out
    }

    /// To the very bottom: what is held against the metal.
    #[must_use]
    pub fn bottom(&self) -> Length {
        self.shoulder() + self.point
    }
}

/// The drill that comes first, and why it is that one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FirstDrill {
    /// Its diameter.
    pub diameter: Length,
    /// The rule that gave it; empty where it is the hole's own size.
    pub rule: String,
}

impl Feature {
    /// The drill a hole begins with: before the tap, before the reamer, or of its own size. `None` for what is milled or
    /// bored.
    #[must_use]
    pub fn first_drill(&self) -> Option<FirstDrill> {
        match (self.kind, &self.thread) {
            (FeatureKind::TappedHole, Some(thread)) => {
                let drill = thread.tap_drill();
                Some(FirstDrill {
                    diameter: drill.diameter,
                    rule: drill.rule,
                })
            }
            _ if self.is_reamed() => Some(before_reamer(self.size)),
            (FeatureKind::DowelHole | FeatureKind::PlainHole | FeatureKind::TappedHole, _) => {
                Some(FirstDrill {
                    diameter: self.size,
                    rule: String::new(),
                })
            }
            _ => None,
        }
    }

    /// Whether a reamer finishes it: a dowel hole, or a plain hole with a fit.
    #[must_use]
    pub fn is_reamed(&self) -> bool {
        match self.kind {
            FeatureKind::DowelHole => true,
            FeatureKind::PlainHole => self.fit.is_some(),
            _ => false,
        }
    }

    /// How deep the tools go in a hole that does not go through; `None` where it does. Where the metal goes down to
    /// `deepest` and the usual run-out of a tap would break out of it, the short one is taken.
    #[must_use]
    pub fn depths(&self, deepest: Option<Length>) -> Option<Depths> {
        let full = self.depth?;
        let drill = self.first_drill();
        let point = drill.map_or(Length::ZERO, |drill| point(drill.diameter));
        let with = |run_out, short| Depths {
            full,
            run_out,
            point,
            short,
        };
        let usual = match &self.thread {
            Some(thread) => with(run_out(thread, &USUAL), false),
            None if self.is_reamed() => with(Length::from_mm(REAMER_LEAD), false),
            None => with(Length::ZERO, false),
        };
        Some(match (&self.thread, deepest) {
            (Some(thread), Some(deepest)) if usual.bottom() > deepest => {
                with(run_out(thread, &SHORT), true)
            }
            _ => usual,
        })
    }
}

/// What a machine reamer's bevel lead leaves under size at the bottom: 2 mm. Common practice, no source.
const REAMER_LEAD: Decimal = Decimal::TWO;

/// Pitch and run-out of a blind tapped hole below the full thread, to the shoulder of the drill, in hundredths of a
/// millimetre: DIN 76-1, e1, usual, from memory. About five pitches in small threads and four and a half in large ones.
const USUAL: [(i64, i64); 12] = [
    (50, 280),
    (70, 380),
    (80, 420),
    (100, 510),
    (125, 620),
    (150, 730),
    (175, 830),
    (200, 930),
    (250, 1120),
    (300, 1310),
    (350, 1520),
    (400, 1680),
];

/// The same with a bottoming tap: DIN 76-1, e2, short, from memory.
const SHORT: [(i64, i64); 12] = [
    (50, 180),
    (70, 240),
    (80, 270),
    (100, 320),
    (125, 390),
    (150, 460),
    (175, 520),
    (200, 580),
    (250, 700),
    (300, 820),
    (350, 950),
    (400, 1050),
];

/// The run-out of a pitch, to the next tenth: between two lines of the table in proportion, beyond its ends by the pitch.
fn run_out(thread: &Thread, table: &[(i64, i64)]) -> Length {
    let pitch = thread.pitch().mm();
    let mm = |hundredths: i64| Decimal::new(hundredths, 2);
    let below = table.iter().rfind(|(p, _)| mm(*p) <= pitch);
    let above = table.iter().find(|(p, _)| mm(*p) >= pitch);
    let exact = match (below, above) {
        (Some(&(p, e)), Some(&(q, _))) if p == q => mm(e),
        (Some(&(p, e)), Some(&(q, f))) => {
            mm(e) + (pitch - mm(p)) / (mm(q) - mm(p)) * (mm(f) - mm(e))
        }
        (Some(&(p, e)), None) | (None, Some(&(p, e))) => pitch / mm(p) * mm(e),
        (None, None) => Decimal::ZERO,
    };
    up_to_tenth(exact)
}

fn up_to_tenth(mm: Decimal) -> Length {
    let tenths = mm.round_dp_with_strategy(1, RoundingStrategy::AwayFromZero);
    Length::from_mm(tenths.normalize())
}

/// How far a 118° point reaches below the full diameter, to the next tenth: D/(2·tan 59°) = 0.3004·D.
fn point(drill: Length) -> Length {
    up_to_tenth(drill.mm() * Decimal::new(30043, 5))
}

/// Largest size of a range in millimetres, and what the drill is undersize by before the reamer, in hundredths of a
/// millimetre: the middle of the undersizes 0.1 to 0.2 up to 5 mm, 0.2 to 0.3 to 20, 0.3 to 0.5 to 50 and 0.5 to 1 above
/// (eventexam.blogspot.com, "Under sizes of reaming").
const UNDERSIZE: [(i64, i64); 4] = [(5, 15), (20, 25), (50, 40), (i64::MAX, 75)];

/// A twist drill cuts 0.05 mm over its size, whatever its diameter (the same source).
const DRILL_OVERSIZE: Decimal = Decimal::from_parts(5, 0, 0, false, 2);

/// The drill before a reamer: the size less the undersize for its range and less what a drill cuts over, to the tenth
/// below. A starting point: the reamer maker's allowance goes before it.
///
/// ```
/// use borewright::castings::before_reamer;
/// assert_eq!(before_reamer("12".parse()?).diameter, "11.7".parse()?);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[must_use]
pub fn before_reamer(size: Length) -> FirstDrill {
    let undersize = UNDERSIZE
        .iter()
        .find(|(largest, _)| size.mm() <= Decimal::from(*largest))
        .map_or(Decimal::ZERO, |(_, undersize)| Decimal::new(*undersize, 2));
    let exact = size.mm() - undersize - DRILL_OVERSIZE;
    let drill = exact.round_dp_with_strategy(1, RoundingStrategy::ToZero);
    FirstDrill {
        diameter: Length::from_mm(drill.normalize()),
        rule: format!("{} mm left for the reamer", (size.mm() - drill).normalize()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::castings::samples::{fitted, length, plain, tapped};

    fn blind(feature: Feature, depth: &str) -> Feature {
        Feature {
            depth: Some(length(depth)),
            ..feature
        }
    }

    /// M10 with 24 mm of full thread: 7.3 mm of run-out (DIN 76-1, from memory) and the point of an 8.5 mm drill,
    /// 8.5 / (2 tan 59°) = 2.554 mm.
    #[test]
    fn a_tapped_hole_is_deeper_than_its_thread() {
        let hole = blind(tapped("M10"), "24");
        let depths = hole.depths(None).unwrap();
        assert_eq!(depths.shoulder(), length("31.3"));
        assert_eq!(depths.bottom(), length("33.9"));
        assert!(!depths.short);
        let tight = hole.depths(Some(length("32"))).unwrap();
        assert!(tight.short, "only a bottoming tap fits");
        assert_eq!(tight.bottom(), length("31.2"));
        assert_eq!(tapped("M10").depths(None), None, "through");
        // The usual run-out stays wherever there is metal for it: 33.9 mm deep is just enough.
        let run_out = |deepest: &str| hole.depths(Some(length(deepest))).unwrap().run_out;
        assert_eq!(run_out("50"), length("7.3"));
        assert_eq!(run_out("33.9"), length("7.3"));
        assert_eq!(run_out("33.8"), length("4.6"));
    }

    /// Between the lines of the table by proportion: 28 threads to the inch is 0.907 mm, between 4.2 for 0.8 and 5.1 for 1.
    #[test]
    fn other_pitches_are_between_the_lines_of_the_table() {
        let run_out = |thread| blind(tapped(thread), "20").depths(None).unwrap().run_out;
        assert_eq!(run_out("G 1/8"), length("4.7"));
        assert_eq!(run_out("M6"), length("5.1"));
        assert_eq!(run_out("M64x6"), length("25.2"), "six pitches of 4.2 each");
    }

    #[test]
    fn a_reamer_is_left_its_allowance_and_room_for_its_lead() {
        for (size, drill) in [
            ("4", "3.8"),
            ("12", "11.7"),
            ("20", "19.7"),
            ("25", "24.5"),
            ("60", "59.2"),
        ] {
            assert_eq!(
                before_reamer(length(size)).diameter,
                length(drill),
                "{size}"
            );
        }
        let dowel = blind(fitted("12", "H7"), "22");
        assert!(dowel.is_reamed());
        let plain_fitted = Feature {
            kind: FeatureKind::PlainHole,
            ..fitted("12", "H8")
        };
        let drill = |feature: &Feature| feature.first_drill().unwrap().diameter;
        assert_eq!(drill(&plain_fitted), length("11.7"));
        assert_eq!(drill(&plain("12")), length("12"), "no fit, no reamer");
        // 22 + 2 + 11.7 × 0.30043 = 27.515
        assert_eq!(dowel.depths(None).unwrap().bottom(), length("27.6"));
    }

    #[test]
    fn a_drilled_hole_has_a_point_and_a_bored_one_a_floor() {
        let drilled = blind(plain("10"), "30").depths(None).unwrap();
        assert_eq!(drilled.bottom(), length("33.1"));
        let bored = Feature {
            kind: FeatureKind::Register,
            ..blind(plain("120"), "12")
        };
        assert_eq!(bored.depths(None).unwrap().bottom(), length("12"));
        assert_eq!(bored.first_drill(), None);
    }
}
