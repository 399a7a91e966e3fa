//! The crankshaft: size, taper, ovality and run-out of its journals, and the next undersize to which they clean up.

use super::{CrankSizes, JournalSizes, Judgement, Part, Purpose, Quantity, Verdict, range, spread};
use crate::units::Length;
use serde::{Deserialize, Serialize};

/// The readings of one journal, a main or a big-end pin.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Journal {
    /// Diameters near the front and near the rear fillet: in line with the throw, and across it.
    pub at: [[Option<Length>; 2]; 2],
    /// Run-out, the whole swing of the indicator, with the shaft turned on its end mains; mains only. Nought where it
    /// rests.
    pub run_out: Option<Length>,
}

/// The readings of a crankshaft.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Crankshaft {
    /// What the mains are under standard now, or were ground to; nought for standard.
    pub under_mains: Length,
    /// The same of the big-end pins.
    pub under_pins: Length,
    /// Each main journal, from the front.
    pub mains: Vec<Journal>,
    /// Each big-end pin, from the front.
    pub pins: Vec<Journal>,
    /// Width between the thrust faces of its journal.
    pub thrust: Option<Length>,
}

/// What one journal says.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct JournalFinding {
    /// Smallest reading.
    pub smallest: Option<Length>,
    /// Largest reading.
    pub largest: Option<Length>,
    /// The largest size when new, at the present undersize, less the smallest reading.
    pub wear: Option<Length>,
    /// The largest difference along the journal in one direction.
    pub taper: Option<Length>,
    /// The largest difference of the two directions at one end.
    pub ovality: Option<Length>,
    /// The whole swing of the indicator.
    pub run_out: Option<Length>,
    /// The next undersize of the list to which this journal cleans up.
    pub next: Option<Length>,
}

/// What a set of journals needs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Grind {
    /// Nothing: within the limits for wear, taper and ovality. Or none of them was measured.
    None,
    /// Grind them all to one undersize, because bearings come in sets (common practice, no source). Under standard.
    To(Length),
    /// No undersize of the list is enough for these, counted from one.
    TooSmall(Vec<usize>),
    /// Not to be said: readings or sizes are missing.
    Unknown,
}

/// What a crankshaft needs as it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CrankRemedy {
    /// The mains.
    pub mains: Grind,
    /// The big-end pins.
    pub pins: Grind,
    /// Whether a main runs out more than it may: the shaft is bent.
    pub bent: bool,
}

impl Crankshaft {
    /// Every field, journal by journal.
    pub(super) fn fields(&mut self) -> Vec<(String, &mut Option<Length>)> {
        let mains = self.mains.iter_mut().enumerate();
        let mains = mains.flat_map(|(at, journal)| {
            let run_out = (format!("journal-{at}-run"), &mut journal.run_out);
            diameters("journal", at, &mut journal.at)
                .into_iter()
                .chain(std::iter::once(run_out))
        });
        let pins = self.pins.iter_mut().enumerate();
        let pins = pins.flat_map(|(at, pin)| diameters("pin", at, &mut pin.at));
        let thrust = std::iter::once(("thrust".to_owned(), &mut self.thrust));
        mains.chain(pins).chain(thrust).collect()
    }

    /// What the mains and the pins say.
    #[must_use]
    pub fn findings(&self, sizes: &CrankSizes) -> [Vec<JournalFinding>; 2] {
        let each = |all: &[Journal], sizes: &JournalSizes, under: Length| {
            let journals = all.iter().map(|one| one.finding(sizes, under));
            journals.collect()
        };
        [
            each(&self.mains, &sizes.mains, self.under_mains),
            each(&self.pins, &sizes.pins, self.under_pins),
        ]
    }

    /// Against the limits: as it came, wear, taper, ovality and run-out; when finished, the size at the undersize instead of
    /// the wear. Mains and pins may each be left out whole, but something must have been measured.
    #[must_use]
    pub fn judgement(&self, sizes: &CrankSizes, purpose: Purpose) -> Judgement {
        let mut judged = Judgement::default();
        let (mains, pins) = (measured(&self.mains), measured(&self.pins));
        if mains {
            for (at, main) in self.mains.iter().enumerate() {
                let number = at + 1;
                let mut one = main.judgement(&sizes.mains, self.under_mains, purpose, number);
                let most = sizes.run_out;
                one.if_asked(Quantity::RunOut, Some(number), main.run_out, (None, most));
                judged.add(one.of(Part::Main));
            }
        }
        if pins {
            for (at, pin) in self.pins.iter().enumerate() {
                let one = pin.judgement(&sizes.pins, self.under_pins, purpose, at + 1);
                judged.add(one.of(Part::Pin));
            }
        }
        if self.thrust.is_some() {
            let limits = (sizes.thrust_least, sizes.thrust_most);
            judged.if_asked(Quantity::Thrust, None, self.thrust, limits);
        }
        if !mains && !pins && self.thrust.is_none() {
            judged.lacks(Quantity::Reading);
        }
        judged
    }

