//! What is drawn for one future: how long everything takes, and when somebody or something is not there.

use crate::estimating::variation::{Cause, Factor, World, Worlds};
use crate::planning::engine::model::{
    Minute, Model,
    build::{NONE, Shop},
    calendar::WorkingTime,
    plan::Plan,
};
use rand_distr::{Distribution, Exp1};
use statrs::function::erf::erfc;
use std::collections::BTreeMap;

/// Stretches in which somebody or something is not there, in order.
pub(super) type Closed = Vec<(Minute, Minute)>;

/// What of an operation has to be drawn.
#[derive(Debug, Clone, Copy)]
struct Varies {
    key: u64,
    /// Place of its kind of work in the table of this future.
    element: u32,
    job: u32,
    own: Factor,
    setup: Factor,
    worked: f64,
    whole: f64,
    outside: bool,
    /// Who has started it.
    person: u32,
}

/// What can be drawn of a plan.
#[derive(Debug, Clone)]
pub(super) struct Draws {
    pub worlds: Worlds,
    operations: Vec<Varies>,
    elements: Vec<u64>,
    /// Numbers of the jobs, and the release of those that come with a delivery.
    jobs: Vec<(u64, Option<Minute>)>,
    /// The days on which each person is there, from the first that begins after the origin: from when to when.
    days: Vec<Vec<(Minute, Minute)>>,
    /// Minutes that machines can break down in.
    horizon: Minute,
    // Of the future drawn last.
    /// By operation: run over the time planned, without the person's part; for started work, what is left in minutes.
    pub run: Vec<f64>,
    /// By operation: setup over the time planned, without the person's part.
    pub setup: Vec<f64>,
    pub person: Vec<f64>,
    pub release: Vec<Minute>,
    pub absent: Vec<Closed>,
    pub down: Vec<Closed>,
    log_element: Vec<f64>,
    log_job: Vec<f64>,
    log_person: Vec<f64>,
}

/// Working days looked ahead for absences and breakdowns: beyond twice the plan and a month nobody's date reaches.
const DAYS_MORE: Minute = 30;

/// Windows closer together than this are of one day: a lunch break and not a night.
const NIGHT: Minute = 240;

impl Draws {
    pub fn new(model: &Model, plan: &Plan, seed: u64) -> Self {
        let causes = &model.uncertainty;
        let mut elements = BTreeMap::new();
        let operations: Vec<Varies> = model
            .operations
            .iter()
            .enumerate()
            .map(|(i, op)| {
                let mine = causes.operation(i);
                let next = elements.len() as u32;
                let planned = plan.assignments.get(i);
                let mode = planned.and_then(|a| op.modes.get(a.mode));
                let person = op
                    .fixed
                    .map_or(planned.and_then(|a| a.person), |f| f.person);
                Varies {
                    key: mine.key,
                    element: *elements.entry(mine.element).or_insert(next),
                    job: op.job as u32,
                    own: Factor::of_cv(op.spread),
                    setup: Factor::of_cv(mine.setup_spread),
                    worked: mine.worked as f64,
                    whole: mine.whole as f64,
                    outside: mode.is_some_and(|m| m.machine.is_none()),
                    person: person.map_or(NONE, |p| p as u32),
                }
            })
            .collect();
        let mut keys = vec![0; elements.len()];
        for (key, at) in elements {
            keys[at as usize] = key;
        }
        let makespan = plan.assignments.iter().map(|a| a.end).max().unwrap_or(0);
        let horizon = 2 * makespan.clamp(0, 400 * 1440) + DAYS_MORE * 1440;
        let (n, people) = (operations.len(), model.people.len());
        Self {
            worlds: Worlds::new(seed, causes.shares),
            jobs: model
                .jobs
                .iter()
                .enumerate()
                .map(|(j, job)| {
                    let mine = causes.job(j);
                    (mine.key, mine.arrives.then_some(job.release))
                })
                .collect(),
            days: model
                .people
                .iter()
                .map(|p| days(&p.calendar, horizon))
                .collect(),
            horizon,
            run: vec![1.0; n],
            setup: vec![1.0; n],
            person: vec![1.0; people],
            release: model.jobs.iter().map(|j| j.release).collect(),
            absent: vec![Closed::new(); people],
            down: vec![Closed::new(); model.machines.len()],
            log_element: vec![0.0; keys.len()],
            log_job: vec![0.0; model.jobs.len()],
            log_person: vec![0.0; people],
            elements: keys,
            operations,
        }
    }

    /// Whether what is left of a started operation is drawn, or stays as planned.
    pub fn is_known(&self, op: u32) -> bool {
        self.operations[op as usize].whole <= 0.0
    }

