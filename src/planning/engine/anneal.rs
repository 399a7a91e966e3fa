//! Local search for the whole model: simulated annealing (Kirkpatrick, Gelatt and Vecchi 1983) on the exact value.
//!
//! With calendars, people and setups by key the estimates of the disjunctive graph no longer hold, but the timing pass
//! is quick where little changes, so moves are judged exactly. The best plan is kept by the ordered goal; only the
//! choice whether to step to a worse one weighs its figures into one number. Coolings follow each other from the best
//! plan so far, each half as long again as the one before, so that there is an answer soon and a better one later; one
//! that follows a barren one begins hotter.
//!
//! Moves start from what holds a late job: its critical chain, walked back from its end over whichever of link,
//! machine and person was waited for longest. Two operations on it that wait for each other change places, or one of
//! them another machine or person (the critical-block idea for general regular goals: Mati, Dauzère-Pérès and Lahlou
//! 2011). Larger moves take a whole job forward or back, or an operation next to one with its setup key.

use rand::Rng;

use super::{
    build::{NONE, Shop},
    model::{Goal, Minute},
    plan::Value,
    tabu::below,
    timing::{Choice, Decisions, Times, Timing},
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

/// The search with its memory.
#[derive(Debug)]
pub(super) struct Anneal {
    pub decisions: Decisions,
    pub timing: Timing,
    pub value: Value,
    near: Option<Near>,
    /// Moves in the first cooling, when it is to be shorter or longer than usual.
    pub first_cooling: Option<u64>,
    undo_order: Vec<u32>,
    undo_choice: Vec<(u32, Choice)>,
    moved: Vec<u32>,
    marked: Vec<bool>,
    chain: Vec<(u32, u32)>,
    late_jobs: Vec<u32>,
    by_key: Vec<u32>,
    key_range: Vec<(u32, u32)>,
    by_job: Vec<u32>,
    job_range: Vec<(u32, u32)>,
    /// Operations the search may move: all that are not fixed.
    movable: Vec<u32>,
    may_move: Vec<bool>,
}

/// An old plan to stay near to.
#[derive(Debug, Clone)]
pub(super) struct Near {
    /// The operation before each on its machine.
    pub before: Vec<u32>,
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
        times: &'a [Times],
        now: &'a Decisions,
    ) -> impl Iterator<Item = usize> + 'a {
        (0..self.known).filter(move |&i| {
            let before = times[i].machine_before;
            let new_before = before != NONE && before as usize >= self.known;
            (self.before[i] != before && !new_before) || self.choice[i] != now.choice[i]
        })
    }
}

/// A window of places that a move has touched.
type Window = (usize, usize);

impl Anneal {
    pub fn new(shop: &Shop, decisions: Decisions, mut timing: Timing) -> Self {
        let n = shop.ops.len();
        let value = timing.full(shop, &decisions);
        let group = |of: &dyn Fn(u32) -> u32| {
            let mut sorted: Vec<u32> = decisions.order.clone();
            sorted.sort_by_key(|&i| of(i));
            let mut range = vec![(0, 0); n];
            let mut from = 0;
            while from < sorted.len() {
                let mut to = from;
                while to < sorted.len() && of(sorted[to]) == of(sorted[from]) {
                    to += 1;
                }
                for &op in &sorted[from..to] {
                    range[op as usize] = (from as u32, to as u32);
                }
                from = to;
            }
            (sorted, range)
        };
        let (by_key, key_range) = group(&|i| shop.ops[i as usize].key);
        let (by_job, job_range) = group(&|i| shop.ops[i as usize].job);
        Self {
            near: None,
            first_cooling: None,
            undo_order: Vec::with_capacity(n),
            undo_choice: Vec::with_capacity(n),
            moved: Vec::with_capacity(n),
            marked: vec![false; n],
            chain: Vec::with_capacity(n),
            late_jobs: Vec::with_capacity(shop.jobs.len()),
            by_key,
            key_range,
            by_job,
            job_range,
            movable: decisions.order.clone(),
            may_move: (0..n).map(|i| !shop.ops[i].fixed).collect(),
            decisions,
            timing,
            value,
        }
    }

