//! From decisions to times: the serial schedule generation scheme (Kolisch 1996) over an order of all operations.
//!
//! Decisions are an order that respects the links, and for each operation a mode and a person. Each operation in turn
//! starts as early as its links, its machine, its person and their hours allow, after all that the order puts before
//! it on the machine and with the person. Ordering any plan by its starts gives it back or something better, so no
//! plan worth having under a regular goal is out of reach, and no order can deadlock.
//!
//! A longest lag pulls from behind: when an operation comes too late after the one before, that one is put off, and the
//! pass goes back to it. Starts only ever grow, so what comes out is the least fixed point.
//!
//! Here is the pass from the beginning; [`retime`] times again only what a move has changed, along [`chains`], as long
//! as [`foresight`] does not give the move up.

mod back;
mod chains;
mod decisions;
mod foresight;
mod retime;

use crate::planning::engine::model::{
    Minute,
    build::{Block, FlatMode, NO_MAX, NONE, Shop},
    calendar::NEVER,
    fit::earliest_fit,
    plan::{Assignment, Plan, Value},
};
pub(crate) use back::Before;
use chains::Chains;
pub(crate) use decisions::{Choice, Decisions};
use foresight::Latest;
pub(crate) use retime::Moved;
use retime::Retiming;

/// Times each operation is placed, in the mean, after which longest lags are given up as broken.
const PASSES: usize = 50;

/// Added to `broken` for an operation that never ends.
const UNFINISHED: Minute = 1_000_000;

/// Times of one operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Times {
    pub start: Minute,
    pub attended_until: Minute,
    pub end: Minute,
    pub setup: Minute,
    /// When its person is free after it: the end of its attended part, or, when nothing in it is attended, as before
    /// it.
    person_free: Minute,
}

impl Times {
    /// What stands before the first operation on a machine or with a person: nothing to wait for.
    const BEFORE_ALL: Self = Self {
        start: Minute::MIN,
        attended_until: Minute::MIN,
        end: Minute::MIN,
        setup: 0,
        person_free: Minute::MIN,
    };

    /// Times of an operation that the calendars never let finish.
    const fn never(setup: Minute, person_free: Minute) -> Self {
        Self {
            start: NEVER,
            attended_until: NEVER,
            end: NEVER,
            setup,
            person_free,
        }
    }
}

/// What an operation finds on its machine and with its person.
#[derive(Debug, Clone, Copy)]
struct Found {
    machine_free: Minute,
    /// What was on the table last.
    key: u32,
    person_free: Minute,
}

/// What is known of machines and people after a part of the order.
#[derive(Debug, Clone)]
struct State {
    machine_free: Vec<Minute>,
    table: Vec<u32>,
    person_free: Vec<Minute>,
}

impl State {
    fn reset(&mut self, shop: &Shop) {
        self.machine_free.fill(Minute::MIN);
        self.table.copy_from_slice(&shop.on_table);
        self.person_free.fill(Minute::MIN);
    }
}

/// The timing pass with its memory. Nothing is allocated once it is made.
#[derive(Debug, Clone)]
pub(crate) struct Timing {
    /// Times in the order last timed; after those of the operations stand those of the chains' heads.
    pub times: Vec<Times>,
    /// Earliest starts forced by longest lags.
    lower: Vec<Minute>,
    raised: bool,
    state: State,
    /// Where longest lags may send the pass back: what stood before each operation placed, in the order's sequence.
    placed: Vec<Before>,
    /// Minutes by which longest lags are missed in the order last timed.
    excess: Minute,
    /// Fixed operations that wait for others.
    fixed_waiting: Vec<u32>,
    chains: Chains,
    /// By operation, in an order accepted not long ago.
    latest: Vec<Latest>,
    retiming: Retiming,
}

impl Timing {
    pub fn new(shop: &Shop) -> Self {
        let n = shop.ops.len();
        let mut times = vec![Times::BEFORE_ALL; n + Chains::heads(shop)];
        for (t, f) in times.iter_mut().zip(&shop.fixed) {
            if let Some(f) = f {
                *t = Times {
                    start: f.start,
                    attended_until: f.attended_until,
                    end: f.end,
                    setup: 0,
                    person_free: f.attended_until,
                };
            }
        }
        Self {
            times,
            lower: vec![Minute::MIN; n],
            raised: false,
            state: State {
                machine_free: vec![Minute::MIN; shop.machines()],
                table: shop.on_table.clone(),
                person_free: vec![Minute::MIN; shop.people_count],
            },
            placed: Vec::new(),
            excess: 0,
            fixed_waiting: (0..n as u32)
                .filter(|&i| shop.ops[i as usize].fixed && !shop.before(i).is_empty())
                .collect(),
            chains: Chains::new(shop),
            latest: vec![Latest::NEVER_LATE; n],
            retiming: Retiming::new(shop),
        }
    }

