//! The engine's model put together from what is to be done of each job.

use super::{Builder, Draft, FloorModel, IssueReason, SchedulingIssue};
use crate::estimating::variation::key_of;
use crate::planning::calendar::{ceil_minute, floor_minute, from_minute, local_instant};
use crate::planning::engine::model::uncertainty::{JobCauses, OperationCauses};
use crate::planning::engine::model::{
    Fixed, Goal, Job, Link, Machine, Minute, Mode, Model, Operation, Person,
};
use crate::planning::floor::operation::FloorOperation;
use crate::planning::floor::snapshot::{Floor, FloorJob, GateState, Order};
use chrono::{NaiveTime, TimeDelta};
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

/// A model that is being put together.
struct Assembly<'a> {
    floor: &'a Floor,
    origin: Minute,
    model: Model,
    /// Keys of the jobs and operations put in.
    jobs: Vec<Uuid>,
    operations: Vec<Uuid>,
    /// Numbers of the setup keys.
    keys: BTreeMap<&'a str, u32>,
    /// Operations that cannot start before something has come, and when it comes.
    arrivals: Vec<(usize, Minute)>,
    /// Operations that were put behind others.
    behind: Vec<(&'a FloorJob, &'a FloorOperation)>,
}

impl<'a> Builder<'a> {
    pub(super) fn assemble(mut self, drafts: Vec<(&'a FloorJob, Vec<Draft<'a>>)>) -> FloorModel {
        let floor = self.floor;
        let mut model = Model::empty(Goal::Promises);
        let machines = floor.machines.iter().zip(self.machines);
        model
            .machines
            .extend(machines.map(|(machine, calendar)| Machine {
                name: machine.name.clone(),
                calendar,
                on_table: None,
            }));
        let people = floor.people.iter().zip(self.people);
        model.people.extend(people.map(|(person, calendar)| Person {
            name: person.name.clone(),
            calendar,
        }));
        model.uncertainty.shares = self.shares;
        let mut assembly = Assembly {
            floor,
            origin: self.origin,
            model,
            jobs: Vec::new(),
            operations: Vec::new(),
            keys: BTreeMap::new(),
            arrivals: Vec::new(),
            behind: Vec::new(),
        };
        for (job, drafts) in drafts {
            if !drafts.is_empty() {
                assembly.add_job(job, drafts);
            }
        }
        assembly.add_arrivals();
        let index: HashMap<Uuid, usize> = assembly
            .operations
            .iter()
            .enumerate()
            .map(|(i, &id)| (id, i))
            .collect();
        self.issues.extend(assembly.link_behind(&index));
        FloorModel {
            model: assembly.model,
            origin: from_minute(self.origin).unwrap_or(floor.now),
            machines: floor.machines.iter().map(|m| m.id).collect(),
            kinds: floor.machines.iter().map(|m| m.kind.clone()).collect(),
            people: floor.people.iter().map(|p| p.id).collect(),
            skills: floor.people.iter().map(|p| p.skills.clone()).collect(),
            jobs: assembly.jobs,
            operations: assembly.operations,
            issues: self.issues,
            stand_ins: self.stand_ins,
            index,
        }
    }
}

impl<'a> Assembly<'a> {
    fn add_job(&mut self, job: &'a FloorJob, drafts: Vec<Draft<'a>>) {
        let index = self.model.jobs.len();
        self.jobs.push(job.id);
        let engine_job = engine_job(self.floor, job, self.origin);
        self.model.uncertainty.jobs.push(JobCauses {
            key: number(job.id),
            arrives: engine_job.release > 0,
        });
        self.model.jobs.push(engine_job);
        let first = self.model.operations.len();
        let at: BTreeMap<u32, usize> = drafts
            .iter()
            .enumerate()
            .map(|(i, draft)| (draft.operation.number, first + i))
            .collect();
        for (i, draft) in drafts.into_iter().enumerate() {
            let operation = draft.operation;
            let before = operation.after.iter().filter_map(|number| at.get(number));
            let links = before.map(|&before| link(before, first + i));
            self.model.links.extend(links);
            let next = u32::try_from(self.keys.len()).unwrap_or(u32::MAX);
            let key = operation.setup_key.as_str();
            let setup_key = (!key.is_empty()).then(|| *self.keys.entry(key).or_insert(next));
            self.operations.push(operation.id);
            if draft.fixed.is_none() && !operation.behind.is_empty() {
                self.behind.push((job, operation));
            }
            if let Some(day) = operation.not_before.filter(|_| draft.fixed.is_none()) {
                let comes = opens(self.floor, day) - self.origin;
                self.arrivals.push((first + i, comes));
            }
            self.model.uncertainty.operations.push(OperationCauses {
                key: number(operation.id),
                element: key_of(&operation.element),
                setup_spread: operation.setup_spread,
                worked: draft.worked.unwrap_or(0),
                whole: draft.worked.map_or(0, |_| operation.work()),
            });
            self.model.operations.push(Operation {
                job: index,
                name: format!("{} {}", operation.number, operation.what),
                modes: draft.modes,
                people: draft.people,
                setup_key,
                may_pause: operation.may_pause,
                fixed: draft.fixed,
                spread: operation.spread,
            });
        }
    }

