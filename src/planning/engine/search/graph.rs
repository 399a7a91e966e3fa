//! The disjunctive graph (Roy and Sussmann 1964) of a job shop, with heads, tails and a topological order kept up to
//! date move by move.
//!
//! A node is an operation. Its job arcs are given; its machine arcs are the order chosen so far. The *head* of a node
//! is the longest path to it, the *tail* the longest path from it; with nothing but these arcs in the model, head is
//! the earliest start and the longest head + duration + tail is the makespan. The order is repaired locally after a
//! move in the manner of Pearce and Kelly (2006): only the window between the two ends of the new arc is looked at,
//! and a cycle shows itself there.

use crate::planning::engine::model::Model;

/// One node, 32 bytes, so that two share a cache line.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Node {
    /// Predecessor and successor in the job.
    pub jp: u32,
    pub js: u32,
    /// Predecessor and successor on the machine.
    pub mp: u32,
    pub ms: u32,
    /// Duration in the mode chosen.
    pub p: i32,
    /// Head + duration: the earliest end.
    pub end: i32,
    /// Tail + duration: the longest path from its start to the end of everything.
    pub tail: i32,
    /// Place in the topological order.
    pub pos: u32,
}

/// A machine and a time.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Choice {
    pub machine: u32,
    pub time: i32,
}

/// The graph. Node `n` is a sentinel with no length, before the first and after the last of every chain; nodes past it
/// stand for release dates.
#[derive(Debug, Clone)]
pub(crate) struct Graph {
    pub nodes: Vec<Node>,
    /// Topological order of the operations.
    pub order: Vec<u32>,
    /// Mode chosen for each operation.
    pub mode: Vec<u32>,
    /// All choices of all operations, and where those of each begin.
    choices: Vec<Choice>,
    first_choice: Vec<u32>,
    /// First operation on each machine.
    pub head_of: Vec<u32>,
    /// Last operations of jobs.
    lasts: Vec<u32>,
    /// Operations of the window being reordered: those that stay, and those that move.
    stay: Vec<u32>,
    marked: Vec<bool>,
}

/// A solution that can be kept: an order of all operations and the mode of each. The order on a machine is that of its
/// operations in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Sequence {
    pub order: Vec<u32>,
    pub mode: Vec<u32>,
    pub makespan: i32,
}

impl Graph {
    /// A graph without machine arcs; `None` when heads and tails would not be exact for this model: see
    /// [`super::anneal`] for what is used then.
    pub fn new(model: &Model) -> Option<Self> {
        let n = model.operations.len();
        let sentinel = u32::try_from(n).ok()?;
        let blank = Node {
            jp: sentinel,
            js: sentinel,
            mp: sentinel,
            ms: sentinel,
            p: 0,
            end: 0,
            tail: 0,
            pos: 0,
        };
        let mut nodes = vec![blank; n + 1];
        let plain = model.machines.iter().all(|m| m.calendar.is_always())
            && model.operations.iter().all(|o| {
                o.people.is_empty()
                    && o.fixed.is_none()
                    && o.modes
                        .iter()
                        .all(|m| m.setup == 0 && m.setup_same_key == 0 && m.machine.is_some())
            })
            && model.changeovers.is_empty();
        if !plain || n == 0 {
            return None;
        }
        for link in &model.links {
            if link.min_lag != 0 || link.max_lag.is_some() {
                return None;
            }
            if nodes[link.before].js != sentinel || nodes[link.after].jp != sentinel {
                return None;
            }
            nodes[link.before].js = u32::try_from(link.after).ok()?;
            nodes[link.after].jp = u32::try_from(link.before).ok()?;
        }
        let (mut choices, mut first_choice) = (Vec::new(), vec![0]);
        let mut total = 0i64;
        for op in &model.operations {
            for mode in &op.modes {
                choices.push(Choice {
                    machine: u32::try_from(mode.machine?).ok()?,
                    time: i32::try_from(mode.run).ok()?,
                });
            }
            total += op.modes.iter().map(|m| m.run).max().unwrap_or(0);
            first_choice.push(u32::try_from(choices.len()).ok()?);
        }
        let latest = model.jobs.iter().map(|j| j.release).max().unwrap_or(0);
        if model.jobs.iter().any(|j| j.release < 0) || total + latest > i64::from(i32::MAX / 4) {
            return None;
        }
        let lasts = (0..sentinel)
            .filter(|&i| nodes[i as usize].js == sentinel)
            .collect();
        for (i, op) in model.operations.iter().enumerate() {
            let release = model.jobs[op.job].release;
            if nodes[i].jp == sentinel && release > 0 {
                nodes[i].jp = u32::try_from(nodes.len()).ok()?;
                let end = i32::try_from(release).ok()?;
                nodes.push(Node { end, ..blank });
            }
        }
        Some(Self {
            order: Vec::with_capacity(n),
            mode: vec![0; n],
            choices,
            first_choice,
            head_of: vec![sentinel; model.machines.len()],
            lasts,
            stay: Vec::with_capacity(n),
            marked: vec![false; nodes.len()],
            nodes,
        })
    }

