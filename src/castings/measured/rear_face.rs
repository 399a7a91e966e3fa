//! The rear face with the adaptor or the gearbox housing on: run-out of face and bore, the offset dowels that bring the
//! bore true, and how the dowels fit.

use super::{Judgement, Part, Quantity, RearSizes, range, rounded, spread};
use crate::units::{Length, Limits};
use rust_decimal::{Decimal, MathematicalOps};
use serde::{Deserialize, Serialize};

/// Where the indicator is read, seen from the rear.
pub const CLOCK: [&str; 4] = ["12 o’clock", "3 o’clock", "6 o’clock", "9 o’clock"];

/// A dowel and its hole.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct DowelFit {
    /// Diameters of the hole, two ways.
    pub hole: [Option<Length>; 2],
    /// Diameters of the dowel, two ways.
    pub pin: [Option<Length>; 2],
}

/// The readings. The indicator turns with the crankshaft and reads more where its tip is pushed in.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct RearFace {
    /// On the face, at each of [`CLOCK`].
    pub face: [Option<Length>; 4],
    /// In the bore, at each of [`CLOCK`].
    pub bore: [Option<Length>; 4],
    /// The two dowels.
    pub dowels: [DowelFit; 2],
}

/// How far the bore is off the axis of the crankshaft.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Offset {
    /// Upwards.
    pub up: Length,
    /// To the right, seen from the rear.
    pub right: Length,
    /// The distance of the two axes: half the run-out.
    pub distance: Length,
}

/// Offset dowels that bring the bore nearest to true.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OffsetDowels {
    /// How far the two ends of a dowel are off one another.
    pub offset: Length,
    /// The run-out that is left, the whole swing.
    pub left: Length,
}

/// What the rear face says.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RearFinding {
    /// The whole swing on the face.
    pub face: Option<Length>,
    /// The whole swing in the bore: twice the distance of the axes, or what was read where that is more.
    pub bore: Option<Length>,
    /// How far the bore is off.
    pub off: Option<Offset>,
    /// The difference of the bore's two diameters that the readings show.
    pub ovality: Option<Length>,
    /// The dowels of the list that would leave the least.
    pub dowels: Option<OffsetDowels>,
    /// For each dowel, how much larger it is than its hole: the least and the most; below nought it is loose.
    pub interference: [Option<(Length, Length)>; 2],
}

impl Offset {
    /// The direction in which it lies, as an hour of the clock from 1 to 12, seen from the rear.
    #[must_use]
    pub fn hour(&self) -> u32 {
        clock_hour(self.up.mm(), self.right.mm())
    }

    /// The direction in which the housing has to move.
    #[must_use]
    pub fn hour_back(&self) -> u32 {
        clock_hour(-self.up.mm(), -self.right.mm())
    }
}

/// The hour whose direction lies nearest: of all twelve unit vectors the one with the largest scalar product. In steps of
/// 30°, with sin and cos as they are tabulated.
fn clock_hour(up: Decimal, right: Decimal) -> u32 {
    let half = Decimal::new(5, 1);
    let root = Decimal::new(866_025_404, 9);
    let (one, none) = (Decimal::ONE, Decimal::ZERO);
    // From 12 o'clock on: the cosine of each hour; the sine is that of three hours before.
    let cosines = [
        one, root, half, none, -half, -root, -one, -root, -half, none, half, root,
    ];
    let along = |hour: usize| {
        let at = |hour: usize| cosines.get(hour % 12).copied().unwrap_or_default();
        up * at(hour) + right * at(hour + 9)
    };
    let best = (0..12).max_by_key(|hour| (along(*hour), std::cmp::Reverse(*hour)));
    match best.and_then(|hour| u32::try_from(hour).ok()) {
        None | Some(0) => 12,
        Some(hour) => hour,
    }
}

impl RearFace {
    /// Every field: the face, the bore, then the dowels.
    pub(super) fn fields(&mut self) -> Vec<(String, &mut Option<Length>)> {
        let face = self.face.iter_mut().enumerate();
        let face = face.map(|(at, one)| (format!("face-{at}"), one));
        let bore = self.bore.iter_mut().enumerate();
        let bore = bore.map(|(at, one)| (format!("register-{at}"), one));
        let dowels = self.dowels.iter_mut().enumerate();
        let dowels = dowels.flat_map(|(at, dowel)| {
            let hole = dowel.hole.iter_mut().enumerate();
            let hole = hole.map(move |(way, one)| (format!("dowelhole-{at}-{way}"), one));
            let pin = dowel.pin.iter_mut().enumerate();
            hole.chain(pin.map(move |(way, one)| (format!("dowelpin-{at}-{way}"), one)))
        });
        face.chain(bore).chain(dowels).collect()
    }