    /// Draws future `k`.
    pub fn draw(&mut self, shop: &Shop, k: u64) {
        let world = self.worlds.world(k);
        // The level is in the times that are planned.
        let shop_log = world.log_shop() - world.shares().log_level;
        for (log, &key) in self.log_element.iter_mut().zip(&self.elements) {
            *log = world.log_element(key);
        }
        let jobs = self.log_job.iter_mut().zip(&mut self.release);
        for ((log, release), &(key, arrives)) in jobs.zip(&self.jobs) {
            *log = shop_log + world.log_job(key);
            if let Some(expected) = arrives.filter(|&r| r > 0) {
                *release = (expected as f64 * world.outside(key)).round() as Minute;
            }
        }
        let people = self.log_person.iter_mut().zip(&mut self.person);
        for (p, (log, ratio)) in people.enumerate() {
            *log = world.log_person(p as u64);
            *ratio = log.exp();
        }
        for (i, v) in self.operations.iter().enumerate() {
            if v.outside {
                self.run[i] = remaining_outside(v, &world);
                continue;
            }
            let shared = self.log_job[v.job as usize] + self.log_element[v.element as usize];
            let own = if v.own.is_one() {
                0.0
            } else {
                v.own.log_at(world.normal(Cause::Own, v.key))
            };
            if v.whole > 0.0 {
                let person = self.log_person.get(v.person as usize).copied();
                self.run[i] = remaining(v, &world, shared + own + person.unwrap_or(0.0));
                continue;
            }
            self.run[i] = (shared + own).exp() * world.rework(v.key);
            self.setup[i] = if v.setup.is_one() {
                shared.exp()
            } else {
                (shared + v.setup.log_at(world.normal(Cause::Setup, v.key))).exp()
            };
        }
        self.draw_events(shop, &world);
    }

    fn draw_events(&mut self, shop: &Shop, world: &World) {
        let shares = *world.shares();
        if shares.absence > 0.0 {
            for (p, (days, absent)) in self.days.iter().zip(&mut self.absent).enumerate() {
                absent.clear();
                let away = days.iter().filter(|day| {
                    let key = (day.0 as u64) << 16 | p as u64;
                    world.uniform(Cause::Absence, key) < shares.absence
                });
                absent.extend(away);
            }
        }
        if shares.between_breakdowns > 0.0 && shares.repair > 0.0 {
            for (m, down) in self.down.iter_mut().enumerate() {
                down.clear();
                breakdowns(shop.hours(m as u32), self.horizon, world, m as u64, down);
            }
        }
    }
}

/// Days of a calendar that begin after the origin and before the horizon. Who never goes home has days of 24 hours.
fn days(hours: &WorkingTime, horizon: Minute) -> Vec<(Minute, Minute)> {
    if hours.is_always() {
        return (1..horizon / 1440)
            .map(|d| (d * 1440, d * 1440 + 1440))
            .collect();
    }
    let mut days: Vec<(Minute, Minute)> = Vec::new();
    for &(open, close) in hours.windows() {
        match days.last_mut() {
            Some(day) if open - day.1 < NIGHT => day.1 = close,
            _ if open >= horizon => break,
            _ => days.push((open, close)),
        }
    }
    days.retain(|day| day.0 > 0);
    days
}

/// Breakdowns of a machine: a Poisson process in its working time, repairs exponential in it too.
fn breakdowns(
    hours: &WorkingTime,
    horizon: Minute,
    world: &World,
    machine: u64,
    down: &mut Closed,
) {
    let shares = world.shares();
    let open = hours.open_between(0, horizon) as f64;
    let mut rng = world.generator(Cause::Breakdown, machine);
    let gap = |rng: &mut dyn rand::Rng, mean: f64| -> f64 {
        let unit: f64 = Exp1.sample(rng);
        mean * unit
    };
    let mut at = gap(&mut rng, shares.between_breakdowns);
    while at < open {
        let repair = gap(&mut rng, shares.repair).max(1.0);
        let from = hours.pausing(0, at as Minute).1;
        let until = hours.pausing(from, repair.round() as Minute).1;
        down.push((from, until));
        at += repair + gap(&mut rng, shares.between_breakdowns);
    }
}

/// Minutes left of started work whose whole time has this logarithm over the time planned in a future that knows nothing of the
/// start. The shared causes and its own make one standard normal deviate; at its probability stands what the whole takes,
/// given that it takes longer than it has taken already. So the time has exactly its conditional distribution, and still
/// goes with what goes with it.
fn remaining(v: &Varies, world: &World, log: f64) -> f64 {
    let shares = world.shares();
    let person = if v.person == NONE {
        Factor::ONE
    } else {
        shares.person
    };
    let whole = [shares.element, shares.job, person, v.own]
        .into_iter()
        .fold(shares.shop, Factor::times);
    let p = probability(log, whole);
    let takes = v.whole * whole.quantile_above(p, v.worked / v.whole);
    (takes * world.rework(v.key) - v.worked).max(1.0)
}

/// Over its planned time; for what is away already, minutes left.
fn remaining_outside(v: &Varies, world: &World) -> f64 {
    if v.whole <= 0.0 {
        return world.outside(v.key);
    }
    let factor = world.shares().outside;
    let takes =
        v.whole * factor.quantile_above(world.uniform(Cause::Outside, v.key), v.worked / v.whole);
    (takes - v.worked).max(1.0)
}

/// The probability at which a factor has this logarithm.
fn probability(log: f64, factor: Factor) -> f64 {
    if factor.is_one() {
        return 0.5;
    }
    let z = log / factor.sigma() + factor.sigma() / 2.0;
    0.5 * erfc(-z / std::f64::consts::SQRT_2)
}
