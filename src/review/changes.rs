//! What to change, ranked by money: at month's end a shop can act on a few things, not on forty.

use super::variance::{Group, Label};
use rust_decimal::{Decimal, dec};

/// As many as one can act on.
pub const MOST: usize = 5;

/// Something to change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Change {
    /// An element took longer, or less long, than its standard.
    Standard {
        /// The element, or the setup.
        element: Label,
        /// Booked time over the standard, in per cent.
        percent: Decimal,
        /// What the difference cost; below nought it was saved.
        money: Decimal,
    },
    /// Hours cost more, or less, than quotes reckoned with.
    Rates {
        /// What the difference cost.
        money: Decimal,
    },
    /// Castings proved scrap.
    Scrap {
        /// What they cost.
        money: Decimal,
    },
}

impl Change {
    /// What it is about, in money; below nought it was saved.
    #[must_use]
    pub fn money(&self) -> Decimal {
        match self {
            Self::Standard { money, .. } | Self::Rates { money } | Self::Scrap { money } => *money,
        }
    }
}

/// The changes that are about most money, at most [`MOST`]; nothing under `least`. An element counts when at least two hours
/// were booked on it: less is chance.
#[must_use]
pub fn changes(elements: &[Group], rates: Decimal, scrap: Decimal, least: Decimal) -> Vec<Change> {
    let standards = elements.iter().filter_map(|group| {
        let figures = &group.figures;
        let (booked, allowed) = match figures.people_allowed > Decimal::ZERO {
            true => (figures.people, figures.people_allowed),
            false => (figures.machine, figures.machine_allowed),
        };
        (allowed > Decimal::ZERO && booked >= dec!(120)).then(|| Change::Standard {
            element: group.label.clone(),
            percent: (booked / allowed * Decimal::ONE_HUNDRED).round(),
            money: figures.efficiency(),
        })
    });
    let mut all: Vec<Change> = standards
        .chain([
            Change::Rates { money: rates },
            Change::Scrap { money: scrap },
        ])
        .filter(|change| change.money().abs() >= least)
        .collect();
    all.sort_by_key(|change| std::cmp::Reverse(change.money().abs()));
    all.truncate(MOST);
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::variance::Figures;

    #[test]
    fn the_dearest_come_first_and_little_ones_not_at_all() {
        let group = |name: &str, booked: i64, allowed: i64| Group {
            label: Label {
                key: name.to_owned(),
                name: name.to_owned(),
            },
            figures: Figures::of(booked.into(), dec!(60), allowed.into(), dec!(60)),
        };
        let elements = [
            group("hone", 700, 600),
            group("bore", 400, 600),
            // Much over, and an hour in all.
            group("plug", 60, 10),
            group("wash", 601, 600),
        ];
        let found = changes(&elements, dec!(45), Decimal::ZERO, dec!(20));
        let told: Vec<Decimal> = found.iter().map(Change::money).collect();
        assert_eq!(told, [dec!(-200), dec!(100), dec!(45)]);
        assert!(matches!(&found[0], Change::Standard { percent, .. } if *percent == dec!(67)));
        assert!(changes(&elements, dec!(45), dec!(410), dec!(5_000)).is_empty());
    }
}
