//! Whether promises hold as often as they are said to: an invented shop that follows the model of variation for years, with
//! the planner that the service has.
//!
//! `cargo bench --bench certainty -- --years 4 --futures 400` prints, for the shop as it is and under each disturbance, how
//! many of the promises given at 50, 80 and 95 % held. With `--weeks 20` it carries the plans of twenty such shops out by
//! their priorities and beside it with planning again each day. `--learns` corrects promises by the shop's own record.
//!
//! Each morning the plan is made again with what is known by then (who is absent, what is down, how far everything has
//! come). Jobs come in; each is promised by the running plan's futures, at the moment that holds in the wanted share of
//! them, put into the plan, and done as the plan says, with times and mishaps drawn from the truth. The shop knows the
//! shares of the truth and none of its draws. Promises of the first month and of jobs that the end of the run overtakes do
//! not count.

#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    clippy::too_many_lines,
    reason = "a benchmark fails by panicking, looks at the clock and is read from top to bottom"
)]

use borewright::estimating::variation::{Cause, Factor, Worlds, key_of};
use borewright::estimating::{Operation, Recalibration, Route, Stage, Step, TimeSource, Variation};
use borewright::planning::engine::futures::{Actual, carry_out, futures};
use borewright::planning::engine::model::plan::Plan;
use borewright::planning::engine::promise::PlannedDates;
use borewright::planning::engine::repair::repair;
use borewright::planning::engine::solve::{SolveOptions, first_plan};
use borewright::planning::floor::{
    Floor, FloorJob, FloorMachine, FloorModel, FloorOperation, FloorPerson, Order, PROMISE_WEIGHT,
    Progress, Timetable,
};
use borewright::planning::{Candidate, CandidateOperation, Hours, ReadyDates, Shift};
use borewright::review::calibration::share_of_futures;
use borewright::units::{Currency, Minutes, Money, Spread};
use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeDelta, Utc, Weekday};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Poisson};
use rand_pcg::Pcg64;
use rust_decimal::{Decimal, dec};
use std::collections::{BTreeMap, HashMap};
use std::time::Instant;
use uuid::Uuid;

/// What promises are given at, in per cent.
const LEVELS: [u32; 3] = [50, 80, 95];

/// Days in which the shop's, people's and kinds of work's factors stay what they are.
const PERIOD: u64 = 28;

/// As in a run of the planner.
const PRICE_OF_A_MOVE: i64 = 30;

struct Settings {
    years: u64,
    futures: usize,
    moves: u64,
    arrivals: f64,
    bare: bool,
    learns: bool,
}

/// A kind of machine with how many there are, its skill, and its elements.
const KINDS: [(&str, usize, &str); 5] = [
    ("mill", 2, "milling"),
    ("borer", 1, "boring"),
    ("hone", 1, "honing"),
    ("grinder", 1, "grinding"),
    ("bench", 2, "fitting"),
];

const PEOPLE: [(&str, &[&str]); 4] = [
    ("Wyn", &["milling", "boring"]),
    ("Ines", &["milling", "honing", "grinding"]),
    ("Col", &["boring", "grinding", "fitting"]),
    ("Edda", &["fitting", "honing", "milling"]),
];

fn clock(hour: u32, minute: u32) -> NaiveTime {
    NaiveTime::from_hms_opt(hour, minute, 0).unwrap()
}

fn hours(from: NaiveTime, to: NaiveTime) -> Hours {
    let days = [
        Weekday::Mon,
        Weekday::Tue,
        Weekday::Wed,
        Weekday::Thu,
        Weekday::Fri,
    ];
    Hours {
        zone: chrono_tz::Tz::UTC,
        shifts: days
            .map(|weekday| Shift {
                weekday,
                start: from,
                end: to,
            })
            .to_vec(),
        holidays: Default::default(),
        overtime: vec![],
        stops: vec![],
    }
}

