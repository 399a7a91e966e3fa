//! From the floor to the engine's model, with the way back.

mod fixed;

use super::{Floor, FloorJob, FloorOperation, GateState, Order, Progress, SAME_KEY_REMAINS};
use crate::planning::calendar::{
    Calendar, Hours, ceil_minute, floor_minute, from_minute, local_instant,
};
use crate::planning::engine::model::calendar::{NEVER, WorkingTime};
use crate::planning::engine::model::{
    Fixed, Goal, Job, Link, Machine, Minute, Mode, Model, Operation, Person,
};
use crate::planning::ready::has_skill;
use chrono::{DateTime, Days, NaiveTime, TimeDelta, Utc};
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

/// How far back working time is laid out, to count what was worked on started operations.
const BEFORE: Days = Days::new(60);

/// A thing that could not be planned as wished.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hole {
    /// The job, or held slot.
    pub job: Uuid,
    /// The operation, when it is about one.
    pub operation: Option<Uuid>,
    /// Why.
    pub why: Why,
}

/// Why something could not be planned as wished.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Why {
    /// The job is held, for this reason.
    Held(String),
    /// The job waits for something nobody has a date for.
    NoDate(String),
    /// The shop has no machine of this kind in use.
    NoMachine(String),
    /// Nobody who works here has this skill.
    NobodyFor(String),
    /// Its machine and whoever could attend it are never there together.
    NeverTogether,
    /// It waits, through others, for itself.
    Circle,
    /// It is pinned to a machine that is not in use or not of its kind, or to a person who cannot do it.
    PinGone,
    /// It was put behind work that, by now, waits for it.
    OrderGone,
    /// It is pinned to a time at which its machine or person already does something else.
    PinTaken,
}

impl Why {
    /// Whether the job is left out of the plan for it; otherwise only a wish is not kept.
    #[must_use]
    pub fn leaves_out(&self) -> bool {
        !matches!(self, Self::PinGone | Self::PinTaken | Self::OrderGone)
    }
}