    /// Times everything, keeping nothing: for futures, and for the first look at an order.
    pub fn once(&mut self, shop: &Shop, d: &Decisions) -> Value {
        self.pass(shop, d);
        self.value(shop)
    }

    fn pass(&mut self, shop: &Shop, d: &Decisions) {
        if self.raised {
            self.lower.fill(Minute::MIN);
            self.raised = false;
        }
        self.state.reset(shop);
        self.excess = 0;
        if !shop.has_max_lags {
            for &op in &d.order {
                self.place(shop, op, d.choice[op as usize]);
            }
            return;
        }
        self.placed.clear();
        let mut left = PASSES * d.order.len();
        while let Some(&op) = d.order.get(self.placed.len()) {
            let choice = d.choice[op as usize];
            self.placed.push(self.before(shop, op, choice));
            self.place(shop, op, choice);
            left = left.saturating_sub(1);
            let Some(put_off) = self.too_late(shop, op, left == 0) else {
                continue;
            };
            while let Some(before) = self.placed.pop() {
                let undone = d.order[self.placed.len()];
                self.undo(shop, undone, d.choice[undone as usize], before);
                if undone == put_off {
                    break;
                }
            }
        }
    }

    /// Forgets everything placed so far: for building an order from nothing.
    pub fn begin(&mut self, shop: &Shop) {
        self.lower.fill(Minute::MIN);
        self.raised = false;
        self.state.reset(shop);
    }

    /// When a machine is free after everything placed so far; for outside work, always.
    #[inline]
    pub fn machine_free(&self, machine: u32) -> Minute {
        let free = self.state.machine_free.get(machine as usize);
        free.map_or(-NEVER, |&free| free.max(-NEVER))
    }

    /// When a person is free after everything placed so far.
    #[inline]
    pub fn person_free(&self, person: u32) -> Minute {
        self.state.person_free[person as usize]
    }

    /// When an operation's machine, and its person if there is something to attend, are free after everything placed so
    /// far: it begins no sooner.
    #[inline]
    pub fn free(&self, mode: &FlatMode, person: u32) -> Minute {
        let machine = self.machine_free(mode.machine);
        let attended = mode.attended.min(mode.run) > 0;
        if person != NONE && attended {
            machine.max(self.person_free(person))
        } else {
            machine
        }
    }

    /// When an operation could begin on a machine if only someone were there for it.
    pub fn ready(&self, shop: &Shop, op: u32, machine: u32) -> Minute {
        let ends = shop.before(op).iter();
        let ready = ends.map(|l| self.times[l.op as usize].end + l.min);
        ready.fold(
            shop.ops[op as usize]
                .release
                .max(self.machine_free(machine)),
            Minute::max,
        )
    }

    /// Starts one operation as early as the state allows and takes it into the state.
    #[inline]
    pub fn place(&mut self, shop: &Shop, op: u32, choice: Choice) {
        let mode = &shop.modes(op)[choice.mode as usize];
        let t = self.fit(shop, op, mode, choice.person);
        self.take(shop, op, choice, t);
    }

    /// Takes one operation into the state with times that fit.
    #[inline]
    pub fn take(&mut self, shop: &Shop, op: u32, choice: Choice, t: Times) {
        let m = shop.modes(op)[choice.mode as usize].machine as usize;
        if m < shop.machines() {
            self.state.machine_free[m] = t.end;
            self.state.table[m] = shop.ops[op as usize].key;
        }
        if choice.person != NONE {
            self.state.person_free[choice.person as usize] = t.person_free;
        }
        self.times[op as usize] = t;
    }

    /// Earliest times of an operation after everything in the state.
    #[inline]
    pub fn fit(&self, shop: &Shop, op: u32, mode: &FlatMode, person: u32) -> Times {
        let machine = mode.machine as usize;
        let mut found = Found {
            machine_free: Minute::MIN,
            key: NONE,
            person_free: Minute::MIN,
        };
        if machine < shop.machines() {
            found.machine_free = self.state.machine_free[machine];
            found.key = self.state.table[machine];
        }
        if person != NONE {
            found.person_free = self.state.person_free[person as usize];
        }
        self.earliest(shop, op, mode, person, found)
    }

    /// The earliest start that the machine, the job and the links before allow.
    #[inline]
    fn ready_after(&self, shop: &Shop, op: u32, machine_free: Minute) -> Minute {
        let mut from = shop.ops[op as usize].release.max(machine_free);
        if shop.has_max_lags {
            from = from.max(self.lower[op as usize]);
        }
        for l in shop.before(op) {
            from = from.max(self.times[l.op as usize].end + l.min);
        }
        from
    }

