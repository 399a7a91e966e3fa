//! Tabu search with path relinking over a small elite (TS/PR: Peng, Lü and Cheng 2015), for makespan.
//!
//! Two good plans agree on most pairs of operations. Relinking makes a plan between them that keeps every pair they
//! agree on, and tabu search improves it. A plan between two is read off their topological orders: each operation gets
//! a weighted mean of its places in the two, and sorting by it can only break pairs on which they differ, so it never
//! closes a cycle and needs no repair.

use rand::Rng;

use super::{
    graph::{Graph, Sequence},
    tabu::Tabu,
};
use crate::planning::engine::random::below;

/// How many plans the elite holds.
const ELITE: usize = 12;

/// Iterations without a new best after which one tabu search ends (Peng, Lü and Cheng 2015 use 12,500).
const PATIENCE: u32 = 12_500;

/// So many tabu searches in succession without a gain for the elite, and it has converged: another is begun. The best
/// of converged elites make an elite themselves when they are enough.
const STALE: usize = 5 * ELITE;

/// What the search is told and asked while it runs.
pub(crate) struct Watch<'a> {
    /// Called after every so many iterations; true stops the search.
    pub stop: &'a mut dyn FnMut(u64) -> bool,
    /// Called at every new best.
    pub found: &'a mut dyn FnMut(i32),
    /// Called after every tabu search with the best makespan; true when it is proved that none is less.
    pub proved: &'a mut dyn FnMut(i32) -> bool,
}

/// Searches until `target` is reached, the best is proved, it is stopped, or `rounds` times the elite's size of tabu
/// searches brought nothing. `start` is an order of all operations with their modes.
pub(crate) fn search(
    graph: &mut Graph,
    start: &Sequence,
    target: i32,
    rounds: u32,
    rng: &mut impl Rng,
    watch: &mut Watch<'_>,
) -> Sequence {
    let n = graph.len();
    let mut tabu = Tabu::new(graph);
    let mut elite: Vec<Sequence> = Vec::with_capacity(ELITE + 1);
    let mut best = start.clone();
    let mut rank_a = vec![0u32; n];
    let mut rank_b = vec![0u32; n];
    let mut child = start.clone();
    let mut keys: Vec<(f64, u32)> = Vec::with_capacity(n);
    let mut stopped = false;
    let mut stop = |k: u64| {
        stopped = stopped || (watch.stop)(k);
        stopped
    };
    graph.load(&start.order, &start.mode);
    best.makespan = graph.makespan();
    let (mut rounds_without_gain, mut stale, mut begun) = (0, 0, false);
    let mut champions: Vec<Sequence> = Vec::with_capacity(ELITE);
    loop {
        if elite.len() < ELITE {
            if std::mem::replace(&mut begun, true) {
                random_order(graph, &mut child, rng);
            }
        } else {
            let a = below(rng, elite.len() as u32) as usize;
            let mut b = below(rng, elite.len() as u32 - 1) as usize;
            if b >= a {
                b += 1;
            }
            between(
                &elite[a],
                &elite[b],
                &mut rank_a,
                &mut rank_b,
                &mut keys,
                &mut child,
                rng,
            );
        }
        graph.load(&child.order, &child.mode);
        tabu.improve(graph, &mut child, PATIENCE, target, rng, &mut stop);
        if child.makespan < best.makespan {
            best.clone_from(&child);
            (watch.found)(best.makespan);
            rounds_without_gain = 0;
        }
        rounds_without_gain += 1;
        if best.makespan <= target
            || (watch.proved)(best.makespan)
            || stop(0)
            || rounds_without_gain > rounds.saturating_mul(ELITE as u32)
        {
            return best;
        }
        stale += 1;
        if admit(&mut elite, &child, graph, &mut rank_a) {
            stale = 0;
        } else if stale >= STALE {
            stale = 0;
            champions.extend(elite.drain(..).min_by_key(|e| e.makespan));
            if champions.len() == ELITE {
                std::mem::swap(&mut elite, &mut champions);
            }
        }
    }
}

/// Takes a plan into the elite when it is no worse than the one there that it is like, or than the worst when it is
/// unlike all. True when the elite gains.
fn admit(elite: &mut Vec<Sequence>, child: &Sequence, graph: &Graph, rank: &mut [u32]) -> bool {
    let near = elite.iter().position(|other| {
        ranks(other, rank);
        distance(graph, child, rank) < 10
    });
    if near.is_none() && elite.len() < ELITE {
        elite.push(child.clone());
        return true;
    }
    let place = near.or_else(|| (0..elite.len()).max_by_key(|&k| elite[k].makespan));
    let Some(there) = place.and_then(|k| elite.get_mut(k)) else {
        return false;
    };
    let gains = child.makespan < there.makespan;
    if child.makespan <= there.makespan {
        there.clone_from(child);
    }
    gains
}

fn ranks(plan: &Sequence, rank: &mut [u32]) {
    for (k, &op) in plan.order.iter().enumerate() {
        rank[op as usize] = k as u32;
    }
}

/// Neighbouring pairs on a machine in the one plan that the other has the other way round.
fn distance(graph: &Graph, plan: &Sequence, rank: &[u32]) -> u32 {
    let mut last = vec![u32::MAX; graph.head_of.len()];
    let mut count = 0;
    for &op in &plan.order {
        let machine = graph.choices(op)[plan.mode[op as usize] as usize].machine as usize;
        let before = std::mem::replace(&mut last[machine], op);
        if before != u32::MAX && rank[before as usize] > rank[op as usize] {
            count += 1;
        }
    }
    count
}

/// A plan between two, nearer to neither by more than one to two.
fn between(
    a: &Sequence,
    b: &Sequence,
    rank_a: &mut [u32],
    rank_b: &mut [u32],
    keys: &mut Vec<(f64, u32)>,
    child: &mut Sequence,
    rng: &mut impl Rng,
) {
    ranks(a, rank_a);
    ranks(b, rank_b);
    let share = 0.35 + 0.3 * f64::from(rng.next_u32()) / f64::from(u32::MAX);
    keys.clear();
    for op in 0..rank_a.len() {
        let key = f64::from(rank_a[op]) * share + f64::from(rank_b[op]) * (1.0 - share);
        keys.push((key, op as u32));
        child.mode[op] = if rng.next_u32() & 1 == 0 {
            a.mode[op]
        } else {
            b.mode[op]
        };
    }
    keys.sort_unstable_by(|x, y| x.0.total_cmp(&y.0).then(x.1.cmp(&y.1)));
    child.order.clear();
    child.order.extend(keys.iter().map(|k| k.1));
}

/// A random order that keeps the jobs' own, and the quickest mode for most operations.
fn random_order(graph: &Graph, child: &mut Sequence, rng: &mut impl Rng) {
    let n = graph.len() as u32;
    let mut ready: Vec<u32> = (0..n)
        .filter(|&i| graph.nodes[i as usize].jp >= n)
        .collect();
    child.order.clear();
    while !ready.is_empty() {
        let k = below(rng, ready.len() as u32) as usize;
        let op = ready[k];
        child.order.push(op);
        let next = graph.nodes[op as usize].js;
        if next < n {
            ready[k] = next;
        } else {
            ready.swap_remove(k);
        }
        let choices = graph.choices(op);
        child.mode[op as usize] = (0..choices.len() as u32)
            .min_by_key(|&m| (choices[m as usize].time, rng.next_u32()))
            .unwrap_or(0);
    }
}
