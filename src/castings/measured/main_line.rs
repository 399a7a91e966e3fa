//! The main line: size, taper and ovality of each housing with its cap at torque, and whether they stand in one line.

use super::{HousingSizes, Judgement, Part, Quantity, range, rounded, spread};
use crate::units::Length;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// The readings of one main bearing housing.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Housing {
    /// Diameters near the front edge and near the rear edge: upright (square to the joint of the cap), and as near to the
    /// joint as the gauge clears it.
    pub at: [[Option<Length>; 2]; 2],
    /// How far its centre is off a straight line that goes through all of them, as a bar, a wire or a laser shows:
    /// upwards, and to the right seen from the rear. Where the line lies does not matter.
    pub off: [Option<Length>; 2],
    /// Its cap: what has been faced off its joint in all, and how tight it sits in its register, the width of the cap less
    /// that of the register, below nought where it is loose. Each is measured where somebody asks for it.
    pub cap: [Option<Length>; 2],
}

/// The readings of all housings.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct MainLine {
    /// Each housing, from the front.
    pub housings: Vec<Housing>,
    /// Width over the thrust faces of the housing that takes the thrust.
    pub thrust: Option<Length>,
}

/// What one housing says.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct HousingFinding {
    /// Smallest reading.
    pub smallest: Option<Length>,
    /// Largest reading.
    pub largest: Option<Length>,
    /// The largest difference from the front to the rear edge in one direction.
    pub taper: Option<Length>,
    /// The largest difference of the two directions at one edge.
    pub ovality: Option<Length>,
    /// What was faced off the cap, and its fit in the register.
    pub cap: [Option<Length>; 2],
}

/// How straight the line is in one direction.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct LineFinding {
    /// The largest difference of two neighbours, measured from the line through the first and the last.
    pub step: Length,
    /// Straightness: the least distance between two parallel lines that hold all centres between them.
    pub straightness: Length,
}

impl MainLine {
    /// Every field, housing by housing.
    pub(super) fn fields(&mut self) -> Vec<(String, &mut Option<Length>)> {
        let housings = self.housings.iter_mut().enumerate();
        housings
            .flat_map(|(at, housing)| {
                let sizes = housing
                    .at
                    .iter_mut()
                    .enumerate()
                    .flat_map(move |(edge, pair)| {
                        let pair = pair.iter_mut().enumerate();
                        pair.map(move |(way, one)| (format!("main-{at}-{edge}-{way}"), one))
                    });
                let off = housing.off.iter_mut().enumerate();
                let off = off.map(move |(way, one)| (format!("main-{at}-off-{way}"), one));
                let cap = housing.cap.iter_mut().enumerate();
                let cap = cap.map(move |(way, one)| (format!("main-{at}-cap-{way}"), one));
                sizes.chain(off).chain(cap)
            })
            .chain(std::iter::once(("thrust".to_owned(), &mut self.thrust)))
            .collect()
    }

    /// What each housing says.
    #[must_use]
    pub fn findings(&self) -> Vec<HousingFinding> {
        self.housings.iter().map(Housing::finding).collect()
    }

    /// How straight the line is, up and down and sideways; `None` where not every housing was measured.
    ///
    /// Straightness is that of ISO 1101 for the line of the centres in one plane, with reference lines of the minimum zone
    /// (ISO 12780-1, from memory): of all slopes the one is taken at which the deviations lie closest together; it is the
    /// slope of a line through two of the points. The housings are taken to be evenly spaced.
    #[must_use]
    pub fn line(&self) -> [Option<LineFinding>; 2] {
        straightness(self.housings.iter().map(|housing| &housing.off))
    }

