//! From the floor to the engine's model, with the way back.

mod assemble;
mod eligible;
mod fixed;
mod issue;

pub(super) use assemble::arrival;
pub use issue::{IssueReason, SchedulingIssue};

use crate::estimating::variation::Shares;
use crate::planning::calendar::{
    Calendar, Hours, ceil_minute, floor_minute, from_minute, local_instant,
};
use crate::planning::engine::model::calendar::{NEVER, WorkingTime};
use crate::planning::engine::model::{Fixed, Minute, Mode, Model};
use crate::planning::floor::operation::{FloorOperation, Progress};
use crate::planning::floor::snapshot::{Floor, FloorJob, GateState};
use chrono::{DateTime, Days, NaiveTime, Utc};
use std::collections::HashMap;
use uuid::Uuid;

/// How far back working time is laid out, to count what was worked on started operations.
const BEFORE: Days = Days::new(60);

/// The engine's model of a floor, with the keys of what its indices stand for.
#[derive(Debug, Clone)]
pub struct FloorModel {
    /// The model.
    pub model: Model,
    /// Minute zero.
    pub origin: DateTime<Utc>,
    /// Keys of the machines.
    pub machines: Vec<Uuid>,
    /// Kinds of the machines.
    pub kinds: Vec<String>,
    /// Keys of the people.
    pub people: Vec<Uuid>,
    /// Skills of the people.
    pub skills: Vec<Vec<String>>,
    /// Keys of the jobs and held slots that are planned.
    pub jobs: Vec<Uuid>,
    /// Keys of the operations that are planned. The model may have more behind them: things that have to come first.
    pub operations: Vec<Uuid>,
    /// What could not be planned as wished.
    pub issues: Vec<SchedulingIssue>,
    /// Begun work that somebody else goes on with, because whoever began it is away.
    pub stand_ins: Vec<StandIn>,
    index: HashMap<Uuid, usize>,
}

impl FloorModel {
    /// Index of an operation; `None` when it is not planned.
    #[must_use]
    pub fn operation(&self, id: Uuid) -> Option<usize> {
        self.index.get(&id).copied()
    }

    /// Index of a job or held slot; `None` when it is not planned.
    #[must_use]
    pub fn job(&self, id: Uuid) -> Option<usize> {
        self.jobs.iter().position(|&job| job == id)
    }

    /// Minutes of an instant, up.
    #[must_use]
    pub fn minute(&self, at: DateTime<Utc>) -> Minute {
        ceil_minute(at) - floor_minute(self.origin)
    }

    /// The instant of a minute; `None` for what the calendars never let happen.
    #[must_use]
    pub fn instant(&self, minute: Minute) -> Option<DateTime<Utc>> {
        if minute >= NEVER / 2 {
            return None;
        }
        from_minute(minute + floor_minute(self.origin))
    }
}

/// Begun work that somebody goes on with for somebody else.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StandIn {
    /// The operation.
    pub operation: Uuid,
    /// Who began it and is away.
    pub for_whom: Uuid,
    /// Who goes on with it.
    pub by: Uuid,
}

/// Working time from the calendar's instants.
fn working_time(
    hours: &Hours,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
    origin: Minute,
) -> WorkingTime {
    let calendar = Calendar::build(hours, from, until);
    WorkingTime::from_windows(
        calendar
            .intervals()
            .map(|(a, b)| (floor_minute(a) - origin, floor_minute(b) - origin))
            .collect(),
    )
}

impl Floor {
    /// The engine's model of this floor.
    #[must_use]
    pub fn model(&self) -> FloorModel {
        Builder::new(self).build()
    }

    /// The last working minute of a day by the shop's hours; midnight at its end when the shop is closed all day.
    #[must_use]
    pub fn end_of(hours: &Hours, day: chrono::NaiveDate) -> DateTime<Utc> {
        let midnight =
            |day: chrono::NaiveDate| local_instant(hours.zone, day.and_time(NaiveTime::MIN));
        let (from, until) = (
            midnight(day),
            day.succ_opt().map_or(DateTime::<Utc>::MAX_UTC, midnight),
        );
        Calendar::build(hours, from, until)
            .intervals()
            .map(|(_, end)| end)
            .last()
            .unwrap_or(until)
    }
}

/// What an operation will be in the model.
struct Draft<'a> {
    operation: &'a FloorOperation,
    modes: Vec<Mode>,
    people: Vec<usize>,
    fixed: Option<Fixed>,
    /// Minutes already spent on it, when it has been started.
    worked: Option<Minute>,
}

struct Builder<'a> {
    floor: &'a Floor,
    origin: Minute,
    machines: Vec<WorkingTime>,
    people: Vec<WorkingTime>,
    /// Common hours of machine `m` and person `p` at `m * people + p`.
    joint: Vec<WorkingTime>,
    /// What started and pinned work takes of machines and then people.
    taken: Vec<Vec<(Minute, Minute)>>,
    /// What fixed work leaves set up: on which machine, from when, by its setup key.
    set_up: Vec<(usize, Minute, &'a str)>,
    issues: Vec<SchedulingIssue>,
    stand_ins: Vec<StandIn>,
    shares: Shares,
}

