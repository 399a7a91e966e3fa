//! An operation on the shop floor, and how far it has come.

use crate::estimating::Operation;
use crate::planning::engine::model::Minute;
use crate::units::{Minutes, Spread};
use chrono::{DateTime, NaiveDate, Utc};
use rust_decimal::prelude::ToPrimitive;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use uuid::Uuid;

/// How far an operation has come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Progress {
    /// Waiting.
    Queued,
    /// Begun. Whoever books the start may not have said where and by whom.
    Started {
        /// When.
        since: Option<DateTime<Utc>>,
        /// The machine it is on.
        machine: Option<Uuid>,
        /// Who is at it.
        person: Option<Uuid>,
    },
    /// Done.
    Done,
}

/// A decision by hand: this operation on this machine, by this person, at this time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pin {
    /// The machine; `None` for outside work.
    pub machine: Option<Uuid>,
    /// Who does it; `None` leaves it to the plan.
    pub person: Option<Uuid>,
    /// When its setup starts; `None` leaves it to the plan.
    pub start: Option<DateTime<Utc>>,
}

/// An operation of a job.
#[derive(Debug, Clone, PartialEq)]
pub struct FloorOperation {
    /// Key.
    pub id: Uuid,
    /// 10, 20, 30 …, as on the route card.
    pub number: u32,
    /// What is done.
    pub what: String,
    /// The kind of machine; not looked at for work sent out.
    pub machine_kind: String,
    /// The skill it needs; empty when nobody in particular attends it.
    pub skill: String,
    /// What must be on the table.
    pub setup_key: String,
    /// Setup, whole minutes as expected.
    pub setup: Minute,
    /// Run, whole minutes as expected.
    pub run: Minute,
    /// The first minutes of the run that a person attends.
    pub attended: Minute,
    /// May stand half done on the machine while the shop is closed.
    pub may_pause: bool,
    /// Numbers of the operations that must be done before.
    pub after: Vec<u32>,
    /// Calendar days away, for work sent out.
    pub outside_days: Option<u32>,
    /// Coefficient of variation of its run by its own scatter.
    pub spread: f64,
    /// Coefficient of variation of its setup.
    pub setup_spread: f64,
    /// The code of the element that takes most of it: the kind of work it is.
    pub element: String,
    /// Not before this day: something it needs comes then.
    pub not_before: Option<NaiveDate>,
    /// How far it has come.
    pub progress: Progress,
    /// Where, by whom and when somebody wants it.
    pub pin: Option<Pin>,
    /// Operations of any job that somebody decided go before it.
    pub behind: Vec<Uuid>,
}

impl FloorOperation {
    /// An operation of a route, waiting, that nobody pinned. Times are as expected: the standard times the mean of its
    /// spread.
    #[must_use]
    pub fn of_route(id: Uuid, operation: &Operation) -> Self {
        // Work whose steps nobody wrote down takes the time somebody gave it.
        let run = whole(if operation.steps.is_empty() {
            operation.run
        } else {
            operation.expected_run()
        });
        let share = operation.attended_share.to_f64().unwrap_or(1.0);
        Self {
            id,
            number: operation.number,
            what: operation.title.clone(),
            machine_kind: operation.machine_kind.clone(),
            skill: operation.skill.clone(),
            setup_key: operation.setup_key.clone(),
            setup: whole(operation.expected_setup()),
            run,
            attended: attended_part(run, share),
            may_pause: true,
            after: operation.after.clone(),
            outside_days: operation.outside.map(|(_, days)| days),
            spread: spread_of_run(operation),
            setup_spread: spread_of_setup(operation),
            element: operation.main_element().to_owned(),
            not_before: None,
            progress: Progress::Queued,
            pin: None,
            behind: Vec::new(),
        }
    }

    /// With times as work takes them in the mean: `level` is that over the standard.
    #[must_use]
    pub fn at_level(mut self, level: f64) -> Self {
        let scaled = |minutes: Minute| (minutes as f64 * level).round() as Minute;
        self.setup = scaled(self.setup);
        self.run = scaled(self.run);
        self.attended = scaled(self.attended).min(self.run);
        self
    }

    /// Setup and run on a table that has to be set up, or for work sent out the days away.
    #[must_use]
    pub fn work(&self) -> Minute {
        match self.outside_days {
            Some(days) => Minute::from(days) * 1440,
            None => self.setup + self.run,
        }
    }
}

/// Whole minutes, up.
fn whole(minutes: Minutes) -> Minute {
    minutes.0.ceil().to_i64().unwrap_or(Minute::MAX >> 24)
}

/// The whole minutes of a run that this share of it is.
#[must_use]
pub fn attended_part(run: Minute, share: f64) -> Minute {
    ((run as f64 * share.clamp(0.0, 1.0)).ceil() as Minute).clamp(0, run)
}

/// Coefficient of variation of a setup about its mean.
fn spread_of_setup(operation: &Operation) -> f64 {
    let spread = operation.setup_spread;
    if spread.mean() > 0.0 {
        (spread.variance().sqrt() / spread.mean()).min(10.0)
    } else {
        0.0
    }
}

/// Coefficient of variation of a run whose steps of one element share a ratio and whose elements are independent, as
/// in [`crate::estimating::futures`]: σ² = Σ (standard × σ of the ratio)², over the mean Σ standard × mean ratio.
fn spread_of_run(operation: &Operation) -> f64 {
    let mut elements: BTreeMap<&str, (f64, Spread)> = BTreeMap::new();
    for step in &operation.steps {
        let sum = elements.entry(&step.code).or_insert((0.0, step.spread));
        sum.0 += step.run().0.to_f64().unwrap_or(0.0);
    }
    let (mean, variance) = elements
        .values()
        .fold((0.0, 0.0), |(mean, variance), (run, spread)| {
            (
                mean + run * spread.mean(),
                variance + run * run * spread.variance(),
            )
        });
    if mean > 0.0 {
        (variance.sqrt() / mean).min(10.0)
    } else {
        0.0
    }
}
