//! Cylinders: wear, taper and ovality of each bore, the next oversize that cleans up, and the wall that is left.

use super::{BoreSizes, Judgement, Liner, Part, Purpose, Quantity, Verdict, range, spread};
use crate::units::Length;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// Where a bore is measured, from the deck down: below the ledge where the top ring turns, half-way, below the rings'
/// travel, where it is hardly worn (common practice, no source).
pub const HEIGHTS: [&str; 3] = ["top", "middle", "bottom"];

/// The readings of one bore.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Bore {
    /// Diameters at each of [`HEIGHTS`]: along the crankshaft, and across it.
    pub at: [[Option<Length>; 2]; 3],
    /// The thinnest wall, by ultrasonic thickness gauge, at the size the bore has now.
    pub wall: Option<Length>,
    /// Roughness Ra, in the middle of the rings' travel.
    pub finish: Option<Length>,
    /// How far it is out of square with the main line, over its length: the swing of an indicator on a square set on the
    /// mandrel, or of the bar between top and bottom.
    pub square: Option<Length>,
    /// How far the liner stands above the deck, clamped as the head clamps it, at each of [`LINER_PLACES`]; below it, less
    /// than nought.
    pub liner: [Option<Length>; 4],
}

/// Where the height of a liner is taken.
pub const LINER_PLACES: [&str; 4] = ["front", "rear", "left", "right"];

/// The readings of all bores.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Cylinders {
    /// What the bores are over standard now, or were finished to; nought for standard.
    pub over: Length,
    /// What stands in the bores; `None` where they are bored in the block itself.
    pub liner: Option<Liner>,
    /// Whether a torque plate was bolted on in place of the head when they were measured. A bore that was honed with one is
    /// round only with one on (common practice, no source).
    pub torque_plate: bool,
    /// Each bore, from the front.
    pub bores: Vec<Bore>,
}

/// What one bore says.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct BoreFinding {
    /// Smallest reading.
    pub smallest: Option<Length>,
    /// Largest reading.
    pub largest: Option<Length>,
    /// The largest reading over the smallest size when new, at the present oversize.
    pub wear: Option<Length>,
    /// The largest difference along the bore in one direction.
    pub taper: Option<Length>,
    /// The largest difference of the two directions at one height.
    pub ovality: Option<Length>,
    /// The next oversize of the list that cleans this bore up.
    pub next: Option<Oversize>,
}

/// A bore at an oversize.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Oversize {
    /// Over standard.
    pub over: Length,
    /// The one it takes if all the wear is on one side and the bore is cut on its old centre; `None` where none of the
    /// list is enough.
    pub on_old_centre: Option<Length>,
    /// The thinnest wall left, if the wall was measured.
    pub wall: Option<Length>,
}

/// What the cylinders need as they are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CylinderRemedy {
    /// Nothing: within the limits for wear, taper and ovality.
    None,
    /// Bore them all to one oversize, so that pistons weigh alike (common practice, no source), except those to be sleeved.
    Bore {
        /// Over standard.
        over: Length,
        /// Bores, counted from one, that no oversize cleans up or whose wall would be too thin.
        sleeve: Vec<usize>,
    },
    /// Sleeve these; the others need nothing.
    Sleeve(Vec<usize>),
    /// Not to be said: readings or sizes are missing.
    Unknown,
}

impl Cylinders {
    /// Every field, bore by bore.
    pub(super) fn fields(&mut self) -> Vec<(String, &mut Option<Length>)> {
        let has_liners = self.liner.is_some();
        let bores = self.bores.iter_mut().enumerate();
        bores
            .flat_map(|(at, bore)| {
                let sizes = bore
                    .at
                    .iter_mut()
                    .enumerate()
                    .flat_map(move |(height, pair)| {
                        let pair = pair.iter_mut().enumerate();
                        pair.map(move |(way, one)| (format!("bore-{at}-{height}-{way}"), one))
                    });
                let single = [
                    ("wall", &mut bore.wall),
                    ("finish", &mut bore.finish),
                    ("square", &mut bore.square),
                ];
                let single = single.map(|(name, one)| (format!("bore-{at}-{name}"), one));
                let liner = bore.liner.iter_mut().enumerate();
                let liner =
                    liner.map(move |(place, one)| (format!("bore-{at}-liner-{place}"), one));
                sizes.chain(single).chain(liner.filter(move |_| has_liners))
            })
            .collect()
    }

