//! The workshop of the past year: who works on what from minute to minute, and how long it really takes.

use super::past_truth::PastFile;
use crate::estimating::{Check, Operation, Route};
use crate::quality::{self, Failure, Found, Judged, Limits, Rework, hold_reason, judge, reading};
use crate::shopfloor::Kind;
use crate::units::{Minutes, plain};
use chrono::{DateTime, NaiveDate, Utc};
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;
use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, dec};
use std::collections::BTreeMap;
use uuid::Uuid;

/// What comes first: what was begun, then what is due first, then what was asked for first.
type Order = (bool, NaiveDate, usize, usize);

/// Minutes since the epoch.
pub(super) type Minute = i64;

pub(super) fn minute(at: DateTime<Utc>) -> Minute {
    at.timestamp().div_euclid(60)
}

pub(super) fn moment(minute: Minute) -> DateTime<Utc> {
    DateTime::from_timestamp(minute.saturating_mul(60), 0).unwrap_or_default()
}

const DAY: Minute = 24 * 60;

/// Somebody who works in the workshop.
#[derive(Debug, Clone)]
pub(super) struct Hand {
    pub(super) id: Uuid,
    pub(super) skills: Vec<String>,
    /// Actual over standard, of all that they do.
    pub(super) ratio: f64,
}

/// A check as it was made.
#[derive(Debug, Clone)]
pub(super) struct Checked {
    pub(super) place: usize,
    pub(super) found: Found,
    pub(super) judged: Judged,
    pub(super) at: Minute,
    pub(super) by: Uuid,
}

/// What was decided about a check that failed.
#[derive(Debug, Clone)]
pub(super) struct Held {
    /// Index of the operation.
    pub(super) task: usize,
    pub(super) why: String,
    pub(super) opened: Minute,
    pub(super) by: Uuid,
    pub(super) decided: Minute,
    /// The donor was scrap; else it was reworked.
    pub(super) scrap: bool,
}

/// An operation of a job.
#[derive(Debug, Clone)]
pub(super) struct Task {
    pub(super) planned: Operation,
    pub(super) added: bool,
    pub(super) again_for: Option<u32>,
    pub(super) machine: Option<Uuid>,
    pub(super) person: Option<Uuid>,
    pub(super) entries: Vec<(Kind, Minute)>,
    pub(super) checks: Vec<Checked>,
    pub(super) done: Option<Minute>,
    /// Minutes of setup and of run before the person is known.
    base: (f64, f64),
    /// The share of the run that somebody stands by.
    attended: f64,
    /// Minutes left: setup, attended run, unattended run.
    left: (Minute, Minute, Minute),
    busy_until: Minute,
}

/// A job in the workshop.
#[derive(Debug, Clone)]
pub(super) struct FloorJob {
    /// The call it came from.
    pub(super) call: usize,
    pub(super) due: NaiveDate,
    pub(super) tasks: Vec<Task>,
    pub(super) holds: Vec<Held>,
    /// When all of it was done.
    pub(super) finished: Option<Minute>,
    /// Not before.
    available: Minute,
    /// Index of the operation after which the donor is known to be good.
    inspected: Option<usize>,
    donor_fails: bool,
    factor: f64,
    rng: Pcg64,
}

/// The workshop with what is in it.
#[derive(Debug)]
pub(super) struct Workshop<'a> {
    pub(super) truth: &'a PastFile,
    pub(super) hands: Vec<Hand>,
    pub(super) machines: BTreeMap<String, Uuid>,
    pub(super) jobs: Vec<FloorJob>,
    /// Until when a machine is taken, and by which operation that is not done.
    taken: BTreeMap<String, (Minute, Option<(usize, usize)>)>,
}

fn log_normal(cv: f64, rng: &mut Pcg64) -> f64 {
    let sigma = (cv * cv).ln_1p().sqrt();
    let z: f64 = StandardNormal.sample(rng);
    (sigma * z).exp()
}

