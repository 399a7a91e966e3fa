//! A plan carried out in one future as a shop does it: by its priorities, and by whoever and whatever is there.
//!
//! Work goes on in the plan's order. At its turn an operation begins on its machine with its person. When one of them is
//! not there (taken by work that takes longer, absent, broken down, off shift), and another machine or person that can do
//! it could begin now and would end sooner, it goes there; otherwise it waits for the first that comes free, and meanwhile
//! others have their turn. That is what planning again at every event would mostly say, at a thousandth of its price (how
//! near it comes has not been measured yet: see docs/certainty.md). Serial schedule generation in time, with the plan as priority list
//! (Kolisch 1996), and resources picked as it goes.
//!
//! What has been started goes on where it is and takes what is left of it. A pinned operation keeps its machine, its person
//! and the earliest start that it was given; others keep out of its way. Longest lags are not looked at: a job that misses
//! one in a future is not counted late for it.

mod given;

use super::draws::{Closed, Draws};
use super::hours::{Needs, earliest};
use super::simulation::Turn;
use crate::estimating::variation::Worlds;
use crate::planning::engine::{
    model::{
        Minute, Model,
        build::{FlatMode, NONE, Shop},
        calendar::NEVER,
        plan::Plan,
    },
    timing::{Choice, Decisions},
};
use given::Given;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// When an operation was done in a future, where and by whom.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Stay {
    pub machine: u32,
    pub person: u32,
    pub start: Minute,
    pub attended_until: Minute,
    pub end: Minute,
    /// Working minutes it took; for work sent out, minutes.
    pub minutes: Minute,
}

const UNPLACED: Stay = Stay {
    machine: NONE,
    person: NONE,
    start: NEVER,
    attended_until: NEVER,
    end: NEVER,
    minutes: 0,
};

/// Carries a plan out in one future after another.
#[derive(Debug)]
pub(crate) struct Dispatch<'a> {
    shop: &'a Shop,
    pub(super) draws: Draws,
    /// Operations in the plan's order, begun ones left out.
    order: Vec<u32>,
    /// By operation: its planned start and its place in that order.
    turns: Vec<(Minute, u32)>,
    choice: Vec<Choice>,
    given: Vec<(u32, Given)>,
    pinned: Vec<bool>,
    /// Times that pinned work keeps, by machine and then by person.
    kept: Vec<Vec<(Minute, Minute, u32)>>,
    /// Where each operation was in the future played last.
    pub stays: Vec<Stay>,
    machine_free: Vec<Minute>,
    table: Vec<u32>,
    person_free: Vec<Minute>,
    waiting: Vec<u32>,
    ready: Vec<Minute>,
    placed: Vec<bool>,
    heap: BinaryHeap<Reverse<Turn>>,
}

impl<'a> Dispatch<'a> {
    /// A plan of a model; `seed` chooses the futures.
    pub fn new(model: &Model, shop: &'a Shop, plan: &Plan, seed: u64) -> Self {
        let n = shop.ops.len();
        let decisions = Decisions::of_plan(shop, plan);
        let machines = shop.machines();
        let mut new = Self {
            shop,
            draws: Draws::new(model, plan, seed),
            order: Vec::with_capacity(n),
            turns: plan.assignments.iter().map(|a| (a.start, 0)).collect(),
            choice: decisions.choice,
            given: Vec::new(),
            pinned: vec![false; n],
            kept: vec![Vec::new(); machines + shop.people_count],
            stays: vec![UNPLACED; n],
            machine_free: vec![0; machines],
            table: vec![NONE; machines],
            person_free: vec![0; shop.people_count],
            waiting: vec![0; n],
            ready: vec![0; n],
            placed: vec![false; n],
            heap: BinaryHeap::with_capacity(n),
        };
        new.order = decisions.order;
        for i in 0..n as u32 {
            new.give(i);
        }
        let turns = &new.turns;
        // Stable: links keep their order among operations that take no time.
        new.order.sort_by_key(|&i| turns[i as usize].0);
        for (place, &op) in (0..).zip(&new.order) {
            new.turns[op as usize].1 = place;
        }
        new
    }

    /// Plays future `k`; the stays tell what became of it.
    pub fn play(&mut self, k: u64) {
        self.draws.draw(self.shop, k);
        self.carry_out();
    }

    /// Plays the future that the draws have.
    pub fn carry_out(&mut self) {
        self.begin();
        while let Some(Reverse(turn)) = self.heap.pop() {
            let op = self.order[turn.place()];
            if self.ready[op as usize] >= NEVER {
                self.never(op);
                continue;
            }
            match self.turn(op, turn.start()) {
                Ok((choice, stay)) => self.take(op, choice, stay),
                Err(next) if next < NEVER => {
                    self.heap.push(Reverse(Turn::new(
                        next.max(turn.start() + 1),
                        turn.place() as u32,
                    )));
                }
                Err(_) => self.never(op),
            }
        }
    }

