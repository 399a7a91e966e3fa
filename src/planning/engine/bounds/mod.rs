//! Lower bounds, found at the root, that no plan can beat.

mod destructive;
mod disjunctive;

use std::collections::BinaryHeap;

use crate::planning::engine::model::{
    Goal, Minute,
    build::{NONE, Shop, narrow},
    fit::earliest_fit,
};
use destructive::{DestructiveBound, HeadsAndTails};

/// A lower bound on the main figure of the goal: makespan, or weighted lateness.
pub(crate) struct Bound<'a> {
    /// The bound so far.
    pub value: Minute,
    destructive: Option<DestructiveBound<'a>>,
}

impl<'a> Bound<'a> {
    /// What is found before any search.
    pub fn new(shop: &'a Shop) -> Self {
        let heads = earliest_ends(shop);
        let done = |job: &crate::planning::engine::model::build::JobGoal| {
            shop.sinks(job).iter().map(|&op| heads[op as usize]).max()
        };
        match shop.goal {
            Goal::Promises => Self {
                value: shop
                    .jobs
                    .iter()
                    .filter_map(|j| Some(j.late(done(j)?)))
                    .sum(),
                destructive: None,
            },
            Goal::Makespan => {
                let longest = shop.jobs.iter().filter_map(done).max().unwrap_or(0);
                let (bound, heads_and_tails) = by_machines(shop, &heads);
                let mut destructive = DestructiveBound::new(shop, heads_and_tails);
                Self {
                    value: destructive.raise(bound.max(longest)),
                    destructive: Some(destructive),
                }
            }
        }
    }

    /// Tries to prove that nothing is better than `best`, going on until so much work has been done in all.
    pub fn prove(&mut self, best: Minute, work: u64) -> bool {
        if let Some(d) = &mut self.destructive
            && self.value < best
            && d.refutes(best - 1, work)
        {
            self.value = best;
        }
        self.value >= best
    }
}

/// The earliest that each operation can end, were it and those it waits for alone in the shop.
fn earliest_ends(shop: &Shop) -> Vec<Minute> {
    let nobody = [NONE];
    let mut ends = vec![0; shop.ops.len()];
    for op in shop.topological() {
        let o = &shop.ops[op as usize];
        if let Some(f) = shop.fixed[op as usize] {
            ends[op as usize] = f.end;
            continue;
        }
        let from = shop
            .before(op)
            .iter()
            .map(|l| ends[l.op as usize] + l.min)
            .fold(o.release, Minute::max);
        let people = if shop.people(op).is_empty() {
            &nobody[..]
        } else {
            shop.people(op)
        };
        let mut first = Minute::MAX;
        for mode in shop.modes(op) {
            let setup = shop.least_setup(mode, o.key);
            for &p in people {
                let attended = if p == NONE { 0 } else { setup + mode.attended };
                first = first.min(
                    earliest_fit(
                        shop,
                        mode.machine,
                        p,
                        o.may_pause,
                        from,
                        attended,
                        setup + mode.run - attended,
                    )
                    .2,
                );
            }
        }
        ends[op as usize] = first;
    }
    ends
}

/// What the machines say of the makespan: the preemptive one-machine bound of each, and the work that a group of
/// machines must share; with what destruction starts from.
fn by_machines(shop: &Shop, ends: &[Minute]) -> (Minute, HeadsAndTails) {
    let n = shop.ops.len();
    let least = |op: u32| match shop.fixed[op as usize] {
        Some(f) => f.end - f.start,
        None => shop
            .modes(op)
            .iter()
            .map(|w| shop.least_setup(w, shop.ops[op as usize].key) + w.run)
            .min()
            .unwrap_or(0),
    };
    let time: Vec<Minute> = (0..n as u32).map(least).collect();
    let head: Vec<Minute> = ends.iter().zip(&time).map(|(e, t)| e - t).collect();
    let mut tail = vec![0; n];
    for &op in shop.topological().iter().rev() {
        tail[op as usize] = shop
            .after(op)
            .iter()
            .map(|l| l.min + time[l.op as usize] + tail[l.op as usize])
            .max()
            .unwrap_or(0);
    }
    let mut on_machine: Vec<Vec<u32>> = vec![Vec::new(); shop.machines()];
    let mut groups: Vec<Vec<u32>> = Vec::new();
    for op in (0..n as u32).filter(|&op| shop.fixed[op as usize].is_none()) {
        let group = group(shop, op);
        let outside = group.iter().any(|&m| m as usize == shop.machines());
        if outside || time[op as usize] == 0 {
            continue;
        }
        match group[..] {
            [only] => on_machine[only as usize].push(op),
            _ if groups.contains(&group) => {}
            _ => groups.push(group),
        }
    }
    let triple = |op: u32| (head[op as usize], time[op as usize], tail[op as usize]);
    let alone = on_machine.iter().map(|ops| {
        let mut ops: Vec<_> = ops.iter().map(|&op| triple(op)).collect();
        preemptive(&mut ops)
    });
    // More groups than this are looked at only all together.
    groups.truncate(64);
    groups.push((0..narrow(shop.machines())).collect());
    let shared = groups
        .iter()
        .map(|machines| shared_work(shop, machines, &triple));
    let bound = alone.chain(shared).max().unwrap_or(0);
    let heads_and_tails = HeadsAndTails {
        time,
        head,
        tail,
        on_machine,
    };
    (bound, heads_and_tails)
}

