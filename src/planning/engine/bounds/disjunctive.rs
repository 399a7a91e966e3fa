//! What can be said of operations that one machine does one at a time, each within a window: edge-finding (Carlier and
//! Pinson 1989) in O(n²), which for the tasks of one machine is quicker than the O(n log n) of a Θ-Λ-tree; detectable
//! precedences and not-last in O(n log n) by the Θ-tree (Vilím 2004).
//!
//! Each rule looks at an operation and a set of others and says that, whatever the order, the operation cannot begin
//! before (or end after) some time. Run forward and on the mirrored times, they tighten both ends of the windows.

use crate::planning::engine::model::Minute;

/// An operation on the machine with its window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Task {
    /// Which it is, for whoever asks.
    pub op: u32,
    /// Earliest start.
    pub est: Minute,
    /// Latest end.
    pub lct: Minute,
    /// Time on the machine, more than 0.
    pub time: Minute,
}

impl Task {
    fn ect(&self) -> Minute {
        self.est + self.time
    }

    fn lst(&self) -> Minute {
        self.lct - self.time
    }
}

/// The end of nothing: earlier than anything, and still so when times are added.
const NEVER: Minute = Minute::MIN / 4;

/// No operation.
const NOBODY: u32 = u32::MAX;

/// The Θ-tree (Vilím 2004): a set of tasks, the leaves in order of earliest start. Nodes are (time, earliest end), the
/// root is at 1.
#[derive(Debug, Default)]
struct Theta {
    nodes: Vec<(Minute, Minute)>,
    leaves: usize,
}

impl Theta {
    fn clear(&mut self, n: usize) {
        self.leaves = n.next_power_of_two();
        self.nodes.clear();
        self.nodes.resize(2 * self.leaves, (0, NEVER));
    }

    /// The earliest end of Θ.
    fn ect(&self) -> Minute {
        self.nodes[1].1
    }

    fn set(&mut self, leaf: u32, node: (Minute, Minute)) {
        let mut k = self.leaves + leaf as usize;
        self.nodes[k] = node;
        while k > 1 {
            k /= 2;
            let (l, r) = (self.nodes[2 * k], self.nodes[2 * k + 1]);
            self.nodes[k] = (l.0 + r.0, r.1.max(l.1 + r.0));
        }
    }

    fn put(&mut self, leaf: u32, task: &Task) {
        self.set(leaf, (task.time, task.ect()));
    }

    /// The earliest end of Θ without one that may be in it.
    fn ect_without(&mut self, leaf: u32, task: &Task, within: bool) -> Minute {
        if !within {
            return self.ect();
        }
        self.set(leaf, (0, NEVER));
        let ect = self.ect();
        self.put(leaf, task);
        ect
    }
}

/// The rules, with their working memory.
#[derive(Debug, Default)]
pub(super) struct Disjunctive {
    theta: Theta,
    by_lct: Vec<u32>,
    by_ect: Vec<u32>,
    by_lst: Vec<u32>,
    within: Vec<bool>,
    next: Vec<Task>,
    /// Earliest end of the tasks of the set that are no earlier than each.
    ends: Vec<Minute>,
}

impl Disjunctive {
    /// Tightens the windows once, from both ends, in whatever order it leaves the tasks; `None` when the operations
    /// cannot all be done in them.
    pub fn tighten(&mut self, tasks: &mut [Task]) -> Option<()> {
        for _ in 0..2 {
            // Leaves of the tree are in order of earliest start, so the tasks are too.
            tasks.sort_unstable_by_key(|t| t.est);
            self.forward(tasks)?;
            for t in tasks.iter_mut() {
                (t.est, t.lct) = (-t.lct, -t.est);
            }
        }
        Some(())
    }

    fn forward(&mut self, tasks: &mut [Task]) -> Option<()> {
        let n = tasks.len() as u32;
        for list in [&mut self.by_lct, &mut self.by_ect, &mut self.by_lst] {
            list.clear();
            list.extend(0..n);
        }
        self.by_lct.sort_unstable_by_key(|&i| tasks[i as usize].lct);
        self.by_ect
            .sort_unstable_by_key(|&i| tasks[i as usize].ect());
        self.by_lst
            .sort_unstable_by_key(|&i| tasks[i as usize].lst());
        self.next.clear();
        self.next.extend_from_slice(tasks);
        self.edge_finding(tasks)?;
        self.detectable(tasks);
        self.not_last(tasks);
        tasks.copy_from_slice(&self.next);
        tasks.iter().all(|t| t.ect() <= t.lct).then_some(())
    }

    /// An operation that would make a set of others end too late, were it not the last, comes after all of them. In the
    /// form of Nuijten (1994): for each deadline, the set is of the tasks that end by it and start no earlier than one
    /// of them.
    fn edge_finding(&mut self, tasks: &[Task]) -> Option<()> {
        for &k in &self.by_lct {
            let lct = tasks[k as usize].lct;
            let (mut time, mut end) = (0, NEVER);
            self.ends.clear();
            for t in tasks.iter().rev() {
                if t.lct <= lct {
                    time += t.time;
                    end = end.max(t.est + time);
                }
                self.ends.push(end);
            }
            if end > lct {
                return None;
            }
            let mut before = NEVER;
            for ((t, next), &end_from) in
                tasks.iter().zip(&mut self.next).zip(self.ends.iter().rev())
            {
                if t.lct <= lct {
                    before = before.max(t.est + time);
                    time -= t.time;
                } else {
                    if t.est + time + t.time > lct {
                        next.est = next.est.max(end_from);
                    }
                    if before + t.time > lct {
                        next.est = next.est.max(end);
                    }
                }
            }
        }
        Some(())
    }