    /// How far the bore is off the axis of the crankshaft.
    ///
    /// With the axes e apart, the wall of a round bore is R + e·cos φ from the axis of the shaft, φ counted from the direction
    /// of the offset (to first order, e small against R; plane geometry). The tip is pushed in by what the wall is nearer, so
    /// opposite readings differ by twice the offset along their line: up = (6 o'clock − 12 o'clock)/2,
    /// right = (9 o'clock − 3 o'clock)/2.
    #[must_use]
    pub fn off(&self) -> Option<Offset> {
        let [top, right, bottom, left] = self.bore.map(|one| one.map(|one| one.mm()));
        let up = (bottom? - top?) / Decimal::TWO;
        let sideways = (left? - right?) / Decimal::TWO;
        let distance = (up * up + sideways * sideways).sqrt()?;
        Some(Offset {
            up: rounded(up),
            right: rounded(sideways),
            distance: rounded(distance),
        })
    }

    /// What it says.
    #[must_use]
    pub fn findings(&self, sizes: &RearSizes) -> RearFinding {
        let off = self.off();
        let swing = off.map(|off| off.distance + off.distance);
        let sum = |one: usize, other: usize| {
            let at = |n: usize| self.bore.get(n).copied().flatten();
            Some(at(one)? + at(other)?)
        };
        RearFinding {
            face: every(&self.face).then(|| spread(&self.face)).flatten(),
            bore: swing
                .zip(spread(&self.bore))
                .map(|(swing, read)| swing.max(read)),
            off,
            ovality: sum(0, 2)
                .zip(sum(1, 3))
                .map(|(upright, across)| Length::from_mm((upright - across).mm().abs())),
            dowels: off.and_then(|off| off.dowels(&sizes.offsets)),
            interference: self.dowels.each_ref().map(DowelFit::interference),
        }
    }

    /// Against the limits. Face, bore and dowels may each be left out whole, but something must have been measured. An
    /// ovality of the bore as large as its run-out limit means that it was read wrong, or is not round: then nothing is said
    /// of the offset.
    #[must_use]
    pub fn judgement(&self, sizes: &RearSizes) -> Judgement {
        let found = self.findings(sizes);
        let mut judged = Judgement::default();
        let begun = |all: &[Option<Length>]| all.iter().any(Option::is_some);
        let (face, bore) = (begun(&self.face), begun(&self.bore));
        if face {
            judged.at_most(Quantity::FaceRunOut, None, found.face, sizes.face_run_out);
        }
        if bore {
            judged.at_most(Quantity::BoreRunOut, None, found.bore, sizes.bore_run_out);
            judged.at_most(Quantity::Ovality, None, found.ovality, sizes.bore_run_out);
        }
        let mut dowels = false;
        for (at, dowel) in self.dowels.iter().enumerate() {
            let number = Some(at + 1);
            let both = [
                (&dowel.hole, sizes.hole_limits(), Part::DowelHole),
                (&dowel.pin, sizes.pin_limits(), Part::Dowel),
            ];
            for (readings, limits, part) in both {
                if !begun(readings) {
                    continue;
                }
                dowels = true;
                let mut one = Judgement::default();
                if !every(readings) {
                    one.lacks(Quantity::Reading);
                }
                let (low, high) = (
                    range(readings).map(|(low, _)| low),
                    range(readings).map(|(_, high)| high),
                );
                let least = limits.map(|limits: Limits| limits.lower);
                let most = limits.map(|limits: Limits| limits.upper);
                one.at_least(Quantity::Smallest, number, low, least);
                one.at_most(Quantity::Largest, number, high, most);
                judged.add(one.of(part));
            }
        }
        if !face && !bore && !dowels {
            judged.lacks(Quantity::Reading);
        }
        judged
    }
}

fn every(readings: &[Option<Length>]) -> bool {
    readings.iter().all(Option::is_some)
}

impl Offset {
    /// The dowels of a list that leave the least run-out. Both turned so that the housing moves straight back towards the
    /// axis, an offset o leaves the axes |e − o| apart, so the swing that is left is twice that. `None` where every one of
    /// them would leave as much as there is now.
    fn dowels(&self, offsets: &[Length]) -> Option<OffsetDowels> {
        let left = |offset: Length| {
            let apart = (self.distance - offset).mm().abs();
            Length::from_mm(apart * Decimal::TWO)
        };
        let each = offsets.iter().map(|offset| OffsetDowels {
            offset: *offset,
            left: left(*offset),
        });
        let best = each.min_by_key(|dowels| (dowels.left, dowels.offset))?;
        (best.left < self.distance + self.distance).then_some(best)
    }
}

