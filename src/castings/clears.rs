//! Whether making a new feature removes all trace of the old one, so that the work is a rework and not a repair.
//!
//! The old feature is taken as the cylinder of metal that is already gone, the new one as the cylinder that its
//! drill, reamer or cutter will take. The old is cleared when the new cylinder holds the whole of it. Trade
//! facts here are common practice, no source, unless a standard is named.
//!
//! | old | new | clears? | why |
//! | --- | --- | --- | --- |
//! | plain 8, 30 deep | plain 10, 30 deep | yes | the drill takes all of the old wall |
//! | plain 8, 30 deep | plain 10, 25 deep | no | 5 mm of the old hole is left below |
//! | plain 8, through | tapped M12 (tap drill 10.2) | yes | full thread all round; the drilled hole below a thread may go on |
//! | plain 11 | tapped M12 | no | the thread would be shallow |
//! | M10 | M12 | yes | the tap drill 10.2 takes the old thread, major diameter 10 |
//! | M12×1.75 | M12×1.25 | no | the old grooves would cut through the new thread |
//! | M10, 20 deep | M10, 25 deep | yes | the same thread carried on |
//! | plain 8 at (0, 0) | plain 12 at (2, 0) | yes | 2 + 4 ≤ 6: the old hole lies wholly inside |
//! | plain 8 at (0, 0) | plain 12 at (2.1, 0) | no | a sliver of the old wall is left |
//! | 20 H7 | 20 H8 | yes | every hole within H7 (to +0.021) can be opened to one within H8 (to +0.033) |
//! | 20 H7 | 20, no fit | yes | what is there will do |
//! | 20, no fit | 20 H7 | no | a drilled hole runs over size; there may be nothing left to ream |
//! | 20 H8 | 20 H7 | no | the old hole may already be larger than H7 allows |
//! | 4 holes alike | 6 holes alike | yes | the same four, and two more |
//! | 6 holes alike | 4 holes alike | no | two would be left open |

use super::Feature;
use crate::units::Thread;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// What would still show of the old feature when the new one is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, thiserror::Error)]
#[serde(rename_all = "snake_case")]
pub enum Trace {
    /// The old one is wider than what the new one takes away at the same centre.
    #[error("the old one is as wide or wider")]
    Wider,
    /// The old one goes deeper.
    #[error("the old one goes deeper")]
    Deeper,
    /// The new centre is elsewhere and does not take in the whole of the old.
    #[error("the old one stands at another centre and would break into the new")]
    Moved,
    /// The old one may already be larger than the new fit allows.
    #[error("the old one may already be larger than the new fit allows")]
    Fit,
    /// There are fewer of the new, so some of the old are left open.
    #[error("there were more of the old, and some would be left open")]
    Fewer,
}

impl Feature {
    /// Whether making this feature removes all trace of `old`: see the table at the head of [`crate::castings::clears`].
    #[must_use]
    pub fn clears(&self, old: &Self) -> bool {
        self.trace_of(old).is_none()
    }

    /// What would still show of `old` once this feature is made; `None` when it clears.
    ///
    /// Exact: distances are compared by their squares, so no root is taken and nothing is rounded.
    #[must_use]
    pub fn trace_of(&self, old: &Self) -> Option<Trace> {
        if self.count < old.count {
            return Some(Trace::Fewer);
        }
        let same_centre = self.same_centre(old);
        if same_centre
            && let Some((new, old)) = self.thread.as_ref().zip(old.thread.as_ref())
            && same_form(new, old)
        {
            // A tolerance class other than the old one may already be exceeded.
            if !new.class().is_empty() && new.class() != old.class() {
                return Some(Trace::Fit);
            }
        } else {
            let taken = self.diameter_taken();
            let gone = self.diameter_gone(old);
            if taken < gone {
                let same_nominal = same_centre && self.size == old.size;
                return Some(
                    if same_nominal && self.thread.is_none() && old.thread.is_none() {
                        Trace::Fit
                    } else {
                        Trace::Wider
                    },
                );
            }
            let needs_fit = self.fit.is_some() && old.fit.is_none() && old.thread.is_none();
            if same_centre && needs_fit && self.size == old.size {
                return Some(Trace::Fit);
            }
            if !same_centre && !self.encloses(old, taken - gone) {
                return Some(Trace::Moved);
            }
        }
        let depth_matters = self.thread.is_none() || old.thread.is_some();
        if depth_matters && !reaches(self, old) {
            return Some(Trace::Deeper);
        }
        None
    }