/// The machines an operation can be on, each once, in order.
fn group(shop: &Shop, op: u32) -> Vec<u32> {
    let mut group: Vec<u32> = shop.modes(op).iter().map(|w| w.machine).collect();
    group.sort_unstable();
    group.dedup();
    group
}

/// Operations that can be on none but these machines share them: least head, mean load, least tail.
fn shared_work(
    shop: &Shop,
    machines: &[u32],
    triple: &impl Fn(u32) -> (Minute, Minute, Minute),
) -> Minute {
    let (mut head, mut work, mut tail) = (Minute::MAX, 0, Minute::MAX);
    for op in 0..narrow(shop.ops.len()) {
        let o = triple(op);
        let within = shop
            .modes(op)
            .iter()
            .all(|w| machines.binary_search(&w.machine).is_ok());
        if within && o.1 > 0 && shop.fixed[op as usize].is_none() {
            head = head.min(o.0);
            work += o.1;
            tail = tail.min(o.2);
        }
    }
    if work == 0 {
        return 0;
    }
    let machines = machines.len() as Minute;
    head + (work + machines - 1) / machines + tail
}

/// Length of Jackson's preemptive schedule of operations (head, time, tail).
fn preemptive(ops: &mut [(Minute, Minute, Minute)]) -> Minute {
    ops.sort_unstable();
    let mut waiting: BinaryHeap<(Minute, Minute)> = BinaryHeap::with_capacity(ops.len());
    let (mut now, mut k, mut length) = (Minute::MIN, 0, Minute::MIN);
    while k < ops.len() || !waiting.is_empty() {
        if waiting.is_empty() {
            now = now.max(ops[k].0);
        }
        while k < ops.len() && ops[k].0 <= now {
            waiting.push((ops[k].2, ops[k].1));
            k += 1;
        }
        if let Some((tail, left)) = waiting.pop() {
            let until = ops.get(k).map_or(Minute::MAX, |o| o.0);
            if now + left <= until {
                now += left;
                length = length.max(now + tail);
            } else {
                waiting.push((tail, left - (until - now)));
                now = until;
            }
        }
    }
    length
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Seven operations of our own choosing: the bound must equal the largest cut over all their subsets, counted out.
    #[test]
    fn preemptive_schedule_equals_the_best_cut() {
        let mut ops = vec![
            (10, 5, 7),
            (13, 6, 26),
            (11, 7, 24),
            (20, 4, 21),
            (30, 3, 8),
            (0, 6, 17),
            (30, 2, 0),
        ];
        // The bound equals the largest, over subsets, of least head + total time + least tail (Carlier 1982).
        let mut cut = 0;
        for set in 1u32..128 {
            let chosen: Vec<_> = (0..7)
                .filter(|i| set >> i & 1 == 1)
                .map(|i| ops[i])
                .collect();
            let head = chosen.iter().map(|o| o.0).min().unwrap();
            let time: Minute = chosen.iter().map(|o| o.1).sum();
            let tail = chosen.iter().map(|o| o.2).min().unwrap();
            cut = cut.max(head + time + tail);
        }
        assert_eq!(preemptive(&mut ops), cut);
        assert_eq!(cut, 49);
    }
}
