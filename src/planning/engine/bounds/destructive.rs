//! A lower bound on the makespan by destruction (Klein and Scholl 1999): suppose it is at most T, give every operation
//! its window, tighten until nothing moves; when a window closes, T is too short.
//!
//! What windows alone do not refute, shaving may (Martin and Shmoys 1996): an operation is tried at an end of its
//! window, and when that cannot be, the end is cut off. How much is tried is bounded by a count of work, not by a
//! clock, so that the answer is the same on every machine. A little is done before the search; while the search goes
//! on, the makespan just below the best it has is being refuted, and when that succeeds the best is proved.

use super::disjunctive::{Disjunctive, Task};
use crate::planning::engine::model::{
    Minute,
    build::{Shop, narrow},
};

/// Work that the bound before the search may cost, in tasks looked at by the rules of a machine: under a tenth of a
/// second.
const WORK: u64 = 500_000;

/// What is known before any makespan is supposed.
pub(super) struct HeadsAndTails {
    /// Least minutes of each operation.
    pub time: Vec<Minute>,
    /// Earliest start of each operation.
    pub head: Vec<Minute>,
    /// Least minutes from the end of each operation to the end of everything.
    pub tail: Vec<Minute>,
    /// The operations that can be on no other machine, by machine.
    pub on_machine: Vec<Vec<u32>>,
}

/// The windows of all operations under a supposed makespan.
pub(super) struct DestructiveBound<'a> {
    shop: &'a Shop,
    heads_and_tails: HeadsAndTails,
    /// Nothing in the windows is false when the makespan is at most this.
    supposed: Minute,
    est: Vec<Minute>,
    lct: Vec<Minute>,
    /// Operations whose window moved since the operations linked to them were last looked at.
    moved: Vec<u32>,
    /// Machines with such operations.
    due: Vec<usize>,
    is_due: Vec<bool>,
    machine_of: Vec<usize>,
    /// What is shaved, where it is at, and how many were tried in succession without any gain.
    ops: Vec<u32>,
    at: usize,
    barren: usize,
    tasks: Vec<Task>,
    rules: Disjunctive,
    work: u64,
    /// Windows as they were before a trial.
    saved: (Vec<Minute>, Vec<Minute>),
}

impl<'a> DestructiveBound<'a> {
    pub fn new(shop: &'a Shop, heads_and_tails: HeadsAndTails) -> Self {
        let mut machine_of = vec![usize::MAX; heads_and_tails.time.len()];
        for (m, ops) in heads_and_tails.on_machine.iter().enumerate() {
            for &op in ops {
                machine_of[op as usize] = m;
            }
        }
        Self {
            shop,
            supposed: Minute::MIN,
            est: Vec::new(),
            lct: Vec::new(),
            moved: Vec::new(),
            due: Vec::new(),
            is_due: vec![false; heads_and_tails.on_machine.len()],
            machine_of,
            ops: heads_and_tails.on_machine.concat(),
            at: 0,
            barren: 0,
            tasks: Vec::new(),
            rules: Disjunctive::default(),
            work: 0,
            saved: (Vec::new(), Vec::new()),
            heads_and_tails,
        }
    }

    /// Raises a lower bound as far as destruction takes it with little work.
    pub fn raise(&mut self, bound: Minute) -> Minute {
        let bound = self.gallop(bound, 0);
        self.gallop(bound, WORK)
    }

    /// Whether no plan can have a makespan of `supposed` or less; false when that is not seen with so much work in all.
    /// What was learnt is kept, so that going on with the same or a smaller makespan goes on from there.
    pub fn refutes(&mut self, supposed: Minute, work: u64) -> bool {
        !self.suppose(supposed) || self.shave(work)
    }

    /// The least makespan from `bound` on that is not refuted, by doubling steps and then by halves.
    fn gallop(&mut self, mut bound: Minute, work: u64) -> Minute {
        let (mut step, mut open) = (1, None);
        while open.is_none_or(|h| bound < h) {
            let supposed = open.map_or(bound + step - 1, |h| bound.midpoint(h));
            // Here makespans are supposed up and down, each anew.
            self.supposed = Minute::MIN;
            if self.refutes(supposed, work) {
                bound = supposed + 1;
                step *= 2;
            } else {
                open = Some(supposed);
            }
        }
        self.supposed = Minute::MIN;
        bound
    }