impl std::fmt::Display for Why {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Held(reason) => write!(f, "held: {reason}"),
            Self::NoDate(what) => write!(f, "waits for {what}, and there is no date for it"),
            Self::NoMachine(kind) => write!(f, "the shop has no {kind} in use"),
            Self::NobodyFor(skill) => write!(f, "nobody here has the skill “{skill}”"),
            Self::NeverTogether => {
                f.write_str("the machine and somebody who can attend it are never there together")
            }
            Self::Circle => f.write_str("its operations wait for each other in a circle"),
            Self::PinGone => f.write_str("the machine or person it is pinned to cannot do it"),
            Self::OrderGone => f.write_str("it was put behind work that waits for it"),
            Self::PinTaken => f.write_str("the time it is pinned to is taken"),
        }
    }
}

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
    pub holes: Vec<Hole>,
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
    holes: Vec<Hole>,
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
            holes: Vec::new(),
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

    fn hole(&mut self, job: &FloorJob, operation: Option<Uuid>, why: Why) {
        self.holes.push(Hole {
            job: job.id,
            operation,
            why,
        });
    }

    fn left_out(&self, job: Uuid) -> bool {
        self.holes
            .iter()
            .any(|hole| hole.job == job && hole.why.leaves_out())
    }

    /// What is to be done of a job, with what stands against planning it.
    fn draft(&mut self, job: &'a FloorJob) -> Vec<Draft<'a>> {
        if let Some(reason) = &job.hold {
            self.hole(job, None, Why::Held(reason.clone()));
        }
        for gate in &job.gates {
            if gate.state == GateState::Unknown {
                self.hole(job, None, Why::NoDate(gate.what.clone()));
            }
        }
        let open: Vec<&FloorOperation> = job
            .operations
            .iter()
            .filter(|operation| operation.progress != Progress::Done)
            .collect();
        if in_a_circle(&open) {
            self.hole(job, None, Why::Circle);
            return Vec::new();
        }
        let mut drafts = Vec::with_capacity(open.len());
        for operation in open {
            let (modes, people) = match operation.outside_days {
                Some(_) => (vec![outside(operation)], Vec::new()),
                None => self.ways(job, operation),
            };
            if modes.is_empty() {
                continue;
            }
            drafts.push(Draft {
                operation,
                modes,
                people,
                fixed: None,
            });
        }
        drafts
    }

    /// The machines and people that can do an operation, after its pin.
    fn ways(&mut self, job: &FloorJob, operation: &FloorOperation) -> (Vec<Mode>, Vec<usize>) {
        let floor = self.floor;
        let same_key = (operation.setup as f64 * SAME_KEY_REMAINS).ceil() as Minute;
        let mut modes: Vec<Mode> = (0..floor.machines.len())
            .filter(|&m| {
                floor
                    .machines
                    .get(m)
                    .is_some_and(|machine| machine.kind == operation.machine_kind)
            })
            .map(|m| Mode {
                machine: Some(m),
                setup: operation.setup,
                setup_same_key: same_key.min(operation.setup),
                run: operation.run,
                attended: operation.attended,
            })
            .collect();
        if modes.is_empty() {
            self.hole(
                job,
                Some(operation.id),
                Why::NoMachine(operation.machine_kind.clone()),
            );
            return (modes, Vec::new());
        }
        let attends = !operation.skill.is_empty() && operation.setup + operation.attended > 0;
        let mut people: Vec<usize> = (0..floor.people.len())
            .filter(|&p| {
                attends
                    && floor
                        .people
                        .get(p)
                        .is_some_and(|person| has_skill(&person.skills, &operation.skill))
            })
            .collect();
        if attends && people.is_empty() {
            self.hole(
                job,
                Some(operation.id),
                Why::NobodyFor(operation.skill.clone()),
            );
            return (Vec::new(), people);
        }
        if let Some(pin) = operation.pin {
            let machine = pin.machine.map(|id| {
                modes
                    .iter()
                    .copied()
                    .find(|mode| self.machine_of(mode) == Some(id))
            });
            let person = pin.person.filter(|_| attends).map(|id| {
                people
                    .iter()
                    .copied()
                    .find(|&p| self.person_id(p) == Some(id))
            });
            if machine == Some(None) || person == Some(None) {
                self.hole(job, Some(operation.id), Why::PinGone);
            }
            if let Some(Some(mode)) = machine {
                modes = vec![mode];
            }
            if let Some(Some(person)) = person {
                people = vec![person];
            }
        }
        let meets = |mode: &Mode, p: usize| {
            mode.machine
                .and_then(|m| self.joint.get(m * floor.people.len() + p))
                .is_some_and(|time| time.pausing(0, 1).1 < NEVER)
        };
        if attends {
            modes.retain(|mode| people.iter().any(|&p| meets(mode, p)));
            people.retain(|&p| modes.iter().any(|mode| meets(mode, p)));
            if modes.is_empty() {
                self.hole(job, Some(operation.id), Why::NeverTogether);
            }
        }
        (modes, people)
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

    fn assemble(mut self, drafts: Vec<(&FloorJob, Vec<Draft>)>) -> FloorModel {
        let floor = self.floor;
        let mut model = Model::empty(Goal::Promises);
        let mut operations = Vec::new();
        let mut jobs = Vec::new();
        let mut keys: BTreeMap<&str, u32> = BTreeMap::new();
        // Operations that cannot start before something has come.
        let mut waits: Vec<(usize, Minute)> = Vec::new();
        let mut behind: Vec<(&FloorJob, &FloorOperation)> = Vec::new();
        for (machine, calendar) in floor
            .machines
            .iter()
            .zip(std::mem::take(&mut self.machines))
        {
            model.machines.push(Machine {
                name: machine.name.clone(),
                calendar,
                on_table: None,
            });
        }
        for (person, calendar) in floor.people.iter().zip(std::mem::take(&mut self.people)) {
            model.people.push(Person {
                name: person.name.clone(),
                calendar,
            });
        }
        for (job, drafts) in drafts {
            if drafts.is_empty() {
                continue;
            }
            let index = model.jobs.len();
            jobs.push(job.id);
            model.jobs.push(engine_job(floor, job, self.origin));
            let first = model.operations.len();
            let mut at: BTreeMap<u32, usize> = BTreeMap::new();
            for (i, draft) in drafts.iter().enumerate() {
                at.insert(draft.operation.number, first + i);
            }
            for (i, draft) in drafts.into_iter().enumerate() {
                for before in &draft.operation.after {
                    if let Some(&before) = at.get(before) {
                        model.links.push(Link {
                            before,
                            after: first + i,
                            min_lag: 0,
                            max_lag: None,
                        });
                    }
                }
                let next = u32::try_from(keys.len()).unwrap_or(u32::MAX);
                let key = draft.operation.setup_key.as_str();
                let setup_key = (!key.is_empty()).then(|| *keys.entry(key).or_insert(next));
                operations.push(draft.operation.id);
                if draft.fixed.is_none() && !draft.operation.behind.is_empty() {
                    behind.push((job, draft.operation));
                }
                let not_before = draft.operation.not_before;
                if let Some(day) = not_before.filter(|_| draft.fixed.is_none()) {
                    waits.push((first + i, opens(floor, day) - self.origin));
                }
                model.operations.push(Operation {
                    job: index,
                    name: format!("{} {}", draft.operation.number, draft.operation.what),
                    modes: draft.modes,
                    people: draft.people,
                    setup_key,
                    may_pause: draft.operation.may_pause,
                    fixed: draft.fixed,
                    spread: draft.operation.spread,
                });
            }
        }
        for (after, end) in waits {
            let Some(job) = model.operations.get(after).map(|operation| operation.job) else {
                continue;
            };
            let before = model.operations.len();
            model.operations.push(arrival(job, end.max(0)));
            model.links.push(Link {
                before,
                after,
                min_lag: 0,
                max_lag: None,
            });
        }
        let index: HashMap<Uuid, usize> = operations
            .iter()
            .enumerate()
            .map(|(i, &id)| (id, i))
            .collect();
        for (job, operation) in behind {
            let Some(&after) = index.get(&operation.id) else {
                continue;
            };
            for &before in operation.behind.iter().filter_map(|id| index.get(id)) {
                if leads(&model, after, before) {
                    self.hole(job, Some(operation.id), Why::OrderGone);
                    continue;
                }
                model.links.push(Link {
                    before,
                    after,
                    min_lag: 0,
                    max_lag: None,
                });
            }
        }
        FloorModel {
            model,
            origin: from_minute(self.origin).unwrap_or(floor.now),
            machines: floor.machines.iter().map(|m| m.id).collect(),
            kinds: floor.machines.iter().map(|m| m.kind.clone()).collect(),
            people: floor.people.iter().map(|p| p.id).collect(),
            skills: floor.people.iter().map(|p| p.skills.clone()).collect(),
            jobs,
            operations,
            holes: self.holes,
            index,
        }
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

/// The first minute of a day since 1970.
fn opens(floor: &Floor, day: chrono::NaiveDate) -> Minute {
    ceil_minute(local_instant(floor.zone, day.and_time(NaiveTime::MIN)))
}

/// What one operation waits for, as work that nobody does and that ends when it comes.
fn arrival(job: usize, end: Minute) -> Operation {
    Operation {
        job,
        name: "arrival of what it needs".to_owned(),
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
