//! Local search for the whole model: simulated annealing (Kirkpatrick, Gelatt and Vecchi 1983) on the exact value.
//!
//! With calendars, people and setups by key the estimates of the disjunctive graph no longer hold, but the timing pass
//! is quick where little changes, so moves are judged exactly. The best plan is kept by the ordered goal; only the
//! choice whether to step to a worse one weighs its figures into one number. Coolings follow each other from the best
//! plan so far, each half as long again as the one before, so that there is an answer soon and a better one later; one
//! that follows one without gain begins hotter.

use rand::Rng;

use super::moves::Moves;
use crate::planning::engine::{
    model::{Goal, Minute, Objective, WAIT_PER_SETUP, build::Shop, plan::Value},
    timing::{Choice, Decisions, Timing},
};

/// Moves for each operation from which on a cooling begins at full heat.
const PER_OPERATION: usize = 10;

/// Moves for each operation in the first cooling, and the fewest and most in all; each next cooling is half as long
/// again.
const FIRST: usize = 70;
const FIRST_BETWEEN: (u64, u64) = (10_000, 60_000);

/// Temperature at the start and at the end of a cooling, in the unit of [`unit()`]. The best of a few
/// pairs on five invented weeks, 500,000 moves each, where most differences were within the noise.
const HOT: f64 = 1.0;
const COLD: f64 = 0.05;

/// Change that stands for one broken minute or more: never taken.
const BROKEN: f64 = 1e15;

/// What a setup minute counts in [`energy`] at most, and a minute of work in progress; far below a minute of lateness.
const OF_SETUP: f64 = 0.05;
const OF_WAITING: f64 = 1e-4;

/// The change from one value to another as one number, the ordered goal's figures far apart.
fn energy(new: &Value, old: &Value, objective: Objective) -> f64 {
    if new.broken != old.broken {
        return if new.broken > old.broken {
            BROKEN
        } else {
            -BROKEN
        };
    }
    let first = match objective.goal {
        Goal::Makespan => new.makespan - old.makespan,
        Goal::Promises => new.lateness - old.lateness,
    };
    let rate = match objective.goal {
        Goal::Makespan => WAIT_PER_SETUP,
        Goal::Promises => objective.wait_per_setup,
    } as f64;
    let of_waiting = OF_WAITING.min(OF_SETUP / rate.max(1.0));
    first as f64
        + of_waiting * rate * (new.setup - old.setup) as f64
        + of_waiting * (new.in_progress - old.in_progress) as f64
}

/// The unit of temperature: what it costs that one job comes later by one operation.
fn unit(shop: &Shop) -> f64 {
    let n = shop.ops.len() as u32;
    let least = |op: u32| shop.modes(op).iter().map(|w| w.setup + w.run).min();
    let time: Minute = (0..n).filter_map(least).sum();
    let weight: Minute = shop.jobs.iter().map(|j| j.weight).sum();
    let weight = match shop.goal {
        Goal::Promises => weight as f64 / shop.jobs.len().max(1) as f64,
        Goal::Makespan => 1.0,
    };
    (time as f64 / f64::from(n.max(1)) * weight).max(1.0)
}

/// How much worse a plan may be and still be stepped to: the rule of Metropolis et al. (1953), the draw made first.
pub(crate) fn worse_allowed(heat: f64, rng: &mut impl Rng) -> f64 {
    let draw = (f64::from(rng.next_u32()) + 1.0) / 4_294_967_297.0;
    -heat * draw.ln()
}

/// The price of leaving an old plan.
#[derive(Debug, Clone)]
pub(crate) struct ChangePenalty {
    /// The operation before each on its machine.
    pub before: Vec<Option<u32>>,
    pub choice: Vec<Choice>,
    /// Operations from here on are new.
    pub known: usize,
    /// What one moved operation costs, in weighted minutes of lateness.
    pub price: Minute,
}

impl ChangePenalty {
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
pub(crate) struct Anneal {
    pub moves: Moves,
    pub value: Value,
    penalty: Option<ChangePenalty>,
    /// Moves in the first cooling, when it is to be shorter or longer than usual.
    pub first_cooling: Option<u64>,
}

impl Anneal {
    pub fn new(shop: &Shop, decisions: Decisions, timing: Timing) -> Self {
        let mut moves = Moves::new(shop, decisions, timing);
        Self {
            value: moves.full(shop),
            moves,
            penalty: None,
            first_cooling: None,
        }
    }

    /// Charges a price for each operation that leaves its place in an old plan. Nobody is replaced then while a move is
    /// timed.
    pub fn penalize_changes(&mut self, penalty: ChangePenalty) {
        self.moves.substitutes = false;
        self.penalty = Some(penalty);
        self.value = self.priced(self.value);
    }

    fn priced(&self, mut value: Value) -> Value {
        if let Some(penalty) = &self.penalty {
            let moved = penalty
                .moved(&self.moves.timing, &self.moves.decisions)
                .count();
            value.lateness += penalty.price * moved as Minute;
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
        let full_heat = (PER_OPERATION * n) as f64;
        let first = ((FIRST * n) as u64).clamp(FIRST_BETWEEN.0, FIRST_BETWEEN.1);
        let mut length = self.first_cooling.unwrap_or(first).max(64);
        let unit = unit(shop);
        let mut rounds_without_gain = 0;
        let mut since = 0u64;
        loop {
            let cycle_best = best.0;
            // After a cooling without gain the next begins four times hotter, at most five times in succession.
            let hotter = f64::from(1u32 << (2 * (rounds_without_gain % 6)));
            // A cooling that is short for the size of the shop begins less hot.
            let scale = unit * (length as f64 / full_heat).clamp(0.01, 1.0);
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
                let allowed = worse_allowed(heat, rng);
                let value = self.moves.value(shop, self.limit(shop, allowed));
                let value = value.map(|v| self.priced(v));
                if let Some(value) =
                    value.filter(|v| energy(v, &self.value, shop.objective()) <= allowed)
                {
                    self.moves.accept(shop);
                    self.value = value;
                    if value.compare(&best.0, shop.objective()).is_lt() {
                        best.0 = value;
                        best.1.copy(&self.moves.decisions);
                    }
                } else {
                    self.moves.reject();
                }
            }
            length = length.saturating_add(length / 2);
            if best.0.compare(&cycle_best, shop.objective()).is_lt() {
                rounds_without_gain = 0;
            } else {
                rounds_without_gain += 1;
                if rounds_without_gain >= rounds {
                    self.take(shop, &best.1);
                    return;
                }
            }
            self.take(shop, &best.1);
            self.sort_by_start(shop);
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
    fn sort_by_start(&mut self, shop: &Shop) {
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
