//! Why work takes longer or shorter than its standard, and what else upsets a week.
//!
//! When one dowel of a block fights back, the next one does too; a new man is slow at everything he does; in a bad month
//! nothing goes as it should. So times do not vary one by one. One model says how they do, and the hours of a quote, the
//! futures of the plan and the day a job is ready all draw from it:
//!
//! log(actual ÷ standard) = shop + person + kind of work + job or casting + own scatter
//!
//! Each term is normal, so each factor is log-normal. Every factor has a **mean** of one (its median is a little below:
//! e^(−σ²/2)), so that expected hours and costs stay the standards times the level; with a median of one a larger share
//! would make every quote dearer. A share is given as the coefficient of variation of its factor, in per cent:
//! σ² = ln(1 + cv²). The own scatter is that of the standard time itself ([`crate::units::Spread`]).
//!
//! The shop's factor is one for all work of a future, also of jobs that are still asked for. A person's is one for all that
//! they do, a kind of work's (the element that takes most of an operation) for all operations of it, a job's for all of
//! that job. Beside the times there are events: people absent for a day, machines that break down, operations done again.
//!
//! ```
//! use borewright::estimating::variation::{Variation, Worlds};
//!
//! let worlds = Worlds::new(7, Variation::default().shares());
//! // In the tenth future the whole shop is this much slower or quicker, whatever asks.
//! assert_eq!(worlds.world(10).log_shop(), worlds.world(10).log_shop());
//! ```

mod factor;
mod worlds;

pub use factor::{Factor, normal_quantile};
pub use worlds::{Cause, World, Worlds, key_of};

use crate::units::plain;
use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};

/// How much work varies, as the shop sets it. Percentages are whole numbers of per cent: 12.5 means 12.5 %.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Variation {
    /// What work takes in the mean, in per cent of its standard: 110 when the standards are ten per cent short.
    pub level_percent: Decimal,
    /// How much the whole shop differs from one time to another: coefficient of variation, as in all shares.
    pub shop_percent: Decimal,
    /// How much people differ.
    pub person_percent: Decimal,
    /// How much kinds of work differ from their standards.
    pub element_percent: Decimal,
    /// How much whole jobs (castings) differ.
    pub job_percent: Decimal,
    /// How much outside work and deliveries differ from the days given for them.
    pub outside_percent: Decimal,
    /// Share of person-days on which somebody is absent without notice.
    pub absence_percent: Decimal,
    /// Working hours of a machine between two breakdowns, in the mean; nought for machines that never break down.
    pub breakdown_hours: Decimal,
    /// Working hours until it runs again, in the mean.
    pub repair_hours: Decimal,
    /// Chance that an operation has to be done again.
    pub rework_percent: Decimal,
    /// How much of its time doing it again takes.
    pub rework_share_percent: Decimal,
}

impl Default for Variation {
    /// Figures to begin with: common practice, no source.
    fn default() -> Self {
        Self {
            level_percent: dec!(100),
            shop_percent: dec!(5),
            person_percent: dec!(8),
            element_percent: dec!(8),
            job_percent: dec!(12),
            outside_percent: dec!(25),
            absence_percent: dec!(2),
            breakdown_hours: dec!(1000),
            repair_hours: dec!(6),
            rework_percent: dec!(2),
            rework_share_percent: dec!(50),
        }
    }
}

impl Variation {
    /// Nothing varies but each operation by its own scatter, and nothing happens.
    #[must_use]
    pub fn none() -> Self {
        Self {
            level_percent: dec!(100),
            shop_percent: Decimal::ZERO,
            person_percent: Decimal::ZERO,
            element_percent: Decimal::ZERO,
            job_percent: Decimal::ZERO,
            outside_percent: Decimal::ZERO,
            absence_percent: Decimal::ZERO,
            breakdown_hours: Decimal::ZERO,
            repair_hours: Decimal::ZERO,
            rework_percent: Decimal::ZERO,
            rework_share_percent: Decimal::ZERO,
        }
    }