    /// Earliest times of an operation after what it finds.
    #[inline]
    fn earliest(&self, shop: &Shop, op: u32, mode: &FlatMode, person: u32, found: Found) -> Times {
        let o = &shop.ops[op as usize];
        let machine = mode.machine as usize;
        let mut from = self.ready_after(shop, op, found.machine_free);
        let inside = machine < shop.machines();
        let blocks: &[Block] = if inside {
            &shop.machine_blocks[machine]
        } else {
            &[]
        };
        let person_blocks: &[Block] = if person == NONE {
            &[]
        } else {
            &shop.person_blocks[person as usize]
        };
        let run = mode.run;
        let attended_run = mode.attended.min(run);
        loop {
            // Fixed work on the machine: never inside it, and set up after the last of it.
            let mut key = found.key;
            for b in blocks {
                if b.start > from {
                    break;
                }
                from = from.max(b.end);
                if found.machine_free <= b.start {
                    key = b.key;
                }
            }
            let setup = shop.setup(mode, o.key, key);
            let attended = if person == NONE {
                0
            } else {
                setup + attended_run
            };
            // Nobody to wait for when there is nothing to attend.
            let start_from = if attended > 0 {
                from.max(found.person_free)
            } else {
                from
            };
            let alone = setup + run - attended;
            let (start, until, end) = earliest_fit(
                shop,
                mode.machine,
                person,
                o.may_pause,
                start_from,
                attended,
                alone,
            );
            if end >= NEVER {
                return Times::never(setup, found.person_free);
            }
            let clash = |b: &&Block, to: Minute| b.end > start && b.start < to;
            let blocked = blocks
                .iter()
                .find(|b| clash(b, end) || (b.start > from && b.start <= start))
                .map(|b| if b.end > start { b.end } else { start })
                .or_else(|| {
                    person_blocks
                        .iter()
                        .take_while(|_| attended > 0)
                        .find(|b| clash(b, until))
                        .map(|b| b.end)
                });
            match blocked {
                Some(to) => from = to,
                None => {
                    return Times {
                        start,
                        attended_until: until,
                        end,
                        setup,
                        person_free: if until > start {
                            until
                        } else {
                            found.person_free
                        },
                    };
                }
            }
        }
    }

    /// Minutes by which fixed operations begin before what they wait for allows.
    fn fixed_too_early(&self, shop: &Shop) -> Minute {
        let mut sum = 0;
        for &op in &self.fixed_waiting {
            let start = self.times[op as usize].start;
            for l in shop.before(op) {
                let wait = start - self.times[l.op as usize].end;
                sum += (l.min - wait).max(0);
                if l.max != NO_MAX {
                    sum += (wait - l.max).max(0);
                }
            }
        }
        sum
    }

    /// When a job is done; `None` for one without operations.
    #[inline]
    pub fn done(&self, shop: &Shop, job: u32) -> Option<Minute> {
        let ends = shop
            .sinks(&shop.jobs[job as usize])
            .iter()
            .map(|&op| self.times[op as usize].end);
        ends.max()
    }

    fn value(&self, shop: &Shop) -> Value {
        let mut value = Value {
            broken: self.excess + self.fixed_too_early(shop),
            ..Value::default()
        };
        for (t, o) in self.times.iter().zip(&shop.ops) {
            if !o.fixed {
                value.setup += t.setup;
                if t.end >= NEVER {
                    value.broken += UNFINISHED;
                }
            }
        }
        for (j, job) in shop.jobs.iter().enumerate() {
            let Some(done) = self.done(shop, j as u32) else {
                continue;
            };
            value.makespan = value.makespan.max(done);
            value.in_progress += done - job.release;
            value.lateness += job.late(done);
        }
        value
    }

    /// The plan last timed.
    pub fn plan(&self, shop: &Shop, d: &Decisions, value: Value) -> Plan {
        let assignments = self
            .times
            .iter()
            .take(shop.ops.len())
            .enumerate()
            .map(|(i, t)| {
                let (mode, person) = match shop.fixed[i] {
                    Some(f) => (f.mode, f.person),
                    None => {
                        let c = d.choice[i];
                        (
                            c.mode as usize,
                            (t.attended_until > t.start).then_some(c.person as usize),
                        )
                    }
                };
                Assignment {
                    mode,
                    person,
                    start: t.start,
                    setup: t.setup,
                    attended_until: t.attended_until,
                    end: t.end,
                }
            })
            .collect();
        Plan { assignments, value }
    }
}
