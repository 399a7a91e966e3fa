//! The shop floor at one moment: machines, people, and jobs with what they wait for.

use super::operation::FloorOperation;
use crate::estimating::{Recalibration, Route, Variation};
use crate::planning::calendar::Hours;
use crate::planning::ready::has_skill;
use chrono::{DateTime, Days, NaiveDate, Utc};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use uuid::Uuid;

/// Share of a setup that remains when the same setup key is on the table: common practice, no source.
pub const SAME_KEY_REMAINS: f64 = 0.25;

/// Least share of started work that is taken to be left of it where its time does not vary: common practice, no source.
pub const LEAST_LEFT: f64 = 0.1;

/// What a minute late weighs against a customer's promise; against a day the shop set itself it weighs one.
pub const PROMISE_WEIGHT: i64 = 10;

/// How far ahead working time is laid out, in days: as long as the longest hunt, and a year of work after it.
pub const HORIZON_DAYS: u32 = 6 * 366;

/// A machine or a person: what work takes time of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Resource {
    /// A machine.
    Machine(Uuid),
    /// A person.
    Person(Uuid),
}

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

/// What the work is for.
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
    /// What somebody wants and has not ordered yet.
    Wish,
}

/// A job.
#[derive(Debug, Clone, PartialEq)]
pub struct FloorJob {
    /// Key of the job, or of the held slot.
    pub id: Uuid,
    /// Number of the job, or of the quote that holds the slot.
    pub number: i64,
    /// What it makes.
    pub title: String,
    /// Who it is for; empty when nobody is named.
    pub customer: String,
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

impl FloorJob {
    /// A job that nobody has ordered yet: a route by the end of a day, put on the floor to see what would come of it. Its
    /// key and those of its operations are made of `id`, which nothing on the floor has.
    #[must_use]
    pub fn wished(
        id: Uuid,
        title: String,
        route: &Route,
        (hours, by): (&Hours, NaiveDate),
    ) -> Self {
        Self {
            id,
            number: 0,
            title,
            customer: String::new(),
            order: Order::Wish,
            due: Some(Floor::end_of(hours, by)),
            promised: true,
            weight: PROMISE_WEIGHT,
            put_first: None,
            hold: None,
            operations: route
                .operations
                .iter()
                .map(|operation| {
                    let key = Uuid::from_u128(id.as_u128() ^ u128::from(operation.number));
                    FloorOperation::of_route(key, operation)
                })
                .collect(),
            gates: Vec::new(),
        }
    }
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
    /// How sure days have proved to be.
    pub days: Recalibration,
    /// How much work varies, and what upsets a week.
    pub variation: Variation,
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
