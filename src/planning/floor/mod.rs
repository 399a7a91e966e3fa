//! The shop floor as people speak of it, and its translation to the engine and back.
//!
//! A machinist names machines, people, jobs with their operations, and what a job still waits for. The engine wants
//! indices and whole minutes. A [`Floor`] is the one, [`Floor::model`] makes the other of it ([`FloorModel`]), and what
//! the engine answers comes back as a [`Timetable`] in times of day. What cannot be planned is never left out in
//! silence: it is a [`Hole`] that says which job and why.
//!
//! Rules of the translation:
//! - Minutes are whole, rounded up. After the same setup key a quarter of the setup remains ([`SAME_KEY_REMAINS`]).
//! - A started operation keeps its machine and its person. What is left of it is what was planned less the working
//!   minutes since it was begun, but at least a tenth of it ([`LEAST_LEFT`]), for it is not done yet.
//! - On one machine one started operation is being worked; others begun there stand half done and go on when the plan
//!   says so, on that machine.
//! - A pin with a start is an appointment; once its start has passed, only its machine and person are kept.
//! - An operation that was put behind another waits for it, as long as that is still to be done and planned.
//! - A held job, and one that waits for something nobody can date, is not planned; only what was started goes on.
//! - A job put first is due at once and outweighs every other.

mod model;
mod promises;
#[cfg(test)]
mod tests;
mod timetable;

use super::calendar::Hours;
use super::engine::model::Minute;
use super::ready::has_skill;
use crate::estimating::Operation;
use crate::units::{Minutes, Spread};
use chrono::{DateTime, Days, NaiveDate, Utc};
use chrono_tz::Tz;
use rust_decimal::prelude::ToPrimitive;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

pub use model::{FloorModel, Hole, Why};
pub use promises::{OpenPromise, PromiseStatus};
pub use timetable::{DayLoad, JobDates, Slot, SlotState, Timetable};

/// Share of a setup that remains when the same setup key is on the table: common practice, no source.
pub const SAME_KEY_REMAINS: f64 = 0.25;

/// Least share of a started operation that is taken to be left of it: common practice, no source.
pub const LEAST_LEFT: f64 = 0.1;

/// What a minute late weighs against a customer's promise; against a day the shop set itself it weighs one.
pub const PROMISE_WEIGHT: i64 = 10;

/// How far ahead working time is laid out, in days: as long as the longest hunt, and a year of work after it.
pub const HORIZON_DAYS: u32 = 6 * 366;

/// A machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FloorMachine {
    /// Key.
    pub id: Uuid,
    /// What the shop calls it.
    pub name: String,
    /// What operations ask for.
    pub kind: String,
    /// When it may run, with its stops and overtime.
    pub hours: Hours,
}

/// A person who can be given work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FloorPerson {
    /// Key.
    pub id: Uuid,
    /// Name as spoken.
    pub name: String,
    /// Skills, in the words in which operations ask for them.
    pub skills: Vec<String>,
    /// When they are at work, with days off and overtime.
    pub hours: Hours,
}

impl FloorPerson {
    /// Whether they have a skill.
    #[must_use]
    pub fn can(&self, skill: &str) -> bool {
        has_skill(&self.skills, skill)
    }
}

/// A machine or a person: what work takes time of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Resource {
    /// A machine.
    Machine(Uuid),
    /// A person.
    Person(Uuid),
}

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
    /// Coefficient of variation of its run.
    pub spread: f64,
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
            not_before: None,
            progress: Progress::Queued,
            pin: None,
            behind: Vec::new(),
        }
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

/// Something that must be there before a job can start.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gate {
    /// What is waited for, in words.
    pub what: String,
    /// Whether it is there.
    pub state: GateState,
}

/// Whether something a job needs is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GateState {
    /// It is in the shop.
    Here,
    /// It comes on this day; work may start on it that day.
    Expected(NaiveDate),
    /// Nobody knows when: the job cannot be planned.
    Unknown,
}

