//! Moves: small changes of order, machine or person, made and taken back.
//!
//! They start from what holds a late job: its critical chain, walked back from its end over whichever of link, machine
//! and person was waited for longest. Two operations on it that wait for each other change places, or one of them
//! another machine or person (the critical-block idea for general regular goals: Mati, Dauzère-Pérès and Lahlou 2011).
//! Other moves take any operation a little forward or back, or next to one with its setup key.

mod critical;
mod put;

use rand::Rng;

use crate::planning::engine::{
    model::{
        Minute,
        build::{NONE, Shop},
        plan::Value,
    },
    random::below,
    timing::{Choice, Decisions, Moved, Timing},
};

/// Moves kept for which the latest starts once found are good enough. Picked on invented weeks and industrial shops:
/// finding them after every move took a quarter of the time and gained nothing.
const MOVES_BETWEEN_LATEST_STARTS: u32 = 32;

/// The decisions, their times, and the move under way.
#[derive(Debug)]
pub(crate) struct Moves {
    pub decisions: Decisions,
    pub timing: Timing,
    /// Places that the move has touched.
    window: (usize, usize),
    /// The order in the window before the move.
    undo_order: Vec<u32>,
    undo_choice: Vec<(u32, Choice)>,
    /// What has gone to another place than the rest, or has another choice; in the order before the move.
    moved: Vec<u32>,
    /// Where operations go: the place, their old place, and they themselves.
    goals: Vec<(usize, usize, u32)>,
    marked: Vec<bool>,
    chain: Vec<(u32, u32)>,
    /// Draws from `chain` before it is walked again, for a job that may be another by then.
    chain_draws: usize,
    /// Jobs that cost something, with running sums of their odds; and draws before it is looked again.
    costly: Vec<(u64, u32)>,
    costly_draws: usize,
    by_key: Vec<u32>,
    key_range: Vec<(u32, u32)>,
    /// Operations the search may move: all that are not fixed.
    movable: Vec<u32>,
    /// Whether people held up by other work may be replaced while moves are timed; in general, and for this move.
    pub substitutes: bool,
    substitute: bool,
    /// Moves kept since latest starts were last found.
    since_latest_starts: u32,
}

impl Moves {
    pub fn new(shop: &Shop, decisions: Decisions, timing: Timing) -> Self {
        let n = shop.ops.len();
        let key = |op: u32| shop.ops[op as usize].key;
        let mut by_key = decisions.order.clone();
        by_key.sort_by_key(|&op| key(op));
        let mut key_range = vec![(0, 0); n];
        let mut from = 0;
        for same in by_key.chunk_by(|&a, &b| key(a) == key(b)) {
            let to = from + same.len() as u32;
            for &op in same {
                key_range[op as usize] = (from, to);
            }
            from = to;
        }
        Self {
            window: (0, 0),
            undo_order: Vec::with_capacity(n),
            undo_choice: Vec::with_capacity(n),
            moved: Vec::with_capacity(n),
            goals: Vec::with_capacity(n),
            marked: vec![false; n],
            chain: Vec::with_capacity(n),
            chain_draws: 0,
            costly: Vec::with_capacity(shop.jobs.len()),
            costly_draws: 0,
            by_key,
            key_range,
            movable: decisions.order.clone(),
            substitutes: true,
            substitute: true,
            since_latest_starts: 0,
            decisions,
            timing,
        }
    }

    /// True when there is nothing to move.
    pub fn none(&self) -> bool {
        self.movable.len() < 2
    }

    /// Times everything anew.
    pub fn full(&mut self, shop: &Shop) -> Value {
        self.forget();
        let value = self.timing.full(shop, &self.decisions);
        self.timing.find_latest_starts(shop, &self.decisions);
        self.since_latest_starts = 0;
        value
    }

    /// Drops what is known of an order that has been replaced.
    fn forget(&mut self) {
        self.chain_draws = 0;
        self.costly_draws = 0;
    }

    /// What the move under way makes of the plan; `None` when lateness comes above `limit`.
    #[inline]
    pub fn value(&mut self, shop: &Shop, limit: Minute) -> Option<Value> {
        let (lo, hi) = self.window;
        let ops = &self.moved;
        let moved = Moved { lo, hi, ops };
        let substitutes = self.substitute.then_some(&mut self.undo_choice);
        self.timing
            .changed(shop, &mut self.decisions, moved, limit, substitutes)
    }