    /// Whether the distance between the centres is within the difference of the radii, given the difference of the
    /// diameters: (2·distance)² ≤ (difference of diameters)².
    fn encloses(&self, old: &Self, diameters: Decimal) -> bool {
        let square = |value: Decimal| value.checked_mul(value);
        let Some((new, old)) = self.at.zip(old.at) else {
            return true;
        };
        let across = square(new.x.mm() - old.x.mm());
        let up = square(new.y.mm() - old.y.mm());
        let distance = across.zip(up).and_then(|(a, u)| a.checked_add(u));
        match (
            distance.and_then(|d| d.checked_mul(Decimal::from(4))),
            square(diameters),
        ) {
            (Some(four_distance), Some(allowed)) => four_distance <= allowed,
            _ => false,
        }
    }

    /// The diameter the cutter takes before a thread is cut, or the largest hole the fit allows, in mm.
    fn diameter_taken(&self) -> Decimal {
        match &self.thread {
            Some(thread) => thread.tap_drill().diameter.mm(),
            None => self.upper_limit(),
        }
    }

    /// The diameter within which metal of `old` may be gone already, in mm: a thread counts to its major diameter, a
    /// fitted hole to its upper limit where a fit is wanted again; where none is, the nominal size will do.
    fn diameter_gone(&self, old: &Self) -> Decimal {
        let plain_will_do = self.thread.is_none() && self.fit.is_none();
        if old.thread.is_some() || plain_will_do {
            old.size.mm()
        } else {
            old.upper_limit()
        }
    }

    /// The upper limit of size where a fit is given (ISO 286-1), else the nominal size, in mm.
    fn upper_limit(&self) -> Decimal {
        self.fit
            .and_then(|fit| fit.limits(self.size).ok())
            .map_or(self.size, |limits| limits.upper)
            .mm()
    }
}

/// Whether a tap for one runs in the other, whatever their tolerance classes.
fn same_form(a: &Thread, b: &Thread) -> bool {
    a.series() == b.series()
        && a.takes_insert() == b.takes_insert()
        && a.major_diameter() == b.major_diameter()
        && a.pitch() == b.pitch()
}