    /// An operation comes after every other that would end too late behind it.
    fn detectable(&mut self, tasks: &[Task]) {
        self.empty(tasks.len());
        let mut queue = self.by_lst.iter().peekable();
        for &i in &self.by_ect {
            let task = &tasks[i as usize];
            while let Some(&j) = queue.next_if(|&&j| task.ect() > tasks[j as usize].lst()) {
                self.theta.put(j, &tasks[j as usize]);
                self.within[j as usize] = true;
            }
            // Without it the others end no later than with it.
            if self.theta.ect() > task.est {
                let ect = self.theta.ect_without(i, task, self.within[i as usize]);
                let est = &mut self.next[i as usize].est;
                *est = ect.max(*est);
            }
        }
    }

    /// An operation that cannot begin when all of a set have ended is not the last of them with it.
    fn not_last(&mut self, tasks: &[Task]) {
        self.empty(tasks.len());
        let mut queue = self.by_lst.iter().peekable();
        let mut last = [NOBODY; 2];
        for &i in &self.by_lct {
            let task = &tasks[i as usize];
            while let Some(&j) = queue.next_if(|&&j| task.lct > tasks[j as usize].lst()) {
                self.theta.put(j, &tasks[j as usize]);
                self.within[j as usize] = true;
                last = [j, last[0]];
            }
            let other = if last[0] == i { last[1] } else { last[0] };
            if other != NOBODY
                && self.theta.ect() > task.lst()
                && self.theta.ect_without(i, task, self.within[i as usize]) > task.lst()
            {
                let lct = &mut self.next[i as usize].lct;
                *lct = tasks[other as usize].lst().min(*lct);
            }
        }
    }

    fn empty(&mut self, n: usize) {
        self.theta.clear(n);
        self.within.clear();
        self.within.resize(n, false);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::{prelude::*, strategy::ValueTree};

    /// Every order of the tasks, each begun as early as may be; keeps the earliest start and latest end that occur.
    fn count_out(
        tasks: &[Task],
        order: &mut Vec<usize>,
        windows: &mut Vec<Option<(Minute, Minute)>>,
    ) {
        if order.len() < tasks.len() {
            for i in 0..tasks.len() {
                if !order.contains(&i) {
                    order.push(i);
                    count_out(tasks, order, windows);
                    order.pop();
                }
            }
            return;
        }
        let (mut starts, mut ends) = (vec![0; tasks.len()], vec![0; tasks.len()]);
        let mut now = Minute::MIN;
        for &i in order.iter() {
            starts[i] = tasks[i].est.max(now);
            now = starts[i] + tasks[i].time;
            if now > tasks[i].lct {
                return;
            }
        }
        let mut now = Minute::MAX;
        for &i in order.iter().rev() {
            ends[i] = tasks[i].lct.min(now);
            now = ends[i] - tasks[i].time;
        }
        for (i, w) in windows.iter_mut().enumerate() {
            let (s, e) = w.unwrap_or((starts[i], ends[i]));
            *w = Some((s.min(starts[i]), e.max(ends[i])));
        }
    }

    fn tasks() -> impl Strategy<Value = Vec<Task>> {
        let task = (0i64..20, 1i64..8, 0i64..16);
        proptest::collection::vec(task, 1..=6).prop_map(|all| {
            let all = all.into_iter().enumerate();
            all.map(|(op, (est, time, room))| Task {
                op: op as u32,
                est,
                time,
                lct: est + time + room,
            })
            .collect()
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(400))]

        /// Against all orders counted out: no window is cut shorter than an order needs, and only what no order can do
        /// is refused.
        #[test]
        fn rules_say_nothing_false(tasks in tasks()) {
            let mut windows = vec![None; tasks.len()];
            count_out(&tasks, &mut Vec::new(), &mut windows);
            let (mut cut, mut rules) = (tasks.clone(), Disjunctive::default());
            let mut holds = true;
            for _ in 0..8 {
                holds = holds && rules.tighten(&mut cut).is_some();
            }
            if windows[0].is_some() {
                prop_assert!(holds);
                for t in &cut {
                    let (est, lct) = windows[t.op as usize].unwrap();
                    prop_assert!(t.est <= est && t.lct >= lct, "{:?} in {:?}", t, tasks);
                }
            }
        }
    }

    /// They say enough: of random windows that no order can keep, nearly all are refused, and of starts that no order
    /// can have, nearly all are cut off. (Not all: to decide either is NP-complete.)
    #[test]
    fn rules_say_most_of_what_is_true() {
        let mut runner = proptest::test_runner::TestRunner::deterministic();
        let (mut impossible, mut refused, mut room, mut cut) = (0, 0, 0, 0);
        for _ in 0..1000 {
            let heads_and_tails = tasks().new_tree(&mut runner).unwrap().current();
            let mut windows = vec![None; heads_and_tails.len()];
            count_out(&heads_and_tails, &mut Vec::new(), &mut windows);
            let (mut now, mut rules) = (heads_and_tails.clone(), Disjunctive::default());
            let holds = (0..8).all(|_| rules.tighten(&mut now).is_some());
            if windows[0].is_none() {
                impossible += 1;
                refused += i32::from(!holds);
                continue;
            }
            for t in &now {
                let (est, lct) = windows[t.op as usize].unwrap();
                let was = heads_and_tails[t.op as usize];
                room += est - was.est + was.lct - lct;
                cut += t.est - was.est + was.lct - t.lct;
            }
        }
        assert!(impossible > 100 && room > 1000, "{impossible} {room}");
        assert!(
            refused * 100 >= impossible * 95,
            "{refused} of {impossible}"
        );
        assert!(cut * 100 >= room * 90, "{cut} of {room}");
    }
}