    /// Keeps the move under way, once it has been timed.
    #[inline]
    pub fn accept(&mut self, shop: &Shop) {
        self.timing.accept(shop);
        self.chain_draws = 0;
        self.since_latest_starts += 1;
        if self.since_latest_starts == MOVES_BETWEEN_LATEST_STARTS {
            self.timing.find_latest_starts(shop, &self.decisions);
            self.since_latest_starts = 0;
        }
    }

    /// Takes back the move under way, once it has been timed.
    #[inline]
    pub fn reject(&mut self) {
        let (lo, hi) = self.window;
        self.undo();
        self.timing.reject(&self.decisions, lo, hi);
    }

    fn undo(&mut self) {
        let lo = self.window.0;
        let len = self.undo_order.len();
        self.decisions.order[lo..lo + len].copy_from_slice(&self.undo_order);
        while let Some((op, choice)) = self.undo_choice.pop() {
            self.decisions.choice[op as usize] = choice;
        }
    }

    /// Makes a random move; false when it would change nothing.
    pub fn step(&mut self, shop: &Shop, rng: &mut impl Rng) -> bool {
        self.undo_order.clear();
        self.undo_choice.clear();
        self.moved.clear();
        self.window = (0, 0);
        // Not always: a good plan may have someone waited for.
        self.substitute = self.substitutes && below(rng, 4) > 0;
        // In proportion to what each brought for a move tried, on an invented week.
        match below(rng, 64) {
            0..=46 => self.critical_move(shop, rng),
            47..=62 => self.local_move(shop, rng),
            _ => self.setup_key_move(shop, rng),
        }
    }

    /// Breaks one wait on the critical chain of a job that costs something.
    fn critical_move(&mut self, shop: &Shop, rng: &mut impl Rng) -> bool {
        if self.chain_draws == 0 {
            let Some(job) = self.costly_job(shop, rng) else {
                return false;
            };
            self.walk_chain(shop, job);
            self.chain_draws = self.chain.len().div_ceil(8);
            if self.chain.is_empty() {
                return false;
            }
        }
        self.chain_draws -= 1;
        let (op, before) = self.chain[below(rng, self.chain.len() as u32) as usize];
        let (at, at_before) = (self.timing.place_of(op), self.timing.place_of(before));
        match below(rng, 8) {
            0..=2 => self.put(shop, op, at_before, false),
            3..=4 => self.put(shop, before, at + 1, rng.next_u32() & 1 == 0),
            5 => {
                // Past more than one.
                let past =
                    at_before.saturating_sub(below(rng, 2 * shop.machines() as u32 + 2) as usize);
                self.put(shop, op, past, rng.next_u32() & 1 == 0)
            }
            6 => self.switch(shop, op, at, rng),
            _ => self.switch(shop, before, at_before, rng),
        }
    }

    /// A random operation to a place not far away, at times in another mode or with another person.
    fn local_move(&mut self, shop: &Shop, rng: &mut impl Rng) -> bool {
        let op = self.movable[below(rng, self.movable.len() as u32) as usize];
        let at = self.timing.place_of(op);
        let n = self.decisions.order.len();
        let reach = (4 * shop.machines() + 8) as u32;
        let to = (at + below(rng, 2 * reach + 1) as usize)
            .saturating_sub(reach as usize)
            .min(n);
        if below(rng, 3) == 0 {
            self.switch(shop, op, to, rng)
        } else {
            self.put(shop, op, to, below(rng, 4) > 0)
        }
    }

    /// Brings an operation next to one with the same setup key, on its machine where it can.
    fn setup_key_move(&mut self, shop: &Shop, rng: &mut impl Rng) -> bool {
        let op = self.movable[below(rng, self.movable.len() as u32) as usize];
        let (from, to) = self.key_range[op as usize];
        if to - from < 2 || shop.ops[op as usize].key == NONE {
            return false;
        }
        let other = self.by_key[(from + below(rng, to - from)) as usize];
        if other == op {
            return false;
        }
        let machine =
            shop.modes(other)[self.decisions.choice[other as usize].mode as usize].machine;
        if let Some(mode) = shop.modes(op).iter().position(|w| w.machine == machine) {
            self.choose(
                op,
                Choice {
                    mode: mode as u32,
                    ..self.decisions.choice[op as usize]
                },
            );
        }
        let to = self.timing.place_of(other) + 1;
        let follow = rng.next_u32() & 1 == 0;
        self.put(shop, op, to, follow) || self.only_choice(op)
    }