impl Task {
    fn new(planned: Operation, truth: &PastFile, factor: f64, rng: &mut Pcg64) -> Self {
        let times = &truth.time;
        let run: f64 = planned
            .steps
            .iter()
            .map(|step| {
                let ratio = times.element.get(&step.code).copied();
                plain(step.run().0) * ratio.unwrap_or(times.element_other)
            })
            .sum();
        let mut whole = factor * log_normal(times.scatter_cv, rng);
        if rng.random_bool(times.mishap) {
            whole *= rng.random_range(2.0..5.0);
        }
        let share = match planned.steps.as_slice() {
            [step] => times.attended.get(&step.code).copied(),
            _ => None,
        };
        Self {
            attended: share.unwrap_or(plain(planned.attended_share)),
            base: (plain(planned.setup.0) * times.setup * whole, run * whole),
            planned,
            added: false,
            again_for: None,
            machine: None,
            person: None,
            entries: Vec::new(),
            checks: Vec::new(),
            done: None,
            left: (0, 0, 0),
            busy_until: 0,
        }
    }

    /// Begun by somebody: now it is known how long it takes.
    fn begin(&mut self, hand: &Hand) {
        let (setup, run) = self.base;
        let share = self.attended;
        let whole = |minutes: f64| (minutes * hand.ratio).round().to_i64().unwrap_or(0);
        self.left = (
            whole(setup),
            whole(run * share).max(1),
            whole(run * (1.0 - share)),
        );
        self.person = Some(hand.id);
    }

    /// Works from a minute until the end of a stretch at most; gives the minute at which its person is free.
    fn work(&mut self, from: Minute, until: Minute) -> Minute {
        let mut now = from;
        for kind in [Kind::Setup, Kind::Run] {
            let left = match kind {
                Kind::Setup => &mut self.left.0,
                _ => &mut self.left.1,
            };
            if *left > 0 && now < until {
                self.entries.push((kind, now));
                let here = (*left).min(until - now);
                now += here;
                *left -= here;
            }
        }
        if self.left.0 > 0 || self.left.1 > 0 {
            self.entries.push((Kind::Pause, now));
            self.busy_until = now;
            return now;
        }
        let mut done = now;
        if let Some((_, days)) = self.planned.outside {
            self.entries.push((Kind::Pause, now));
            done = now + Minute::from(days) * DAY * 7 / 5;
        } else if self.left.2 > 0 {
            self.entries.push((Kind::RunAlone, now));
            done = now + self.left.2;
        }
        self.entries.push((Kind::Done, done));
        self.done = Some(done);
        self.busy_until = done;
        now
    }
}

impl FloorJob {
    pub(super) fn new(
        call: usize,
        due: NaiveDate,
        available: Minute,
        route: &Route,
        has_donor: bool,
        truth: &PastFile,
    ) -> Self {
        let mut rng = Pcg64::seed_from_u64(truth.seed ^ (0xA11 + call as u64 * 7_919));
        let factor = log_normal(truth.time.job_cv, &mut rng);
        let tasks = route.operations.iter();
        Self {
            call,
            due,
            tasks: tasks
                .map(|planned| Task::new(planned.clone(), truth, factor, &mut rng))
                .collect(),
            holds: Vec::new(),
            finished: None,
            available,
            inspected: route.inspected_after().checked_sub(1),
            donor_fails: has_donor && rng.random_bool(truth.events.donor_fails),
            factor,
            rng,
        }
    }

    fn ready(&self, task: &Task, now: Minute) -> bool {
        task.planned.after.iter().all(|number| {
            let before = self.tasks.iter().find(|t| t.planned.number == *number);
            before.is_none_or(|t| t.done.is_some_and(|done| done <= now))
        })
    }

