//! Local search for the whole model: simulated annealing (Kirkpatrick, Gelatt and Vecchi 1983) on the exact value.
//!
//! With calendars, people and setups by key the estimates of the disjunctive graph no longer hold, but the timing pass
//! is quick where little changes, so moves are judged exactly. The best plan is kept by the ordered goal; only the
//! choice whether to step to a worse one weighs its figures into one number. Coolings follow each other from the best
//! plan so far, each half as long again as the one before, so that there is an answer soon and a better one later; one
//! that follows a barren one begins hotter.

use rand::Rng;

use super::{
    build::Shop,
    model::{Goal, Minute},
    moves::Moves,
    plan::Value,
    timing::{Choice, Decisions, Timing},
};

/// Moves for each operation in the first cooling; each next one is half as long again.
const PER_OPERATION: usize = 50;

/// Temperature at the start and at the end of a cooling, over the mean change for the worse of a random move.
/// Tuned on two invented weeks of 420 operations with one seed each, 8 s a run: of eight pairs from 0.5 and 0.002 to
/// 0.002 and 0.0001 this gave the least lateness on both. Coolings then were twice as long each, not half as long again.
const HOT: f64 = 0.005;
const COLD: f64 = 0.0003;

/// Change that stands for one broken minute or more: never taken.
const BROKEN: f64 = 1e15;

/// The change from one value to another as one number, the ordered goal's figures far apart.
fn energy(new: &Value, old: &Value, goal: Goal) -> f64 {
    if new.broken != old.broken {
        return if new.broken > old.broken {
            BROKEN
        } else {
            -BROKEN
        };
    }
    let first = match goal {
        Goal::Makespan => new.makespan - old.makespan,
        Goal::Promises => new.lateness - old.lateness,
    };
    first as f64
        + 0.05 * (new.setup - old.setup) as f64
        + 1e-4 * (new.in_progress - old.in_progress) as f64
}

/// An old plan to stay near to.
#[derive(Debug, Clone)]
pub(super) struct Near {
    /// The operation before each on its machine.
    pub before: Vec<Option<u32>>,
    pub choice: Vec<Choice>,
    /// Operations from here on are new.
    pub known: usize,
    /// What one moved operation costs, in weighted minutes of lateness.
    pub price: Minute,
}

impl Near {
    /// Operations that are not where they were.
    pub fn moved<'a>(
        &'a self,
        timing: &'a Timing,
        now: &'a Decisions,
    ) -> impl Iterator<Item = usize> + 'a {
        (0..self.known).filter(move |&i| {
            let before = timing.machine_before(i as u32);
            let new_before = before.is_some_and(|b| b as usize >= self.known);
            (self.before[i] != before && !new_before) || self.choice[i] != now.choice[i]
        })
    }
}

/// The search with its memory.
#[derive(Debug)]
pub(super) struct Anneal {
    pub moves: Moves,
    pub value: Value,
    near: Option<Near>,
    /// Moves in the first cooling, when it is to be shorter or longer than usual.
    pub first_cooling: Option<u64>,
}

impl Anneal {
    pub fn new(shop: &Shop, decisions: Decisions, timing: Timing) -> Self {
        let mut moves = Moves::new(shop, decisions, timing);
        Self {
            value: moves.full(shop),
            moves,
            near: None,
            first_cooling: None,
        }
    }

    /// Makes each operation that leaves its place in an old plan cost something.
    pub fn stay_near(&mut self, near: Near) {
        self.near = Some(near);
        self.value = self.priced(self.value);
    }

    fn priced(&self, mut value: Value) -> Value {
        if let Some(near) = &self.near {
            let moved = near
                .moved(&self.moves.timing, &self.moves.decisions)
                .count();
            value.lateness += near.price * moved as Minute;
        }
        value
    }

