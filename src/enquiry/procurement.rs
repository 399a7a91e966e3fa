//! Where the casting of an option comes from, and what procuring it takes in one future.

use crate::estimating::futures::CostSampler;
use crate::sourcing::Hunt;
use crate::sourcing::hunt::{GIVE_UP_AFTER, Spent};
use rand::Rng;

/// Where the casting comes from.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Procurement {
    /// The caller brings it. If it fails, the job ends there.
    Brought,
    /// From the shelf; once the shelf is empty, another is looked for, if anything is known of its market.
    Shelf {
        /// How many there are.
        free: u32,
        /// What replaces the last of them.
        then: Option<Hunt>,
    },
    /// Found and bought.
    Hunt(Hunt),
}

/// What procuring took in one future.
pub(super) struct Procured {
    /// Days until work can start; `None` when never.
    pub(super) days: Option<f64>,
    /// Castings that failed the inspection first.
    pub(super) failed: u32,
    /// Spent on finding one, minor units.
    pub(super) spent_minor: i64,
    /// What that was spent on.
    pub(super) parts: Option<Spent>,
}

impl Procurement {
    /// Draws one future.
    pub(super) fn sample(&self, costs: &CostSampler, rng: &mut impl Rng) -> Procured {
        match self {
            Self::Brought => Procured {
                days: Some(0.0),
                failed: 0,
                spent_minor: 0,
                parts: None,
            },
            Self::Shelf { free, then } => {
                // As in a hunt, the shop gives up after so many bad ones; nothing is delivered then.
                let tried = costs.failures(rng);
                let failed = tried.min(GIVE_UP_AFTER);
                let days = match then {
                    _ if tried > GIVE_UP_AFTER => None,
                    _ if failed < *free => Some(0.0),
                    Some(hunt) => hunt.sample(rng).days,
                    None => None,
                };
                Procured {
                    days,
                    failed,
                    spent_minor: 0,
                    parts: None,
                }
            }
            Self::Hunt(hunt) => {
                let future = hunt.sample(rng);
                Procured {
                    days: future.days,
                    failed: future.failed,
                    spent_minor: future.spent_minor(),
                    parts: future.days.map(|_| future.spent),
                }
            }
        }
    }
}