    /// Against the limits. Alignment that was not measured at all is missing where a limit is set for it, and else is
    /// nobody's question.
    #[must_use]
    pub fn judgement(&self, sizes: &HousingSizes) -> Judgement {
        let mut judged = Judgement::default();
        for (at, housing) in self.housings.iter().enumerate() {
            let number = Some(at + 1);
            let found = housing.finding();
            if housing.at.iter().flatten().any(Option::is_none) {
                judged.lacks(Quantity::Reading);
            }
            judged.at_least(Quantity::Smallest, number, found.smallest, sizes.smallest);
            judged.at_most(Quantity::Largest, number, found.largest, sizes.largest);
            judged.at_most(Quantity::Taper, number, found.taper, sizes.taper);
            judged.at_most(Quantity::Ovality, number, found.ovality, sizes.ovality);
            let [faced, tight] = found.cap;
            // A cap that nobody faced is nobody's question.
            let was_faced = faced.is_some_and(|off| off > Length::ZERO);
            if was_faced || faced.is_some() && sizes.faced.is_some() {
                judged.at_most(Quantity::CapFaced, number, faced, sizes.faced);
            }
            let limits = (sizes.register_least, sizes.register_most);
            judged.if_asked(Quantity::Register, number, tight, limits);
        }
        let wanted = sizes.step.is_some() || sizes.line.is_some();
        let mut judged = judged.of(Part::Main);
        if self.thrust.is_some() {
            let limits = (sizes.thrust_least, sizes.thrust_most);
            judged.if_asked(Quantity::Thrust, None, self.thrust, limits);
        }
        for found in self.line() {
            if found.is_some() || wanted {
                let (step, whole) = (found.map(|f| f.step), found.map(|f| f.straightness));
                judged.at_most(Quantity::Step, None, step, sizes.step);
                judged.at_most(Quantity::Straightness, None, whole, sizes.line);
            }
        }
        judged
    }
}

impl Housing {
    fn finding(&self) -> HousingFinding {
        let ends = range(self.at.iter().flatten());
        HousingFinding {
            smallest: ends.map(|(low, _)| low),
            largest: ends.map(|(_, high)| high),
            taper: (0..2)
                .filter_map(|way| spread(self.at.iter().filter_map(|pair| pair.get(way))))
                .max(),
            ovality: self.at.iter().filter_map(spread).max(),
            cap: self.cap,
        }
    }
}

/// How straight a line of centres is in each direction; `None` where not every one was measured.
pub(super) fn straightness<'a>(
    off: impl Iterator<Item = &'a [Option<Length>; 2]> + Clone,
) -> [Option<LineFinding>; 2] {
    [0, 1].map(|way| {
        let off: Option<Vec<Decimal>> = off
            .clone()
            .map(|pair| pair.get(way).copied().flatten().map(|off| off.mm()))
            .collect();
        off.filter(|off| off.len() > 1).map(|off| straight(&off))
    })
}

fn straight(off: &[Decimal]) -> LineFinding {
    let points: Vec<(Decimal, Decimal)> = (0_u32..)
        .map(Decimal::from)
        .zip(off.iter().copied())
        .collect();
    let slopes = points.iter().enumerate().flat_map(|(at, (x, y))| {
        let later = points.iter().skip(at + 1);
        later.map(move |(next_x, next_y)| (next_y - y) / (next_x - x))
    });
    let least = slopes
        .map(|slope| {
            let from_line = points.iter().map(|(x, y)| y - slope * x);
            let (low, high) = from_line.fold((Decimal::MAX, Decimal::MIN), |(low, high), one| {
                (low.min(one), high.max(one))
            });
            high.saturating_sub(low)
        })
        .min()
        .unwrap_or_default();
    let slope = match (points.first(), points.last()) {
        (Some((x, y)), Some((last_x, last_y))) if last_x > x => (last_y - y) / (last_x - x),
        _ => Decimal::ZERO,
    };
    let step = points
        .iter()
        .zip(points.iter().skip(1))
        .map(|((_, y), (_, next))| (next - y - slope).abs())
        .max()
        .unwrap_or_default();
    LineFinding {
        step: rounded(step),
        straightness: rounded(least),
    }
}