impl DowelFit {
    fn interference(&self) -> Option<(Length, Length)> {
        let ((hole_low, hole_high), (pin_low, pin_high)) = (range(&self.hole)?, range(&self.pin)?);
        Some((pin_low - hole_high, pin_high - hole_low))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::castings::measured::Verdict;

    fn mm(text: &str) -> Option<Length> {
        Some(text.parse().unwrap())
    }

    fn sizes() -> RearSizes {
        RearSizes {
            face_run_out: mm("0.15"),
            bore_run_out: mm("0.12"),
            offsets: ["0.0762", "0.127", "0.1778"]
                .iter()
                .filter_map(|one| mm(one))
                .collect(),
            dowel: mm("12"),
            hole_fit: "H7".parse().ok(),
            pin_fit: "m6".parse().ok(),
        }
    }

    fn dialled(bore: [&str; 4]) -> RearFace {
        RearFace {
            bore: bore.map(mm),
            ..RearFace::default()
        }
    }

    #[test]
    fn the_bore_is_off_by_half_the_swing_where_the_dial_reads_least() {
        // Off by 0.05 up and 0.0866 to the right, which is 0.1 towards 2 o'clock; the dial was set to 0 at the top.
        let record = dialled(["0", "-0.0366", "0.1", "0.1366"]);
        let found = record.findings(&sizes());
        let off = found.off.unwrap();
        assert_eq!((Some(off.up), Some(off.right)), (mm("0.05"), mm("0.0866")));
        assert_eq!(
            (Some(off.distance), off.hour(), off.hour_back()),
            (mm("0.1"), 2, 8)
        );
        assert_eq!(found.bore, mm("0.2"), "more than the 0.1732 that was read");
        assert_eq!(found.ovality, mm("0"));
        // 0.0762 leaves the axes 0.0238 apart, 0.127 leaves them 0.027 apart.
        let dowels = found.dowels.unwrap();
        assert_eq!(
            (Some(dowels.offset), Some(dowels.left)),
            (mm("0.0762"), mm("0.0476"))
        );
        let judged = record.judgement(&sizes());
        let said: Vec<_> = judged.outside.iter().map(|o| o.what).collect();
        assert_eq!(said, [Quantity::BoreRunOut]);
        for (bore, hour) in [
            (["-0.1", "0", "0.1", "0"], 12),
            (["0", "-0.1", "0", "0.1"], 3),
            (["0.1", "0", "-0.1", "0"], 6),
            (["0", "0.1", "0", "-0.1"], 9),
        ] {
            assert_eq!(dialled(bore).off().unwrap().hour(), hour);
        }
        // Within the limit nothing is to be done, and a dowel that moves it further off than it is helps nobody.
        let near = dialled(["0", "0", "0.02", "0"]);
        assert_eq!(near.findings(&sizes()).dowels, None);
        assert_eq!(near.judgement(&sizes()).verdict(), Verdict::Within);
    }

    #[test]
    fn opposite_readings_that_do_not_agree_say_that_the_bore_is_not_round() {
        let oval = dialled(["0", "0.1", "0", "0.1"]);
        let found = oval.findings(&sizes());
        assert_eq!((found.bore, found.ovality), (mm("0.1"), mm("0.2")));
        let judged = oval.judgement(&sizes());
        let said: Vec<_> = judged.outside.iter().map(|o| o.what).collect();
        assert_eq!(said, [Quantity::Ovality]);
        let half = RearFace {
            bore: [mm("0"), None, mm("0.02"), mm("0")],
            ..RearFace::default()
        };
        assert_eq!(half.judgement(&sizes()).verdict(), Verdict::Open);
    }

    #[test]
    fn a_dowel_and_its_hole_have_limits_of_their_own() {
        // 12 H7 is 0 to +18 µm, 12 m6 is +7 to +18 µm (ISO 286-2, from memory): 11 µm loose to 18 µm tight.
        assert_eq!(sizes().interference(), mm("-0.011").zip(mm("0.018")));
        let fit = |hole: &str, pin: &str| {
            let dowel = DowelFit {
                hole: [mm(hole); 2],
                pin: [mm(pin); 2],
            };
            let record = RearFace {
                dowels: [dowel, DowelFit::default()],
                ..RearFace::default()
            };
            let judged = record.judgement(&sizes());
            let said: Vec<_> = judged.outside.iter().map(|o| (o.part, o.what)).collect();
            (record.findings(&sizes()).interference[0], said)
        };
        assert_eq!(
            fit("12.01", "12.015"),
            (mm("0.005").zip(mm("0.005")), vec![])
        );
        assert_eq!(
            fit("12.019", "12.006").1,
            [
                (Part::DowelHole, Quantity::Largest),
                (Part::Dowel, Quantity::Smallest)
            ]
        );
    }
}
