//! A plan in times of day, as screens, paper and calendars show it.

use super::model::FloorModel;
use super::operation::Progress;
use super::snapshot::{Floor, HORIZON_DAYS, Resource};
use crate::planning::calendar::{Calendar, floor_minute, local_instant};
use crate::planning::engine::{
    futures::{Futures, buffers},
    model::{
        Minute, Model, ModelError,
        calendar::WorkingTime,
        plan::{Assignment, Plan, Value},
    },
    repair::{match_up, right_shift},
};
use chrono::{DateTime, Days, NaiveDate, NaiveTime, Utc};
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

/// Whether an operation's place may still be changed by planning.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SlotState {
    /// Planned.
    Planned,
    /// Pinned by hand to its time.
    Pinned,
    /// Being worked on.
    Started,
    /// Begun, and standing half done.
    HalfDone,
}

/// When, where and by whom one operation is done.
#[derive(Debug, Clone, PartialEq)]
pub struct Slot {
    /// The operation.
    pub operation: Uuid,
    /// Its job, or held slot.
    pub job: Uuid,
    /// The machine; `None` for work sent out.
    pub machine: Option<Uuid>,
    /// Who attends it.
    pub person: Option<Uuid>,
    /// Start of its setup; for started work, of what is left.
    pub starts: DateTime<Utc>,
    /// End of its setup.
    pub setup_until: DateTime<Utc>,
    /// When the person is free again.
    pub attended_until: DateTime<Utc>,
    /// When the machine is free again.
    pub ends: DateTime<Utc>,
    /// Setup, working minutes.
    pub setup_minutes: Minute,
    /// How many working minutes of the shop it could come later, with the rest of its job close behind, before the job
    /// is late; negative when the job is late. `None` without a promise.
    pub slack_minutes: Option<Minute>,
    /// Whether its place may still be changed.
    pub state: SlotState,
}

/// When a job is ready, and how sure that is.
#[derive(Debug, Clone, PartialEq)]
pub struct JobDates {
    /// The job, or held slot.
    pub job: Uuid,
    /// When its last operation ends.
    pub ready_at: DateTime<Utc>,
    /// Working minutes of the shop from then until its promise runs out; negative when it is late by so many. `None`
    /// without a promise.
    pub slack_minutes: Option<Minute>,
    /// The chance that the promise holds, from 0 to 1; `None` without a promise or before futures were drawn.
    pub chance: Option<f64>,
    /// When it is ready at the shop's confidence; `None` before futures were drawn, or when too many of them run past
    /// all calendars.
    pub sure_by: Option<DateTime<Utc>>,
}

/// A plan in times of day.
#[derive(Debug, Clone, PartialEq)]
pub struct Timetable {
    /// The moment it was made for.
    pub origin: DateTime<Utc>,
    /// The operations, by start.
    pub slots: Vec<Slot>,
    /// The jobs, as in the floor.
    pub jobs: Vec<JobDates>,
    /// What it is worth.
    pub value: Value,
    /// In the worst fifth of futures at least so many jobs are late together; `None` before futures were drawn.
    pub late_together: Option<u32>,
}

/// The share of futures that [`Timetable::late_together`] is of.
const BAD_WEEKS: f64 = 0.2;

/// A day of a machine or person.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DayLoad {
    /// The machine or person.
    pub owner: Resource,
    /// The shop's calendar day.
    pub day: NaiveDate,
    /// Working minutes the plan takes.
    pub load: Minute,
    /// Working minutes there are.
    pub capacity: Minute,
    /// Minutes of work that would have to be done by the end of this day for every promise to hold, that the plan does
    /// later, and for which there are no free hours from now until then: what is over.
    pub over: Minute,
}

impl Timetable {
    /// An operation's slot.
    #[must_use]
    pub fn slot(&self, operation: Uuid) -> Option<&Slot> {
        self.slots.iter().find(|slot| slot.operation == operation)
    }

    /// A job's dates.
    #[must_use]
    pub fn job(&self, job: Uuid) -> Option<&JobDates> {
        self.jobs.iter().find(|dates| dates.job == job)
    }

