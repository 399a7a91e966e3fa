//! Tabu search on critical blocks with fast estimates, for models in which heads and tails are exact.
//!
//! Moves are those of N7 (Zhang, Li, Guan and Rao 2007): within a block of operations that follow each other on one
//! machine along a critical path, any operation goes behind the last or before the first (N6, Balas and Vazacopoulos
//! 1998), and the first or last goes inside. An operation with a choice of machines also goes to another one, between
//! the places given by the theorem of Mastrolilli and Gambardella (2000). A move is judged by the estimate of Balas
//! and Vazacopoulos, which looks only at the operations it passes; just the best is carried out and computed exactly.

use rand::Rng;

use super::forbidden::Forbidden;
use super::graph::{Graph, Sequence};
use crate::planning::engine::random::below;

/// A move: `op`, in `mode`, right after `after` on the machine (the sentinel: first).
#[derive(Debug, Clone, Copy)]
struct Move {
    op: u32,
    mode: u32,
    after: u32,
}

/// Pairs of operations up to which each has a cell of its own: 64 MB.
pub(super) const MOST_CELLS: usize = 1 << 24;

/// Tabu search with its memory. Nothing is allocated once it is made.
#[derive(Debug)]
pub(crate) struct Tabu {
    forbidden: Forbidden,
    iteration: u32,
    tenure: u32,
    path: Vec<u32>,
    /// Estimates along a segment.
    ends: Vec<i32>,
    segment: Vec<u32>,
    flexible: bool,
}

impl Tabu {
    pub fn new(graph: &Graph) -> Self {
        let n = graph.len();
        let (machines, jobs) = (graph.head_of.len(), graph.lasts().len());
        let flexible = (0..n as u32).any(|i| graph.choices(i).len() > 1);
        Self {
            forbidden: Forbidden::new(graph, flexible, MOST_CELLS),
            iteration: 1,
            tenure: 10 + (jobs / machines.max(1)) as u32,
            path: Vec::with_capacity(n),
            ends: Vec::with_capacity(n),
            segment: Vec::with_capacity(n),
            flexible,
        }
    }

    /// Improves the graph's solution until `patience` iterations bring no new best, `target` is reached or `stop` says
    /// so; leaves the best in `best`. Returns the iterations made.
    pub fn improve(
        &mut self,
        graph: &mut Graph,
        best: &mut Sequence,
        patience: u32,
        target: i32,
        rng: &mut impl Rng,
        stop: &mut dyn FnMut(u64) -> bool,
    ) -> u64 {
        self.forbidden.clear();
        self.iteration = 1;
        let mut current = graph.makespan();
        keep(graph, best, current);
        let mut last_gain = 0;
        while self.iteration - last_gain < patience && best.makespan > target {
            if self.iteration.is_multiple_of(128) && stop(128) {
                break;
            }
            self.iteration += 1;
            self.critical_path(graph, current, rng);
            let Some(step) = self.choose(graph, best.makespan, rng) else {
                break;
            };
            self.forbid(graph, step, rng);
            if !graph.relocate(step.op, step.mode, step.after) {
                continue;
            }
            current = graph.makespan();
            if current < best.makespan {
                keep(graph, best, current);
                last_gain = self.iteration;
            }
        }
        u64::from(self.iteration)
    }

    /// A critical path, each branch taken with equal chance, from first to last.
    fn critical_path(&mut self, graph: &Graph, makespan: i32, rng: &mut impl Rng) {
        self.path.clear();
        let mut ends = 0;
        let mut op = 0;
        for &last in graph.lasts() {
            if graph.nodes[last as usize].end == makespan {
                ends += 1;
                if below(rng, ends) == 0 {
                    op = last;
                }
            }
        }
        let n = graph.len() as u32;
        while op < n {
            self.path.push(op);
            let node = &graph.nodes[op as usize];
            let start = node.end - node.p;
            let by_job = graph.nodes[node.jp as usize].end == start;
            let by_machine = graph.nodes[node.mp as usize].end == start;
            op = match (by_job, by_machine) {
                (true, true) if start > 0 => {
                    if rng.next_u32() & 1 == 0 {
                        node.jp
                    } else {
                        node.mp
                    }
                }
                (true, false) => node.jp,
                (false, true) => node.mp,
                _ => n,
            };
        }
        self.path.reverse();
    }