/// What stands behind the work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Order {
    /// A job.
    Job,
    /// A quote that holds its slot until the end of a day.
    HeldSlot {
        /// The quote.
        quote_id: Uuid,
        /// The last day it is held.
        until: NaiveDate,
    },
}

/// A job.
#[derive(Debug, Clone, PartialEq)]
pub struct FloorJob {
    /// Key of the job, or of the held slot.
    pub id: Uuid,
    /// Number of the job, or of the quote that holds the slot.
    pub number: i64,
    /// What it makes, and for whom.
    pub title: String,
    /// A job or a held slot.
    pub order: Order,
    /// The end of the promised day, or of the day the shop works to.
    pub due: Option<DateTime<Utc>>,
    /// Whether a customer was promised that day.
    pub promised: bool,
    /// What a minute late weighs.
    pub weight: i64,
    /// Its place among the jobs that were put before all others, the first lowest.
    pub put_first: Option<i64>,
    /// Why it is held, if it is.
    pub hold: Option<String>,
    /// Its operations in route order.
    pub operations: Vec<FloorOperation>,
    /// What it waits for.
    pub gates: Vec<Gate>,
}

/// The shop floor at one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Floor {
    /// The shop's clock.
    pub zone: Tz,
    /// Now: nothing that is not started can start before.
    pub now: DateTime<Utc>,
    /// The shop's own hours, in which slack is counted.
    pub hours: Hours,
    /// Share of futures in which a date should hold, from 0 to 1.
    pub confidence: f64,
    /// Machines in use.
    pub machines: Vec<FloorMachine>,
    /// People who work here.
    pub people: Vec<FloorPerson>,
    /// Jobs to be done, and held slots.
    pub jobs: Vec<FloorJob>,
}

impl Floor {
    /// A machine.
    #[must_use]
    pub fn machine(&self, id: Uuid) -> Option<&FloorMachine> {
        self.machines.iter().find(|m| m.id == id)
    }

    /// A person.
    #[must_use]
    pub fn person(&self, id: Uuid) -> Option<&FloorPerson> {
        self.people.iter().find(|p| p.id == id)
    }

    /// A job or held slot.
    #[must_use]
    pub fn job(&self, id: Uuid) -> Option<&FloorJob> {
        self.jobs.iter().find(|j| j.id == id)
    }

    /// An operation with its job.
    #[must_use]
    pub fn operation(&self, id: Uuid) -> Option<(&FloorJob, &FloorOperation)> {
        self.jobs.iter().find_map(|job| {
            let found = job.operations.iter().find(|o| o.id == id)?;
            Some((job, found))
        })
    }

    /// An operation, to be changed for a what-if.
    pub fn operation_mut(&mut self, id: Uuid) -> Option<&mut FloorOperation> {
        self.jobs
            .iter_mut()
            .flat_map(|job| &mut job.operations)
            .find(|o| o.id == id)
    }

    /// Whether an operation waits for another: by its route, or because it was put behind it.
    #[must_use]
    pub fn waits_for(&self, operation: Uuid, other: Uuid) -> bool {
        let mut seen = BTreeSet::new();
        let mut to_look = vec![operation];
        while let Some(id) = to_look.pop() {
            let Some((job, at)) = self.operation(id).filter(|_| seen.insert(id)) else {
                continue;
            };
            let route = job.operations.iter();
            let before: Vec<Uuid> = route
                .filter(|o| at.after.contains(&o.number))
                .map(|o| o.id)
                .chain(at.behind.iter().copied())
                .collect();
            if before.contains(&other) {
                return true;
            }
            to_look.extend(before);
        }
        false
    }

    /// How far the calendars reach.
    #[must_use]
    pub fn horizon(&self) -> DateTime<Utc> {
        self.now
            .checked_add_days(Days::new(u64::from(HORIZON_DAYS)))
            .unwrap_or(self.now)
    }
}