fn empty_shop(variation: &Variation, now: DateTime<Utc>) -> Floor {
    let mut machines = Vec::new();
    for (kind, count, _) in KINDS {
        for k in 0..count {
            machines.push(FloorMachine {
                id: Uuid::from_u128(100 + machines.len() as u128),
                name: format!("{kind} {}", k + 1),
                kind: kind.to_owned(),
                hours: hours(clock(7, 30), clock(18, 0)),
            });
        }
    }
    let people = PEOPLE
        .iter()
        .enumerate()
        .map(|(p, (name, skills))| FloorPerson {
            id: Uuid::from_u128(200 + p as u128),
            name: (*name).to_owned(),
            skills: skills.iter().map(|s| (*s).to_owned()).collect(),
            hours: hours(clock(8, 0), clock(16, 30)),
        });
    Floor {
        zone: chrono_tz::Tz::UTC,
        now,
        hours: hours(clock(8, 0), clock(16, 30)),
        confidence: 0.8,
        days: Recalibration::none(),
        variation: variation.clone(),
        people: people.collect(),
        machines,
        jobs: vec![],
    }
}

/// A route of four to seven operations: fitting first and last, machines between, now and then something sent out.
fn route(rng: &mut Pcg64) -> Route {
    let middle = 2 + rng.random_range(0..4u32);
    let spread = Spread::Cv { cv: dec!(0.2) };
    let mut operations: Vec<Operation> = Vec::new();
    for k in 0..middle + 2 {
        let ends = k == 0 || k == middle + 1;
        let (kind, _, skill) = match ends {
            true => KINDS[4],
            false => KINDS[[0, 0, 0, 1, 2, 3][rng.random_range(0..6)]],
        };
        let run = Minutes(Decimal::from(match ends {
            true => rng.random_range(20..60),
            false => 15 * rng.random_range(2..9),
        }));
        let outside = !ends && rng.random_bool(0.04);
        let number = 10 * (k + 1);
        let code = format!("{kind}-{}", rng.random_range(0..3));
        operations.push(Operation {
            number,
            title: code.clone(),
            stage: Stage::Rough,
            machine_kind: kind.to_owned(),
            skill: skill.to_owned(),
            face: None,
            setup_key: format!("{kind}-{}", rng.random_range(0..4)),
            setup: Minutes(Decimal::from(if ends {
                0
            } else {
                10 * rng.random_range(1..4)
            })),
            setup_spread: spread,
            run,
            attended_share: if kind == "borer" {
                dec!(0.5)
            } else {
                Decimal::ONE
            },
            steps: vec![Step {
                sizes: String::new(),
                settings: Vec::new(),
                left_out: String::new(),
                code,
                name: String::new(),
                place: None,
                count: 1,
                each: run,
                source: TimeSource::Owner,
                how: String::new(),
                spread,
                calculated_percent: dec!(100),
                setup: None,
            }],
            after: if k > 0 { vec![number - 10] } else { vec![] },
            checks: vec![],
            cautions: vec![],
            materials: vec![],
            tools: Vec::new(),
            can_fail: false,
            outside: outside.then(|| {
                let gbp = Currency::from_code("GBP").unwrap();
                (Money::zero(gbp), rng.random_range(2..6))
            }),
            makes: None,
        });
    }
    Route { operations }
}

/// As the service makes it of a route.
fn candidate(route: &Route) -> Candidate {
    let operations = route.operations.iter().enumerate().map(|(i, o)| {
        let whole: f64 = (o.setup.0 + o.run.0).try_into().unwrap();
        let attended: f64 = (o.setup.0 + o.run.0 * o.attended_share).try_into().unwrap();
        CandidateOperation {
            number: o.number,
            machine_kind: o.machine_kind.clone(),
            skill: o.skill.clone(),
            setup_key: o.setup_key.clone(),
            after: if i > 0 { vec![i - 1] } else { vec![] },
            attended_share: attended / whole,
            outside_days: o.outside.map(|(_, days)| days),
        }
    });
    Candidate {
        operations: operations.collect(),
    }
}

/// What really happens: nobody in the shop knows it.
struct Truth {
    worlds: Worlds,
    variation: Variation,
    /// By machine.
    down: Vec<Vec<(DateTime<Utc>, DateTime<Utc>)>>,
}

