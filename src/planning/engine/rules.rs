//! A feasible plan at once: active schedules after Giffler and Thompson (1960), the conflict on the machine that could
//! finish first settled by a priority rule.

use super::{
    build::{NO_MAX, NONE, Shop},
    model::Minute,
    timing::{Choice, Decisions, Times, Timing},
};

/// Who goes first when several operations want one machine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Rule {
    /// Apparent tardiness cost (Vepsalainen and Morton 1987), with k = 2: weight over time, less as slack grows.
    ApparentTardiness,
    /// The earliest promise (Jackson 1955).
    EarliestDue,
    /// The most work left in the job: long jobs start early, for makespan.
    MostWorkLeft,
    /// The shortest weighted time (Smith 1956).
    WeightedShortest,
}

/// Every rule.
pub(super) const RULES: [Rule; 4] = [
    Rule::ApparentTardiness,
    Rule::EarliestDue,
    Rule::MostWorkLeft,
    Rule::WeightedShortest,
];

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

/// Decisions by one rule.
pub(super) fn dispatch(shop: &Shop, timing: &mut Timing, rule: Rule) -> Decisions {
    let n = shop.ops.len();
    let work = work_left(shop);
    let mean = work.iter().map(|w| w.0).sum::<Minute>() as f64 / n.max(1) as f64;
    let mut decisions = Decisions {
        order: Vec::with_capacity(n),
        choice: vec![
            Choice {
                way: 0,
                person: NONE
            };
            n
        ],
    };
    let mut waiting: Vec<usize> = (0..n as u32)
        .map(|i| {
            shop.before(i)
                .iter()
                .filter(|l| !shop.ops[l.op as usize].fixed)
                .count()
        })
        .collect();
    timing.begin(shop);
    let mut ready: Vec<Ready> = Vec::new();
    for op in 0..n as u32 {
        if waiting[op as usize] == 0 && !shop.ops[op as usize].fixed {
            ready.push(best_way(shop, timing, op));
        }
    }
    while !ready.is_empty() {
        // What was found when an operation became ready may be out of date; with the machine's present state it still
        // bounds the end from below. Only the two that matter are looked at again.
        let soonest = |r: &Ready| {
            r.times
                .end
                .max(timing.machine_free(r.machine) + r.least)
        };
        let first = (0..ready.len())
            .min_by_key(|&k| (soonest(&ready[k]), ready[k].op))
            .unwrap_or(0);
        ready[first] = best_way(shop, timing, ready[first].op);
        let pick = settle(shop, timing, &ready, first, rule, &work, mean);
        ready[pick] = best_way(shop, timing, ready[pick].op);
        let mut next = Some(ready.swap_remove(pick));
        // A chain held together by longest lags goes in one piece, so that it can be put off as a whole.
        while let Some(r) = next.take() {
            decisions.order.push(r.op);
            decisions.choice[r.op as usize] = r.choice;
            timing.place(shop, r.op, r.choice);
            for l in shop.after(r.op) {
                let i = l.op as usize;
                if shop.ops[i].fixed {
                    continue;
                }
                waiting[i] -= 1;
                if waiting[i] == 0 {
                    let found = best_way(shop, timing, l.op);
                    if l.max != NO_MAX && next.is_none() {
                        next = Some(found);
                    } else {
                        ready.push(found);
                    }
                }
            }
        }
    }
    decisions
}

/// Chooses among the operations that want the machine of `first` before it could be done with it.
fn settle(
    shop: &Shop,
    timing: &Timing,
    ready: &[Ready],
    first: usize,
    rule: Rule,
    work: &[(Minute, Minute)],
    mean: f64,
) -> usize {
    let lead = &ready[first];
    let machine = lead.machine;
    if machine as usize == shop.machines() {
        return first;
    }
    let mut pick = first;
    let mut best = f64::NEG_INFINITY;
    for (k, r) in ready.iter().enumerate() {
        let start = r.times.start.max(timing.machine_free(machine));
        if r.machine != machine || start >= lead.times.end {
            continue;
        }
        let job = &shop.jobs[shop.ops[r.op as usize].job as usize];
        let own = r.least.max(1) as f64;
        let left = work[r.op as usize].1 as f64;
        let slack = (job.due as f64 - left - lead.times.start as f64).max(0.0);
        let weight = job.weight.max(1) as f64;
        let score = match rule {
            Rule::ApparentTardiness => weight / own * (-slack / (2.0 * mean.max(1.0))).exp(),
            Rule::EarliestDue => -(job.due as f64),
            Rule::MostWorkLeft => left,
            Rule::WeightedShortest => weight / own,
        };
        if score > best {
            best = score;
            pick = k;
        }
    }
    pick
}

/// The mode and person with which an operation would end first.
fn best_way(shop: &Shop, timing: &Timing, op: u32) -> Ready {
    let mut best: Option<Ready> = None;
    let nobody = [NONE];
    let people = if shop.people(op).is_empty() {
        &nobody[..]
    } else {
        shop.people(op)
    };
    for (k, way) in shop.ways(op).iter().enumerate() {
        for &person in people {
            let times = timing.fit(shop, op, way, person);
            if best.is_none_or(|b| (times.end, times.setup) < (b.times.end, b.times.setup)) {
                best = Some(Ready {
                    op,
                    choice: Choice {
                        way: k as u32,
                        person,
                    },
                    times,
                    machine: way.machine,
                    least: way.setup_same_key.min(way.setup) + way.run,
                });
            }
        }
    }
    best.unwrap_or(Ready {
        op,
        choice: Choice {
            way: 0,
            person: NONE,
        },
        times: timing.times[op as usize],
        machine: shop.machines() as u32,
        least: 0,
    })
}

/// For each operation its own least time, and that of the longest chain from it to the end of the job.
fn work_left(shop: &Shop) -> Vec<(Minute, Minute)> {
    let n = shop.ops.len();
    let mut left: Vec<(Minute, Minute)> = (0..n as u32)
        .map(|i| {
            let own = shop
                .ways(i)
                .iter()
                .map(|w| w.setup_same_key.min(w.setup) + w.run)
                .min()
                .unwrap_or(0);
            (own, own)
        })
        .collect();
    for &op in shop.topological().iter().rev() {
        let after = shop
            .after(op)
            .iter()
            .map(|l| l.min + left[l.op as usize].1)
            .max()
            .unwrap_or(0);
        left[op as usize].1 += after;
    }
    left
}
