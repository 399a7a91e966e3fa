//! What no plan can beat: root lower bounds.

use std::collections::BinaryHeap;

use super::{
    build::{NONE, Shop},
    model::{Goal, Minute},
    timing::stay,
};

/// A lower bound on the main figure of the goal: makespan, or weighted lateness.
#[must_use]
pub(super) fn lower_bound(shop: &Shop) -> Minute {
    let heads = earliest_ends(shop);
    let done =
        |job: &super::build::JobGoal| shop.sinks(job).iter().map(|&op| heads[op as usize]).max();
    match shop.goal {
        Goal::Promises => shop
            .jobs
            .iter()
            .filter_map(|j| Some(j.weight * (done(j)?.saturating_sub(j.due)).max(0)))
            .sum(),
        Goal::Makespan => {
            let longest = shop.jobs.iter().filter_map(done).max().unwrap_or(0);
            longest.max(one_machine_bound(shop, &heads))
        }
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
        for way in shop.ways(op) {
            let setup = shop.least_setup(way, o.key);
            for &p in people {
                let attended = if p == NONE { 0 } else { setup + way.attended };
                first = first.min(
                    stay(
                        shop,
                        way.machine,
                        p,
                        o.may_pause,
                        from,
                        attended,
                        setup + way.run - attended,
                    )
                    .2,
                );
            }
        }
        ends[op as usize] = first;
    }
    ends
}

/// The preemptive one-machine bound (Jackson 1955; Carlier 1982) over every machine: each operation that can be
/// nowhere else has a head, a time and a tail; the machine always works on the one of longest tail, breaking off for a
/// longer one, which is optimal when breaking off is free.
fn one_machine_bound(shop: &Shop, heads: &[Minute]) -> Minute {
    let mut tails = vec![0; shop.ops.len()];
    let least = |op: u32| {
        let o = &shop.ops[op as usize];
        match shop.fixed[op as usize] {
            Some(f) => f.end - f.start,
            None => shop
                .ways(op)
                .iter()
                .map(|w| shop.least_setup(w, o.key) + w.run)
                .min()
                .unwrap_or(0),
        }
    };
    let mut on_machine: Vec<Vec<(Minute, Minute, Minute)>> = vec![Vec::new(); shop.machines()];
    for &op in shop.topological().iter().rev() {
        let tail = shop
            .after(op)
            .iter()
            .map(|l| l.min + least(l.op) + tails[l.op as usize])
            .max()
            .unwrap_or(0);
        tails[op as usize] = tail;
        let ways = shop.ways(op);
        let only = ways.iter().all(|w| w.machine == ways[0].machine)
            && (ways[0].machine as usize) < shop.machines();
        if only && shop.fixed[op as usize].is_none() {
            let time = least(op);
            on_machine[ways[0].machine as usize].push((heads[op as usize] - time, time, tail));
        }
    }
    on_machine
        .iter_mut()
        .map(|ops| preemptive(ops))
        .max()
        .unwrap_or(0)
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