    /// The worlds that futures are drawn of.
    pub fn worlds(&self) -> &Worlds {
        &self.draws.worlds
    }

    /// Of the future played last: what machines, and then people, are taken for or not there; in order, apart from each
    /// other.
    pub fn busy(&self) -> Vec<Vec<(Minute, Minute)>> {
        let machines = self.shop.machines();
        let mut busy: Vec<Closed> = self.draws.down.clone();
        busy.extend(self.draws.absent.iter().cloned());
        for stay in self.stays.iter().filter(|stay| stay.end < NEVER) {
            if let Some(taken) = busy[..machines].get_mut(stay.machine as usize) {
                taken.push((stay.start, stay.end));
            }
            if stay.attended_until > stay.start
                && stay.person != NONE
                && let Some(taken) = busy.get_mut(machines + stay.person as usize)
            {
                taken.push((stay.start, stay.attended_until));
            }
        }
        for taken in &mut busy {
            taken.sort_unstable();
            // Work that stands still while its machine is down is one stretch with that.
            taken.dedup_by(|next, last| {
                let meets = next.0 < last.1;
                if meets {
                    last.1 = last.1.max(next.1);
                }
                meets
            });
        }
        busy
    }

    /// The shop as it is at the origin, with what has been started on its way.
    fn begin(&mut self) {
        let shop = self.shop;
        self.machine_free.fill(0);
        self.person_free.fill(0);
        self.table.copy_from_slice(&shop.on_table);
        self.placed.fill(false);
        self.stays.fill(UNPLACED);
        self.heap.clear();
        for (i, op) in shop.ops.iter().enumerate() {
            self.waiting[i] = shop.before(i as u32).len() as u32;
            let release = self.draws.release[op.job as usize];
            self.ready[i] = release.max(0);
        }
        for place in 0..self.order.len() {
            let op = self.order[place];
            if self.pinned[op as usize] {
                let ready = &mut self.ready[op as usize];
                *ready = (*ready).max(self.turns[op as usize].0);
            }
        }
        for k in 0..self.given.len() {
            let (op, given) = self.given[k];
            let stay = self.given_stay(op, given);
            if stay.machine as usize != shop.machines() {
                self.machine_free[stay.machine as usize] = stay.end;
                self.table[stay.machine as usize] = shop.ops[op as usize].key;
                if stay.person != NONE {
                    self.person_free[stay.person as usize] = stay.attended_until;
                }
            }
            self.stays[op as usize] = stay;
            self.placed[op as usize] = true;
        }
        for k in 0..self.given.len() {
            self.settle(self.given[k].0, 0);
        }
        for place in 0..self.order.len() {
            let op = self.order[place];
            if shop.before(op).is_empty() {
                self.wait_from(op, 0);
            }
        }
    }

    fn closed(&self, machine: u32, person: u32) -> [&[(Minute, Minute)]; 2] {
        let down: Option<&Closed> = self.draws.down.get(machine as usize);
        let absent: Option<&Closed> = self.draws.absent.get(person as usize);
        [
            down.map_or(&[], Vec::as_slice),
            absent.map_or(&[], Vec::as_slice),
        ]
    }

    /// An operation that waits for nothing else has its turn when it was planned, or when it is ready.
    fn wait_from(&mut self, op: u32, clock: Minute) {
        let (planned, place) = self.turns[op as usize];
        let ready = self.ready[op as usize];
        let from = planned.max(ready).max(clock);
        self.heap.push(Reverse(Turn::new(from, place)));
    }

    /// What waits for an operation waits for it no longer.
    fn settle(&mut self, op: u32, clock: Minute) {
        let end = self.stays[op as usize].end;
        for l in self.shop.after(op) {
            let after = l.op as usize;
            if self.placed[after] {
                continue;
            }
            self.ready[after] = self.ready[after].max(end + l.min).min(NEVER);
            self.waiting[after] -= 1;
            if self.waiting[after] == 0 {
                self.wait_from(l.op, clock);
            }
        }
    }

    /// No hours hold it as it is drawn: it is never done, nor what waits for it, and it keeps nobody else waiting.
    fn never(&mut self, op: u32) {
        self.placed[op as usize] = true;
        self.stays[op as usize] = UNPLACED;
        self.settle(op, 0);
    }

    fn take(&mut self, op: u32, choice: Choice, stay: Stay) {
        let shop = self.shop;
        if (stay.machine as usize) < shop.machines() {
            self.machine_free[stay.machine as usize] = stay.end;
            self.table[stay.machine as usize] = shop.ops[op as usize].key;
        }
        if choice.person != NONE && stay.attended_until > stay.start {
            self.person_free[choice.person as usize] = stay.attended_until;
        }
        self.stays[op as usize] = stay;
        self.placed[op as usize] = true;
        self.settle(op, 0);
    }

