//! What would help a job, as changes that can be previewed.

use crate::planning::changes::{Order, Overtime, PlanChange, SecondMachine, Side, Train, at_work};
use crate::planning::engine::explain::{Explanation, Measure, WaitedFor};
use crate::planning::engine::model::Minute;
use crate::planning::floor::{Floor, FloorModel, Resource};
use crate::planning::words::job_words;
use uuid::Uuid;

/// Days of overtime among what would help: more of them say the same.
const OVERTIME_DAYS: usize = 2;

/// Something that would help.
#[derive(Debug, Clone, PartialEq)]
pub struct Help {
    /// The change to preview.
    pub change: PlanChange,
    /// What it was found to bring; `None` when that is left to the preview.
    pub found: Option<Found>,
}

/// What a change was found to bring.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Found {
    /// Minutes by the clock that the job is ready sooner.
    pub sooner: Minute,
    /// Weighted lateness the other jobs gain; negative when they are helped too.
    pub others_lose: Minute,
}

/// What would help a job, the best first, at most `most`; among them one more of the machine that is waited for longest.
#[must_use]
pub fn helps(
    floor: &Floor,
    model: &FloorModel,
    job: Uuid,
    explanation: &Explanation,
    most: usize,
) -> Vec<Help> {
    let mut helps: Vec<Help> = Vec::new();
    let mut days = 0;
    for help in &explanation.improvements {
        if matches!(help.measure, Measure::Overtime { .. }) {
            days += 1;
            if days > OVERTIME_DAYS {
                continue;
            }
        }
        let change = change(floor, model, job, help.measure);
        let Some(change) = change.filter(|c| !helps.iter().any(|h| h.change == *c)) else {
            continue;
        };
        let found = Some(Found {
            sooner: help.gains,
            others_lose: help.others_lose,
        });
        helps.push(Help { change, found });
    }
    if let Some(like) = busiest(model, explanation) {
        let change = SecondMachine { like }.into();
        let at = helps.len().min(most.saturating_sub(1));
        helps.insert(
            at,
            Help {
                change,
                found: None,
            },
        );
    }
    helps.truncate(most);
    helps
}

/// A measure of the engine as a change; `None` when what it names is not on the floor.
fn change(floor: &Floor, model: &FloorModel, job: Uuid, measure: Measure) -> Option<PlanChange> {
    let operation = |index: usize| model.operations.get(index).copied();
    Some(match measure {
        Measure::Overtime {
            machine,
            from,
            until,
        } => {
            let (from, until) = (model.instant(from)?, model.instant(until)?);
            let machine = model.machines.get(machine).copied().map(Resource::Machine);
            let there = at_work(floor, from.with_timezone(&floor.zone).date_naive());
            Overtime {
                whose: machine.into_iter().chain(there).collect(),
                from,
                until,
                why: format!("for {}", job_words(floor, job)),
            }
            .into()
        }
        Measure::Order { first, second } => Order {
            operation: operation(first)?,
            other: operation(second)?,
            side: Side::Before,
            machine: None,
        }
        .into(),
        Measure::Training {
            person,
            operation: index,
        } => Train {
            person: model.people.get(person).copied()?,
            skill: floor.operation(operation(index)?)?.1.skill.clone(),
        }
        .into(),
    })
}

/// The machine that the job waits for longest.
fn busiest(model: &FloorModel, explanation: &Explanation) -> Option<Uuid> {
    let mut held: Vec<(usize, Minute)> = Vec::new();
    for pair in explanation.chain.windows(2) {
        if let [before, after] = pair
            && let WaitedFor::Machine { machine, .. } = after.waited_for
        {
            match held.iter_mut().find(|(m, _)| *m == machine) {
                Some(sum) => sum.1 += before.held,
                None => held.push((machine, before.held)),
            }
        }
    }
    let (machine, _) = held.iter().max_by_key(|(_, minutes)| *minutes)?;
    model.machines.get(*machine).copied()
}