impl Truth {
    fn new(variation: &Variation, seed: u64, from: DateTime<Utc>, days: u64) -> Self {
        let worlds = Worlds::new(seed, variation.shares());
        let shares = variation.shares();
        let mut rng = Pcg64::seed_from_u64(seed ^ 0xD0);
        let machines: usize = KINDS.iter().map(|k| k.1).sum();
        let down = (0..machines)
            .map(|_| {
                let mut stops = Vec::new();
                if shares.between_breakdowns <= 0.0 {
                    return stops;
                }
                // Ten and a half working hours on five days of seven.
                let pace = 7.0 * 24.0 / (5.0 * 10.5);
                let mut at = 0.0;
                loop {
                    let unit: f64 = rand_distr::Exp1.sample(&mut rng);
                    at += unit * shares.between_breakdowns * pace;
                    if at > days as f64 * 1440.0 {
                        return stops;
                    }
                    let unit: f64 = rand_distr::Exp1.sample(&mut rng);
                    let repair = (unit * shares.repair * 24.0 / 10.5).max(1.0);
                    let begins = from + TimeDelta::minutes(at as i64);
                    stops.push((begins, begins + TimeDelta::minutes(repair as i64)));
                    at += repair;
                }
            })
            .collect();
        Self {
            worlds,
            variation: variation.clone(),
            down,
        }
    }

    fn absent(&self, day: u64, person: usize) -> bool {
        let world = self.worlds.world(day);
        world.uniform(Cause::Absence, 77 + person as u64) < self.variation.shares().absence
    }
}

/// How far the shop has come.
struct Shop {
    floor: Floor,
    kept: Option<Timetable>,
    /// Minutes that started work takes in all.
    takes: HashMap<Uuid, i64>,
    elements: HashMap<Uuid, u64>,
    promises: BTreeMap<Uuid, (DateTime<Utc>, u64)>,
    /// When jobs were done.
    ended: BTreeMap<Uuid, DateTime<Utc>>,
    /// Promises that ended, those that held, and those that held by the end of their day.
    held: [u32; 3],
    /// Whether promises held, as it became known.
    record: Vec<bool>,
}

impl Shop {
    /// A plan as a run of the planner makes it: the old one carried over, then searched near it, with room kept for what
    /// may go wrong unless `bare`.
    fn plan(&self, moves: u64, bare: bool) -> (FloorModel, Plan) {
        let model = self.floor.model();
        let carried = match &self.kept {
            Some(kept) => model.carry_over(&self.floor, kept).unwrap(),
            None => first_plan(&model.model).unwrap(),
        };
        let options = SolveOptions {
            seed: 1,
            iterations: Some(moves),
            rounds: 9,
        };
        let aim = if bare {
            model.model.clone()
        } else {
            let mut rng = Pcg64::seed_from_u64(1);
            let drawn = futures(&model.model, &carried, 200, &mut rng).unwrap();
            model.aim(&self.floor, &carried, &drawn)
        };
        let plan = repair(&aim, &carried, PRICE_OF_A_MOVE, &options, &mut |_| false);
        (model, plan.unwrap().plan)
    }