    /// What follows when an operation is done: its checks, and what a failed one leads to.
    fn after(&mut self, at: usize, by: Uuid, truth: &PastFile) {
        let Some(task) = self.tasks.get(at) else {
            return;
        };
        let (Some(done), planned) = (task.done, task.planned.clone()) else {
            return;
        };
        let scrap = self.donor_fails && self.inspected == Some(at) && !task.added;
        let fails = planned.stage.is_machining()
            && !task.added
            && planned.outside.is_none()
            && self.rng.random_bool(truth.events.rework);
        let failing = if scrap || fails { Some(0) } else { None };
        let mut checks = Vec::new();
        let mut failed: Option<(usize, Failure)> = None;
        for (place, check) in planned.checks.iter().enumerate() {
            let found = finding(check, failing == Some(place), &mut self.rng);
            let Ok(judged) = judge(check, &found) else {
                continue;
            };
            if let Some(failure) = &judged.failure {
                failed.get_or_insert((place, failure.clone()));
            }
            checks.push(Checked {
                place,
                found,
                judged,
                at: done,
                by,
            });
        }
        if let Some(task) = self.tasks.get_mut(at) {
            task.checks = checks;
        }
        if let Some((place, failure)) = failed
            && let Some(check) = planned.checks.get(place)
        {
            let why = hold_reason(planned.number, check, &failure);
            self.hold(at, why, (done, by), scrap, truth);
        }
        if self.tasks.iter().all(|task| task.done.is_some()) {
            self.finished = self.tasks.iter().filter_map(|task| task.done).max();
        }
    }

    /// The job stops until it is decided the next day; then the work is put right, or begins again on another donor.
    fn hold(
        &mut self,
        at: usize,
        why: String,
        (done, by): (Minute, Uuid),
        scrap: bool,
        truth: &PastFile,
    ) {
        let decided = done + DAY;
        let route: Vec<Operation> = self.tasks.iter().map(|t| t.planned.clone()).collect();
        let Some(held) = route.get(at) else { return };
        let change = if scrap {
            let states: Vec<(&Operation, bool)> = route
                .iter()
                .zip(self.tasks.iter().map(|task| task.done.is_some()))
                .collect();
            let numbers: Vec<u32> = states
                .iter()
                .filter(|(_, done)| *done)
                .map(|(o, _)| o.number)
                .collect();
            quality::do_again(&numbers, &states)
        } else {
            let asked = Rework {
                title: "put right to size".to_owned(),
                machine_kind: held.machine_kind.clone(),
                setup: held.setup,
                run: Minutes(
                    (held.run.0 * truth.events.rework_share)
                        .round()
                        .max(dec!(5)),
                ),
            };
            let all: Vec<&Operation> = route.iter().collect();
            quality::rework(&asked, held, held.checks.first(), &all)
        };
        for (number, after) in change.after {
            if let Some(task) = self.tasks.iter_mut().find(|t| t.planned.number == number) {
                task.planned.after = after;
            }
        }
        for (place, planned) in change.add.into_iter().enumerate() {
            let mut task = Task::new(planned, truth, self.factor, &mut self.rng);
            task.added = true;
            task.again_for = change.again_for.get(place).copied();
            self.tasks.push(task);
        }
        // Another donor has to come first.
        self.available = decided + if scrap { 2 * DAY } else { 0 };
        self.holds.push(Held {
            task: at,
            why,
            opened: done,
            by,
            decided,
            scrap,
        });
    }
}

/// What a check finds: within its limits, or two hundredths beyond at its last place.
fn finding(check: &Check, fails: bool, rng: &mut Pcg64) -> Found {
    let Some(limits) = Limits::of(check) else {
        return Found::Gauged(!fails);
    };
    let lower = limits.lower.unwrap_or_default();
    let upper = limits.upper.unwrap_or(lower);
    let beyond = reading("0.02").unwrap_or_default();
    let mut readings: Vec<Decimal> = (0..check.readings())
        .map(|_| {
            let share = Decimal::from(rng.random_range(1..10)) / Decimal::TEN;
            (lower + (upper - lower) * share).round_dp(3)
        })
        .collect();
    if fails && let Some(last) = readings.last_mut() {
        *last = upper + beyond;
    }
    match readings.as_slice() {
        [one] => Found::Measured(*one),
        _ => Found::Readings(readings),
    }
}

impl<'a> Workshop<'a> {
    pub(super) fn new(
        truth: &'a PastFile,
        hands: Vec<Hand>,
        machines: BTreeMap<String, Uuid>,
    ) -> Self {
        Self {
            truth,
            hands,
            machines,
            jobs: Vec::new(),
            taken: BTreeMap::new(),
        }
    }

