//! Schedules after Giffler and Thompson (1960): the conflict on the machine that could finish first is settled by a
//! priority rule.

use super::{
    blocks::Blocks,
    rules::{DispatchRule, Rule},
};
use crate::planning::engine::{
    model::{
        Minute,
        build::{NONE, Shop},
    },
    timing::{Before, Choice, Decisions, Times, Timing},
};

/// An operation that could be next.
#[derive(Debug, Clone, Copy)]
struct Ready {
    op: u32,
    choice: Choice,
    times: Times,
    machine: u32,
    /// Least minutes on the machine.
    least: Minute,
}

/// Time an operation takes and what follows it in the job, in elapsed minutes: working time is stretched by how much of
/// the time its machine and people are there.
#[derive(Debug, Clone, Copy, Default)]
struct Work {
    own: f64,
    /// The longest chain of operations after it.
    later: f64,
}

/// Someone who could do an operation. Of those with the same hours one stands for all.
#[derive(Debug, Clone, Copy)]
struct Person {
    hours: u32,
    free: Minute,
    person: u32,
}

const NOBODY: Person = Person {
    hours: NONE,
    free: Minute::MIN,
    person: NONE,
};

impl Person {
    /// Better than another with the same hours: free in time, and of those the one who was free last, so that who is
    /// free sooner stays so for other work.
    fn suits(&self, other: &Self, from: Minute) -> bool {
        if self.free <= from {
            other.free > from || self.free > other.free
        } else {
            self.free < other.free
        }
    }
}

/// Times each operation of a block is placed, in the mean, after which its longest lags are given up.
const SHIFTS: usize = 200;

/// What waits at one machine.
#[derive(Debug, Clone, Default)]
struct Queue {
    ready: Vec<Ready>,
    /// The soonest that one of them could be done, which operation that is, and where it stands in the queue.
    first: Option<(Minute, u32, usize)>,
}

impl Queue {
    /// What was found when an operation became ready may be out of date; with the machine's present state it still
    /// bounds the end from below.
    fn look(&mut self, free: Minute) {
        let soonest = |r: &Ready| r.times.end.max(free + r.least);
        let all = self.ready.iter().enumerate();
        self.first = all.map(|(k, r)| (soonest(r), r.op, k)).min();
    }
}

/// Makes plans by rules. Its memory is made once, so that many can be made.
#[derive(Debug)]
pub(crate) struct Dispatcher<'a> {
    shop: &'a Shop,
    work: Vec<Work>,
    /// Mean time of an operation, in elapsed minutes.
    pub mean: f64,
    blocks: Blocks,
    /// By the first operation of each block: the links into it from what is not placed, at the beginning and now.
    waits: Vec<u32>,
    waiting: Vec<u32>,
    /// Only urgent blocks are placed yet; others that are ready are put by.
    urgent_first: bool,
    put_by: Vec<u32>,
    /// By machine; outside work in the last.
    queues: Vec<Queue>,
    alike: Vec<Person>,
    decisions: Decisions,
}

impl<'a> Dispatcher<'a> {
    pub fn new(shop: &'a Shop) -> Self {
        let n = shop.ops.len();
        let work = work_left(shop);
        let blocks = Blocks::new(shop);
        let waits = blocks.waits(shop);
        Self {
            shop,
            mean: work.iter().map(|w| w.own).sum::<f64>() / n.max(1) as f64,
            work,
            waiting: waits.clone(),
            waits,
            blocks,
            urgent_first: false,
            put_by: Vec::new(),
            queues: vec![Queue::default(); shop.machines() + 1],
            alike: Vec::with_capacity(shop.people_count + 1),
            decisions: Decisions {
                order: Vec::with_capacity(n),
                choice: vec![
                    Choice {
                        mode: 0,
                        person: NONE
                    };
                    n
                ],
            },
        }
    }