    /// What it needs as it is.
    #[must_use]
    pub fn remedy(&self, sizes: &CrankSizes) -> CrankRemedy {
        let outside = |most: Length| {
            let swings = self.mains.iter().filter_map(|main| main.run_out);
            swings.max().is_some_and(|swing| swing > most)
        };
        CrankRemedy {
            mains: grind(&self.mains, &sizes.mains, self.under_mains),
            pins: grind(&self.pins, &sizes.pins, self.under_pins),
            bent: sizes.run_out.is_some_and(outside),
        }
    }
}

fn diameters<'a>(
    prefix: &str,
    at: usize,
    journal: &'a mut [[Option<Length>; 2]; 2],
) -> Vec<(String, &'a mut Option<Length>)> {
    let ends = journal.iter_mut().enumerate();
    ends.flat_map(|(end, pair)| {
        let pair = pair.iter_mut().enumerate();
        pair.map(move |(way, one)| (format!("{prefix}-{at}-{end}-{way}"), one))
    })
    .collect()
}

/// Whether any of them was measured.
fn measured(journals: &[Journal]) -> bool {
    let readings = |one: &Journal| one.run_out.is_some() || one.readings().any(Option::is_some);
    journals.iter().any(readings)
}

fn grind(journals: &[Journal], sizes: &JournalSizes, under: Length) -> Grind {
    if !measured(journals) {
        return Grind::None;
    }
    let mut to: Option<Length> = None;
    let mut too_small = Vec::new();
    for (at, journal) in journals.iter().enumerate() {
        let judged = journal.judgement(sizes, under, Purpose::Inspection, at + 1);
        match judged.verdict() {
            Verdict::Within => continue,
            Verdict::Outside if !judged.missing.contains(&Quantity::Reading) => {}
            Verdict::Outside | Verdict::Open => return Grind::Unknown,
        }
        if sizes.largest.is_none() || sizes.clean_up.is_none() || sizes.undersizes.is_empty() {
            return Grind::Unknown;
        }
        match journal.next(sizes, under) {
            None => too_small.push(at + 1),
            next => to = to.max(next),
        }
    }
    match (to, too_small.is_empty()) {
        (_, false) => Grind::TooSmall(too_small),
        (None, true) => Grind::None,
        (Some(to), true) => Grind::To(to),
    }
}

impl Journal {
    fn readings(&self) -> impl Iterator<Item = &Option<Length>> {
        self.at.iter().flatten()
    }

    fn finding(&self, sizes: &JournalSizes, under: Length) -> JournalFinding {
        let ends = range(self.readings());
        let smallest = ends.map(|(low, _)| low);
        let new = sizes.largest.map(|largest| largest - under);
        JournalFinding {
            smallest,
            largest: ends.map(|(_, high)| high),
            wear: new.zip(smallest).map(|(new, smallest)| new - smallest),
            taper: (0..2)
                .filter_map(|way| spread(self.at.iter().filter_map(|pair| pair.get(way))))
                .max(),
            ovality: self.at.iter().filter_map(spread).max(),
            run_out: self.run_out,
            next: self.next(sizes, under),
        }
    }

    /// The smallest undersize of the list, beyond the present one, whose largest size is at most what is left of the journal
    /// after cleaning up.
    ///
    /// It is ground about the axis of the shaft. A journal of diameter d that runs out by t has its centre t/2 off that
    /// axis, and the largest circle about the axis that lies within it has the diameter d − 2·(t/2) = d − t (plane geometry).
    fn next(&self, sizes: &JournalSizes, under: Length) -> Option<Length> {
        let (smallest, _) = range(self.readings())?;
        let (standard, clean_up) = sizes.largest.zip(sizes.clean_up)?;
        let left = smallest - self.run_out.unwrap_or_default() - clean_up;
        let mut beyond = sizes.undersizes.iter().filter(|next| **next > under);
        beyond.find(|next| standard - **next <= left).copied()
    }

    /// Everything but the run-out.
    fn judgement(
        &self,
        sizes: &JournalSizes,
        under: Length,
        purpose: Purpose,
        number: usize,
    ) -> Judgement {
        let found = self.finding(sizes, under);
        let number = Some(number);
        let mut judged = Judgement::default();
        if self.readings().any(Option::is_none) {
            judged.lacks(Quantity::Reading);
        }
        match purpose {
            Purpose::Inspection => {
                // Without the size when new there is nothing to hold it against.
                let limit = sizes.wear.filter(|_| sizes.largest.is_some());
                let wear = found.wear.or(found.smallest);
                judged.at_most(Quantity::Wear, number, wear, limit);
            }
            Purpose::Finished => {
                let least = sizes.smallest.map(|size| size - under);
                let most = sizes.largest.map(|size| size - under);
                judged.at_least(Quantity::Smallest, number, found.smallest, least);
                judged.at_most(Quantity::Largest, number, found.largest, most);
            }
        }
        judged.at_most(Quantity::Taper, number, found.taper, sizes.taper);
        judged.at_most(Quantity::Ovality, number, found.ovality, sizes.ovality);
        judged
    }
}
