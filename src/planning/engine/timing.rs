//! From decisions to times: the serial schedule generation scheme (Kolisch 1996) over an order of all operations.
//!
//! Decisions are an order that respects the links, and for each operation a mode and a person. Each operation in turn
//! starts as early as its links, its machine, its person and their hours allow, after all that the order puts before
//! it on the machine and with the person. Ordering any plan by its starts gives it back or something better, so no
//! plan worth having under a regular goal is out of reach, and no order can deadlock.
//!
//! A longest lag pulls from behind: when an operation comes too late after the one before, that one is put off and the
//! pass begins again. Starts only ever grow, so what comes out is the least fixed point.
//!
//! Evaluation is incremental. State is kept every [`STRIDE`] places of the accepted order; a changed order is timed
//! from the last kept state before the change, until past it the state is again the one kept.

use super::{
    build::{Block, NO_MAX, NONE, Shop, Way},
    calendar::NEVER,
    model::Minute,
    plan::{Assignment, Plan, Value},
};

/// Places between kept states.
const STRIDE: usize = 16;

/// Passes after which longest lags are given up as broken.
const PASSES: usize = 200;

/// Added to `broken` for an operation that never ends.
const UNFINISHED: Minute = 1_000_000;

/// Mode and person of an operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Choice {
    pub way: u32,
    pub person: u32,
}

/// Decisions: everything the search decides.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Decisions {
    /// All operations that are not fixed, in an order that respects the links.
    pub order: Vec<u32>,
    pub choice: Vec<Choice>,
}

impl Decisions {
    /// The decisions a plan was made by, or others that time to the same: operations by their starts.
    pub fn of_plan(shop: &Shop, plan: &Plan) -> Self {
        let mut order: Vec<u32> = shop.topological();
        order.retain(|&i| !shop.ops[i as usize].fixed);
        // Stable, so that links keep their order among operations that take no time.
        order.sort_by_key(|&i| {
            let a = &plan.assignments[i as usize];
            (a.start, a.end)
        });
        let choice = plan
            .assignments
            .iter()
            .enumerate()
            .map(|(i, a)| Choice {
                way: a.mode as u32,
                person: match a.person {
                    Some(p) => p as u32,
                    None => shop.people(i as u32).first().copied().unwrap_or(NONE),
                },
            })
            .collect();
        Self { order, choice }
    }
}

/// Times of one operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Times {
    pub start: Minute,
    pub attended_until: Minute,
    pub end: Minute,
    pub setup: Minute,
    /// The operations before it on its machine and with its person.
    pub machine_before: u32,
    pub person_before: u32,
}

/// What is known of machines and people after a part of the order.
#[derive(Debug, Clone, PartialEq, Eq)]
struct State {
    machine_free: Vec<Minute>,
    machine_last: Vec<u32>,
    person_free: Vec<Minute>,
    person_last: Vec<u32>,
    setup: Minute,
    broken: Minute,
}

impl State {
    fn new(shop: &Shop) -> Self {
        Self {
            machine_free: vec![Minute::MIN; shop.machines()],
            machine_last: vec![NONE; shop.machines()],
            person_free: vec![Minute::MIN; shop.people_count],
            person_last: vec![NONE; shop.people_count],
            setup: 0,
            broken: 0,
        }
    }

    fn reset(&mut self) {
        self.machine_free.fill(Minute::MIN);
        self.machine_last.fill(NONE);
        self.person_free.fill(Minute::MIN);
        self.person_last.fill(NONE);
        self.setup = 0;
        self.broken = 0;
    }

    fn copy(&mut self, from: &Self) {
        self.machine_free.copy_from_slice(&from.machine_free);
        self.machine_last.copy_from_slice(&from.machine_last);
        self.person_free.copy_from_slice(&from.person_free);
        self.person_last.copy_from_slice(&from.person_last);
        self.setup = from.setup;
        self.broken = from.broken;
    }

    fn same_resources(&self, other: &Self) -> bool {
        self.machine_last == other.machine_last
            && self.person_last == other.person_last
            && self.machine_free == other.machine_free
            && self.person_free == other.person_free
    }
}

/// The timing pass with its memory. Nothing is allocated once it is made.
#[derive(Debug, Clone)]
pub(super) struct Timing {
    /// Times in the order last timed.
    pub times: Vec<Times>,
    /// Minutes added to or taken from run times, by operation: zero except in futures.
    pub stretch: Vec<Minute>,
    /// Places in the accepted order.
    pub pos: Vec<u32>,
    /// Earliest starts forced by longest lags.
    lower: Vec<Minute>,
    raised: bool,
    accepted: Vec<Times>,
    /// States at every [`STRIDE`]th place of the accepted order, and of the order last timed.
    kept: Vec<State>,
    fresh: Vec<State>,
    state: State,
    /// Setup and broken minutes at the end of the accepted order, and of the order last timed.
    total: (Minute, Minute),
    fresh_total: (Minute, Minute),
    /// Places timed in the last pass.
    timed: (usize, usize),
    /// Lateness of the accepted order, and of the order last timed.
    lateness: Minute,
    fresh_lateness: Minute,
    account: Account,
    /// Fixed operations that wait for others.
    fixed_waiting: Vec<u32>,
}

