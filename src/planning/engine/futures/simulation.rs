//! Plays decisions out with the times as they are, by the turns of an older plan.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use crate::planning::engine::{
    model::{Minute, build::Shop, calendar::NEVER},
    timing::{Decisions, Timing},
};

/// When an operation could begin, at the earliest as planned, and its place in the plan's order; in one number, which
/// the heap compares more quickly.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Turn(i64);

impl Turn {
    /// Bits for the place: sixteen million operations. The rest holds half a million years.
    const PLACE: u32 = 24;
    const FURTHEST: Minute = 1 << 38;

    pub fn new(start: Minute, place: u32) -> Self {
        let start = start.clamp(-Self::FURTHEST, Self::FURTHEST);
        Self(start << Self::PLACE | i64::from(place))
    }

    pub fn start(self) -> Minute {
        self.0 >> Self::PLACE
    }

    pub fn place(self) -> usize {
        (self.0 & ((1 << Self::PLACE) - 1)) as usize
    }
}

/// Plays decisions out.
#[derive(Debug)]
pub(crate) struct Simulation<'a> {
    planned: &'a Decisions,
    /// By operation: its planned start, and its place in the plan's order.
    turns: Vec<(Minute, u32)>,
    /// By operation: how many that it waits for are not placed yet.
    waiting: Vec<u32>,
    /// What could be next.
    ready: BinaryHeap<Reverse<Turn>>,
}

impl<'a> Simulation<'a> {
    /// Plays decisions out with the times as they are, each operation at its turn or as soon after it as can be.
    pub fn of_starts(starts: impl Iterator<Item = Minute>, planned: &'a Decisions) -> Self {
        let mut turns: Vec<_> = starts.map(|start| (start, 0)).collect();
        for (place, &op) in (0..).zip(&planned.order) {
            turns[op as usize].1 = place;
        }
        Self {
            planned,
            waiting: vec![0; turns.len()],
            turns,
            ready: BinaryHeap::new(),
        }
    }

    /// Leaves the times in `timing`: always the operation that can begin first is placed next (the parallel schedule
    /// generation scheme, Kolisch 1996), on the machine and by the person planned, none before its planned start is its
    /// turn. Where longest lags tie operations together, the plan's order is kept.
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
            let free = Turn::new(timing.free(mode, choice.person), place);
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
