//! Routes: operations in the trade's order of work.
//!
//! A route is read off a route card: receive and identify, clean, crack-test and measure (a donor can fail there),
//! rough work, dowels, drilled and tapped holes, line bore, seal housing, wash, final check. How one is put together
//! from elements is in `routing`; how long one takes in many futures is in [`super::futures`].

use super::check::Check;
use super::element::{Material, Stage, TimeSource};
use super::made::Makes;
use crate::castings::{Face, Place};
use crate::units::{Minutes, Money, Spread};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// One element inside an operation.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Step {
    /// The element's code.
    pub code: String,
    /// What is done, in words, with the size.
    pub name: String,
    /// Where, if at a place.
    pub place: Option<Place>,
    /// How many.
    pub count: u32,
    /// Minutes each.
    pub each: Minutes,
    /// Where that time came from.
    pub source: TimeSource,
    /// How the time was reached, in words a machinist can check.
    pub how: String,
    /// Spread of the time.
    pub spread: Spread,
    /// What is set at the machine: drill, depths, run-out; empty where there is nothing to set.
    #[serde(default)]
    pub sizes: String,
    /// Tools with speed, feed and stock per pass, one cut after the other: starting points.
    #[serde(default)]
    pub settings: Vec<String>,
    /// What the customer must hear when it is left out; empty when it is always done.
    #[serde(default)]
    pub left_out: String,
    /// What a calculated time was multiplied by, in per cent.
    #[serde(default = "hundred")]
    pub calculated_percent: Decimal,
    /// The whole setup that its element needs; none where it was not kept.
    #[serde(default)]
    pub setup: Option<Minutes>,
}

fn hundred() -> Decimal {
    Decimal::ONE_HUNDRED
}

impl Step {
    /// Minutes for all of them, at the standard.
    #[must_use]
    pub fn run(&self) -> Minutes {
        self.each * Decimal::from(self.count)
    }
}

/// One step of a route on one kind of machine.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Operation {
    /// 10, 20, 30 …, as on a route card.
    pub number: u32,
    /// Title, e.g. "Mill: rear face".
    pub title: String,
    /// Where it comes in the order of work.
    pub stage: Stage,
    /// The kind of machine.
    pub machine_kind: String,
    /// The skill it needs.
    pub skill: String,
    /// The face that is up, if one matters.
    pub face: Option<Face>,
    /// What must be on the table: machine kind, face and pattern.
    pub setup_key: String,
    /// Setup, shared by all its steps.
    pub setup: Minutes,
    /// Spread of the setup: that of the element which needs the longest one.
    pub setup_spread: Spread,
    /// Run: the sum of its steps.
    pub run: Minutes,
    /// Share of the run that a person attends, 0 to 1.
    pub attended_share: Decimal,
    /// Its steps.
    pub steps: Vec<Step>,
    /// Numbers of the operations that must be done before.
    pub after: Vec<u32>,
    /// Checks it must pass.
    pub checks: Vec<Check>,
    /// Cautions.
    pub cautions: Vec<String>,
    /// Material it uses up.
    pub materials: Vec<Material>,
    /// Tools it needs that come back.
    #[serde(default)]
    pub tools: Vec<String>,
    /// Whether a donor can fail here.
    pub can_fail: bool,
    /// For outside work: its price and the days away.
    pub outside: Option<(Money, u32)>,
    /// The part it makes, where it is work on a part made in the shop and not on what the job is about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub makes: Option<Makes>,
}

/// Operations in order: every operation comes after all that it waits for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, Default)]
pub struct Route {
    /// The operations.
    pub operations: Vec<Operation>,
}

impl Route {
    /// Setup and run of everything from the first cut on (rough work, dowels, holes, line bore, seal housing) at the
    /// standard: what the trade calls the machining of a job.
    #[must_use]
    pub fn machining(&self) -> Minutes {
        self.operations
            .iter()
            .filter(|o| o.stage.is_machining())
            .map(|o| o.setup + o.run)
            .sum()
    }

    /// How many operations a donor goes through before it is known to be good: up to and including the last in which
    /// it can fail. Zero when none can.
    #[must_use]
    pub fn inspected_after(&self) -> usize {
        self.operations
            .iter()
            .rposition(|o| o.can_fail)
            .map_or(0, |i| i + 1)
    }

    /// As far as it goes until a casting is known to be good; all of it where no operation says.
    #[must_use]
    pub fn inspection(mut self) -> Self {
        match self.inspected_after() {
            0 => {}
            known => self.operations.truncate(known),
        }
        self
    }
}