    /// Adds what operations wait for, behind all operations of the floor.
    fn add_arrivals(&mut self) {
        for (after, comes) in std::mem::take(&mut self.arrivals) {
            let Some(job) = self.model.operations.get(after).map(|o| o.job) else {
                continue;
            };
            let before = self.model.operations.len();
            let name = "arrival of what it needs";
            self.model.operations.push(arrival(job, name, comes.max(0)));
            let key = self.operations.get(after).map_or(0, |&id| number(id));
            self.model.uncertainty.operations.push(OperationCauses {
                key: key.rotate_left(32),
                ..OperationCauses::default()
            });
            self.model.links.push(link(before, after));
        }
    }

    /// Links the operations that were put behind others; those that the others wait for by now are told.
    fn link_behind(&mut self, index: &HashMap<Uuid, usize>) -> Vec<SchedulingIssue> {
        let mut issues = Vec::new();
        for (job, operation) in std::mem::take(&mut self.behind) {
            let Some(&after) = index.get(&operation.id) else {
                continue;
            };
            for &before in operation.behind.iter().filter_map(|id| index.get(id)) {
                if leads(&self.model, after, before) {
                    issues.push(SchedulingIssue {
                        job: job.id,
                        operation: Some(operation.id),
                        reason: IssueReason::OrderGone,
                    });
                } else {
                    self.model.links.push(link(before, after));
                }
            }
        }
        issues
    }
}

/// A number for a key, for drawing: the part of it that was drawn at random itself.
fn number(id: Uuid) -> u64 {
    id.as_u64_pair().1
}

/// A link without lags.
fn link(before: usize, after: usize) -> Link {
    Link {
        before,
        after,
        min_lag: 0,
        max_lag: None,
    }
}

/// Whether what waits for `from`, directly or through others, is `to`.
fn leads(model: &Model, from: usize, to: usize) -> bool {
    let mut seen = vec![false; model.operations.len()];
    let mut to_look = vec![from];
    while let Some(at) = to_look.pop() {
        if at == to {
            return true;
        }
        if let Some(seen) = seen.get_mut(at).filter(|seen| !**seen) {
            *seen = true;
            to_look.extend(
                model
                    .links
                    .iter()
                    .filter(|l| l.before == at)
                    .map(|l| l.after),
            );
        }
    }
    false
}

/// The first minute of a day since 1970.
fn opens(floor: &Floor, day: chrono::NaiveDate) -> Minute {
    ceil_minute(local_instant(floor.zone, day.and_time(NaiveTime::MIN)))
}

/// What one operation waits for, as work that nobody does and that ends when it comes.
pub(in crate::planning::floor) fn arrival(job: usize, name: &str, end: Minute) -> Operation {
    Operation {
        job,
        name: name.to_owned(),
        modes: vec![Mode {
            machine: None,
            setup: 0,
            setup_same_key: 0,
            run: end,
            attended: 0,
        }],
        people: Vec::new(),
        setup_key: None,
        may_pause: true,
        fixed: Some(Fixed {
            mode: 0,
            person: None,
            start: 0,
            attended_until: 0,
            end,
        }),
        spread: 0.0,
    }
}

/// Release, promise and weight of a job.
fn engine_job(floor: &Floor, job: &FloorJob, origin: Minute) -> Job {
    let release = job
        .gates
        .iter()
        .filter_map(|gate| match gate.state {
            GateState::Expected(day) => Some(opens(floor, day) - origin),
            GateState::Here | GateState::Unknown => None,
        })
        .fold(0, Minute::max);
    let due = job.due.map(|due| floor_minute(due) - origin);
    let (due, weight) = match job.put_first {
        Some(place) => {
            let places = Minute::try_from(floor.jobs.len()).unwrap_or(1);
            let rank = floor
                .jobs
                .iter()
                .filter(|other| other.put_first.is_some_and(|theirs| theirs < place))
                .count();
            let behind = places - Minute::try_from(rank).unwrap_or(0);
            (Some(0), 1_000 + behind.clamp(0, 999_000))
        }
        None => (due, job.weight.clamp(0, 1_000_000)),
    };
    let name = match job.order {
        Order::Job => format!("Job {}", job.number),
        Order::HeldSlot { .. } => format!("Quote {}", job.number),
        Order::Wish => "Wish".to_owned(),
    };
    Job {
        name: format!("{name} {}", job.title),
        release,
        // Far enough from what the engine refuses, whatever somebody typed.
        due: due.map(|due| {
            due.clamp(
                -TimeDelta::days(36_500).num_minutes(),
                TimeDelta::days(36_500).num_minutes(),
            )
        }),
        weight,
    }
}
