//! The deck: its height above the main line, how flat it is, and how the pistons stand to it.

use super::{DeckSizes, Judgement, Part, Quantity, range, spread};
use crate::units::Length;
use serde::{Deserialize, Serialize};

/// Where a straightedge is laid, with feelers under it.
pub const FLAT_LINES: [&str; 5] = [
    "along, left",
    "along, right",
    "front left to rear right",
    "front right to rear left",
    "across",
];

/// The readings of a deck.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Deck {
    /// Heights above the centre of the main line at the front, between the cylinders and at the rear: left and right, seen
    /// from the rear.
    pub heights: Vec<[Option<Length>; 2]>,
    /// Along each of [`FLAT_LINES`]: the thickest feeler that enters within the stated length, and anywhere.
    pub flat: [[Option<Length>; 2]; 5],
    /// How far each piston stands above the deck at top dead centre; below it, less than nought. Only with pistons in.
    pub pistons: Vec<Option<Length>>,
    /// Roughness Ra where it is worst.
    pub finish: Option<Length>,
}

/// What a deck says.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct DeckFinding {
    /// The lowest height.
    pub lowest: Option<Length>,
    /// The highest.
    pub highest: Option<Length>,
    /// The largest difference along one side: parallelism to the main line (ISO 1101, parallelism of a surface to a datum
    /// line), from these points.
    pub along: Option<Length>,
    /// The largest difference from side to side.
    pub across: Option<Length>,
    /// The thickest feeler within the stated length.
    pub flat_step: Option<Length>,
    /// The thickest feeler anywhere. A straightedge shows the straightness of lines, of which flatness (ISO 1101) is at
    /// least the worst.
    pub flat: Option<Length>,
    /// The least clearance from a piston to a flat head, with the gasket pressed.
    pub clearance: Option<Length>,
    /// What may still come off before the least height is reached; less than nought where it is below.
    pub spare: Option<Length>,
    /// The height after facing: the lowest place less the allowance.
    pub faced: Option<Length>,
    /// How far the highest piston would stand above the faced deck, measured from the highest corner of its cylinder.
    pub piston_after: Option<Length>,
    /// Against the limits.
    pub judgement: Judgement,
}

impl DeckFinding {
    /// Whether it has to be faced: it leans or is not flat.
    #[must_use]
    pub fn wants_facing(&self) -> bool {
        let wants = [
            Quantity::Along,
            Quantity::Across,
            Quantity::FlatStep,
            Quantity::Flat,
        ];
        self.judgement
            .outside
            .iter()
            .any(|outside| wants.contains(&outside.what))
    }
}

impl Deck {
    /// An empty table.
    #[must_use]
    pub fn blank(cylinders: usize) -> Self {
        Self {
            heights: vec![[None; 2]; cylinders + 1],
            flat: [[None; 2]; 5],
            pistons: vec![None; cylinders],
            finish: None,
        }
    }

    /// Every field: heights, flatness, pistons, surface finish.
    pub(super) fn fields(&mut self) -> Vec<(String, &mut Option<Length>)> {
        let heights = self.heights.iter_mut().enumerate();
        let heights = heights.flat_map(|(at, pair)| {
            let pair = pair.iter_mut().enumerate();
            pair.map(move |(side, one)| (format!("height-{at}-{side}"), one))
        });
        let flat = self.flat.iter_mut().enumerate();
        let flat = flat.flat_map(|(at, pair)| {
            let pair = pair.iter_mut().enumerate();
            pair.map(move |(which, one)| (format!("flat-{at}-{which}"), one))
        });
        let pistons = self.pistons.iter_mut().enumerate();
        let pistons = pistons.map(|(at, one)| (format!("piston-{at}"), one));
        let finish = std::iter::once(("deck-finish".to_owned(), &mut self.finish));
        heights.chain(flat).chain(pistons).chain(finish).collect()
    }

