//! Plays a plan out with run times drawn at random.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use rand::Rng;
use rand_distr::{Distribution, LogNormal};

use crate::planning::engine::{
    model::{Minute, Model, build::Shop, calendar::NEVER, plan::Plan},
    timing::{Decisions, Timing},
};

/// Draws the run times of all operations.
#[derive(Debug, Default)]
struct Draws {
    /// For each operation that varies: itself, its planned run, and the factor's distribution.
    factors: Vec<(usize, f64, LogNormal<f64>)>,
}

impl Draws {
    fn new(model: &Model, plan: &Plan) -> Self {
        let factors = model
            .operations
            .iter()
            .enumerate()
            .filter(|(_, o)| o.fixed.is_none() && o.spread > 0.0)
            .filter_map(|(i, o)| {
                // Mean one and the wanted coefficient of variation: σ² = ln(1 + cv²), μ = −σ²/2.
                let variance = (o.spread * o.spread).ln_1p();
                let run = o.modes.get(plan.assignments.get(i)?.mode)?.run as f64;
                Some((
                    i,
                    run,
                    LogNormal::new(-variance / 2.0, variance.sqrt()).ok()?,
                ))
            })
            .collect();
        Self { factors }
    }

    /// Sets the stretches of one future.
    fn draw(&self, stretch: &mut [Minute], rng: &mut impl Rng) {
        for (i, run, factor) in &self.factors {
            stretch[*i] = (run * (factor.sample(rng) - 1.0)).round() as Minute;
        }
    }
}

/// When an operation could begin, at the earliest as planned, and its place in the plan's order; in one number, which
/// the heap compares more quickly.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Turn(i64);

impl Turn {
    /// Bits for the place: sixteen million operations. The rest holds half a million years.
    const PLACE: u32 = 24;
    const FURTHEST: Minute = 1 << 38;

    fn new(start: Minute, place: u32) -> Self {
        let start = start.clamp(-Self::FURTHEST, Self::FURTHEST);
        Self(start << Self::PLACE | i64::from(place))
    }

    fn start(self) -> Minute {
        self.0 >> Self::PLACE
    }

    fn place(self) -> usize {
        (self.0 & ((1 << Self::PLACE) - 1)) as usize
    }
}

/// Carries a plan out in one future after another.
#[derive(Debug)]
pub(crate) struct Simulation<'a> {
    draws: Draws,
    planned: &'a Decisions,
    /// By operation: its planned start, and its place in the plan's order.
    turns: Vec<(Minute, u32)>,
    /// By operation: how many that it waits for are not placed yet.
    waiting: Vec<u32>,
    /// What could be next.
    ready: BinaryHeap<Reverse<Turn>>,
}

impl<'a> Simulation<'a> {
    pub fn new(model: &Model, plan: &Plan, planned: &'a Decisions) -> Self {
        Self {
            draws: Draws::new(model, plan),
            ..Self::of_starts(plan.assignments.iter().map(|a| a.start), planned)
        }
    }

    /// Plays decisions out with the times as they are, each operation at its turn or as soon after it as can be.
    pub fn of_starts(starts: impl Iterator<Item = Minute>, planned: &'a Decisions) -> Self {
        let mut turns: Vec<_> = starts.map(|start| (start, 0)).collect();
        for (place, &op) in (0..).zip(&planned.order) {
            turns[op as usize].1 = place;
        }
        Self {
            draws: Draws::default(),
            planned,
            waiting: vec![0; turns.len()],
            turns,
            ready: BinaryHeap::new(),
        }
    }

    /// Draws a future and leaves its times in `timing`: always the operation that can begin first is placed next (the
    /// parallel schedule generation scheme, Kolisch 1996), on the machine and by the person planned, none before its
    /// planned start is its turn. Where longest lags tie operations together, the plan's order is kept.
    pub fn draw_and_replay(&mut self, shop: &Shop, timing: &mut Timing, rng: &mut impl Rng) {
        self.draws.draw(&mut timing.stretch, rng);
        self.replay(shop, timing);
    }

    /// The same with the run times that `timing` has.
    pub fn replay(&mut self, shop: &Shop, timing: &mut Timing) {
        if shop.has_max_lags {
            timing.once(shop, self.planned);
            return;
        }
        timing.begin(shop);
        for &op in &self.planned.order {
            let before = shop.before(op).iter();
            let open = before.filter(|l| !shop.ops[l.op as usize].fixed).count();
            self.waiting[op as usize] = open as u32;
            if open == 0 {
                let (start, place) = self.turns[op as usize];
                self.ready.push(Reverse(Turn::new(start, place)));
            }
        }
        while let Some(Reverse(turn)) = self.ready.pop() {
            let op = self.planned.order[turn.place()];
            let choice = self.planned.choice[op as usize];
            let mode = &shop.modes(op)[choice.mode as usize];
            // Nothing begins before its machine and its person are free, whatever their hours: most are put off by
            // that.
            let place = turn.place() as u32;
            let free = Turn::new(timing.free(op, mode, choice.person), place);
            if free > turn {
                self.ready.push(Reverse(free));
                continue;
            }
            let times = timing.fit(shop, op, mode, choice.person);
            // What was placed meanwhile may have put it off: then it has another turn.
            let next = Turn::new(times.start, place);
            if next > turn {
                self.ready.push(Reverse(next));
                continue;
            }
            if times.end < NEVER {
                timing.take(shop, op, choice, times);
            } else {
                // No window holds it as drawn: it is never done, nor what waits for it, and keeps nobody else waiting.
                timing.times[op as usize] = times;
            }
            for l in shop.after(op) {
                let after = l.op as usize;
                if shop.ops[after].fixed {
                    continue;
                }
                self.waiting[after] -= 1;
                if self.waiting[after] == 0 {
                    let (start, place) = self.turns[after];
                    self.ready
                        .push(Reverse(Turn::new(start.max(turn.start()), place)));
                }
            }
        }
    }
}
