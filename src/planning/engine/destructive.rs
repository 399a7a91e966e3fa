//! A lower bound on the makespan by destruction (Klein and Scholl 1999): suppose it is at most T, give every operation
//! its window, tighten until nothing moves; when a window closes, T is too short.
//!
//! What windows alone do not refute, shaving may (Martin and Shmoys 1996): an operation is tried at an end of its
//! window, and when that cannot be, the end is cut off. How much is tried is bounded by a count of work, so that the
//! bound costs some tenths of a second at most and is the same on every machine.

use super::{
    build::Shop,
    disjunctive::{Disjunctive, Task},
    model::Minute,
};

/// Work after which it is left at that, in tasks looked at by the rules of a machine: some tenths of a second.
const WORK: u64 = 3_000_000;

/// What is known before any makespan is supposed.
pub(super) struct Given<'a> {
    /// Least minutes of each operation.
    pub time: &'a [Minute],
    /// Earliest start of each operation.
    pub head: &'a [Minute],
    /// Least minutes from the end of each operation to the end of everything.
    pub tail: &'a [Minute],
    /// The operations that can be on no other machine, by machine.
    pub on_machine: &'a [Vec<u32>],
}

/// Raises the lower bound `bound` as far as destruction takes it.
pub(super) fn raise(shop: &Shop, given: &Given<'_>, bound: Minute) -> Minute {
    let mut windows = Windows::new(shop, given);
    let bound = windows.gallop(bound, false);
    windows.gallop(bound, true)
}

/// The windows of all operations under a supposed makespan.
struct Windows<'a> {
    shop: &'a Shop,
    given: &'a Given<'a>,
    est: Vec<Minute>,
    lct: Vec<Minute>,
    /// Operations whose window moved and whose neighbours have not heard of it.
    moved: Vec<u32>,
    /// Machines with such operations.
    due: Vec<usize>,
    is_due: Vec<bool>,
    machine_of: Vec<usize>,
    tasks: Vec<Task>,
    rules: Disjunctive,
    work: u64,
}

impl<'a> Windows<'a> {
    fn new(shop: &'a Shop, given: &'a Given<'a>) -> Self {
        let mut machine_of = vec![usize::MAX; given.time.len()];
        for (m, ops) in given.on_machine.iter().enumerate() {
            for &op in ops {
                machine_of[op as usize] = m;
            }
        }
        Self {
            shop,
            given,
            est: Vec::new(),
            lct: Vec::new(),
            moved: Vec::new(),
            due: Vec::new(),
            is_due: vec![false; given.on_machine.len()],
            machine_of,
            tasks: Vec::new(),
            rules: Disjunctive::default(),
            work: 0,
        }
    }

    /// The least makespan from `bound` on that is not refuted, by doubling steps and then by halves.
    fn gallop(&mut self, mut bound: Minute, shave: bool) -> Minute {
        let (mut step, mut open) = (1, None);
        while open.is_none_or(|h| bound < h) {
            let supposed = open.map_or(bound + step - 1, |h| bound.midpoint(h));
            if self.refuted(supposed, shave) {
                bound = supposed + 1;
                step *= 2;
            } else {
                open = Some(supposed);
            }
        }
        bound
    }

    /// Whether no plan can have a makespan of `supposed` or less; false when that is not seen.
    fn refuted(&mut self, supposed: Minute, shave: bool) -> bool {
        self.est.clear();
        self.est.extend_from_slice(self.given.head);
        self.lct.clear();
        self.lct
            .extend(self.given.tail.iter().map(|tail| supposed - tail));
        for m in 0..self.is_due.len() {
            self.call(m);
        }
        !self.settle() || (shave && !self.shave())
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
                    self.est[i] + self.given.time[i],
                    self.lct[i] - self.given.time[i],
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
            tasks.extend(self.given.on_machine[machine].iter().map(|&op| Task {
                op,
                est: self.est[op as usize],
                lct: self.lct[op as usize],
                time: self.given.time[op as usize],
            }));
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

    /// Cuts off both ends of every window as far as trying refutes them; false when a window closes.
    fn shave(&mut self) -> bool {
        let ops: Vec<u32> = self.given.on_machine.concat();
        let (mut est, mut lct) = (Vec::new(), Vec::new());
        let mut gained = true;
        while gained {
            gained = false;
            for &op in &ops {
                for early in [true, false] {
                    let mut step = 1;
                    while step > 0 {
                        if self.work > WORK {
                            return true;
                        }
                        est.clone_from(&self.est);
                        lct.clone_from(&self.lct);
                        // Suppose that it starts (or ends) within the outermost `step` minutes of its window.
                        let i = op as usize;
                        let (within, beyond) = if early {
                            let to = est[i] + step;
                            (to - 1 + self.given.time[i], to)
                        } else {
                            let to = lct[i] - step;
                            (to + 1 - self.given.time[i], to)
                        };
                        if early {
                            self.end_by(op, within);
                        } else {
                            self.start_from(op, within);
                        }
                        let may_be = self.settle();
                        self.est.clone_from(&est);
                        self.lct.clone_from(&lct);
                        if may_be {
                            step /= 2;
                            // Small steps were tried on the way up.
                            if step <= 1 {
                                break;
                            }
                            continue;
                        }
                        gained = true;
                        if early {
                            self.start_from(op, beyond);
                        } else {
                            self.end_by(op, beyond);
                        }
                        if !self.settle() {
                            return false;
                        }
                        step *= 2;
                    }
                }
            }
        }
        true
    }
}