    /// Searches until `stop` says so (asked with the moves made since it was last), or `rounds` coolings in succession
    /// brought nothing. Leaves the best plan as its own.
    pub fn improve(
        &mut self,
        shop: &Shop,
        rounds: u32,
        rng: &mut impl Rng,
        stop: &mut dyn FnMut(u64, &Value) -> bool,
    ) {
        if self.moves.none() {
            return;
        }
        let n = self.moves.decisions.order.len();
        let mut best = (self.value, self.moves.decisions.clone());
        let mut length = self
            .first_cooling
            .unwrap_or((PER_OPERATION * n).max(10_000) as u64)
            .max(64);
        let mut barren = 0;
        let mut since = 0u64;
        loop {
            let cycle_best = best.0;
            let scale = self.usual_change(shop, rng);
            // What a cooling did not find may lie behind a hill: the next begins four times hotter, five times over.
            let hotter = f64::from(1u32 << (2 * (barren % 6)));
            let (mut heat, last) = (scale * HOT * hotter, scale * COLD);
            let cooling = (last / heat).powf(64.0 / length as f64);
            for _ in 0..length {
                since += 1;
                if since == 64 {
                    since = 0;
                    heat *= cooling;
                    if stop(64, &best.0) {
                        self.take(shop, &best.1);
                        return;
                    }
                }
                if !self.moves.step(shop, rng) {
                    continue;
                }
                let draw = (f64::from(rng.next_u32()) + 1.0) / 4_294_967_297.0;
                let allowed = -heat * draw.ln();
                let value = self.moves.value(shop, self.limit(shop, allowed));
                let value = value.map(|v| self.priced(v));
                if let Some(value) = value.filter(|v| energy(v, &self.value, shop.goal) <= allowed)
                {
                    self.moves.accept(shop);
                    self.value = value;
                    if value.compare(&best.0, shop.goal).is_lt() {
                        best.0 = value;
                        best.1.copy(&self.moves.decisions);
                    }
                } else {
                    self.moves.reject();
                }
            }
            length = length.saturating_mul(3) / 2;
            if best.0.compare(&cycle_best, shop.goal).is_lt() {
                barren = 0;
            } else {
                barren += 1;
                if barren >= rounds {
                    self.take(shop, &best.1);
                    return;
                }
            }
            self.take(shop, &best.1);
            self.tidy(shop);
        }
    }

    /// The mean change for the worse of some hundred random moves: the unit of temperature.
    fn usual_change(&mut self, shop: &Shop, rng: &mut impl Rng) -> f64 {
        let (mut sum, mut count) = (0.0, 0);
        for _ in 0..200 {
            if !self.moves.step(shop, rng) {
                continue;
            }
            let value = self.moves.value(shop, Minute::MAX);
            let change = value.map_or(0.0, |v| energy(&self.priced(v), &self.value, shop.goal));
            if change > 0.0 && change < BROKEN {
                sum += change;
                count += 1;
            }
            self.moves.reject();
        }
        if count == 0 {
            1.0
        } else {
            sum / f64::from(count)
        }
    }

    /// Lateness above which no plan would be taken.
    fn limit(&self, shop: &Shop, allowed: f64) -> Minute {
        if shop.goal == Goal::Promises && self.value.broken == 0 {
            self.value.lateness.saturating_add(allowed as Minute + 1)
        } else {
            Minute::MAX
        }
    }

    fn take(&mut self, shop: &Shop, decisions: &Decisions) {
        self.moves.decisions.copy(decisions);
        let value = self.moves.full(shop);
        self.value = self.priced(value);
    }

    /// Sorts the order by starts, which changes no time for the worse and brings what is near in time near in order.
    fn tidy(&mut self, shop: &Shop) {
        let times = &self.moves.timing.times;
        // A stable sort keeps the links' order even among operations that take no time.
        self.moves
            .decisions
            .order
            .sort_by_key(|&i| times[i as usize].start);
        let value = self.moves.full(shop);
        self.value = self.priced(value);
    }
}