    /// Standard minutes of people that are still to be done.
    pub(super) fn waiting(&self) -> f64 {
        let open = self.jobs.iter().flat_map(|job| &job.tasks);
        open.filter(|task| task.done.is_none())
            .map(|task| {
                let planned = &task.planned;
                plain(planned.setup.0 + planned.run.0 * planned.attended_share)
            })
            .sum()
    }

    /// One day: everybody takes the work that is due first of what they can do, in the stretches in which they are there.
    pub(super) fn day(&mut self, stretches: &[Vec<(Minute, Minute)>]) {
        let mut clocks: Vec<(Minute, usize)> = stretches
            .iter()
            .map(|mine| (mine.first().map_or(Minute::MAX, |s| s.0), 0))
            .collect();
        // More turns than a day has minutes are never taken.
        for _ in 0..20_000 {
            let next = clocks.iter().enumerate().min_by_key(|(_, (now, _))| *now);
            let Some((hand, &(now, at))) = next.filter(|(_, (now, _))| *now < Minute::MAX) else {
                return;
            };
            let Some((from, until)) = stretches.get(hand).and_then(|mine| mine.get(at)) else {
                return;
            };
            let after = if now >= *until {
                match stretches.get(hand).and_then(|mine| mine.get(at + 1)) {
                    Some((next, _)) => (*next, at + 1),
                    None => (Minute::MAX, at),
                }
            } else {
                let now = now.max(*from);
                match self.choose(hand, now) {
                    Some((job, task)) => (self.work(hand, (job, task), now, *until), at),
                    None => (now + 5, at),
                }
            };
            if let Some(clock) = clocks.get_mut(hand) {
                *clock = after;
            }
        }
    }

    /// What somebody does next: what they have begun, else what is due first.
    fn choose(&self, hand: usize, now: Minute) -> Option<(usize, usize)> {
        let hand = self.hands.get(hand)?;
        let mut best: Option<(Order, (usize, usize))> = None;
        for (j, job) in self.jobs.iter().enumerate() {
            if job.finished.is_some() || job.available > now {
                continue;
            }
            for (t, task) in job.tasks.iter().enumerate() {
                if task.done.is_some() || task.busy_until > now {
                    continue;
                }
                let mine = match task.person {
                    Some(person) => person == hand.id,
                    None => hand.skills.contains(&task.planned.skill),
                };
                if !mine || !self.machine_free((j, t), task, now) || !job.ready(task, now) {
                    continue;
                }
                let key = (task.person.is_none(), job.due, job.call, t);
                if best.is_none_or(|(other, _)| key < other) {
                    best = Some((key, (j, t)));
                }
            }
        }
        best.map(|(_, at)| at)
    }

    fn machine_free(&self, at: (usize, usize), task: &Task, now: Minute) -> bool {
        match self.taken.get(&task.planned.machine_kind) {
            None => true,
            Some((until, holder)) => match holder {
                Some(holder) => *holder == at,
                None => *until <= now,
            },
        }
    }

    fn work(&mut self, hand: usize, at: (usize, usize), now: Minute, until: Minute) -> Minute {
        let (Some(hand), truth) = (self.hands.get(hand).cloned(), self.truth) else {
            return until;
        };
        let machines = &self.machines;
        let Some(job) = self.jobs.get_mut(at.0) else {
            return until;
        };
        let Some(task) = job.tasks.get_mut(at.1) else {
            return until;
        };
        if task.person.is_none() {
            let month = now / (30 * DAY);
            let seed = truth.seed ^ month.unsigned_abs();
            let shop = log_normal(truth.time.month_cv, &mut Pcg64::seed_from_u64(seed));
            task.base = (task.base.0 * shop, task.base.1 * shop);
            task.begin(&hand);
            task.machine = machines.get(&task.planned.machine_kind).copied();
        }
        let free = task.work(now, until);
        let kind = task.planned.machine_kind.clone();
        let is_machine = task.machine.is_some();
        let done = task.done;
        if is_machine {
            let holder = done.is_none().then_some(at);
            self.taken.insert(kind, (done.unwrap_or(free), holder));
        }
        if done.is_some() {
            job.after(at.1, hand.id, truth);
        }
        free.max(now + 1)
    }
}