/// Lateness won and lost in the course of one pass.
#[derive(Debug, Clone)]
struct Account {
    /// By jobs whose last operation has been timed.
    settled: Minute,
    /// What jobs that have gained time, and are not done yet, could win at most.
    hoped: Minute,
    /// Each job's part of `hoped`, and the pass it was put there.
    part: Vec<(Minute, u32)>,
    pass: u32,
}

impl Account {
    fn begin(&mut self) {
        self.settled = 0;
        self.hoped = 0;
        self.pass = self.pass.wrapping_add(1);
    }

    #[inline]
    fn note(&mut self, shop: &Shop, op: u32, old: Minute, new: Minute) {
        let o = &shop.ops[op as usize];
        let job = &shop.jobs[o.job as usize];
        let part = &mut self.part[o.job as usize];
        if o.sink {
            self.settled += job.weight
                * (new.saturating_sub(job.due).max(0) - old.saturating_sub(job.due).max(0));
            if part.1 == self.pass {
                self.hoped -= part.0;
                part.0 = 0;
            }
        } else if new < old && part.1 != self.pass {
            // What the lot could win at most: the time gained so far, and no more than its lateness is known to be.
            *part = (job.weight * (old - new), self.pass);
            self.hoped += part.0;
        }
    }

    fn least_change(&self) -> Minute {
        self.settled - self.hoped
    }
}

impl Timing {
    pub fn new(shop: &Shop) -> Self {
        let n = shop.ops.len();
        let state = State::new(shop);
        let mut times = vec![
            Times {
                machine_before: NONE,
                person_before: NONE,
                ..Times::default()
            };
            n
        ];
        for (t, fixed) in times.iter_mut().zip(&shop.fixed) {
            if let Some(f) = fixed {
                t.start = f.start;
                t.attended_until = f.attended_until;
                t.end = f.end;
            }
        }
        let kept = vec![state.clone(); n / STRIDE + 1];
        Self {
            accepted: times.clone(),
            times,
            stretch: vec![0; n],
            pos: vec![0; n],
            lower: vec![Minute::MIN; n],
            raised: false,
            fresh: kept.clone(),
            kept,
            state,
            total: (0, 0),
            fresh_total: (0, 0),
            timed: (0, 0),
            lateness: 0,
            fresh_lateness: 0,
            account: Account {
                settled: 0,
                hoped: 0,
                part: vec![(0, 0); shop.jobs.len()],
                pass: 0,
            },
            fixed_waiting: (0..n as u32)
                .filter(|&i| shop.ops[i as usize].fixed && !shop.before(i).is_empty())
                .collect(),
        }
    }

    /// Times everything and keeps it as the accepted order.
    pub fn full(&mut self, shop: &Shop, d: &Decisions) -> Value {
        let value = self.once(shop, d);
        self.timed = (0, d.order.len());
        self.accept(d, 0, d.order.len());
        value
    }

    /// Times everything, keeping nothing: for futures, and for the first look at an order.
    pub fn once(&mut self, shop: &Shop, d: &Decisions) -> Value {
        if self.raised {
            self.lower.fill(Minute::MIN);
            self.raised = false;
        }
        for pass in 1..=PASSES {
            self.state.reset();
            let mut again = false;
            for (k, &op) in d.order.iter().enumerate() {
                if k.is_multiple_of(STRIDE) {
                    self.fresh[k / STRIDE].copy(&self.state);
                }
                self.place(shop, op, d.choice[op as usize]);
                if shop.has_max_lags && self.too_late(shop, op, pass == PASSES) {
                    again = true;
                    break;
                }
            }
            if !again {
                break;
            }
        }
        self.fresh_total = (self.state.setup, self.state.broken);
        self.value(shop)
    }