    /// Load and capacity of every machine and person on each day from `from` for `days` days.
    #[must_use]
    pub fn load(&self, floor: &Floor, from: NaiveDate, days: u32) -> Vec<DayLoad> {
        let last = from
            .checked_add_days(Days::new(u64::from(days)))
            .unwrap_or(from);
        let midnight = |day: NaiveDate| local_instant(floor.zone, day.and_time(NaiveTime::MIN));
        let machines = floor
            .machines
            .iter()
            .map(|m| (Resource::Machine(m.id), &m.hours));
        let people = floor
            .people
            .iter()
            .map(|p| (Resource::Person(p.id), &p.hours));
        // What is over is done after the days that are asked for, too.
        let end = self.slots.iter().map(|slot| slot.ends).max();
        let end = end.map_or(midnight(last), |end| end.max(midnight(last)));
        let mut loads = Vec::new();
        for (owner, hours) in machines.chain(people) {
            let calendar = Calendar::build(hours, midnight(from).min(floor.now), end);
            let mine: Vec<Stay> = self.stays(floor, owner).map(|(_, stay)| stay).collect();
            for day in from.iter_days().take_while(|day| *day < last) {
                let (open, close) = (midnight(day), day.succ_opt().map_or(open_end(), midnight));
                let within = |a: DateTime<Utc>, b: DateTime<Utc>| {
                    calendar.working_between(a.max(open), b.min(close))
                };
                let late: Minute = mine
                    .iter()
                    .map(|stay| late_at(&calendar, close, stay))
                    .sum();
                let over = if late > 0 {
                    let taken = mine.iter().map(|(a, b, _)| {
                        calendar.working_between((*a).max(floor.now), (*b).min(close))
                    });
                    let free = calendar.working_between(floor.now, close) - taken.sum::<Minute>();
                    (late - free.max(0)).max(0)
                } else {
                    0
                };
                loads.push(DayLoad {
                    owner,
                    day,
                    load: mine.iter().map(|(a, b, _)| within(*a, *b)).sum(),
                    capacity: calendar.working_between(open, close),
                    over,
                });
            }
        }
        loads
    }

    /// The work of a machine or person that is due by the end of a day and done later, with its minutes, the most first:
    /// what makes it over where it is ([`DayLoad::over`]).
    #[must_use]
    pub fn late_work(&self, floor: &Floor, owner: Resource, day: NaiveDate) -> Vec<(Uuid, Minute)> {
        let hours = match owner {
            Resource::Machine(id) => floor.machine(id).map(|m| &m.hours),
            Resource::Person(id) => floor.person(id).map(|p| &p.hours),
        };
        let midnight = |day: NaiveDate| local_instant(floor.zone, day.and_time(NaiveTime::MIN));
        let (Some(hours), Some(close)) = (hours, day.succ_opt().map(midnight)) else {
            return Vec::new();
        };
        let last = self.slots.iter().map(|slot| slot.ends).max();
        let calendar = Calendar::build(hours, close, last.unwrap_or(close).max(close));
        let mut over: Vec<(Uuid, Minute)> = self
            .stays(floor, owner)
            .map(|(operation, stay)| (operation, late_at(&calendar, close, &stay)))
            .filter(|(_, minutes)| *minutes > 0)
            .collect();
        over.sort_by_key(|(_, minutes)| -minutes);
        over
    }

    /// What takes time of a machine or person.
    fn stays<'a>(
        &'a self,
        floor: &'a Floor,
        owner: Resource,
    ) -> impl Iterator<Item = (Uuid, Stay)> + 'a {
        self.slots.iter().filter_map(move |slot| {
            let until = match owner {
                Resource::Machine(id) => (slot.machine == Some(id)).then_some(slot.ends),
                Resource::Person(id) => (slot.person == Some(id)).then_some(slot.attended_until),
            }?;
            let due = floor.job(slot.job).and_then(|job| job.due);
            Some((slot.operation, (slot.starts, until, due)))
        })
    }
}

/// From when until when something takes time, and when its job is due.
type Stay = (DateTime<Utc>, DateTime<Utc>, Option<DateTime<Utc>>);

/// Minutes of work that is done after the end of a day by which its job is due.
fn late_at(calendar: &Calendar, close: DateTime<Utc>, (start, until, due): &Stay) -> Minute {
    if due.is_some_and(|due| due <= close) && *until > close {
        calendar.working_between((*start).max(close), *until)
    } else {
        0
    }
}

/// Hours that a machine and a person have in common, once worked out.
type Joint = HashMap<(Option<usize>, Option<usize>), WorkingTime>;

fn open_end() -> DateTime<Utc> {
    DateTime::<Utc>::MAX_UTC
}

/// Working minutes between two instants in either order: negative when the second is earlier.
fn signed(calendar: &Calendar, from: DateTime<Utc>, until: DateTime<Utc>) -> Minute {
    calendar.working_between(from, until) - calendar.working_between(until, from)
}