    /// When machine and person of a choice are free.
    #[inline]
    fn free(&self, mode: &FlatMode, person: u32) -> Minute {
        let machine = self.machine_free.get(mode.machine as usize);
        let machine = machine.copied().unwrap_or(0);
        match self.person_free.get(person as usize) {
            Some(&free) if mode.attended + mode.setup > 0 => machine.max(free),
            _ => machine,
        }
    }

    /// An operation has its turn at `clock`: where it is done, or when to look again; [`NEVER`] when nothing holds it.
    fn turn(&self, op: u32, clock: Minute) -> Result<(Choice, Stay), Minute> {
        let shop = self.shop;
        let planned = self.choice[op as usize];
        let modes = shop.modes(op);
        let mode = &modes[planned.mode as usize];
        let free = self.free(mode, planned.person);
        let people = shop.people(op);
        let alone = self.pinned[op as usize] || (modes.len() < 2 && people.len() < 2);
        if free > clock && alone {
            return Err(free);
        }
        let stay = self.fit(op, mode, planned.person);
        if free <= clock && stay.start <= clock {
            return Ok((planned, stay));
        }
        let mut next = if stay.end < NEVER {
            stay.start.max(free)
        } else {
            NEVER
        };
        if alone {
            return Err(next);
        }
        let mut best: Option<(Choice, Stay)> = None;
        let mut soonest = stay.end;
        let nobody = [NONE];
        let people = if people.is_empty() { &nobody } else { people };
        for (k, mode) in (0u32..).zip(modes) {
            for &person in people {
                let choice = Choice { mode: k, person };
                if choice == planned {
                    continue;
                }
                let free = self.free(mode, person);
                if free > clock {
                    next = next.min(free);
                    continue;
                }
                let other = self.fit(op, mode, person);
                if other.end >= NEVER {
                    continue;
                }
                if other.start > clock {
                    next = next.min(other.start);
                } else if other.end < soonest {
                    soonest = other.end;
                    best = Some((choice, other));
                }
            }
        }
        best.ok_or(next)
    }

    /// The earliest stay of an operation after what its machine and person have been given.
    fn fit(&self, op: u32, mode: &FlatMode, person: u32) -> Stay {
        let shop = self.shop;
        let i = op as usize;
        let machine = mode.machine;
        let ready = self.ready[i];
        if machine as usize >= shop.machines() {
            let run = (mode.run as f64 * self.draws.run[i]).round() as Minute;
            return Stay {
                machine,
                person: NONE,
                start: ready,
                attended_until: ready,
                end: ready + run,
                minutes: run,
            };
        }
        let hand = self.draws.person.get(person as usize).copied();
        let hand = hand.unwrap_or(1.0);
        let setup = shop.setup(mode, shop.ops[i].key, self.table[machine as usize]);
        let setup = (setup as f64 * self.draws.setup[i] * hand).round() as Minute;
        // Of work that stands half done, what is left is drawn in minutes.
        let ratio = if self.draws.is_known(op) {
            self.draws.run[i] * hand
        } else {
            self.draws.run[i] / mode.run.max(1) as f64
        };
        let run = (mode.run as f64 * ratio).round() as Minute;
        let attended_run = ((mode.attended as f64 * ratio).round() as Minute).min(run);
        let attended = if person == NONE {
            0
        } else {
            setup + attended_run
        };
        let alone = setup + run - attended;
        let mut from = ready.max(self.machine_free[machine as usize]);
        if attended > 0 {
            from = from.max(self.person_free[person as usize]);
        }
        loop {
            let needs = Needs {
                may_pause: shop.ops[i].may_pause,
                attended,
                alone,
            };
            let closed = self.closed(machine, person);
            let (start, until, end) = earliest(shop, [machine, person], closed, from, needs);
            if end >= NEVER {
                return UNPLACED;
            }
            let on_machine = self.keeps_off(op, machine as usize, start, end);
            let clash = on_machine.or_else(|| {
                (attended > 0)
                    .then(|| self.keeps_off(op, shop.machines() + person as usize, start, until))?
            });
            match clash {
                Some(to) => from = to,
                None => {
                    return Stay {
                        machine,
                        person: if attended > 0 { person } else { NONE },
                        start,
                        attended_until: until,
                        end,
                        minutes: setup + run,
                    };
                }
            }
        }
    }

    /// The end of what pinned work keeps of a machine or person and a stay would meet.
    fn keeps_off(&self, op: u32, owner: usize, start: Minute, end: Minute) -> Option<Minute> {
        let kept = self.kept[owner].iter();
        kept.filter(|(_, _, by)| *by != op && !self.placed[*by as usize])
            .find(|(a, b, _)| *b > start && *a < end)
            .map(|(_, b, _)| *b)
    }
}
