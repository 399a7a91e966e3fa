//! The cam tunnel, its bushes, and the lifter bores.

use super::main_line::straightness;
use super::{CamSizes, Judgement, LineFinding, Part, Purpose, Quantity, range, spread};
use crate::units::Length;
use serde::{Deserialize, Serialize};

/// The readings of one cam bearing.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct CamBearing {
    /// Diameters of the tunnel without its bush: upright, and across.
    pub tunnel: [Option<Length>; 2],
    /// Diameters of the bush when it is in: upright, and across.
    pub bush: [Option<Length>; 2],
    /// How far the centre is off a straight line through all of them: upwards, and to the right seen from the rear.
    pub off: [Option<Length>; 2],
}

/// The readings of one lifter bore.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Lifter {
    /// Diameters near the top and near the bottom: along the crankshaft, and across it.
    pub at: [[Option<Length>; 2]; 2],
}

/// The readings of the cam tunnel and the lifter bores.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct CamAndLifters {
    /// Each cam bearing, from the front.
    pub bearings: Vec<CamBearing>,
    /// Each lifter bore, from the front.
    pub lifters: Vec<Lifter>,
}

/// What the readings of one bore say.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct RoundFinding {
    /// Smallest reading.
    pub smallest: Option<Length>,
    /// Largest reading.
    pub largest: Option<Length>,
    /// The largest difference along the bore in one direction; `None` where it is measured at one place.
    pub taper: Option<Length>,
    /// The largest difference of the two directions at one place.
    pub ovality: Option<Length>,
}

impl RoundFinding {
    fn of(at: &[[Option<Length>; 2]]) -> Self {
        let ends = range(at.iter().flatten());
        let along = |way| spread(at.iter().filter_map(move |pair| pair.get(way)));
        Self {
            smallest: ends.map(|(low, _)| low),
            largest: ends.map(|(_, high)| high),
            taper: (0..2).filter_map(along).max(),
            ovality: at.iter().filter_map(spread).max(),
        }
    }
}

/// What the cam tunnel, the bushes and the lifter bores say.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct CamFinding {
    /// Each tunnel bore.
    pub tunnel: Vec<RoundFinding>,
    /// Each bush.
    pub bushes: Vec<RoundFinding>,
    /// Each lifter bore.
    pub lifters: Vec<RoundFinding>,
    /// How straight the line of the bearings is, up and down and sideways.
    pub line: [Option<LineFinding>; 2],
}

/// What one group of bores is held against.
struct Limits {
    part: Part,
    ovality: Option<Length>,
    taper: Option<Length>,
}

impl CamAndLifters {
    /// Every field, bearing by bearing, then lifter by lifter.
    pub(super) fn fields(&mut self) -> Vec<(String, &mut Option<Length>)> {
        let bearings = self.bearings.iter_mut().enumerate();
        let bearings = bearings.flat_map(|(at, bearing)| {
            let sorts = [
                ("tunnel", &mut bearing.tunnel),
                ("bush", &mut bearing.bush),
                ("camline", &mut bearing.off),
            ];
            sorts.into_iter().flat_map(move |(name, pair)| {
                let pair = pair.iter_mut().enumerate();
                pair.map(move |(way, one)| (format!("{name}-{at}-{way}"), one))
            })
        });
        let lifters = self.lifters.iter_mut().enumerate();
        let lifters = lifters.flat_map(|(at, lifter)| {
            let ends = lifter.at.iter_mut().enumerate();
            ends.flat_map(move |(end, pair)| {
                let pair = pair.iter_mut().enumerate();
                pair.map(move |(way, one)| (format!("lifter-{at}-{end}-{way}"), one))
            })
        });
        bearings.chain(lifters).collect()
    }

    /// What it says.
    #[must_use]
    pub fn findings(&self) -> CamFinding {
        let one = |pair: &[Option<Length>; 2]| RoundFinding::of(std::slice::from_ref(pair));
        CamFinding {
            tunnel: self.bearings.iter().map(|b| one(&b.tunnel)).collect(),
            bushes: self.bearings.iter().map(|b| one(&b.bush)).collect(),
            lifters: (self.lifters.iter().map(|l| RoundFinding::of(&l.at))).collect(),
            line: straightness(self.bearings.iter().map(|b| &b.off)),
        }
    }