impl FloorModel {
    /// A plan of this model in times of day. Operations that the calendars never let finish are left out; the plan's
    /// value tells that there are some. With futures of the plan, the chances too.
    #[must_use]
    pub fn timetable(&self, floor: &Floor, plan: &Plan, futures: Option<&Futures>) -> Timetable {
        let progress: HashMap<Uuid, &Progress> = floor
            .jobs
            .iter()
            .flat_map(|job| &job.operations)
            .map(|operation| (operation.id, &operation.progress))
            .collect();
        let mut joint = Joint::new();
        let mut slots: Vec<Slot> = (0..self.operations.len())
            .filter_map(|i| self.slot(i, plan, &progress, &mut joint))
            .collect();
        // From the first to the last instant that slack is counted between.
        let dues = floor.jobs.iter().filter_map(|job| job.due);
        let instants = || slots.iter().map(|slot| slot.ends).chain(dues.clone());
        let (first, last) = (
            instants().min().unwrap_or(floor.now),
            instants().max().unwrap_or(floor.now),
        );
        let calendar = Calendar::build(&floor.hours, first.min(floor.now), last);
        let ends: BTreeMap<Uuid, (DateTime<Utc>, DateTime<Utc>)> = slots
            .iter()
            .map(|slot| (slot.operation, (slot.starts, slot.ends)))
            .collect();
        let slack = self.slack(floor, &calendar, &ends);
        for slot in &mut slots {
            slot.slack_minutes = slack.get(&slot.operation).copied();
        }
        slots.sort_by_key(|slot| (slot.starts, slot.ends, slot.operation));
        let jobs = self
            .jobs
            .iter()
            .enumerate()
            .filter_map(|(j, &id)| {
                let job = floor.job(id)?;
                let ready_at = slots.iter().filter(|s| s.job == id).map(|s| s.ends).max()?;
                let due = job.due;
                Some(JobDates {
                    job: id,
                    ready_at,
                    slack_minutes: due.map(|due| signed(&calendar, ready_at, due)),
                    chance: futures.zip(due).map(|(futures, due)| {
                        let by = floor_minute(due) - floor_minute(self.origin);
                        floor.days.chance(futures.chance_by(j, by))
                    }),
                    sure_by: futures
                        .and_then(|futures| {
                            let share = floor.days.share_of_futures(floor.confidence);
                            futures.by_confidence(j, share)
                        })
                        .and_then(|minute| self.instant(minute)),
                })
            })
            .collect();
        Timetable {
            origin: self.origin,
            slots,
            jobs,
            value: plan.value,
            late_together: futures
                .and_then(|futures| u32::try_from(futures.late_together(BAD_WEEKS)).ok()),
        }
    }

    fn slot(
        &self,
        i: usize,
        plan: &Plan,
        progress: &HashMap<Uuid, &Progress>,
        joint: &mut Joint,
    ) -> Option<Slot> {
        let assigned = plan.assignments.get(i)?;
        let operation = self.model.operations.get(i)?;
        let mode = operation.modes.get(assigned.mode)?;
        let id = *self.operations.get(i)?;
        let setup_until = match mode.machine.and_then(|m| self.model.machines.get(m)) {
            Some(machine) if assigned.setup > 0 => {
                let person = assigned.person.and_then(|p| self.model.people.get(p));
                let time = joint
                    .entry((mode.machine, assigned.person))
                    .or_insert_with(|| match person {
                        Some(person) => machine.calendar.and(&person.calendar),
                        None => machine.calendar.clone(),
                    });
                time.pausing(assigned.start, assigned.setup).1
            }
            _ => assigned.start,
        };
        let started = matches!(progress.get(&id), Some(Progress::Started { .. }));
        Some(Slot {
            operation: id,
            job: *self.jobs.get(operation.job)?,
            machine: mode.machine.and_then(|m| self.machines.get(m)).copied(),
            person: assigned.person.and_then(|p| self.people.get(p)).copied(),
            starts: self.instant(assigned.start)?,
            setup_until: self.instant(setup_until.min(assigned.attended_until))?,
            attended_until: self.instant(assigned.attended_until)?,
            ends: self.instant(assigned.end)?,
            setup_minutes: assigned.setup,
            slack_minutes: None,
            state: match (started, operation.fixed.is_some()) {
                (true, true) => SlotState::Started,
                (true, false) => SlotState::HalfDone,
                (false, true) => SlotState::Pinned,
                (false, false) => SlotState::Planned,
            },
        })
    }