    /// Number of operations.
    #[inline]
    pub fn len(&self) -> usize {
        self.mode.len()
    }

    /// The modes of an operation.
    #[inline]
    pub fn choices(&self, op: u32) -> &[Choice] {
        &self.choices
            [self.first_choice[op as usize] as usize..self.first_choice[op as usize + 1] as usize]
    }

    /// The mode of an operation that is chosen.
    #[inline]
    pub fn chosen(&self, op: u32) -> Choice {
        self.choices[(self.first_choice[op as usize] + self.mode[op as usize]) as usize]
    }

    /// Takes an order and modes; everything else is computed.
    pub fn load(&mut self, order: &[u32], mode: &[u32]) {
        let sentinel = self.len() as u32;
        self.order.clear();
        self.order.extend_from_slice(order);
        self.mode.copy_from_slice(mode);
        self.head_of.fill(sentinel);
        let mut last = std::mem::take(&mut self.stay);
        last.clear();
        last.resize(self.head_of.len(), sentinel);
        for (k, &op) in order.iter().enumerate() {
            let choice = self.chosen(op);
            let before = std::mem::replace(&mut last[choice.machine as usize], op);
            let node = &mut self.nodes[op as usize];
            node.pos = k as u32;
            node.p = choice.time;
            node.mp = before;
            node.ms = sentinel;
            if before == sentinel {
                self.head_of[choice.machine as usize] = op;
            } else {
                self.nodes[before as usize].ms = op;
            }
        }
        self.stay = last;
        self.heads_from(0);
        self.tails_to(self.len());
    }

    /// Recomputes ends of the operations from place `lo` on.
    #[inline]
    fn heads_from(&mut self, lo: usize) {
        let nodes = self.nodes.as_mut_slice();
        for &op in &self.order[lo..] {
            let node = nodes[op as usize];
            nodes[op as usize].end =
                nodes[node.jp as usize].end.max(nodes[node.mp as usize].end) + node.p;
        }
    }

    /// Recomputes tails of the operations before place `hi`.
    #[inline]
    fn tails_to(&mut self, hi: usize) {
        let nodes = self.nodes.as_mut_slice();
        for &op in self.order[..hi].iter().rev() {
            let node = nodes[op as usize];
            nodes[op as usize].tail = nodes[node.js as usize]
                .tail
                .max(nodes[node.ms as usize].tail)
                + node.p;
        }
    }

    /// Length of the longest path.
    #[inline]
    pub fn makespan(&self) -> i32 {
        self.lasts
            .iter()
            .map(|&i| self.nodes[i as usize].end)
            .max()
            .unwrap_or(0)
    }

    /// The jobs' last operations.
    pub fn lasts(&self) -> &[u32] {
        &self.lasts
    }

    fn unlink(&mut self, op: u32) {
        let sentinel = self.len() as u32;
        let Node { mp, ms, .. } = self.nodes[op as usize];
        if mp == sentinel {
            let machine = self.chosen(op).machine as usize;
            self.head_of[machine] = ms;
        } else {
            self.nodes[mp as usize].ms = ms;
        }
        if ms != sentinel {
            self.nodes[ms as usize].mp = mp;
        }
    }

    fn link(&mut self, op: u32, mode: u32, after: u32) {
        let sentinel = self.len() as u32;
        self.mode[op as usize] = mode;
        let choice = self.chosen(op);
        let next = if after == sentinel {
            std::mem::replace(&mut self.head_of[choice.machine as usize], op)
        } else {
            std::mem::replace(&mut self.nodes[after as usize].ms, op)
        };
        if next != sentinel {
            self.nodes[next as usize].mp = op;
        }
        let node = &mut self.nodes[op as usize];
        node.mp = after;
        node.ms = next;
        node.p = choice.time;
    }