    /// What it says. Heights, flatness, pistons and surface finish may each be left out whole; then their limits are nobody's question,
    /// but something must have been measured.
    #[must_use]
    pub fn findings(&self, sizes: &DeckSizes) -> DeckFinding {
        let ends = range(self.heights.iter().flatten());
        let column = |which: usize| range(self.flat.iter().filter_map(move |pair| pair.get(which)));
        let lowest = ends.map(|(low, _)| low);
        let faced = lowest.zip(sizes.clean_up).map(|(low, cut)| low - cut);
        let highest_piston = range(&self.pistons).map(|(_, high)| high);
        let mut found = DeckFinding {
            lowest,
            highest: ends.map(|(_, high)| high),
            along: (0..2)
                .filter_map(|side| spread(self.heights.iter().filter_map(|pair| pair.get(side))))
                .max(),
            across: self.heights.iter().filter_map(spread).max(),
            flat_step: column(0).map(|(_, most)| most),
            flat: column(1).map(|(_, most)| most),
            clearance: sizes
                .gasket
                .zip(highest_piston)
                .map(|(gasket, piston)| gasket - piston),
            spare: lowest.zip(sizes.least).map(|(low, least)| low - least),
            faced,
            piston_after: faced.and_then(|faced| self.piston_after(faced)),
            judgement: Judgement::default(),
        };
        found.judgement = self.judgement(&found, sizes);
        found
    }

    /// Facing to a height brings a piston up by what is cut above its cylinder.
    fn piston_after(&self, faced: Length) -> Option<Length> {
        let corners = self.heights.iter().zip(self.heights.iter().skip(1));
        self.pistons
            .iter()
            .zip(corners)
            .filter_map(|(piston, (before, behind))| {
                let (_, high) = range(before.iter().chain(behind))?;
                Some((*piston)? + (high - faced))
            })
            .max()
    }

    fn judgement(&self, found: &DeckFinding, sizes: &DeckSizes) -> Judgement {
        let mut judged = Judgement::default();
        let some = |mut all: std::slice::Iter<'_, [Option<Length>; 2]>| {
            all.any(|p| p.iter().any(Option::is_some))
        };
        let every = |mut all: std::slice::Iter<'_, [Option<Length>; 2]>| {
            all.all(|p| p.iter().all(Option::is_some))
        };
        let (heights, flat) = (some(self.heights.iter()), some(self.flat.iter()));
        let pistons = self.pistons.iter().any(Option::is_some);
        if heights {
            if !every(self.heights.iter()) {
                judged.lacks(Quantity::Reading);
            }
            judged.at_least(Quantity::Height, None, found.lowest, sizes.least);
            judged.at_most(Quantity::Along, None, found.along, sizes.along);
            judged.at_most(Quantity::Across, None, found.across, sizes.across);
        }
        if flat {
            let anywhere = self
                .flat
                .iter()
                .all(|pair| pair.iter().skip(1).all(Option::is_some));
            if !anywhere || found.flat_step.is_none() {
                judged.lacks(Quantity::Reading);
            }
            judged.at_most(Quantity::FlatStep, None, found.flat_step, sizes.flat_step);
            judged.at_most(Quantity::Flat, None, found.flat, sizes.flat);
        }
        if pistons {
            for (at, piston) in self.pistons.iter().enumerate() {
                let number = Some(at + 1);
                judged.at_least(Quantity::Protrusion, number, *piston, sizes.piston_lowest);
                judged.at_most(Quantity::Protrusion, number, *piston, sizes.piston_highest);
            }
            if sizes.clearance.is_some() && sizes.gasket.is_some() {
                judged.at_least(Quantity::Clearance, None, found.clearance, sizes.clearance);
            }
        }
        if self.finish.is_some() {
            let limits = (sizes.finish_least, sizes.finish_most);
            judged.if_asked(Quantity::Finish, None, self.finish, limits);
        }
        if !heights && !flat && !pistons && self.finish.is_none() {
            judged.lacks(Quantity::Reading);
        }
        judged.of(Part::Cylinder)
    }
}