    /// The best move that is not tabu, or that promises a new best; a random one when all are tabu.
    fn choose(&mut self, graph: &Graph, best: i32, rng: &mut impl Rng) -> Option<Move> {
        let mut pick = Pick {
            step: None,
            value: i32::MAX,
            ties: 0,
            any: None,
            seen: 0,
            best,
        };
        let path = std::mem::take(&mut self.path);
        let mut from = 0;
        while from < path.len() {
            let mut to = from + 1;
            while to < path.len() && graph.nodes[path[to] as usize].mp == path[to - 1] {
                to += 1;
            }
            if to - from > 1 {
                self.block(
                    graph,
                    &path[from..to],
                    from == 0,
                    to == path.len(),
                    &mut pick,
                    rng,
                );
            }
            from = to;
        }
        if self.flexible {
            for &op in &path {
                self.elsewhere(graph, op, &mut pick, rng);
            }
        }
        self.path = path;
        pick.step.or(pick.any)
    }

    /// N7 on one block. Nothing is gained before the first of the first block or behind the last of the last.
    fn block(
        &mut self,
        graph: &Graph,
        block: &[u32],
        first: bool,
        last: bool,
        pick: &mut Pick,
        rng: &mut impl Rng,
    ) {
        let k = block.len();
        if k == 2 {
            self.forward(graph, block, pick, rng);
            return;
        }
        if !last {
            for i in 0..k - 1 {
                self.forward(graph, &block[i..], pick, rng);
            }
            for i in 1..k - 1 {
                self.backward(graph, &block[i..], pick, rng);
            }
        }
        if !first {
            for i in 1..k {
                self.backward(graph, &block[..=i], pick, rng);
            }
            for i in 1..k - 1 {
                self.forward(graph, &block[..=i], pick, rng);
            }
        }
    }

    /// The first of the segment goes right behind its last.
    fn forward(&mut self, graph: &Graph, segment: &[u32], pick: &mut Pick, rng: &mut impl Rng) {
        let nodes = &graph.nodes;
        let (u, v) = (segment[0], segment[segment.len() - 1]);
        let (nu, nv) = (&nodes[u as usize], &nodes[v as usize]);
        let js = &nodes[nu.js as usize];
        // No path from the job successor of u to v (Balas and Vazacopoulos 1998, proposition 2.2), or none by order.
        if nv.tail < js.tail && (nu.js as usize >= graph.len() || js.pos < nv.pos) {
            return;
        }
        let mut end = nodes[nu.mp as usize].end;
        let mut tail = js.tail.max(nodes[nv.ms as usize].tail) + nu.p;
        // The others of the segment follow each other without a gap, so their time is known at once.
        let next = nodes[nodes[segment[1] as usize].jp as usize].end;
        let least = end.max(next) + nv.end - nu.end + tail;
        if pick.beats(least) {
            return;
        }
        self.ends.clear();
        for &w in &segment[1..] {
            let node = &nodes[w as usize];
            end = end.max(nodes[node.jp as usize].end) + node.p;
            self.ends.push(end);
        }
        let start = end.max(nodes[nu.jp as usize].end);
        let mut value = start + tail;
        let mut tabu = false;
        for (&w, &end) in segment[1..].iter().zip(&self.ends).rev() {
            if pick.beats(value) {
                return;
            }
            let node = &nodes[w as usize];
            tail = tail.max(nodes[node.js as usize].tail) + node.p;
            value = value.max(end - node.p + tail);
            tabu |= self.forbidden.until(w, u) > self.iteration;
        }
        let step = Move {
            op: u,
            mode: graph.mode[u as usize],
            after: v,
        };
        pick.offer(step, value, tabu, rng);
    }

    /// The last of the segment goes right before its first.
    fn backward(&mut self, graph: &Graph, segment: &[u32], pick: &mut Pick, rng: &mut impl Rng) {
        let nodes = &graph.nodes;
        let (u, v) = (segment[0], segment[segment.len() - 1]);
        let (nu, nv) = (&nodes[u as usize], &nodes[v as usize]);
        let jp = &nodes[nv.jp as usize];
        // No path from u to the job predecessor of v.
        if nu.end < jp.end && (nv.jp as usize >= graph.len() || jp.pos > nu.pos) {
            return;
        }
        let inner = &segment[..segment.len() - 1];
        let start = jp.end.max(nodes[nu.mp as usize].end);
        let mut tail = nodes[nv.ms as usize].tail;
        let before = nodes[nodes[inner[inner.len() - 1] as usize].js as usize].tail;
        let time = nv.end - nv.p - (nu.end - nu.p);
        let least = start + nv.p + (time + tail.max(before)).max(nodes[nv.js as usize].tail);
        if pick.beats(least) {
            return;
        }
        self.ends.clear();
        let mut end = start + nv.p;
        for &w in inner {
            let node = &nodes[w as usize];
            end = end.max(nodes[node.jp as usize].end) + node.p;
            self.ends.push(end);
        }
        let mut value = 0;
        let mut tabu = false;
        for (&w, &end) in inner.iter().zip(&self.ends).rev() {
            if pick.beats(value) {
                return;
            }
            let node = &nodes[w as usize];
            tail = tail.max(nodes[node.js as usize].tail) + node.p;
            value = value.max(end - node.p + tail);
            tabu |= self.forbidden.until(v, w) > self.iteration;
        }
        value = value.max(start + nv.p + tail.max(nodes[nv.js as usize].tail));
        let step = Move {
            op: v,
            mode: graph.mode[v as usize],
            after: nu.mp,
        };
        pick.offer(step, value, tabu, rng);
    }