    /// Against the limits. Tunnel, bushes, alignment and lifter bores may each be left out whole; then their limits are
    /// nobody's question, but something must have been measured. As they came, bushes and lifter bores may be worn so much;
    /// when finished, they are held against their sizes.
    #[must_use]
    pub fn judgement(&self, sizes: &CamSizes, purpose: Purpose) -> Judgement {
        let found = self.findings();
        let mut judged = Judgement::default();
        let finished = purpose == Purpose::Finished;
        let over = |size: Option<Length>, by: Option<Length>| size.zip(by).map(|(a, b)| a + b);
        let tunnel = |at: usize| {
            let size = size_at(&sizes.tunnel, at);
            (size, over(size, sizes.tunnel_tolerance))
        };
        let bush = |at: usize| {
            let size = size_at(&sizes.bush, at);
            let may_be_over = match finished {
                true => sizes.bush_tolerance,
                false => sizes.bush_wear,
            };
            (size, over(size, may_be_over))
        };
        let lifter = |_: usize| match finished {
            true => (sizes.lifter_smallest, sizes.lifter_largest),
            false => {
                let smallest = sizes.lifter_smallest;
                (smallest, over(smallest, sizes.lifter_wear))
            }
        };
        let round = |part| Limits {
            part,
            ovality: sizes.ovality,
            taper: None,
        };
        let lifters = Limits {
            part: Part::Lifter,
            ovality: sizes.lifter_ovality,
            taper: sizes.lifter_taper,
        };
        let all = [
            hold(&mut judged, &found.tunnel, &round(Part::Tunnel), tunnel),
            hold(&mut judged, &found.bushes, &round(Part::Bush), bush),
            hold(&mut judged, &found.lifters, &lifters, lifter),
        ];
        let mut readings = self.clone();
        readings.drop_whole_groups();
        let off = self
            .bearings
            .iter()
            .flat_map(|b| &b.off)
            .any(Option::is_some);
        if off {
            for line in found.line {
                let (step, whole) = (line.map(|l| l.step), line.map(|l| l.straightness));
                judged.at_most(Quantity::Step, None, step, sizes.step);
                judged.at_most(Quantity::Straightness, None, whole, sizes.line);
            }
        }
        let begun = all.iter().any(|measured| *measured) || off;
        if !begun || readings.fields().iter().any(|(_, value)| value.is_none()) {
            judged.lacks(Quantity::Reading);
        }
        judged
    }

    /// Leaves only what was begun, so that an empty field left is a reading that is missing.
    fn drop_whole_groups(&mut self) {
        type Side = fn(&mut CamBearing) -> &mut [Option<Length>; 2];
        let filled = Some(Length::ZERO);
        let sides: [Side; 3] = [|b| &mut b.tunnel, |b| &mut b.bush, |b| &mut b.off];
        for side in sides {
            let mut all = self.bearings.iter_mut().flat_map(|b| *side(b));
            if all.all(|one| one.is_none()) {
                self.bearings
                    .iter_mut()
                    .for_each(|b| *side(b) = [filled; 2]);
            }
        }
        if self
            .lifters
            .iter()
            .flat_map(|l| l.at.iter().flatten())
            .all(Option::is_none)
        {
            self.lifters.clear();
        }
    }
}

/// The size of one bearing: its own, or the one for all.
fn size_at(sizes: &[Length], at: usize) -> Option<Length> {
    match sizes {
        [one] => Some(*one),
        all => all.get(at).copied(),
    }
}

/// Holds a group of bores against its limits, if any of it was measured; whether it was.
fn hold(
    judged: &mut Judgement,
    found: &[RoundFinding],
    limits: &Limits,
    size: impl Fn(usize) -> (Option<Length>, Option<Length>),
) -> bool {
    if found.iter().all(|one| one.smallest.is_none()) {
        return false;
    }
    for (at, one) in found.iter().enumerate() {
        let number = Some(at + 1);
        let (least, most) = size(at);
        let mut this = Judgement::default();
        this.at_least(Quantity::Smallest, number, one.smallest, least);
        this.at_most(Quantity::Largest, number, one.largest, most);
        this.at_most(Quantity::Ovality, number, one.ovality, limits.ovality);
        if limits.part == Part::Lifter {
            this.at_most(Quantity::Taper, number, one.taper, limits.taper);
        }
        judged.add(this.of(limits.part));
    }
    true
}