    /// What is wrong with it, each complaint with the form field it belongs beside. Empty when all is well.
    #[must_use]
    pub fn faults(&self) -> Vec<(&'static str, &'static str)> {
        let within = |x: Decimal, low: i64, high: i64| {
            (Decimal::from(low)..=Decimal::from(high)).contains(&x)
        };
        let share = |x: Decimal| within(x, 0, 100);
        [
            (
                within(self.level_percent, 50, 300),
                "level_percent",
                "Enter what work takes from 50 to 300 % of standard",
            ),
            (
                share(self.shop_percent),
                "shop_percent",
                "Enter how much the whole shop differs from 0 to 100 %",
            ),
            (
                share(self.person_percent),
                "person_percent",
                "Enter how much people differ from 0 to 100 %",
            ),
            (
                share(self.element_percent),
                "element_percent",
                "Enter how much kinds of work differ from 0 to 100 %",
            ),
            (
                share(self.job_percent),
                "job_percent",
                "Enter how much whole jobs differ from 0 to 100 %",
            ),
            (
                share(self.outside_percent),
                "outside_percent",
                "Enter how much deliveries differ from 0 to 100 %",
            ),
            (
                within(self.absence_percent, 0, 50),
                "absence_percent",
                "Enter days off sick from 0 to 50 %",
            ),
            (
                self.breakdown_hours.is_zero() || within(self.breakdown_hours, 20, 100_000),
                "breakdown_hours",
                "Enter 20 to 100,000 hours between breakdowns, or 0 for never",
            ),
            (
                within(self.repair_hours, 0, 2_000),
                "repair_hours",
                "Enter a repair from 0 to 2,000 hours",
            ),
            (
                within(self.rework_percent, 0, 50),
                "rework_percent",
                "Enter work done again from 0 to 50 %",
            ),
            (
                within(self.rework_share_percent, 0, 200),
                "rework_share_percent",
                "Enter the time it takes again from 0 to 200 %",
            ),
        ]
        .into_iter()
        .filter(|(well, ..)| !well)
        .map(|(_, field, message)| (field, message))
        .collect()
    }

    /// The same as plain numbers, for drawing.
    #[must_use]
    pub fn shares(&self) -> Shares {
        let share = |percent: Decimal| plain(percent) / 100.0;
        let minutes = |hours: Decimal| plain(hours) * 60.0;
        Shares {
            log_level: share(self.level_percent).max(0.01).ln(),
            shop: Factor::of_cv(share(self.shop_percent)),
            person: Factor::of_cv(share(self.person_percent)),
            element: Factor::of_cv(share(self.element_percent)),
            job: Factor::of_cv(share(self.job_percent)),
            outside: Factor::of_cv(share(self.outside_percent)),
            absence: share(self.absence_percent),
            between_breakdowns: minutes(self.breakdown_hours),
            repair: minutes(self.repair_hours),
            rework: share(self.rework_percent),
            rework_share: share(self.rework_share_percent),
        }
    }
}

/// A [`Variation`] as plain numbers, ready for drawing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shares {
    /// Logarithm of what work takes in the mean over its standard.
    pub log_level: f64,
    /// The whole shop.
    pub shop: Factor,
    /// People.
    pub person: Factor,
    /// Kinds of work.
    pub element: Factor,
    /// Jobs and castings.
    pub job: Factor,
    /// Outside work and deliveries, against their days.
    pub outside: Factor,
    /// Share of person-days absent.
    pub absence: f64,
    /// Mean working minutes of a machine between breakdowns; nought for never.
    pub between_breakdowns: f64,
    /// Mean working minutes of a repair.
    pub repair: f64,
    /// Chance that an operation is done again.
    pub rework: f64,
    /// Share of its time that this takes.
    pub rework_share: f64,
}

impl Default for Shares {
    /// Nothing varies but each operation by its own scatter.
    fn default() -> Self {
        Self {
            log_level: 0.0,
            shop: Factor::ONE,
            person: Factor::ONE,
            element: Factor::ONE,
            job: Factor::ONE,
            outside: Factor::ONE,
            absence: 0.0,
            between_breakdowns: 0.0,
            repair: 0.0,
            rework: 0.0,
            rework_share: 0.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_figures_to_begin_with_are_allowed_and_others_refused_beside_their_field() {
        assert_eq!(Variation::default().faults(), []);
        assert_eq!(Variation::none().faults(), []);
        assert_eq!(Variation::none().shares(), Shares::default());
        let wrong = Variation {
            level_percent: dec!(20),
            breakdown_hours: dec!(3),
            rework_percent: dec!(-1),
            ..Variation::default()
        };
        let fields: Vec<_> = wrong.faults().iter().map(|f| f.0).collect();
        assert_eq!(
            fields,
            ["level_percent", "breakdown_hours", "rework_percent"]
        );
    }
}
