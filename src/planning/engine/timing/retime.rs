//! Timing again only what a move has changed.
//!
//! An operation's times depend on those it is linked to and on the one before it on its machine and with its person.
//! A move marks the operations that have another before them; then, in the order's sequence, each marked operation is
//! timed, and marks those that follow it by link, machine and person if what matters to them has changed. The work is
//! in proportion to what a move changes, not to the size of the shop. What is changed is logged, to be taken back.
//!
//! A delay would otherwise run through everything its person does after it, whoever else stands idle. So an operation
//! that a person's other work would put off goes to whoever can end it sooner, as it would on the shop floor. (Our own;
//! serial schedule generation that picks a resource as it goes does the same from the beginning of the order.)

use super::chains::{MACHINE, PERSON};
use super::{Choice, Decisions, Found, Times, Timing, UNFINISHED};
use crate::planning::engine::model::{
    Minute,
    build::{JobGoal, NONE, Shop},
    calendar::NEVER,
    plan::Value,
};

/// What the accepted order is worth, and what a move has changed so far.
#[derive(Debug, Clone)]
pub(super) struct Retiming {
    /// Marked places of the order, a bit each.
    marks: Vec<u64>,
    /// The last word of `marks` with a mark in it.
    last: usize,
    /// By job.
    done: Vec<Minute>,
    value: Value,
    accepted: Value,
    /// What fixed operations begin too early by, of `value.broken`.
    too_early: Minute,
    /// The most lateness that jobs whose ends are not timed yet can save by operations that end earlier; by job, its
    /// share and the pass in which it was counted.
    possible_gain: Minute,
    parts: Vec<(Minute, u32)>,
    pass: u32,
    /// Lateness added by jobs timed so far, and the greatest loss expected of a delay that is not timed to its end yet.
    loss: Minute,
    expected_loss: Minute,
    log: Vec<(u32, Times)>,
    done_log: Vec<(u32, Minute)>,
    /// Times of the accepted order, where longest lags force a pass from the beginning.
    whole: Option<(Vec<Times>, Vec<Minute>)>,
}

impl Retiming {
    pub fn new(shop: &Shop) -> Self {
        let n = shop.ops.len();
        Self {
            marks: vec![0; n / 64 + 1],
            last: 0,
            done: vec![Minute::MIN; shop.jobs.len()],
            value: Value::default(),
            accepted: Value::default(),
            too_early: 0,
            possible_gain: 0,
            parts: vec![(0, 0); shop.jobs.len()],
            pass: 0,
            loss: 0,
            expected_loss: 0,
            log: Vec::with_capacity(n),
            done_log: Vec::with_capacity(n),
            whole: None,
        }
    }

    /// An operation of a job that is not its last ends earlier than it did.
    #[inline]
    fn count_possible_gain(&mut self, goal: &JobGoal, job: u32, gain: Minute) {
        let late = goal.late(self.done[job as usize]);
        let part = &mut self.parts[job as usize];
        if part.1 != self.pass {
            *part = (0, self.pass);
        }
        let most = (goal.weight * gain).min(late);
        if most > part.0 {
            self.possible_gain += most - part.0;
            part.0 = most;
        }
    }

    #[inline]
    fn mark(&mut self, place: i32) {
        let word = place as usize / 64;
        self.marks[word] |= 1 << (place as usize % 64);
        self.last = self.last.max(word);
    }
}

/// A move as the timing sees it: places and operations.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Moved<'a> {
    /// The order is changed at places `lo..hi` only.
    pub lo: usize,
    pub hi: usize,
    /// Operations that have gone to another place than the rest, or have another choice; in the order before the move.
    pub ops: &'a [u32],
}