    /// What each bore says.
    #[must_use]
    pub fn findings(&self, sizes: &BoreSizes) -> Vec<BoreFinding> {
        self.bores
            .iter()
            .map(|bore| bore.finding(sizes, self.over))
            .collect()
    }

    /// Against the limits: as they came, wear, taper and ovality; when finished, the size at their oversize as well, and
    /// the wall that is left.
    #[must_use]
    pub fn judgement(&self, sizes: &BoreSizes, purpose: Purpose) -> Judgement {
        let mut all = Judgement::default();
        for (at, bore) in self.bores.iter().enumerate() {
            let mut one = bore.judgement(sizes, self.over, purpose, at + 1);
            bore.besides(&mut one, sizes, purpose, at + 1);
            all.add(one.of(Part::Bore));
        }
        if sizes.torque_plate && purpose == Purpose::Finished && !self.torque_plate {
            all.lacks(Quantity::TorquePlate);
        }
        self.liners(&mut all, sizes, purpose);
        all
    }

    /// Holds the heights of the liners against their limits, where they were measured or the work is finished. The difference
    /// is that of any two readings round one liner, and of the mean heights of neighbours (common practice, no source).
    fn liners(&self, judged: &mut Judgement, sizes: &BoreSizes, purpose: Purpose) {
        let begun = self
            .bores
            .iter()
            .flat_map(|b| &b.liner)
            .any(Option::is_some);
        let wanted = purpose == Purpose::Finished
            && (sizes.liner_lowest.is_some() || sizes.liner_highest.is_some());
        if self.liner.is_none() || !(begun || wanted) {
            return;
        }
        let mut means: Vec<Option<Decimal>> = Vec::new();
        for (at, bore) in self.bores.iter().enumerate() {
            let mut one = Judgement::default();
            let number = Some(at + 1);
            let ends = range(&bore.liner);
            let (lowest, highest) = (ends.map(|(low, _)| low), ends.map(|(_, high)| high));
            if bore.liner.iter().any(Option::is_none) {
                one.lacks(Quantity::Reading);
            }
            one.at_least(Quantity::Liner, number, lowest, sizes.liner_lowest);
            one.at_most(Quantity::Liner, number, highest, sizes.liner_highest);
            let around = spread(&bore.liner);
            one.if_asked(
                Quantity::LinerStep,
                number,
                around,
                (None, sizes.liner_step),
            );
            judged.add(one.of(Part::Bore));
            let all: Option<Vec<Decimal>> = bore
                .liner
                .iter()
                .map(|one| one.map(|one| one.mm()))
                .collect();
            means.push(all.map(|all| all.iter().sum::<Decimal>() / Decimal::from(4)));
        }
        let steps = means
            .iter()
            .zip(means.iter().skip(1))
            .filter_map(|(one, next)| {
                let step = ((*one)? - (*next)?).abs();
                Some(super::rounded(step))
            });
        let largest = steps.max();
        if largest.is_some() {
            judged.at_most(Quantity::LinerStep, None, largest, sizes.liner_step);
        }
    }

    /// What they need as they are.
    #[must_use]
    pub fn remedy(&self, sizes: &BoreSizes) -> CylinderRemedy {
        let mut over: Option<Length> = None;
        let mut sleeve = Vec::new();
        for (at, (bore, found)) in self.bores.iter().zip(self.findings(sizes)).enumerate() {
            let judged = bore.judgement(sizes, self.over, Purpose::Inspection, at + 1);
            match judged.verdict() {
                Verdict::Within => continue,
                Verdict::Outside if !judged.missing.contains(&Quantity::Reading) => {}
                Verdict::Outside | Verdict::Open => return CylinderRemedy::Unknown,
            }
            if sizes.smallest.is_none() || sizes.clean_up.is_none() || sizes.oversizes.is_empty() {
                return CylinderRemedy::Unknown;
            }
            match found.next {
                None => sleeve.push(at + 1),
                Some(next) => over = over.max(Some(next.over)),
            }
        }
        match (over, sleeve.is_empty()) {
            (None, true) => CylinderRemedy::None,
            (None, false) => CylinderRemedy::Sleeve(sleeve),
            (Some(over), _) => {
                // The worst bore decides for all, so a thin wall elsewhere counts at that size.
                for (at, bore) in self.bores.iter().enumerate() {
                    if bore.too_thin(sizes, over) && !sleeve.contains(&(at + 1)) {
                        sleeve.push(at + 1);
                    }
                }
                sleeve.sort_unstable();
                if sleeve.len() == self.bores.len() {
                    CylinderRemedy::Sleeve(sleeve)
                } else {
                    CylinderRemedy::Bore { over, sleeve }
                }
            }
        }
    }
}