    /// Windows for a makespan of at most `supposed`; false when one closes.
    fn suppose(&mut self, supposed: Minute) -> bool {
        if supposed == self.supposed {
            return true;
        }
        if supposed > self.supposed {
            self.est.clone_from(&self.heads_and_tails.head);
            self.lct.clear();
            self.lct.resize(self.est.len(), Minute::MAX / 4);
        }
        self.supposed = supposed;
        self.barren = 0;
        for m in 0..self.is_due.len() {
            self.call(m);
        }
        for op in 0..narrow(self.lct.len()) {
            let lct = supposed - self.heads_and_tails.tail[op as usize];
            self.end_by(op, lct);
        }
        self.settle()
    }

    fn call(&mut self, machine: usize) {
        if let Some(due) = self.is_due.get_mut(machine)
            && !std::mem::replace(due, true)
        {
            self.due.push(machine);
        }
    }

    /// The operation starts at `est` or later. Fixed work moves for nobody.
    fn start_from(&mut self, op: u32, est: Minute) {
        if est > self.est[op as usize] && !self.shop.ops[op as usize].fixed {
            self.est[op as usize] = est;
            self.moved.push(op);
            self.call(self.machine_of[op as usize]);
        }
    }

    /// The operation ends at `lct` or earlier.
    fn end_by(&mut self, op: u32, lct: Minute) {
        if lct < self.lct[op as usize] && !self.shop.ops[op as usize].fixed {
            self.lct[op as usize] = lct;
            self.moved.push(op);
            self.call(self.machine_of[op as usize]);
        }
    }

    /// Tightens until nothing moves; false when a window closes.
    fn settle(&mut self) -> bool {
        let held = self.run_out();
        if !held {
            self.moved.clear();
            while let Some(m) = self.due.pop() {
                self.is_due[m] = false;
            }
        }
        held
    }

    fn run_out(&mut self) -> bool {
        let shop = self.shop;
        loop {
            while let Some(op) = self.moved.pop() {
                let i = op as usize;
                let (first_end, last_start) = (
                    self.est[i] + self.heads_and_tails.time[i],
                    self.lct[i] - self.heads_and_tails.time[i],
                );
                if first_end > self.lct[i] {
                    return false;
                }
                for l in shop.after(op) {
                    self.start_from(l.op, first_end + l.min);
                }
                for l in shop.before(op) {
                    self.end_by(l.op, last_start - l.min);
                }
            }
            let Some(machine) = self.due.pop() else {
                return true;
            };
            self.is_due[machine] = false;
            let mut tasks = std::mem::take(&mut self.tasks);
            tasks.clear();
            tasks.extend(
                self.heads_and_tails.on_machine[machine]
                    .iter()
                    .map(|&op| Task {
                        op,
                        est: self.est[op as usize],
                        lct: self.lct[op as usize],
                        time: self.heads_and_tails.time[op as usize],
                    }),
            );
            // The rules are quadratic in the tasks, with a small factor.
            let n = tasks.len() as u64;
            self.work += n + n * n / 16;
            let held = self.rules.tighten(&mut tasks).is_some();
            if held {
                for t in &tasks {
                    self.start_from(t.op, t.est);
                    self.end_by(t.op, t.lct);
                }
            }
            self.tasks = tasks;
            if !held {
                return false;
            }
        }
    }

    /// Cuts off both ends of every window as far as trying refutes them; true when a window closes.
    fn shave(&mut self, work: u64) -> bool {
        while self.barren < 2 * self.ops.len() && self.work < work {
            let op = self.ops[self.at / 2];
            let early = self.at.is_multiple_of(2);
            self.at = (self.at + 1) % (2 * self.ops.len());
            self.barren += 1;
            let mut step = 1;
            while self.cannot_be_within(op, early, step) {
                self.barren = 0;
                if early {
                    self.start_from(op, self.est[op as usize] + step);
                } else {
                    self.end_by(op, self.lct[op as usize] - step);
                }
                if !self.settle() {
                    return true;
                }
                step *= 2;
            }
        }
        false
    }

    /// Tries the operation within the outermost `step` minutes of its window, and takes the trial back.
    fn cannot_be_within(&mut self, op: u32, early: bool, step: Minute) -> bool {
        let i = op as usize;
        self.saved.0.clone_from(&self.est);
        self.saved.1.clone_from(&self.lct);
        let others = step - 1 + self.heads_and_tails.time[i];
        if early {
            self.end_by(op, self.est[i] + others);
        } else {
            self.start_from(op, self.lct[i] - others);
        }
        let can = self.settle();
        std::mem::swap(&mut self.est, &mut self.saved.0);
        std::mem::swap(&mut self.lct, &mut self.saved.1);
        !can
    }
}