    /// Promises a job by the futures of the running plan, and takes it in.
    fn take_in(
        &mut self,
        (model, plan): (&FloorModel, &Plan),
        route: &Route,
        level: u32,
        (day, number): (u64, u64),
        settings: &Settings,
    ) {
        let futures = settings.futures;
        let dates = PlannedDates::new(
            &model.model,
            plan,
            model.origin,
            model.kinds.clone(),
            model.skills.clone(),
            futures,
            &mut Pcg64::seed_from_u64(number),
        )
        .unwrap();
        let sampler = route.sampler().unwrap();
        let able: Vec<Vec<u64>> = route
            .operations
            .iter()
            .map(|o| dates.able(&o.skill))
            .collect();
        let n = route.operations.len();
        let mut minutes = vec![0.0; n * futures];
        for (k, mine) in minutes.chunks_mut(n).enumerate() {
            sampler.sample_in(&dates.world(k), number, &able, mine);
        }
        let mut ready = dates.ready(&candidate(route), &vec![self.floor.now; futures], &minutes);
        ready.sort_by_key(|r| r.unwrap_or(DateTime::<Utc>::MAX_UTC));
        let stated = f64::from(level) / 100.0;
        let known = if settings.learns {
            &self.record[..]
        } else {
            &[]
        };
        let share = share_of_futures(stated, known.iter().copied());
        let rank = (share * futures as f64).ceil() as usize;
        let due = ready[rank.clamp(1, futures) - 1].unwrap();
        let id = Uuid::from_u128(
            u128::from(number) << 64 | u128::from(number.wrapping_mul(0x9E37_79B9_7F4A_7C15)),
        );
        let standard = self.floor.variation.shares().log_level.exp();
        let operations = route
            .operations
            .iter()
            .map(|o| {
                let mine = Uuid::from_u128(id.as_u128() ^ u128::from(o.number));
                self.elements.insert(mine, key_of(o.main_element()));
                FloorOperation::of_route(mine, o).at_level(standard)
            })
            .collect();
        self.floor.jobs.push(FloorJob {
            id,
            number: number as i64,
            title: String::new(),
            customer: String::new(),
            order: Order::Job,
            due: Some(due),
            promised: true,
            weight: PROMISE_WEIGHT,
            put_first: None,
            hold: None,
            operations,
            gates: vec![],
        });
        self.promises.insert(id, (due, day));
    }

    /// The truth about the plan of a day: every time, and what is down until `until`; with `ahead` also who will be absent.
    fn actual(
        &self,
        model: &FloorModel,
        truth: &Truth,
        (day, until): (u64, DateTime<Utc>),
        ahead: bool,
    ) -> Actual {
        let world = truth.worlds.world_like(u64::MAX, day / PERIOD);
        let assumed = self.floor.variation.shares().log_level;
        let own = Factor::of_cv(0.2);
        let n = model.model.operations.len();
        let (mut run, mut setup) = (vec![1.0; n], vec![1.0; n]);
        for (i, id) in model.operations.iter().enumerate() {
            let key = id.as_u64_pair().1;
            let job = model.jobs[model.model.operations[i].job].as_u64_pair().1;
            let causes = model.model.uncertainty.operation(i);
            if let Some(&takes) = self.takes.get(id) {
                run[i] = (takes - causes.worked).max(1) as f64;
                continue;
            }
            if model.model.operations[i].modes[0].machine.is_none() {
                run[i] = world.outside(key);
                continue;
            }
            let shared =
                world.log_shop() + world.log_element(self.elements[id]) + world.log_job(job);
            let own_run = own.log_at(world.normal(Cause::Own, key));
            let own_setup = own.log_at(world.normal(Cause::Setup, key));
            run[i] = (shared - assumed + own_run).exp() * world.rework(key);
            setup[i] = (shared - assumed + own_setup).exp();
        }
        let origin = model.origin;
        let minute = |at: DateTime<Utc>| (at - origin).num_minutes();
        Actual {
            run,
            setup,
            person: (0..PEOPLE.len())
                .map(|p| world.log_person(p as u64).exp())
                .collect(),
            absent: (0..PEOPLE.len())
                .map(|p| {
                    let days = if ahead { day + 1..day + 100 } else { 0..0 };
                    days.filter(|&later| truth.absent(later, p))
                        .map(|later| {
                            let from = minute(self.floor.now + Days::new(later - day)) - 450;
                            (from, from + 1440)
                        })
                        .collect()
                })
                .collect(),
            down: truth
                .down
                .iter()
                .map(|stops| {
                    let ahead = stops.iter().filter(|s| s.1 > origin && s.0 < until);
                    ahead.map(|s| (minute(s.0).max(0), minute(s.1))).collect()
                })
                .collect(),
        }
    }