impl Timing {
    /// Times everything and keeps it as the accepted order.
    pub fn full(&mut self, shop: &Shop, d: &Decisions) -> Value {
        self.pass(shop, d);
        self.chains.build(shop, d);
        let value = self.value(shop);
        let r = &mut self.retiming;
        for (j, done) in r.done.iter_mut().enumerate() {
            let ends = shop.sinks(&shop.jobs[j]).iter();
            *done = ends
                .map(|&op| self.times[op as usize].end)
                .max()
                .unwrap_or(Minute::MIN);
        }
        r.marks.fill(0);
        r.last = 0;
        r.log.clear();
        r.done_log.clear();
        r.value = value;
        r.accepted = value;
        if shop.has_max_lags {
            r.whole = Some((self.times.clone(), r.done.clone()));
        }
        self.retiming.too_early = self.fixed_too_early(shop);
        value
    }

    /// The place of an operation in the order last timed by [`full`](Self::full) or [`changed`](Self::changed).
    #[inline]
    pub fn place_of(&self, op: u32) -> usize {
        self.chains.pos[op as usize] as usize
    }

    /// The operation before on the machine, in that order.
    #[inline]
    pub fn machine_before(&self, op: u32) -> Option<u32> {
        self.chains.before(op, MACHINE)
    }

    /// The operation before that the person attended, in that order.
    #[inline]
    pub fn person_before(&self, op: u32) -> Option<u32> {
        let t = &self.times[op as usize];
        if t.attended_until <= t.start {
            return None;
        }
        let mut before = self.chains.before(op, PERSON);
        while let Some(b) = before {
            let t = &self.times[b as usize];
            if t.attended_until > t.start {
                return before;
            }
            before = self.chains.before(b, PERSON);
        }
        None
    }

    /// When each job is done, in that order; `Minute::MIN` for one without operations.
    #[inline]
    pub fn all_done(&self) -> &[Minute] {
        &self.retiming.done
    }

    /// Times an order that differs from the accepted one only as `moved` says. With `substitutes`, who is held up by
    /// other work may be replaced: the decisions follow, and the choices replaced go there, for the caller to put back
    /// if the move is taken back.
    ///
    /// `None` when it was broken off: the jobs done by then cost so much more, or those put off will cost so much more
    /// as far as can be foreseen, that lateness would come above `limit` even if every job that has gained so far came
    /// in as much earlier. (Gains not yet begun are not foreseen, and a delay may still be taken up, so a good move is
    /// lost now and then. A plan taken is always timed exactly.)
    pub fn changed(
        &mut self,
        shop: &Shop,
        d: &mut Decisions,
        moved: Moved<'_>,
        limit: Minute,
        mut substitutes: Option<&mut Vec<(u32, Choice)>>,
    ) -> Option<Value> {
        for (k, &op) in d.order[moved.lo..moved.hi].iter().enumerate() {
            self.chains.pos[op as usize] = (moved.lo + k) as i32;
        }
        let r = &mut self.retiming;
        (r.possible_gain, r.loss, r.expected_loss) = (0, 0, 0);
        r.pass = r.pass.wrapping_add(1);
        for &op in moved.ops {
            r.mark(self.chains.pos[op as usize]);
        }
        self.chains.relink(shop, d, moved.ops, |chains, op| {
            r.mark(chains.pos[op as usize]);
        });
        if shop.has_max_lags {
            return Some(self.changed_whole(shop, d));
        }
        let mut word = moved.lo / 64;
        let mut makespan_may_drop = false;
        while word <= self.retiming.last {
            let bits = self.retiming.marks[word];
            if bits == 0 {
                word += 1;
                continue;
            }
            self.retiming.marks[word] = bits & (bits - 1);
            let place = word * 64 + bits.trailing_zeros() as usize;
            let op = d.order[place];
            let old = self.times[op as usize];
            let mut new = self.retimed(shop, d, op);
            if new.end > old.end
                && let Some(replaced) = &mut substitutes
                && let Some(sooner) = self.substitute(shop, d, (place, op), &new, replaced)
            {
                new = sooner;
            }
            if new == old {
                continue;
            }
            self.times[op as usize] = new;
            let r = &mut self.retiming;
            r.log.push((op, old));
            r.value.setup += new.setup - old.setup;
            let after = self.chains.nodes[op as usize].after[PERSON];
            if new.person_free != old.person_free && after != NONE {
                r.mark(self.chains.pos[after as usize]);
            }
            if new.end == old.end {
                continue;
            }
            makespan_may_drop |= self.end_changed(shop, op, old.end, limit, moved.ops);
            let r = &mut self.retiming;
            let more = (r.expected_loss - r.loss).max(0);
            if r.value.lateness - r.possible_gain + more > limit {
                r.marks[word..=r.last].fill(0);
                r.last = 0;
                return None;
            }
        }
        self.retiming.last = 0;
        if makespan_may_drop {
            let done = self.retiming.done.iter().copied();
            self.retiming.value.makespan = done.fold(0, Minute::max);
        }
        if !self.fixed_waiting.is_empty() {
            let too_early = self.fixed_too_early(shop);
            let r = &mut self.retiming;
            r.value.broken = r.value.broken - r.too_early + too_early;
        }
        Some(self.retiming.value)
    }