impl Bore {
    fn readings(&self) -> impl Iterator<Item = &Option<Length>> {
        self.at.iter().flatten()
    }

    fn finding(&self, sizes: &BoreSizes, over: Length) -> BoreFinding {
        let ends = range(self.readings());
        let largest = ends.map(|(_, high)| high);
        let new = sizes.smallest.map(|smallest| smallest + over);
        BoreFinding {
            smallest: ends.map(|(low, _)| low),
            largest,
            wear: largest.zip(new).map(|(largest, new)| largest - new),
            taper: (0..2)
                .filter_map(|way| spread(self.at.iter().filter_map(|pair| pair.get(way))))
                .max(),
            ovality: self.at.iter().filter_map(spread).max(),
            next: self.next(sizes, over),
        }
    }

    /// The smallest oversize of the list, above the present one, whose smallest size is at least the largest reading and
    /// the allowance, and which leaves wall enough where the wall was measured. On its old centre, with all the wear w on
    /// one side, the cut must reach d + w, which is the largest reading and once more the wear.
    fn next(&self, sizes: &BoreSizes, over: Length) -> Option<Oversize> {
        let (_, largest) = range(self.readings())?;
        let (standard, clean_up) = sizes.smallest.zip(sizes.clean_up)?;
        let wear = largest - (standard + over);
        let first = |reach: Length| {
            let above = sizes.oversizes.iter().filter(|next| **next > over);
            let mut enough = above.filter(|next| standard + **next >= reach);
            enough.find(|next| !self.too_thin(sizes, **next)).copied()
        };
        let next = first(largest + clean_up)?;
        Some(Oversize {
            over: next,
            on_old_centre: first(largest + wear + clean_up),
            wall: self.wall_at(sizes, next),
        })
    }

    /// The thinnest wall left at an oversize: half of what the diameter grows by, from the smallest reading, goes from
    /// each wall.
    fn wall_at(&self, sizes: &BoreSizes, over: Length) -> Option<Length> {
        let (smallest, _) = range(self.readings())?;
        let finished = sizes.largest.or(sizes.smallest)? + over;
        let cut = (finished - smallest).mm() / Decimal::TWO;
        Some(super::rounded(self.wall?.mm() - cut))
    }

    fn too_thin(&self, sizes: &BoreSizes, over: Length) -> bool {
        let left = self.wall_at(sizes, over).zip(sizes.wall);
        left.is_some_and(|(left, least)| left < least)
    }

    /// What does not decide about boring: squareness, and of finished work the surface.
    fn besides(&self, judged: &mut Judgement, sizes: &BoreSizes, purpose: Purpose, number: usize) {
        let finished = purpose == Purpose::Finished;
        if finished || self.square.is_some() {
            judged.if_asked(
                Quantity::Square,
                Some(number),
                self.square,
                (None, sizes.square),
            );
        }
        if finished {
            let limits = (sizes.finish_least, sizes.finish_most);
            judged.if_asked(Quantity::Finish, Some(number), self.finish, limits);
        }
    }

    fn judgement(
        &self,
        sizes: &BoreSizes,
        over: Length,
        purpose: Purpose,
        number: usize,
    ) -> Judgement {
        let found = self.finding(sizes, over);
        let mut judged = Judgement::default();
        if self.readings().any(Option::is_none) {
            judged.lacks(Quantity::Reading);
        }
        let number = Some(number);
        match purpose {
            Purpose::Inspection => {
                // Without the size when new there is nothing to hold it against.
                let limit = sizes.wear.filter(|_| sizes.smallest.is_some());
                let wear = found.wear.or(found.largest);
                judged.at_most(Quantity::Wear, number, wear, limit);
            }
            Purpose::Finished => {
                let least = sizes.smallest.map(|size| size + over);
                let most = sizes.largest.map(|size| size + over);
                judged.at_least(Quantity::Smallest, number, found.smallest, least);
                judged.at_most(Quantity::Largest, number, found.largest, most);
                if self.wall.is_some() {
                    judged.at_least(Quantity::Wall, number, self.wall, sizes.wall);
                }
            }
        }
        judged.at_most(Quantity::Taper, number, found.taper, sizes.taper);
        judged.at_most(Quantity::Ovality, number, found.ovality, sizes.ovality);
        judged
    }
}