    /// Work until `until` as the plan says and the truth lets it.
    fn work(
        &mut self,
        model: &FloorModel,
        plan: &Plan,
        truth: &Truth,
        (day, until): (u64, DateTime<Utc>),
    ) {
        let origin = model.origin;
        let minute = |at: DateTime<Utc>| (at - origin).num_minutes();
        let actual = self.actual(model, truth, (day, until), false);
        let done = carry_out(&model.model, plan, &actual).unwrap();
        let cut = minute(until);
        let index: HashMap<Uuid, usize> = model
            .operations
            .iter()
            .enumerate()
            .map(|(i, &id)| (id, i))
            .collect();
        let mut over = Vec::new();
        for job in &mut self.floor.jobs {
            for o in &mut job.operations {
                let Some(&i) = index.get(&o.id) else { continue };
                let d = done[i];
                if d.start >= cut || o.progress == Progress::Done {
                    continue;
                }
                if o.progress == Progress::Queued {
                    o.progress = Progress::Started {
                        since: Some(origin + TimeDelta::minutes(d.start)),
                        machine: d.machine.map(|m| model.machines[m]),
                        person: d.person.map(|p| model.people[p]),
                    };
                    self.takes.insert(o.id, d.minutes);
                }
                if d.end <= cut {
                    o.progress = Progress::Done;
                }
            }
            if job.operations.iter().all(|o| o.progress == Progress::Done) {
                let last = job
                    .operations
                    .iter()
                    .filter_map(|o| index.get(&o.id))
                    .map(|&i| done[i].end)
                    .max();
                over.push((job.id, origin + TimeDelta::minutes(last.unwrap_or(0))));
            }
        }
        for (id, at) in over {
            self.ended.insert(id, at);
            let (due, given) = self.promises[&id];
            self.record.push(at <= due);
            if given >= 30 {
                let counts = &mut self.held;
                counts[0] += 1;
                counts[1] += u32::from(at <= due);
                counts[2] += u32::from(at.date_naive() <= due.date_naive());
            }
            self.floor.jobs.retain(|job| job.id != id);
        }
        self.kept = Some(model.timetable(&self.floor, plan, None));
    }
}

/// A year of the shop, day by day.
struct Year {
    shop: Shop,
    truth: Truth,
    begins: DateTime<Utc>,
    level: u32,
    rng: Pcg64,
    /// The number of the last job.
    number: u64,
    /// Live jobs, summed over mornings, and mornings.
    live: (usize, usize),
}

impl Year {
    fn new((assumed, truth): (&Variation, &Variation), level: u32, seed: u64) -> Self {
        let monday: NaiveDate = "2026-01-05".parse().unwrap();
        let begins = monday.and_time(clock(7, 30)).and_utc();
        Self {
            shop: Shop {
                floor: Floor {
                    confidence: f64::from(level) / 100.0,
                    ..empty_shop(assumed, begins)
                },
                kept: None,
                takes: HashMap::new(),
                elements: HashMap::new(),
                promises: BTreeMap::new(),
                ended: BTreeMap::new(),
                held: [0; 3],
                record: Vec::new(),
            },
            truth: Truth::new(truth, seed, begins, 565),
            begins,
            level,
            rng: Pcg64::seed_from_u64(seed),
            number: seed * 100_000,
            live: (0, 0),
        }
    }

    /// What is known on the morning of a working day, with the moment until which it is worked by; `None` on other days:
    /// machines and outside work go on over the weekend, and the next plan sees it.
    fn morning(&mut self, day: u64) -> Option<DateTime<Utc>> {
        if day % 7 >= 5 {
            return None;
        }
        let now = self.begins + Days::new(day);
        self.shop.floor.now = now;
        for (p, person) in self.shop.floor.people.iter_mut().enumerate() {
            if self.truth.absent(day, p) {
                person.hours.holidays.insert(now.date_naive());
            }
        }
        for (machine, stops) in self.shop.floor.machines.iter_mut().zip(&self.truth.down) {
            for stop in stops.iter().filter(|s| s.0 <= now) {
                if !machine.hours.stops.contains(stop) {
                    machine.hours.stops.push(*stop);
                }
            }
        }
        Some(now + Days::new(if day % 7 == 4 { 3 } else { 1 }))
    }