/// Whether the new feature is at least as deep as the old.
fn reaches(new: &Feature, old: &Feature) -> bool {
    match (new.depth, old.depth) {
        (None, _) => true,
        (Some(_), None) => false,
        (Some(new), Some(old)) => new >= old,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::castings::samples::{at, fitted, length, plain, tapped};
    use crate::castings::{FeatureKind, Point};
    use crate::units::Length;
    use proptest::prelude::*;

    /// Every line of the table at the head of this file.
    #[test]
    fn the_table_is_true() {
        let deep = |feature: Feature, depth: &str| Feature {
            depth: Some(length(depth)),
            ..feature
        };
        let alike = |feature: Feature, count: u32| Feature { count, ..feature };
        for (old, new, trace) in [
            (deep(plain("8"), "30"), deep(plain("10"), "30"), None),
            (
                deep(plain("8"), "30"),
                deep(plain("10"), "25"),
                Some(Trace::Deeper),
            ),
            (plain("8"), deep(plain("10"), "25"), Some(Trace::Deeper)),
            (plain("8"), deep(tapped("M12"), "20"), None),
            (plain("11"), tapped("M12"), Some(Trace::Wider)),
            (tapped("M10"), tapped("M12"), None),
            (tapped("M10"), plain("10"), None),
            (tapped("M10"), plain("9"), Some(Trace::Wider)),
            (tapped("M12x1.75"), tapped("M12x1.25"), Some(Trace::Wider)),
            (deep(tapped("M10"), "20"), deep(tapped("M10"), "25"), None),
            (
                deep(tapped("M10"), "25"),
                deep(tapped("M10"), "20"),
                Some(Trace::Deeper),
            ),
            (plain("8"), at(plain("12"), "2", "0"), None),
            (plain("8"), at(plain("12"), "2.1", "0"), Some(Trace::Moved)),
            (plain("8"), at(plain("12"), "1.2", "1.6"), None),
            // The same apart, far from the datum.
            (
                at(plain("8"), "100", "60"),
                at(plain("12"), "101.2", "61.6"),
                None,
            ),
            // Of one pitch, but the old thread is wider.
            (tapped("M10x1"), tapped("M8x1"), Some(Trace::Wider)),
            // The same thread: a class is only in doubt where another is asked for.
            (tapped("M10-6H"), tapped("M10-6H"), None),
            (tapped("M10-6H"), tapped("M10"), None),
            (tapped("M10-6H"), tapped("M10-5H"), Some(Trace::Fit)),
            (fitted("20", "H7"), fitted("20", "H8"), None),
            (fitted("20", "H7"), plain("20"), None),
            (plain("20"), fitted("20", "H7"), Some(Trace::Fit)),
            (fitted("20", "H8"), fitted("20", "H7"), Some(Trace::Fit)),
            (alike(plain("8"), 4), alike(plain("8"), 6), None),
            (
                alike(plain("8"), 6),
                alike(plain("8"), 4),
                Some(Trace::Fewer),
            ),
        ] {
            assert_eq!(new.trace_of(&old), trace, "{old:?}\n→ {new:?}");
        }
    }

    /// An oil passage opened out from 8 mm and tapped G 1/4: the drill before that tap is 11.8 mm
    /// (the usual drill for BSP parallel), so nothing of the old wall is left.
    #[test]
    fn an_oil_passage_can_be_opened_out_and_tapped() {
        let plugged = Feature {
            depth: Some(length("14")),
            ..tapped("G 1/4")
        };
        assert!(plugged.clears(&plain("8")));
    }

    fn any_plain() -> impl Strategy<Value = Feature> {
        let kinds = [
            FeatureKind::PlainHole,
            FeatureKind::Bore,
            FeatureKind::Counterbore,
        ];
        (
            proptest::sample::select(kinds.to_vec()),
            0..4i64,
            0..4i64,
            1..14u32,
            proptest::option::of(1..4i64),
            1..3u32,
        )
            .prop_map(|(kind, x, y, size, depth, count)| Feature {
                kind,
                at: Some(Point {
                    x: Length::from_mm(Decimal::from(x)),
                    y: Length::from_mm(Decimal::from(y)),
                }),
                depth: depth.map(|depth| Length::from_mm(Decimal::from(depth))),
                count,
                ..plain(&size.to_string())
            })
    }

    fn any_feature() -> impl Strategy<Value = Feature> {
        let thread = proptest::sample::select(vec![
            "M6", "M8", "M10", "M10x1.25", "M12", "1/2 UNC", "G 1/4", "3/8 BSW",
        ]);
        let threaded = (thread, any_plain()).prop_map(|(thread, place)| Feature {
            at: place.at,
            depth: place.depth,
            count: place.count,
            ..tapped(thread)
        });
        let fit = proptest::sample::select(vec!["H6", "H7", "H8", "G7"]);
        let reamed = (fit, any_plain()).prop_map(|(fit, place)| Feature {
            fit: fitted("10", fit).fit,
            ..place
        });
        prop_oneof![any_plain(), threaded, reamed]
    }

    proptest! {
        /// What is there already clears itself: asking for the same work never calls for a repair.
        #[test]
        fn a_feature_clears_itself(feature in any_feature()) {
            prop_assert!(feature.clears(&feature));
        }

        /// Among plain cylinders, clearing twice is clearing: a cylinder within one within a third.
        #[test]
        fn clearing_plain_cylinders_is_transitive(a in any_plain(), b in any_plain(), c in any_plain()) {
            if b.clears(&a) && c.clears(&b) {
                prop_assert!(c.clears(&a));
            }
        }

        /// Against the root that the code avoids.
        #[test]
        fn an_enclosed_hole_is_cleared(old in any_plain(), new in any_plain()) {
            let (to, from) = new.at.zip(old.at).unwrap();
            let distance = (to.x.mm_f64() - from.x.mm_f64()).hypot(to.y.mm_f64() - from.y.mm_f64());
            let margin = new.size.mm_f64() / 2.0 - old.size.mm_f64() / 2.0 - distance;
            prop_assume!(margin.abs() > 1e-9);
            let through = |feature: Feature| Feature { depth: None, count: 1, ..feature };
            prop_assert_eq!(through(new).clears(&through(old)), margin > 0.0);
        }
    }
}