    /// Slack of each operation along its job: what the job has, and what it waits on the way.
    fn slack(
        &self,
        floor: &Floor,
        calendar: &Calendar,
        times: &BTreeMap<Uuid, (DateTime<Utc>, DateTime<Utc>)>,
    ) -> BTreeMap<Uuid, Minute> {
        let mut slack = BTreeMap::new();
        for &id in &self.jobs {
            let Some(job) = floor.job(id) else { continue };
            let Some(due) = job.due else { continue };
            // A route is a handful of operations: those behind an operation are looked at until nothing changes.
            let mine: Vec<_> = job
                .operations
                .iter()
                .filter_map(|o| Some((o, *times.get(&o.id)?)))
                .collect();
            for _ in 0..mine.len() {
                for (operation, (_, ends)) in &mine {
                    let behind = mine
                        .iter()
                        .filter(|(o, _)| o.after.contains(&operation.number));
                    let left = behind
                        .filter_map(|(o, (starts, _))| {
                            let waits = calendar.working_between(*ends, *starts);
                            Some(waits + slack.get(&o.id).copied()?)
                        })
                        .fold(signed(calendar, *ends, due), Minute::min);
                    slack.insert(operation.id, left);
                }
            }
        }
        slack
    }

    /// The plan of a timetable made earlier, carried over to this model with as little moved as may be: what can keep
    /// its time keeps it, with its machine and person; what cannot is put off. Work that is new to it takes the gaps
    /// there are.
    ///
    /// # Errors
    /// When the model cannot be planned.
    pub fn carry_over(&self, floor: &Floor, old: &Timetable) -> Result<Plan, ModelError> {
        let (plan, known) = self.places(floor, old);
        match_up(&self.model, &plan, known)
    }

    /// The model to search for a better plan in, from one of this model and its futures: promises are brought forward by
    /// what may go wrong on the way, as sure as the shop wants to be ([`buffers`]). Days of the shop's own and jobs that
    /// were put first stay as they are.
    #[must_use]
    pub fn aim(&self, floor: &Floor, plan: &Plan, futures: &Futures) -> Model {
        let protects = |job: usize| {
            let job = self.jobs.get(job).and_then(|&id| floor.job(id));
            job.is_some_and(|job| job.promised && job.put_first.is_none())
        };
        buffers::with_buffers(&self.model, plan, futures, floor.confidence, protects)
    }

    /// The order of a timetable made earlier on this model's clock, each operation as early as it allows.
    ///
    /// # Errors
    /// When the model cannot be planned.
    pub fn in_order_of(&self, floor: &Floor, old: &Timetable) -> Result<Plan, ModelError> {
        right_shift(&self.model, &self.places(floor, old).0)
    }

    /// Where a timetable has each operation, and which it has at all. Work that is new to it is put by its latest
    /// start: its promise less the work that is left from there on, twice over.
    pub(super) fn places(&self, floor: &Floor, old: &Timetable) -> (Plan, Vec<bool>) {
        let known: HashMap<Uuid, &Slot> = old.slots.iter().map(|s| (s.operation, s)).collect();
        let latest = self.latest_starts(floor);
        let operations = self.model.operations.iter().enumerate();
        let (assignments, had) = operations
            .map(|(i, operation)| {
                let slot = self.operations.get(i).and_then(|id| known.get(id));
                let mode = slot.and_then(|slot| {
                    let machine = slot
                        .machine
                        .and_then(|id| self.machines.iter().position(|m| *m == id));
                    operation
                        .modes
                        .iter()
                        .position(|mode| mode.machine == machine)
                });
                let person = slot
                    .and_then(|slot| slot.person)
                    .and_then(|id| self.people.iter().position(|p| *p == id));
                let start = slot.map_or_else(
                    || latest.get(i).copied().unwrap_or(0),
                    |slot| self.minute(slot.starts),
                );
                let assignment = Assignment {
                    mode: mode.unwrap_or(0),
                    person,
                    start,
                    setup: 0,
                    attended_until: start,
                    end: start,
                };
                // A place that is no longer possible is none.
                let has = slot.is_some_and(|slot| {
                    let able = |person: &usize| operation.people.contains(person);
                    mode.is_some() && (slot.person.is_none() || person.as_ref().is_some_and(able))
                });
                (assignment, has)
            })
            .unzip();
        let value = Value::default();
        (Plan { assignments, value }, had)
    }

    fn latest_starts(&self, floor: &Floor) -> Vec<Minute> {
        let mut left = vec![0; self.model.jobs.len()];
        let mut latest = vec![0; self.model.operations.len()];
        let mine = self.model.operations.iter().take(self.operations.len());
        for (i, operation) in mine.enumerate().rev() {
            let work = operation.modes.first().map_or(0, |m| m.setup + m.run);
            let Some(sum) = left.get_mut(operation.job) else {
                continue;
            };
            *sum += work;
            let due = self
                .jobs
                .get(operation.job)
                .and_then(|id| floor.job(*id)?.due);
            let due = due.map_or(Minute::from(HORIZON_DAYS) * 1440, |due| {
                floor_minute(due) - floor_minute(self.origin)
            });
            if let Some(start) = latest.get_mut(i) {
                *start = due - 2 * *sum;
            }
        }
        latest
    }
}