    /// Decisions by one rule, with a promise for each job as the rule is to see it.
    pub fn plan(&mut self, timing: &mut Timing, how: DispatchRule, dues: &[Minute]) -> &Decisions {
        let shop = self.shop;
        self.decisions.order.clear();
        self.waiting.copy_from_slice(&self.waits);
        for queue in &mut self.queues {
            queue.ready.clear();
            queue.first = None;
        }
        timing.begin(shop);
        // What must follow fixed work soon cannot stand behind what nobody hurries.
        self.urgent_first = shop.has_max_lags;
        for head in 0..shop.ops.len() as u32 {
            let stands_for_its_block = self.blocks.head(head) == head;
            if stands_for_its_block
                && self.waiting[head as usize] == 0
                && !shop.ops[head as usize].fixed
            {
                self.ready(timing, head);
            }
        }
        loop {
            while let Some((machine, at)) = self.first(timing) {
                let pick = self.settle(timing, machine, at, how, dues);
                let picked = self.queues[machine].ready.swap_remove(pick);
                self.look(timing, machine);
                if self.blocks.members(picked.op).len() > 1 {
                    self.place_block(timing, picked.op);
                } else {
                    let found = self.best_mode(timing, picked.op);
                    timing.place(shop, found.op, found.choice);
                    self.take(timing, found.op, found.choice, found.machine);
                }
            }
            if !std::mem::replace(&mut self.urgent_first, false) {
                break;
            }
            for head in std::mem::take(&mut self.put_by) {
                self.ready(timing, head);
            }
        }
        &self.decisions
    }

    /// All that a block waits for is placed: it joins the queue of its first operation's machine.
    fn ready(&mut self, timing: &Timing, head: u32) {
        if self.urgent_first && !self.blocks.is_urgent(head) {
            self.put_by.push(head);
            return;
        }
        let found = self.best_mode(timing, head);
        self.join(timing, found);
    }

    /// Takes an operation that has been placed into the decisions; what waits only for it becomes ready.
    fn take(&mut self, timing: &Timing, op: u32, choice: Choice, machine: u32) {
        let shop = self.shop;
        self.decisions.order.push(op);
        self.decisions.choice[op as usize] = choice;
        self.look(timing, machine as usize);
        for l in shop.after(op) {
            let head = self.blocks.head(l.op);
            if shop.ops[l.op as usize].fixed || head == self.blocks.head(op) {
                continue;
            }
            self.waiting[head as usize] -= 1;
            if self.waiting[head as usize] == 0 {
                self.ready(timing, head);
            }
        }
    }

    /// Places the operations that longest lags tie together behind everything placed so far. When one comes too late
    /// after another, the block is taken back to that one, which is put off by as much; and machines and people are
    /// chosen anew from there.
    fn place_block(&mut self, timing: &mut Timing, head: u32) {
        let shop = self.shop;
        let members = self.blocks.members(head).to_vec();
        let mut placed: Vec<(Ready, Before)> = Vec::with_capacity(members.len());
        let mut left = SHIFTS * members.len();
        while let Some(&op) = members.get(placed.len()) {
            let found = self.best_mode(timing, op);
            placed.push((found, timing.before(shop, op, found.choice)));
            timing.place(shop, op, found.choice);
            left = left.saturating_sub(1);
            let Some(put_off) = timing.too_late(shop, op, left == 0) else {
                continue;
            };
            while let Some((undone, before)) = placed.pop() {
                timing.undo(shop, undone.op, undone.choice, before);
                if undone.op == put_off {
                    break;
                }
            }
        }
        for (found, _) in placed {
            self.take(timing, found.op, found.choice, found.machine);
        }
    }

    fn best_mode(&mut self, timing: &Timing, op: u32) -> Ready {
        best_mode(self.shop, timing, &mut self.alike, op)
    }

    fn look(&mut self, timing: &Timing, machine: usize) {
        self.queues[machine].look(timing.machine_free(machine as u32));
    }

    fn join(&mut self, timing: &Timing, r: Ready) {
        let free = timing.machine_free(r.machine);
        let queue = &mut self.queues[r.machine as usize];
        let here = (r.times.end.max(free + r.least), r.op, queue.ready.len());
        queue.first = Some(queue.first.map_or(here, |f| f.min(here)));
        queue.ready.push(r);
    }

    /// Machine and place in its queue of the operation that could be done first of all.
    fn first(&mut self, timing: &Timing) -> Option<(usize, usize)> {
        let firsts = self.queues.iter().enumerate();
        let ((_, op, at), machine) = firsts.filter_map(|(m, q)| Some((q.first?, m))).min()?;
        // It is looked at again with people and machines as they are now, and may be better off elsewhere by now.
        let fresh = self.best_mode(timing, op);
        let now = fresh.machine as usize;
        if now == machine {
            self.queues[machine].ready[at] = fresh;
            return Some((machine, at));
        }
        self.queues[machine].ready.swap_remove(at);
        self.look(timing, machine);
        self.join(timing, fresh);
        Some((now, self.queues[now].ready.len() - 1))
    }