    /// Makes each operation that leaves its place in an old plan cost something.
    pub fn stay_near(&mut self, shop: &Shop, near: Near) {
        self.near = Some(near);
        let value = self.timing.full(shop, &self.decisions);
        self.value = self.priced(value);
    }

    fn priced(&self, mut value: Value) -> Value {
        if let Some(near) = &self.near {
            let moved = near.moved(&self.timing.times, &self.decisions).count();
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
        let n = self.decisions.order.len();
        if self.movable.is_empty() || n < 2 {
            return;
        }
        let mut best = (self.value, self.decisions.clone());
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
                let Some((lo, hi)) = self.step(shop, rng) else {
                    continue;
                };
                let draw = (f64::from(rng.next_u32()) + 1.0) / 4_294_967_297.0;
                let allowed = -heat * draw.ln();
                let value =
                    self.timing
                        .changed(shop, &self.decisions, lo, hi, self.limit(shop, allowed));
                let value = value.map(|v| self.priced(v));
                if let Some(value) = value.filter(|v| energy(v, &self.value, shop.goal) <= allowed)
                {
                    self.timing.accept(&self.decisions, lo, hi);
                    self.value = value;
                    if value.compare(&best.0, shop.goal).is_lt() {
                        best.0 = value;
                        best.1.order.copy_from_slice(&self.decisions.order);
                        best.1.choice.copy_from_slice(&self.decisions.choice);
                    }
                } else {
                    self.undo(lo);
                    self.timing.reject(&self.decisions);
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
            let Some((lo, hi)) = self.step(shop, rng) else {
                continue;
            };
            let value = self
                .timing
                .changed(shop, &self.decisions, lo, hi, Minute::MAX);
            let change = value.map_or(0.0, |v| energy(&self.priced(v), &self.value, shop.goal));
            if change > 0.0 && change < BROKEN {
                sum += change;
                count += 1;
            }
            self.undo(lo);
            self.timing.reject(&self.decisions);
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
        self.decisions.order.copy_from_slice(&decisions.order);
        self.decisions.choice.copy_from_slice(&decisions.choice);
        let value = self.timing.full(shop, &self.decisions);
        self.value = self.priced(value);
    }

    /// Sorts the order by starts, which changes no time for the worse and brings what is near in time near in order.
    fn tidy(&mut self, shop: &Shop) {
        let times = &self.timing.times;
        // A stable sort keeps the links' order even among operations that take no time.
        self.decisions
            .order
            .sort_by_key(|&i| times[i as usize].start);
        let value = self.timing.full(shop, &self.decisions);
        self.value = self.priced(value);
    }

    fn undo(&mut self, lo: usize) {
        let len = self.undo_order.len();
        self.decisions.order[lo..lo + len].copy_from_slice(&self.undo_order);
        while let Some((op, choice)) = self.undo_choice.pop() {
            self.decisions.choice[op as usize] = choice;
        }
    }

    /// Makes a random move; `None` when it would change nothing.
    fn step(&mut self, shop: &Shop, rng: &mut impl Rng) -> Option<Window> {
        self.undo_order.clear();
        self.undo_choice.clear();
        match below(rng, 16) {
            0..=8 => self.relieve(shop, rng),
            9..=11 => self.wander(shop, rng),
            12..=13 => self.join_key(shop, rng),
            _ => self.hurry_job(shop, rng),
        }
    }

    /// Breaks one wait on the critical chain of a job that costs something.
    fn relieve(&mut self, shop: &Shop, rng: &mut impl Rng) -> Option<Window> {
        let job = self.costly_job(shop, rng)?;
        self.walk_chain(shop, job);
        if self.chain.is_empty() {
            return None;
        }
        let (op, before) = self.chain[below(rng, self.chain.len() as u32) as usize];
        let (at, at_before) = (
            self.timing.pos[op as usize] as usize,
            self.timing.pos[before as usize] as usize,
        );
        match below(rng, 8) {
            0..=2 => self.shift(shop, at, at_before),
            3..=4 => self.shift(shop, at_before, at),
            5 => {
                // Past more than one.
                let past =
                    at_before.saturating_sub(below(rng, 2 * shop.machines() as u32 + 2) as usize);
                self.shift(shop, at, past)
            }
            6 => self.switch(shop, op, at, at, rng),
            _ => self.switch(shop, before, at_before, at_before, rng),
        }
    }

    /// A random operation to a place not far away, at times in another mode or with another person.
    fn wander(&mut self, shop: &Shop, rng: &mut impl Rng) -> Option<Window> {
        let op = self.movable[below(rng, self.movable.len() as u32) as usize];
        let at = self.timing.pos[op as usize] as usize;
        let n = self.decisions.order.len();
        let reach = (4 * shop.machines() + 8) as u32;
        let to = (at + below(rng, 2 * reach + 1) as usize)
            .saturating_sub(reach as usize)
            .min(n - 1);
        if below(rng, 3) == 0 {
            self.switch(shop, op, at, to, rng)
        } else {
            self.shift(shop, at, to)
        }
    }

    /// Brings an operation next to one with the same setup key, on its machine where it can.
    fn join_key(&mut self, shop: &Shop, rng: &mut impl Rng) -> Option<Window> {
        let op = self.movable[below(rng, self.movable.len() as u32) as usize];
        let (from, to) = self.key_range[op as usize];
        if to - from < 2 || shop.ops[op as usize].key == NONE {
            return None;
        }
        let other = self.by_key[(from + below(rng, to - from)) as usize];
        if other == op {
            return None;
        }
        let machine = shop.ways(other)[self.decisions.choice[other as usize].way as usize].machine;
        if let Some(way) = shop.ways(op).iter().position(|w| w.machine == machine) {
            self.choose(
                op,
                Choice {
                    way: way as u32,
                    ..self.decisions.choice[op as usize]
                },
            );
        }
        let (at, goal) = (
            self.timing.pos[op as usize] as usize,
            self.timing.pos[other as usize] as usize,
        );
        let window = if at < goal {
            self.shift(shop, at, goal)
        } else {
            self.shift(shop, at, goal + 1)
        };
        window.or_else(|| self.only_choice(at))
    }

    /// A whole job earlier or later, each operation by the same time.
    fn hurry_job(&mut self, shop: &Shop, rng: &mut impl Rng) -> Option<Window> {
        let job = self.costly_job(shop, rng)?;
        let earlier = below(rng, 4) > 0;
        let first = shop.sinks(&shop.jobs[job as usize]).first().copied()?;
        let (from, to) = self.job_range[first as usize];
        if from == to {
            return None;
        }
        let reach = 1 + below(rng, (6 * shop.machines() + 8) as u32) as usize;
        let n = self.decisions.order.len();
        let (mut lo, mut hi) = (n, 0);
        for k in from..to {
            let op = self.by_job[k as usize];
            if !self.may_move[op as usize] {
                return None;
            }
            let at = self.timing.pos[op as usize] as usize;
            lo = lo.min(at);
            hi = hi.max(at + 1);
        }
        if earlier {
            lo = lo.saturating_sub(reach)
        } else {
            hi = (hi + reach).min(n)
        }
        self.undo_order
            .extend_from_slice(&self.decisions.order[lo..hi]);
        // Keys: the place, less or more the reach for the job's own; a stable sort keeps all else as it was. Since the
        // operations of the job move together, no link inside it is turned; links between jobs are looked at after.
        for k in from..to {
            self.marked[self.by_job[k as usize] as usize] = true;
        }
        let order = &mut self.decisions.order;
        if earlier {
            for k in lo..hi {
                let mut i = k;
                if self.marked[order[k] as usize] {
                    let floor = k.saturating_sub(reach).max(lo);
                    while i > floor && !self.marked[order[i - 1] as usize] {
                        order.swap(i, i - 1);
                        i -= 1;
                    }
                }
            }
        } else {
            for k in (lo..hi).rev() {
                let mut i = k;
                if self.marked[order[k] as usize] {
                    let ceiling = (k + reach).min(hi - 1);
                    while i < ceiling && !self.marked[order[i + 1] as usize] {
                        order.swap(i, i + 1);
                        i += 1;
                    }
                }
            }
        }
        for k in from..to {
            self.marked[self.by_job[k as usize] as usize] = false;
        }
        if !self.window_respects_links(shop, lo, hi)
            || self.decisions.order[lo..hi] == self.undo_order[..]
        {
            self.undo(lo);
            return None;
        }
        Some((lo, hi))
    }

    /// True when no operation of the window stands before one it waits for.
    fn window_respects_links(&mut self, shop: &Shop, lo: usize, hi: usize) -> bool {
        for k in lo..hi {
            self.marked[self.decisions.order[k] as usize] = true;
        }
        let mut respected = true;
        for k in lo..hi {
            let op = self.decisions.order[k];
            respected = respected && shop.before(op).iter().all(|l| !self.marked[l.op as usize]);
            self.marked[op as usize] = false;
        }
        respected
    }

    /// A job that is late, drawn by what its lateness costs; any when none is.
    fn costly_job(&mut self, shop: &Shop, rng: &mut impl Rng) -> Option<u32> {
        self.late_jobs.clear();
        let mut pick = None;
        let mut sum: u64 = 0;
        for (j, job) in shop.jobs.iter().enumerate() {
            let done = self.done(shop, j as u32);
            let cost = match shop.goal {
                Goal::Promises => job.weight * (done.saturating_sub(job.due)).max(0),
                Goal::Makespan => Minute::from(done == self.value.makespan),
            };
            if cost > 0 {
                // The square root evens the odds a little between a very late job and a few late ones.
                let odds = (cost as f64).sqrt().ceil() as u64;
                sum += odds;
                if rng.next_u64() % sum < odds {
                    pick = Some(j as u32);
                }
            }
        }
        if pick.is_some() && below(rng, 8) > 0 {
            return pick;
        }
        let op = self.movable[below(rng, self.movable.len() as u32) as usize];
        Some(shop.ops[op as usize].job)
    }

    fn done(&self, shop: &Shop, job: u32) -> Minute {
        let ends = shop
            .sinks(&shop.jobs[job as usize])
            .iter()
            .map(|&op| self.timing.times[op as usize].end);
        ends.max().unwrap_or(Minute::MIN)
    }

    /// Walks back from the job's end; the chain holds pairs (operation, the one it waited for on machine or person).
    fn walk_chain(&mut self, shop: &Shop, job: u32) {
        self.chain.clear();
        let times = &self.timing.times;
        let last = shop
            .sinks(&shop.jobs[job as usize])
            .iter()
            .copied()
            .max_by_key(|&op| times[op as usize].end);
        let Some(mut op) = last else { return };
        loop {
            let t = &times[op as usize];
            let (mut until, mut by, mut resource) = (shop.ops[op as usize].release, NONE, false);
            for l in shop.before(op) {
                let ready = times[l.op as usize].end + l.min;
                if ready >= until {
                    (until, by) = (ready, l.op);
                }
            }
            if t.machine_before != NONE && times[t.machine_before as usize].end > until {
                (until, by, resource) =
                    (times[t.machine_before as usize].end, t.machine_before, true);
            }
            if t.person_before != NONE && times[t.person_before as usize].attended_until > until {
                (by, resource) = (t.person_before, true);
            }
            if by == NONE || shop.ops[by as usize].fixed {
                return;
            }
            if resource && (self.may_move[op as usize] || self.may_move[by as usize]) {
                self.chain.push((op, by));
            }
            op = by;
        }
    }

    fn choose(&mut self, op: u32, choice: Choice) {
        let old = std::mem::replace(&mut self.decisions.choice[op as usize], choice);
        if old != choice {
            self.undo_choice.push((op, old));
        }
    }

    fn only_choice(&mut self, at: usize) -> Option<Window> {
        if self.undo_choice.is_empty() {
            return None;
        }
        self.undo_order.clear();
        self.undo_order.push(self.decisions.order[at]);
        Some((at, at + 1))
    }

    /// Another mode or person for an operation, which goes to another place with it.
    fn switch(
        &mut self,
        shop: &Shop,
        op: u32,
        at: usize,
        to: usize,
        rng: &mut impl Rng,
    ) -> Option<Window> {
        if !self.may_move[op as usize] {
            return None;
        }
        let (ways, people) = (shop.ways(op).len() as u32, shop.people(op));
        let old = self.decisions.choice[op as usize];
        let mut new = old;
        if ways > 1 && (people.len() < 2 || rng.next_u32() & 1 == 0) {
            new.way = (old.way + 1 + below(rng, ways - 1)) % ways;
        } else if people.len() > 1 {
            new.person = people[below(rng, people.len() as u32) as usize];
        }
        if new == old {
            return self.shift(shop, at, to);
        }
        self.choose(op, new);
        if at == to {
            return self.only_choice(at);
        }
        self.shift(shop, at, to).or_else(|| self.only_choice(at))
    }

    /// Moves the operation at place `at` to place `to`, and with it those that it waits for, or that wait for it.
    fn shift(&mut self, shop: &Shop, at: usize, to: usize) -> Option<Window> {
        let n = self.decisions.order.len();
        let to = to.min(n - 1);
        if at == to || !self.may_move[self.decisions.order[at] as usize] {
            return None;
        }
        let (lo, hi) = (at.min(to), at.max(to) + 1);
        let earlier = to < at;
        let order = &mut self.decisions.order;
        self.undo_order.extend_from_slice(&order[lo..hi]);
        self.moved.clear();
        self.marked[order[at] as usize] = true;
        if earlier {
            for k in (lo..hi).rev() {
                let op = order[k];
                if k == at || shop.after(op).iter().any(|l| self.marked[l.op as usize]) {
                    self.marked[op as usize] = true;
                    self.moved.push(op);
                }
            }
        } else {
            for &op in &order[lo..hi] {
                if op == order[at] || shop.before(op).iter().any(|l| self.marked[l.op as usize]) {
                    self.marked[op as usize] = true;
                    self.moved.push(op);
                }
            }
        }
        let mut write = lo;
        if earlier {
            for &op in self.moved.iter().rev() {
                order[write] = op;
                write += 1;
            }
        }
        for &op in &self.undo_order {
            if !self.marked[op as usize] {
                order[write] = op;
                write += 1;
            }
        }
        if !earlier {
            for &op in &self.moved {
                order[write] = op;
                write += 1;
            }
        }
        for &op in &self.moved {
            self.marked[op as usize] = false;
        }
        if order[lo..hi] == self.undo_order[..] {
            self.undo_order.clear();
            return None;
        }
        Some((lo, hi))
    }
}

#[cfg(test)]
mod tests {
    use super::super::{
        rules::{Rule, dispatch},
        sample::Sample,
    };
    use super::*;
    use rand::SeedableRng;

    /// What the incremental pass gives is what a pass from the beginning gives, through any series of moves taken and
    /// taken back.
    #[test]
    fn incremental_timing_is_exact() {
        let mut sample = Sample::week();
        sample.jobs = 30;
        let model = sample.make(5, None);
        let shop = Shop::build(&model).unwrap();
        let mut timing = Timing::new(&shop);
        let decisions = dispatch(&shop, &mut timing, Rule::EarliestDue);
        let mut search = Anneal::new(&shop, decisions, timing);
        let mut fresh = Timing::new(&shop);
        let mut rng = rand_pcg::Pcg64::seed_from_u64(2);
        for k in 0..4000 {
            let Some((lo, hi)) = search.step(&shop, &mut rng) else {
                continue;
            };
            let value = search
                .timing
                .changed(&shop, &search.decisions, lo, hi, Minute::MAX)
                .unwrap();
            assert_eq!(value, fresh.once(&shop, &search.decisions), "move {k}");
            assert_eq!(search.timing.times, fresh.times, "move {k}");
            if k % 3 == 0 {
                search.timing.accept(&search.decisions, lo, hi);
                search.value = value;
            } else {
                search.undo(lo);
                search.timing.reject(&search.decisions);
            }
        }
    }
}