    /// An operation ends at another time than it did: marks what follows it by machine and link, and adds up what its
    /// job gains or loses. True when it was the last of all to end and no longer is.
    #[inline]
    fn end_changed(
        &mut self,
        shop: &Shop,
        op: u32,
        old_end: Minute,
        limit: Minute,
        moved: &[u32],
    ) -> bool {
        let end = self.times[op as usize].end;
        let r = &mut self.retiming;
        let pos = &self.chains.pos;
        let after = self.chains.nodes[op as usize].after[MACHINE];
        if after != NONE {
            r.mark(pos[after as usize]);
        }
        for l in shop.after(op) {
            if !shop.ops[l.op as usize].fixed {
                r.mark(pos[l.op as usize]);
            }
        }
        let unfinished = |end: Minute| Minute::from(end >= NEVER) * UNFINISHED;
        r.value.broken += unfinished(end) - unfinished(old_end);
        let job = shop.ops[op as usize].job;
        if shop.ops[op as usize].sink {
            return self.settle(shop, job);
        }
        if end < old_end {
            r.count_possible_gain(&shop.jobs[job as usize], job, old_end - end);
        } else if limit < Minute::MAX {
            let expected_loss = self.expected_loss(shop, op, end, moved);
            self.retiming.expected_loss = self.retiming.expected_loss.max(expected_loss);
        }
        false
    }

    /// Gives an operation that waits for its person to whoever could end it soonest, if that is sooner than `now`.
    fn substitute(
        &mut self,
        shop: &Shop,
        d: &mut Decisions,
        (place, op): (usize, u32),
        now: &Times,
        replaced: &mut Vec<(u32, Choice)>,
    ) -> Option<Times> {
        let people = shop.people(op);
        if people.len() < 2 {
            return None;
        }
        let old = d.choice[op as usize];
        let node = self.chains.nodes[op as usize];
        let on_machine = node.before[MACHINE] as usize;
        let machine_free = self.times[on_machine].end;
        let key = self.chains.keys[on_machine];
        let ends = shop.before(op).iter();
        let ready = ends.map(|l| self.times[l.op as usize].end + l.min);
        let ready = ready.fold(shop.ops[op as usize].release.max(machine_free), Minute::max);
        if self.times[node.before[PERSON] as usize].person_free <= ready {
            return None;
        }
        let mode = &shop.modes(op)[old.mode as usize];
        let (mut end, mut best) = (now.end, None);
        self.chains.find_last_of(d, place, people);
        for &person in people {
            let before = self.chains.last_of[person as usize];
            let person_free = self.times[before as usize].person_free;
            if person == old.person || person_free >= now.start {
                continue;
            }
            let found = Found {
                machine_free,
                key,
                person_free,
            };
            let times = self.earliest(shop, op, mode, person, found);
            if times.end < end {
                end = times.end;
                best = Some((times, person, before));
            }
        }
        let (times, person, before) = best?;
        for after in self.chains.hand_over(op, person, before) {
            if after != NONE {
                let place = self.chains.pos[after as usize];
                self.retiming.mark(place);
            }
        }
        replaced.push((op, old));
        d.choice[op as usize].person = person;
        Some(times)
    }