    /// Times an order that differs from the accepted one only at places `lo..hi`, or in choices there.
    ///
    /// `None` when the pass was broken off: the jobs done by then cost so much more that lateness would come above
    /// `limit` even if every job that has gained so far came in on time. (Gains not yet begun are not foreseen, so a
    /// good move is lost now and then; a plan taken is always timed exactly.)
    pub fn changed(
        &mut self,
        shop: &Shop,
        d: &Decisions,
        lo: usize,
        hi: usize,
        limit: Minute,
    ) -> Option<Value> {
        let n = d.order.len();
        if shop.has_max_lags {
            self.timed = (0, n);
            return Some(self.once(shop, d));
        }
        self.account.begin();
        let from = lo / STRIDE * STRIDE;
        self.state.copy(&self.kept[lo / STRIDE]);
        // From this place on, no operation is known to wait for one whose end has changed.
        let mut settled = hi;
        let mut k = from;
        while k < n {
            if k.is_multiple_of(STRIDE) {
                let kept = &self.kept[k / STRIDE];
                if k >= settled && self.state.same_resources(kept) {
                    self.timed = (from, k);
                    self.fresh_total = (
                        self.total.0 + self.state.setup - kept.setup,
                        self.total.1 + self.state.broken - kept.broken,
                    );
                    return Some(self.value(shop));
                }
                if k >= hi && self.lateness + self.account.least_change() > limit {
                    self.timed = (from, k);
                    return None;
                }
                self.fresh[k / STRIDE].copy(&self.state);
            }
            let op = d.order[k];
            self.place(shop, op, d.choice[op as usize]);
            let (new, old) = (self.times[op as usize].end, self.accepted[op as usize].end);
            if new != old {
                self.account.note(shop, op, old, new);
                for l in shop.after(op) {
                    if !shop.ops[l.op as usize].fixed {
                        settled = settled.max(self.pos[l.op as usize] as usize + 1);
                    }
                }
            }
            k += 1;
        }
        self.timed = (from, n);
        self.fresh_total = (self.state.setup, self.state.broken);
        Some(self.value(shop))
    }

    /// Keeps the order last timed, which differs at places `lo..hi`, as the accepted one.
    pub fn accept(&mut self, d: &Decisions, lo: usize, hi: usize) {
        for k in lo..hi {
            self.pos[d.order[k] as usize] = k as u32;
        }
        let (from, to) = self.timed;
        for &op in &d.order[from..to] {
            self.accepted[op as usize] = self.times[op as usize];
        }
        let later = to.div_ceil(STRIDE);
        for k in from / STRIDE..later {
            std::mem::swap(&mut self.kept[k], &mut self.fresh[k]);
        }
        let (setup, broken) = (
            self.fresh_total.0 - self.total.0,
            self.fresh_total.1 - self.total.1,
        );
        if to < d.order.len() && (setup != 0 || broken != 0) {
            for kept in &mut self.kept[later..] {
                kept.setup += setup;
                kept.broken += broken;
            }
        }
        self.total = self.fresh_total;
        self.lateness = self.fresh_lateness;
    }

    /// Returns to the accepted order; the caller has put its decisions back already.
    pub fn reject(&mut self, d: &Decisions) {
        let (from, to) = self.timed;
        for &op in &d.order[from..to] {
            self.times[op as usize] = self.accepted[op as usize];
        }
    }

    /// Forgets everything placed so far: for building an order from nothing.
    pub fn begin(&mut self) {
        self.lower.fill(Minute::MIN);
        self.raised = false;
        self.state.reset();
    }

    /// When a machine is free after everything placed so far; for outside work, always.
    #[inline]
    pub fn machine_free(&self, shop: &Shop, machine: u32) -> Minute {
        let free = self
            .state
            .machine_free
            .get(machine as usize)
            .copied()
            .unwrap_or(0);
        if (machine as usize) < shop.machines() {
            free.max(-NEVER)
        } else {
            -NEVER
        }
    }

    /// Starts one operation as early as the state allows and takes it into the state.
    #[inline]
    pub fn place(&mut self, shop: &Shop, op: u32, choice: Choice) {
        let way = &shop.ways(op)[choice.way as usize];
        let mut t = self.fit(shop, op, way, choice.person);
        let m = way.machine as usize;
        if m < shop.machines() {
            t.machine_before = self.state.machine_last[m];
            self.state.machine_free[m] = t.end;
            self.state.machine_last[m] = op;
        }
        if t.attended_until > t.start {
            let p = choice.person as usize;
            t.person_before = self.state.person_last[p];
            self.state.person_free[p] = t.attended_until;
            self.state.person_last[p] = op;
        }
        self.state.setup += t.setup;
        if t.end >= NEVER {
            self.state.broken += UNFINISHED;
        }
        self.times[op as usize] = t;
    }