    fn day(&mut self, day: u64, open: bool, settings: &Settings) {
        let Some(until) = self.morning(day) else {
            return;
        };
        let (mut model, mut plan) = self.shop.plan(settings.moves, settings.bare);
        self.live.0 += self.shop.floor.jobs.len();
        self.live.1 += 1;
        let arrivals = if open {
            Poisson::new(settings.arrivals)
                .unwrap()
                .sample(&mut self.rng) as u32
        } else {
            0
        };
        for _ in 0..arrivals {
            self.number += 1;
            let route = route(&mut self.rng);
            self.shop.kept = Some(model.timetable(&self.shop.floor, &plan, None));
            let which = (day, self.number);
            self.shop
                .take_in((&model, &plan), &route, self.level, which, settings);
            (model, plan) = self.shop.plan(settings.moves / 4, settings.bare);
        }
        self.shop.work(&model, &plan, &self.truth, (day, until));
    }
}

/// A whole year, and as long as it takes until all is done; with the live jobs of a morning, in the mean.
fn year(
    which: (&Variation, &Variation),
    level: u32,
    seed: u64,
    settings: &Settings,
) -> (Shop, f64) {
    let mut year = Year::new(which, level, seed);
    for day in 0..365 + 150 {
        if day >= 365 && year.shop.floor.jobs.is_empty() {
            break;
        }
        year.day(day, day < 365, settings);
    }
    let (live, mornings) = year.live;
    (year.shop, live as f64 / mornings.max(1) as f64)
}

/// How near carrying a plan out by its priorities comes to planning again each day with what is known by then: the jobs that
/// the simulated shop holds after eight weeks, each done in both ways with the same times and mishaps, and no job more.
fn weeks(shops: u64, settings: &Settings) {
    const FIRST: u64 = 2 * PERIOD;
    let usual = Variation::default();
    println!(
        "{:<8} {:>6} {:>12} {:>14} {:>14} {:>16}",
        "shop", "jobs", "played: kept", "planned: kept", "days between", "planned later by"
    );
    let (mut all, mut kept, mut apart, mut later) = (0u32, [0u32; 2], 0.0, 0.0);
    for seed in 1..=shops {
        let mut year = Year::new((&usual, &usual), 80, seed);
        for day in 0..FIRST {
            year.day(day, true, settings);
        }
        let Some(until) = year.morning(FIRST) else {
            continue;
        };
        let far = until + Days::new(100);
        let (model, plan) = year.shop.plan(settings.moves, settings.bare);
        let actual = year.shop.actual(&model, &year.truth, (FIRST, far), true);
        let done = carry_out(&model.model, &plan, &actual).unwrap();
        let mut played: BTreeMap<Uuid, i64> = BTreeMap::new();
        for (op, done) in model.model.operations.iter().zip(&done) {
            let end = played.entry(model.jobs[op.job]).or_default();
            *end = (*end).max(done.end);
        }
        year.shop.ended.clear();
        for day in FIRST..FIRST + 100 {
            year.day(day, false, settings);
        }
        let (mut mine, mut mine_kept, mut mine_apart, mut mine_later) = (0, [0; 2], 0.0, 0.0);
        for (job, end) in played {
            let Some(planned) = year.shop.ended.get(&job) else {
                continue;
            };
            let end = model.origin + TimeDelta::minutes(end.min(200 * 1440));
            let due = year.shop.promises[&job].0;
            mine += 1;
            mine_kept[0] += u32::from(end <= due);
            mine_kept[1] += u32::from(*planned <= due);
            let days = (*planned - end).num_minutes() as f64 / 1440.0;
            mine_apart += days.abs();
            mine_later += days;
        }
        let share = |kept: u32, of: u32| 100.0 * f64::from(kept) / f64::from(of.max(1));
        println!(
            "{seed:<8} {mine:>6} {:>10.0} % {:>12.0} % {:>14.2} {:>16.2}",
            share(mine_kept[0], mine),
            share(mine_kept[1], mine),
            mine_apart / f64::from(mine.max(1)),
            mine_later / f64::from(mine.max(1)),
        );
        all += mine;
        kept = [kept[0] + mine_kept[0], kept[1] + mine_kept[1]];
        apart += mine_apart;
        later += mine_later;
    }
    let of = f64::from(all.max(1));
    println!(
        "{:<8} {all:>6} {:>10.1} % {:>12.1} % {:>14.2} {:>16.2}",
        "all",
        100.0 * f64::from(kept[0]) / of,
        100.0 * f64::from(kept[1]) / of,
        apart / of,
        later / of,
    );
}