    /// The operation in its other modes, at the places between which an optimal insertion lies (Mastrolilli and
    /// Gambardella 2000, theorem 5): behind every operation that ends before ours could start, before every one whose
    /// tail is shorter than ours would be.
    fn elsewhere(&mut self, graph: &Graph, op: u32, pick: &mut Pick, rng: &mut impl Rng) {
        let nodes = &graph.nodes;
        let n = graph.len() as u32;
        let node = &nodes[op as usize];
        let (head, tail) = (nodes[node.jp as usize].end, nodes[node.js as usize].tail);
        let here = graph.chosen(op).machine;
        for (mode, choice) in graph.choices(op).iter().enumerate() {
            if mode as u32 == graph.mode[op as usize] || choice.machine == here {
                continue;
            }
            let mut after = n;
            let mut next = graph.head_of[choice.machine as usize];
            while next != n && nodes[next as usize].end <= head {
                after = next;
                next = nodes[next as usize].ms;
            }
            loop {
                let value = head.max(nodes[after as usize].end)
                    + choice.time
                    + tail.max(nodes[next as usize].tail);
                let tabu = (after != n && self.forbidden.until(after, op) > self.iteration)
                    || (next != n && self.forbidden.until(op, next) > self.iteration);
                pick.offer(
                    Move {
                        op,
                        mode: mode as u32,
                        after,
                    },
                    value,
                    tabu,
                    rng,
                );
                if next == n || nodes[next as usize].tail <= tail {
                    break;
                }
                after = next;
                next = nodes[next as usize].ms;
            }
        }
    }

    /// Forbids for a while what the move is about to undo.
    fn forbid(&mut self, graph: &Graph, step: Move, rng: &mut impl Rng) {
        let until = self.iteration + self.tenure + below(rng, self.tenure);
        let nodes = &graph.nodes;
        let n = graph.len() as u32;
        let op = step.op;
        let node = nodes[op as usize];
        if step.mode != graph.mode[op as usize] {
            // Not back between the same two.
            for (a, b) in [(node.mp, op), (op, node.ms)] {
                if a != n && b != n {
                    self.forbidden.set(a, b, until);
                }
            }
            return;
        }
        self.segment.clear();
        let later = step.after != n && nodes[step.after as usize].end > node.end;
        if later {
            let mut w = node.ms;
            while w != n {
                self.forbidden.set(op, w, until);
                if w == step.after {
                    break;
                }
                w = nodes[w as usize].ms;
            }
        } else {
            let mut w = node.mp;
            while w != step.after && w != n {
                self.forbidden.set(w, op, until);
                w = nodes[w as usize].mp;
            }
        }
    }
}

fn keep(graph: &Graph, best: &mut Sequence, makespan: i32) {
    best.order.clear();
    best.order.extend_from_slice(&graph.order);
    best.mode.clear();
    best.mode.extend_from_slice(&graph.mode);
    best.makespan = makespan;
}

/// The choice among moves as they are offered.
struct Pick {
    step: Option<Move>,
    value: i32,
    ties: u32,
    any: Option<Move>,
    seen: u32,
    best: i32,
}

impl Pick {
    /// A move already chosen is better than one of this value: a random one will not be asked for either.
    #[inline]
    fn beats(&self, value: i32) -> bool {
        self.step.is_some() && value > self.value
    }

    #[inline]
    fn offer(&mut self, step: Move, value: i32, tabu: bool, rng: &mut impl Rng) {
        if tabu && value >= self.best {
            self.seen += 1;
            if below(rng, self.seen) == 0 {
                self.any = Some(step);
            }
            return;
        }
        if value < self.value {
            self.value = value;
            self.ties = 1;
            self.step = Some(step);
        } else if value == self.value {
            self.ties += 1;
            if below(rng, self.ties) == 0 {
                self.step = Some(step);
            }
        }
    }
}