    /// Chooses among the operations that want the machine of the leading one before it could be done with it.
    fn settle(
        &self,
        timing: &Timing,
        machine: usize,
        at: usize,
        how: DispatchRule,
        dues: &[Minute],
    ) -> usize {
        let shop = self.shop;
        if machine == shop.machines() {
            return at;
        }
        let ready = &self.queues[machine].ready;
        let lead = &ready[at];
        let free = timing.machine_free(machine as u32);
        let until = match how.patience {
            Some(patience) => {
                let lasts = (lead.times.end - lead.times.start) as f64;
                lead.times.start + (patience * lasts) as Minute
            }
            // Whatever comes to this machine later comes after the lead could be done, so this is the soonest start.
            None => {
                let starts = ready.iter().map(|r| r.times.start.max(free));
                starts.fold(lead.times.start, Minute::min)
            }
        };
        let mut pick = at;
        let mut best = (f64::NEG_INFINITY, u32::MAX);
        for (k, r) in ready.iter().enumerate() {
            let start = r.times.start.max(free);
            let leads = k == at && how.patience.is_some();
            if !leads && (start > until || start >= lead.times.end) {
                continue;
            }
            let job = shop.ops[r.op as usize].job as usize;
            let due = dues[job].min(Minute::MAX / 2) as f64;
            let weight = shop.jobs[job].weight.max(1) as f64;
            let Work { own, later } = self.work[r.op as usize];
            let score = match how.rule {
                Rule::ApparentTardiness { ahead, waits } => {
                    let slack = due - start as f64 - own - later * (1.0 + waits);
                    // Setup and run as they would be now; a long setup is put off.
                    let time = (r.least + r.times.setup).max(1) as f64;
                    // The logarithm of the index, which would else be nothing for far promises.
                    (weight / time).ln() - slack.max(0.0) / (ahead * self.mean.max(1.0))
                }
                Rule::EarliestDue => -due,
                Rule::MostWorkLeft => own + later,
                Rule::MostWorkBehind => later,
                Rule::WeightedShortest => weight / r.least.max(1) as f64,
            };
            let than_best = score.total_cmp(&best.0).then(best.1.cmp(&r.op));
            if than_best.is_gt() {
                best = (score, r.op);
                pick = k;
            }
        }
        pick
    }
}

/// The mode and person with which an operation would end first.
fn best_mode(shop: &Shop, timing: &Timing, alike: &mut Vec<Person>, op: u32) -> Ready {
    let mut best: Option<Ready> = None;
    for (k, mode) in shop.modes(op).iter().enumerate() {
        alike.clear();
        let from = timing.ready(shop, op, mode.machine);
        for &person in shop.people(op) {
            let other = Person {
                hours: shop.joint_hours(mode.machine, person),
                free: timing.person_free(person),
                person,
            };
            let known = alike.iter_mut().find(|p| p.hours == other.hours);
            match known.filter(|_| shop.person_blocks[person as usize].is_empty()) {
                Some(p) if other.suits(p, from) => *p = other,
                Some(_) => {}
                None => alike.push(other),
            }
        }
        if alike.is_empty() {
            alike.push(NOBODY);
        }
        for p in &*alike {
            let times = timing.fit(shop, op, mode, p.person);
            if best.is_none_or(|b| (times.end, times.setup) < (b.times.end, b.times.setup)) {
                best = Some(Ready {
                    op,
                    choice: Choice {
                        mode: k as u32,
                        person: p.person,
                    },
                    times,
                    machine: mode.machine,
                    least: mode.setup_same_key.min(mode.setup) + mode.run,
                });
            }
        }
    }
    best.unwrap_or(Ready {
        op,
        choice: Choice {
            mode: 0,
            person: NONE,
        },
        times: timing.times[op as usize],
        machine: shop.machines() as u32,
        least: 0,
    })
}

fn work_left(shop: &Shop) -> Vec<Work> {
    let n = shop.ops.len();
    let stretched = |op: u32| {
        let modes = shop.modes(op).iter().map(|w| {
            let alone = (w.run - w.attended) as f64 / shop.hours(w.machine).open_share();
            let attended = (w.setup.min(w.setup_same_key) + w.attended) as f64;
            let joint = match shop.people(op).first() {
                Some(&p) => shop.joint(w.machine, p),
                None => shop.hours(w.machine),
            };
            alone + attended / joint.open_share()
        });
        modes.fold(f64::INFINITY, f64::min)
    };
    let mut work = vec![Work::default(); n];
    for &op in shop.topological().iter().rev() {
        let later = shop.after(op).iter().map(|l| {
            let w = work[l.op as usize];
            l.min as f64 + w.own + w.later
        });
        work[op as usize] = Work {
            later: later.fold(0.0, f64::max),
            own: stretched(op),
        };
    }
    work
}