    /// Puts `op`, in mode `mode`, right after `after` on that mode's machine (the sentinel: first). Returns false, with
    /// nothing changed, when that would close a cycle.
    pub fn relocate(&mut self, op: u32, mode: u32, after: u32) -> bool {
        let sentinel = self.len() as u32;
        let (old_mode, old_after) = (self.mode[op as usize], self.nodes[op as usize].mp);
        self.unlink(op);
        self.link(op, mode, after);
        let next = self.nodes[op as usize].ms;
        let at = self.nodes[op as usize].pos as usize;
        let (mut lo, mut hi) = (at, at + 1);
        let mut acyclic = true;
        if after != sentinel && self.nodes[after as usize].pos as usize > at {
            hi = self.nodes[after as usize].pos as usize + 1;
            acyclic = self.shift_later(at, hi);
        } else if next != sentinel && (self.nodes[next as usize].pos as usize) < at {
            lo = self.nodes[next as usize].pos as usize;
            acyclic = self.shift_earlier(lo, at + 1);
        }
        if !acyclic {
            self.unlink(op);
            self.link(op, old_mode, old_after);
            return false;
        }
        self.heads_from(lo);
        self.tails_to(hi);
        true
    }

    /// Moves the operation at `lo` and all that depend on it behind the one at `hi - 1`, unless that one does too.
    fn shift_later(&mut self, lo: usize, hi: usize) -> bool {
        let first = self.order[lo];
        self.marked[first as usize] = true;
        self.stay.clear();
        let mut write = lo;
        let mut cycle = false;
        for k in lo..hi {
            let op = self.order[k];
            let node = self.nodes[op as usize];
            if k == lo || self.marked[node.jp as usize] || self.marked[node.mp as usize] {
                self.marked[op as usize] = true;
                self.stay.push(op);
                cycle = k + 1 == hi;
            }
        }
        if !cycle {
            for k in lo..hi {
                let op = self.order[k];
                if !self.marked[op as usize] {
                    self.order[write] = op;
                    self.nodes[op as usize].pos = write as u32;
                    write += 1;
                }
            }
        }
        for k in 0..self.stay.len() {
            let op = self.stay[k];
            self.marked[op as usize] = false;
            if !cycle {
                self.order[write] = op;
                self.nodes[op as usize].pos = write as u32;
                write += 1;
            }
        }
        !cycle
    }

    /// Moves the operation at `hi - 1` and all it depends on before the one at `lo`, unless it depends on that one.
    fn shift_earlier(&mut self, lo: usize, hi: usize) -> bool {
        let last = self.order[hi - 1];
        self.marked[last as usize] = true;
        self.stay.clear();
        let mut cycle = false;
        for k in (lo..hi).rev() {
            let op = self.order[k];
            let node = self.nodes[op as usize];
            if k + 1 == hi || self.marked[node.js as usize] || self.marked[node.ms as usize] {
                self.marked[op as usize] = true;
                self.stay.push(op);
                cycle = k == lo;
            }
        }
        let mut write = hi;
        if !cycle {
            for k in (lo..hi).rev() {
                let op = self.order[k];
                if !self.marked[op as usize] {
                    write -= 1;
                    self.order[write] = op;
                    self.nodes[op as usize].pos = write as u32;
                }
            }
        }
        for k in 0..self.stay.len() {
            let op = self.stay[k];
            self.marked[op as usize] = false;
            if !cycle {
                write -= 1;
                self.order[write] = op;
                self.nodes[op as usize].pos = write as u32;
            }
        }
        !cycle
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planning::engine::formats::classical::taillard;
    use rand::{Rng, SeedableRng};

    /// Heads and tails after any series of moves are those of a fresh computation, and a refused move is a real cycle.
    #[test]
    fn moves_keep_order_heads_and_tails_exact() {
        let model = taillard(8, 6, 840_612_802, 398_197_754);
        let mut graph = Graph::new(&model).unwrap();
        let order: Vec<u32> = (0..48).collect();
        graph.load(&order, &[0; 48]);
        let mut rng = rand_pcg::Pcg64::seed_from_u64(7);
        let mut refused = 0;
        for _ in 0..3000 {
            let op = rng.next_u32() % 48;
            let mut after = graph.head_of[graph.chosen(op).machine as usize];
            for _ in 0..rng.next_u32() % 8 {
                let next = graph.nodes[after as usize].ms;
                if next != 48 {
                    after = next;
                }
            }
            if after == op {
                after = 48;
            }
            if graph.nodes[op as usize].mp == after {
                continue;
            }
            if !graph.relocate(op, 0, after) {
                refused += 1;
            }
            let mut fresh = graph.clone();
            fresh.load(&graph.order, &graph.mode);
            for i in 0..48 {
                let (a, b) = (graph.nodes[i], fresh.nodes[i]);
                assert_eq!(
                    (a.end, a.tail, a.mp, a.ms, a.pos),
                    (b.end, b.tail, b.mp, b.ms, b.pos)
                );
                let job_before = a.jp as usize;
                assert!(job_before == 48 || graph.nodes[job_before].pos < a.pos);
            }
        }
        assert!(refused > 0);
    }
}
