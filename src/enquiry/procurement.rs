//! Where the casting of an option comes from, and what procuring it takes in one future.

use crate::sourcing::hunt::{GIVE_UP_AFTER, Spent};
use crate::sourcing::{Good, Hunt};
use rand::Rng;

/// Where the casting comes from.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Procurement {
    /// The customer brings it. If it fails, the job ends there.
    Brought,
    /// A particular one is on offer and bought for the customer. If it fails, the job ends there.
    Offered {
        /// Days until it is in the shop and inspected.
        days: u32,
    },
    /// From the shelf, at the shop's risk; once the shelf is empty, another is looked for, if anything is known of its
    /// market.
    Shelf {
        /// How many there are.
        free: u32,
        /// Whether one is good.
        good: Good,
        /// What replaces the last of them.
        then: Option<Hunt>,
    },
    /// Searched for and bought for the customer.
    Hunt(Hunt),
}

/// What procuring took in one future.
#[derive(Debug, Default)]
pub(super) struct Procured {
    /// Days until work can start; `None` when never.
    pub(super) days: Option<f64>,
    /// Castings that failed the inspection first.
    pub(super) failed: u32,
    /// What was spent on finding one; for a shelf, on one to replace the last of it.
    pub(super) spent: Option<Spent>,
    /// Castings of the shelf that were not used up after all, since the shelf was empty before: their price is not spent.
    pub(super) replaced: u32,
}

impl Procurement {
    /// Draws one future.
    pub(super) fn sample(&self, rng: &mut impl Rng) -> Procured {
        match self {
            Self::Brought => Procured {
                days: Some(0.0),
                ..Procured::default()
            },
            Self::Offered { days } => Procured {
                days: Some(f64::from(*days)),
                ..Procured::default()
            },
            Self::Shelf { free, good, then } => from_shelf(*free, good, then.as_ref(), rng),
            Self::Hunt(hunt) => {
                let future = hunt.sample(rng);
                Procured {
                    days: future.days,
                    failed: future.failed,
                    spent: Some(future.spent),
                    replaced: 0,
                }
            }
        }
    }
}

/// As in a hunt, the shop gives up after so many bad ones; nothing is delivered then.
fn from_shelf(free: u32, good: &Good, then: Option<&Hunt>, rng: &mut impl Rng) -> Procured {
    let bad = good.sample_failures(GIVE_UP_AFTER, rng);
    if bad < free && bad <= GIVE_UP_AFTER {
        return Procured {
            days: Some(0.0),
            failed: bad,
            ..Procured::default()
        };
    }
    let failed = free.min(GIVE_UP_AFTER);
    match then {
        Some(hunt) if free <= GIVE_UP_AFTER => {
            let future = hunt.sample(rng);
            Procured {
                days: future.days,
                failed: failed.saturating_add(future.failed),
                spent: Some(future.spent),
                replaced: future.failed.saturating_add(1),
            }
        }
        // Nothing replaces the last: the price and the day hold if one of them is good, and are drawn given that.
        None if free > 0 => Procured {
            days: Some(0.0),
            failed: failures_given_one_is_good(free, good, rng),
            ..Procured::default()
        },
        _ => Procured {
            failed,
            ..Procured::default()
        },
    }
}

/// How many fail before a good one, given that one of so many is good; by drawing again.
fn failures_given_one_is_good(free: u32, good: &Good, rng: &mut impl Rng) -> u32 {
    /// Past this, hardly any is ever good, and all but the last are taken to have failed.
    const MOST_DRAWS: u32 = 200;
    let last = free.min(GIVE_UP_AFTER).saturating_sub(1);
    (0..MOST_DRAWS)
        .map(|_| good.sample_failures(last, rng))
        .find(|failed| *failed <= last)
        .unwrap_or(last)
}