impl<'a> Builder<'a> {
    fn new(floor: &'a Floor) -> Self {
        let origin = floor_minute(floor.now);
        let from = floor.now.checked_sub_days(BEFORE).unwrap_or(floor.now);
        let until = floor.horizon();
        // Many keep the same hours, and laying out years of them is most of the work of a model.
        let mut known: Vec<(&Hours, WorkingTime)> = Vec::new();
        let mut time = |hours: &'a Hours| match known.iter().find(|(of, _)| *of == hours) {
            Some((_, time)) => time.clone(),
            None => {
                let time = working_time(hours, from, until, origin);
                known.push((hours, time.clone()));
                time
            }
        };
        let machines: Vec<_> = floor.machines.iter().map(|m| time(&m.hours)).collect();
        let people: Vec<_> = floor.people.iter().map(|p| time(&p.hours)).collect();
        let joint = machines
            .iter()
            .flat_map(|m| people.iter().map(move |p| m.and(p)))
            .collect();
        Self {
            floor,
            origin,
            taken: vec![Vec::new(); machines.len() + people.len()],
            machines,
            people,
            joint,
            set_up: Vec::new(),
            issues: Vec::new(),
            stand_ins: Vec::new(),
            shares: floor.variation.shares(),
        }
    }

    fn build(mut self) -> FloorModel {
        let floor = self.floor;
        let mut drafts: Vec<(&FloorJob, Vec<Draft>)> = floor
            .jobs
            .iter()
            .map(|job| (job, self.draft(job)))
            .collect();
        self.fix_started(&mut drafts);
        for (job, drafts) in &mut drafts {
            if self.left_out(job.id) {
                drafts.retain(|draft| draft.fixed.is_some());
            }
        }
        self.fix_pinned(&mut drafts);
        self.assemble(drafts)
    }

    fn report(&mut self, job: &FloorJob, operation: Option<Uuid>, reason: IssueReason) {
        self.issues.push(SchedulingIssue {
            job: job.id,
            operation,
            reason,
        });
    }

    fn left_out(&self, job: Uuid) -> bool {
        self.issues
            .iter()
            .any(|issue| issue.job == job && issue.reason.leaves_out())
    }

    /// What is to be done of a job, with what stands against planning it.
    fn draft(&mut self, job: &'a FloorJob) -> Vec<Draft<'a>> {
        if let Some(reason) = &job.hold {
            self.report(job, None, IssueReason::Held(reason.clone()));
        }
        for gate in &job.gates {
            if gate.state == GateState::Unknown {
                self.report(job, None, IssueReason::NoDate(gate.what.clone()));
            }
        }
        let open: Vec<&FloorOperation> = job
            .operations
            .iter()
            .filter(|operation| operation.progress != Progress::Done)
            .collect();
        if in_a_circle(&open) {
            self.report(job, None, IssueReason::Circle);
            return Vec::new();
        }
        let mut drafts = Vec::with_capacity(open.len());
        for operation in open {
            let (modes, people) = match operation.outside_days {
                Some(_) => (vec![outside(operation)], Vec::new()),
                None => self.eligible(job, operation),
            };
            if modes.is_empty() {
                continue;
            }
            drafts.push(Draft {
                operation,
                modes,
                people,
                fixed: None,
                worked: None,
            });
        }
        drafts
    }

    fn machine_of(&self, mode: &Mode) -> Option<Uuid> {
        Some(self.floor.machines.get(mode.machine?)?.id)
    }

    fn person_id(&self, person: usize) -> Option<Uuid> {
        Some(self.floor.people.get(person)?.id)
    }

    /// Working time of a machine with a person, or of the machine alone.
    fn time(&self, machine: usize, person: Option<usize>) -> Option<&WorkingTime> {
        match person {
            Some(p) => self.joint.get(machine * self.people.len() + p),
            None => self.machines.get(machine),
        }
    }

    /// When a person would be at work if nothing kept them away; `None` when nothing does.
    fn without_stops(&self, person: usize) -> Option<WorkingTime> {
        let hours = &self.floor.people.get(person)?.hours;
        let now = self.floor.now;
        if hours.stops.iter().all(|(_, until)| *until <= now) {
            return None;
        }
        let there = Hours {
            stops: Vec::new(),
            ..hours.clone()
        };
        Some(working_time(&there, now, self.floor.horizon(), self.origin))
    }
}

/// Whether operations wait for each other in a circle. Those that are not there are not waited for.
fn in_a_circle(operations: &[&FloorOperation]) -> bool {
    let mut left: Vec<&FloorOperation> = operations.to_vec();
    loop {
        let before = left.len();
        let numbers: Vec<u32> = left.iter().map(|o| o.number).collect();
        left.retain(|o| o.after.iter().any(|number| numbers.contains(number)));
        if left.is_empty() || left.len() == before {
            return !left.is_empty();
        }
    }
}

/// Work sent out: it takes its time and nobody's.
fn outside(operation: &FloorOperation) -> Mode {
    Mode {
        machine: None,
        setup: 0,
        setup_same_key: 0,
        run: operation.work(),
        attended: 0,
    }
}