    fn choose(&mut self, op: u32, choice: Choice) {
        let old = std::mem::replace(&mut self.decisions.choice[op as usize], choice);
        if old != choice {
            self.undo_choice.push((op, old));
        }
    }

    /// A move that leaves the order as it is.
    fn only_choice(&mut self, op: u32) -> bool {
        if self.undo_choice.is_empty() {
            return false;
        }
        self.moved.push(op);
        true
    }

    /// Another mode or person for an operation, which goes to another place with it.
    fn switch(&mut self, shop: &Shop, op: u32, to: usize, rng: &mut impl Rng) -> bool {
        if shop.ops[op as usize].fixed {
            return false;
        }
        let (modes, people) = (shop.modes(op).len() as u32, shop.people(op));
        let old = self.decisions.choice[op as usize];
        let mut new = old;
        if modes > 1 && (people.len() < 2 || rng.next_u32() & 1 == 0) {
            new.mode = (old.mode + 1 + below(rng, modes - 1)) % modes;
        }
        if people.len() > 1 && (new == old || below(rng, 3) == 0) {
            new.person = people[below(rng, people.len() as u32) as usize];
        }
        self.choose(op, new);
        self.put(shop, op, to, true) || self.only_choice(op)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planning::engine::{
        construction::rules::best_rule, formats::sample::Sample, model::Model,
    };
    use rand::SeedableRng;

    /// What the incremental pass gives is what a pass from the beginning gives, through any series of moves taken and
    /// taken back.
    fn incremental_is_exact(model: &Model) {
        let shop = Shop::build(model).unwrap();
        let mut timing = Timing::new(&shop);
        let (_, decisions, _) = best_rule(&shop, &mut timing);
        let mut moves = Moves::new(&shop, decisions, timing);
        let mut now = moves.full(&shop);
        let mut fresh = Timing::new(&shop);
        let mut rng = rand_pcg::Pcg64::seed_from_u64(2);
        let (mut broken_off, mut good, mut given_up) = (0, 0, 0);
        let (mut kept, mut substitutes) = (moves.decisions.clone(), 0);
        for k in 0..6000 {
            if !moves.step(&shop, &mut rng) {
                continue;
            }
            let limit = if k % 3 == 1 {
                now.lateness
            } else {
                Minute::MAX
            };
            let value = moves.value(&shop, limit);
            let anew = fresh.full(&shop, &moves.decisions);
            good += usize::from(k % 3 == 1 && anew.lateness <= limit);
            if let Some(value) = value {
                assert_eq!(value, anew, "move {k}");
                assert_eq!(moves.timing.times, fresh.times, "move {k}");
                for op in 0..shop.ops.len() as u32 {
                    let before = |t: &Timing| (t.machine_before(op), t.person_before(op));
                    assert_eq!(before(&moves.timing), before(&fresh), "move {k}");
                }
            } else {
                given_up += usize::from(anew.lateness <= limit);
                broken_off += 1;
            }
            substitutes += moves.undo_choice.len().saturating_sub(1);
            // Now and then one that is worse.
            if k % 3 == 0 && (k % 30 == 0 || anew.lateness <= now.lateness) {
                moves.accept(&shop);
                now = anew;
                kept.copy(&moves.decisions);
            } else {
                moves.reject();
                assert_eq!(moves.decisions, kept, "move {k}");
            }
        }
        // Few moves are given up wrongly, even in a plan as bad as this one.
        assert!(
            (broken_off > 100 && given_up * 5 < good) || shop.has_max_lags,
            "{given_up} of {good}, {broken_off} broken off"
        );
        assert!(substitutes > 100 || shop.has_max_lags);
    }

    #[test]
    fn incremental_timing_is_exact() {
        let mut sample = Sample::week();
        sample.jobs = 30;
        incremental_is_exact(&sample.make(5, None));
        // Shorter, with longest lags.
        sample.jobs = 8;
        sample.lags = 20;
        incremental_is_exact(&sample.make(6, None));
        // With work that stays where it is.
        sample.lags = 0;
        sample.jobs = 20;
        let mut model = sample.make(7, None);
        let plan = crate::planning::engine::solve::first_plan(&model).unwrap();
        for op in [20, 40, 60, 61, 100] {
            let a = plan.assignments[op];
            model.operations[op].fixed = Some(crate::planning::engine::model::Fixed {
                mode: a.mode,
                person: a.person,
                start: a.start,
                attended_until: a.attended_until,
                end: a.end,
            });
        }
        incremental_is_exact(&model);
    }
}