    /// Times of an operation after what now stands before it.
    #[inline]
    fn retimed(&self, shop: &Shop, d: &Decisions, op: u32) -> Times {
        let c = d.choice[op as usize];
        let node = &self.chains.nodes[op as usize];
        let on_machine = node.before[MACHINE] as usize;
        let found = Found {
            machine_free: self.times[on_machine].end,
            key: self.chains.keys[on_machine],
            person_free: self.times[node.before[PERSON] as usize].person_free,
        };
        self.earliest(shop, op, &shop.modes(op)[c.mode as usize], c.person, found)
    }

    /// Takes a job's new end into the account. True when it was the last of all and no longer is.
    #[inline]
    fn settle(&mut self, shop: &Shop, job: u32) -> bool {
        let Some(new) = self.done(shop, job) else {
            return false;
        };
        let r = &mut self.retiming;
        let old = std::mem::replace(&mut r.done[job as usize], new);
        if old == new {
            return false;
        }
        r.done_log.push((job, old));
        let part = &mut r.parts[job as usize];
        if part.1 == r.pass {
            r.possible_gain -= part.0;
            part.0 = 0;
        }
        let goal = &shop.jobs[job as usize];
        r.value.in_progress += new - old;
        let more = goal.late(new) - goal.late(old);
        r.value.lateness += more;
        r.loss += more.max(0);
        if new > r.value.makespan {
            r.value.makespan = new;
        }
        old >= r.value.makespan
    }

    /// With longest lags, what comes later can put off what is before: everything is timed from the beginning.
    fn changed_whole(&mut self, shop: &Shop, d: &Decisions) -> Value {
        self.retiming.marks.fill(0);
        self.retiming.last = 0;
        self.pass(shop, d);
        let value = self.value(shop);
        let r = &mut self.retiming;
        r.value = value;
        for (j, done) in r.done.iter_mut().enumerate() {
            let ends = shop.sinks(&shop.jobs[j]).iter();
            *done = ends
                .map(|&op| self.times[op as usize].end)
                .max()
                .unwrap_or(Minute::MIN);
        }
        value
    }

    /// Keeps the order last timed as the accepted one.
    pub fn accept(&mut self, shop: &Shop) {
        self.chains.keep();
        if !self.fixed_waiting.is_empty() {
            self.retiming.too_early = self.fixed_too_early(shop);
        }
        let r = &mut self.retiming;
        r.log.clear();
        r.done_log.clear();
        r.accepted = r.value;
        if let Some((times, done)) = &mut r.whole {
            times.copy_from_slice(&self.times);
            done.copy_from_slice(&r.done);
        }
    }

    /// Returns to the accepted order; the caller has put its decisions back already, at places `lo..hi`.
    pub fn reject(&mut self, d: &Decisions, lo: usize, hi: usize) {
        for (k, &op) in d.order[lo..hi].iter().enumerate() {
            self.chains.pos[op as usize] = (lo + k) as i32;
        }
        self.chains.restore();
        let r = &mut self.retiming;
        r.value = r.accepted;
        if let Some((times, done)) = &r.whole {
            self.times.copy_from_slice(times);
            r.done.copy_from_slice(done);
            return;
        }
        while let Some((op, times)) = r.log.pop() {
            self.times[op as usize] = times;
        }
        while let Some((job, done)) = r.done_log.pop() {
            r.done[job as usize] = done;
        }
    }
}