    /// Earliest times of an operation after everything in the state.
    #[inline]
    pub fn fit(&self, shop: &Shop, op: u32, way: &Way, person: u32) -> Times {
        let o = &shop.ops[op as usize];
        let machine = way.machine as usize;
        let mut from = o.release.max(self.lower[op as usize]);
        for l in shop.before(op) {
            from = from.max(self.times[l.op as usize].end + l.min);
        }
        let inside = machine < shop.machines();
        let mut key_before = NONE;
        let mut blocks: &[Block] = &[];
        if inside {
            from = from.max(self.state.machine_free[machine]);
            let last = self.state.machine_last[machine];
            key_before = if last == NONE {
                shop.on_table[machine]
            } else {
                shop.ops[last as usize].key
            };
            blocks = &shop.machine_blocks[machine];
        }
        let mut person_blocks: &[Block] = &[];
        if person != NONE {
            person_blocks = &shop.person_blocks[person as usize];
        }
        let run = (way.run + self.stretch[op as usize]).max(0);
        let attended_run = way.attended.min(run);
        loop {
            // Fixed work on the machine: never inside it, and set up after the last of it.
            let mut key = key_before;
            for b in blocks {
                if b.start > from {
                    break;
                }
                from = from.max(b.end);
                if self.state.machine_free[machine] <= b.start {
                    key = b.key;
                }
            }
            let setup = if inside {
                shop.setup(way, o.key, key)
            } else {
                way.setup
            };
            let attended = if person == NONE {
                0
            } else {
                setup + attended_run
            };
            // Nobody to wait for when there is nothing to attend.
            let start_from = if attended > 0 {
                from.max(self.state.person_free[person as usize])
            } else {
                from
            };
            let (start, until, end) = stay(
                shop,
                way.machine,
                person,
                o.may_pause,
                start_from,
                attended,
                setup + run - attended,
            );
            if end >= NEVER {
                return Times {
                    start: NEVER,
                    attended_until: NEVER,
                    end: NEVER,
                    setup,
                    machine_before: NONE,
                    person_before: NONE,
                };
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
                        machine_before: NONE,
                        person_before: NONE,
                    };
                }
            }
        }
    }

    /// When an operation comes later than a longest lag allows: puts the earlier one off and asks for another pass.
    fn too_late(&mut self, shop: &Shop, op: u32, last: bool) -> bool {
        let start = self.times[op as usize].start;
        for l in shop.before(op) {
            if l.max == NO_MAX || start >= NEVER {
                continue;
            }
            let before = &self.times[l.op as usize];
            let excess = start - before.end - l.max;
            if excess > 0 {
                if last || shop.ops[l.op as usize].fixed {
                    self.state.broken += excess;
                } else {
                    self.lower[l.op as usize] = before.start + excess;
                    self.raised = true;
                    return true;
                }
            }
        }
        false
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

    fn value(&mut self, shop: &Shop) -> Value {
        let mut value = Value {
            setup: self.fresh_total.0,
            broken: self.fresh_total.1 + self.fixed_too_early(shop),
            ..Value::default()
        };
        for job in &shop.jobs {
            let mut done = Minute::MIN;
            for &op in shop.sinks(job) {
                done = done.max(self.times[op as usize].end);
            }
            if done == Minute::MIN {
                continue;
            }
            value.makespan = value.makespan.max(done);
            value.in_progress += done - job.release;
            if done > job.due {
                value.lateness += job.weight * (done - job.due);
            }
        }
        self.fresh_lateness = value.lateness;
        value
    }

    /// The plan last timed.
    pub fn plan(&self, shop: &Shop, d: &Decisions, value: Value) -> Plan {
        let assignments = self
            .times
            .iter()
            .enumerate()
            .map(|(i, t)| {
                let (mode, person) = match shop.fixed[i] {
                    Some(f) => (f.mode, f.person),
                    None => {
                        let c = d.choice[i];
                        (
                            c.way as usize,
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

/// Start, end of the attended part and end of a stay of `attended` and then `alone` minutes on a machine.
#[inline]
pub(super) fn stay(
    shop: &Shop,
    machine: u32,
    person: u32,
    may_pause: bool,
    from: Minute,
    attended: Minute,
    alone: Minute,
) -> (Minute, Minute, Minute) {
    let hours = &shop.machine_calendars[machine as usize];
    if attended == 0 {
        let start = if may_pause {
            from
        } else {
            hours.unbroken(from, alone)
        };
        let (start, end) = hours.pausing(start, alone);
        return (start, start, end);
    }
    let joint = shop.joint(machine, person);
    if may_pause {
        let (start, until) = joint.pausing(from, attended);
        let end = if alone == 0 {
            until
        } else {
            hours.pausing(until, alone).1
        };
        return (start, until, end);
    }
    let mut start = from;
    loop {
        let both = joint.unbroken(start, attended);
        let whole = hours.unbroken(both, attended + alone);
        if whole >= NEVER {
            return (NEVER, NEVER, NEVER);
        }
        if whole == both {
            return (whole, whole + attended, whole + attended + alone);
        }
        start = whole;
    }
}