fn main() {
    let mut settings = Settings {
        years: 2,
        futures: 400,
        moves: 1200,
        arrivals: 4.0,
        bare: false,
        learns: false,
    };
    let (mut only, mut shops) = (None, None);
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let value = |words: &mut dyn Iterator<Item = String>| words.next().unwrap_or_default();
        match word.as_str() {
            "--years" => settings.years = value(&mut words).parse().unwrap(),
            "--futures" => settings.futures = value(&mut words).parse().unwrap(),
            "--moves" => settings.moves = value(&mut words).parse().unwrap(),
            "--arrivals" => settings.arrivals = value(&mut words).parse().unwrap(),
            "--learns" => settings.learns = true,
            "--bare" => settings.bare = true,
            "--weeks" => shops = value(&mut words).parse().ok(),
            "--only" => only = Some(value(&mut words)),
            _ => {}
        }
    }
    if let Some(shops) = shops {
        return weeks(shops, &settings);
    }
    let usual = Variation::default();
    let with = |change: &dyn Fn(&mut Variation)| {
        let mut changed = usual.clone();
        change(&mut changed);
        changed
    };
    let short = with(&|v| v.level_percent = dec!(110));
    let scenarios = [
        ("as it is", usual.clone(), usual.clone()),
        (
            "standards 10 % short, level set",
            short.clone(),
            short.clone(),
        ),
        (
            "4 % absence",
            with(&|v| v.absence_percent = dec!(4)),
            with(&|v| v.absence_percent = dec!(4)),
        ),
        (
            "3 % rework",
            with(&|v| v.rework_percent = dec!(3)),
            with(&|v| v.rework_percent = dec!(3)),
        ),
        (
            "whole jobs differ by 30 %",
            with(&|v| v.job_percent = dec!(30)),
            with(&|v| v.job_percent = dec!(30)),
        ),
        ("standards 10 % short, nobody knows", usual.clone(), short),
    ];
    println!(
        "{:<38} {:>6} {:>6} {:>6} {:>8} {:>6}",
        "", "50 %", "80 %", "95 %", "promises", "live"
    );
    for (name, assumed, truth) in &scenarios {
        if only
            .as_ref()
            .is_some_and(|only| !name.contains(only.as_str()))
        {
            continue;
        }
        let begun = Instant::now();
        let mut sums: BTreeMap<u32, [u32; 3]> = BTreeMap::new();
        let mut live = 0.0;
        for (level, seed) in LEVELS
            .iter()
            .flat_map(|l| (1..=settings.years).map(move |s| (*l, s)))
        {
            let (shop, jobs) = year((assumed, truth), level, seed, &settings);
            live += jobs / (3 * settings.years) as f64;
            let sum = sums.entry(level).or_default();
            for (sum, count) in sum.iter_mut().zip(shop.held) {
                *sum += count;
            }
        }
        let held = |which: usize| {
            LEVELS.map(|level| {
                let counts = sums.get(&level).copied().unwrap_or_default();
                100.0 * f64::from(counts[which]) / f64::from(counts[0].max(1))
            })
        };
        let ([a, b, c], [d, e, f]) = (held(1), held(2));
        let all: u32 = sums.values().map(|s| s[0]).sum();
        println!(
            "{name:<38} {a:>6.1} {b:>6.1} {c:>6.1} {all:>8} {live:>6.1}   by the end of the day {d:.1} {e:.1} {f:.1}, {:.0} s",
            begun.elapsed().as_secs_f64()
        );
    }
}
