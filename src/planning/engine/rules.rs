//! A feasible plan at once: schedules after Giffler and Thompson (1960), the conflict on the machine that could finish
//! first settled by a priority rule.

use super::{
    build::{NO_MAX, NONE, Shop},
    model::{Goal, Minute},
    timing::{Choice, Decisions, Times, Timing},
};

/// Who goes first when several operations want one machine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Rule {
    /// Apparent tardiness cost (Vepsalainen and Morton 1987): weight over time, less as slack grows; with the setup
    /// left out of account, as a factor that falls with it (Lee, Bhaskaran and Pinedo 1997).
    ApparentTardiness {
        /// How many mean operations it looks ahead: k.
        ahead: f64,
        /// What later operations of the job are taken to wait, in times their length: b.
        waits: f64,
    },
    /// The earliest promise (Jackson 1955).
    EarliestDue,
    /// The most work left in the job: long jobs start early, for makespan.
    MostWorkLeft,
    /// The shortest weighted time (Smith 1956).
    WeightedShortest,
}

/// A rule, and how long it may keep a machine waiting for what it prefers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Dispatch {
    pub rule: Rule,
    /// As a share of the operation that could be done first: 1 gives active schedules, 0 schedules without delay
    /// (between them: Bierwirth and Mattfeld 1999).
    pub patience: f64,
}

const fn by(rule: Rule) -> Dispatch {
    Dispatch {
        rule,
        patience: 1.0,
    }
}

/// What is tried first whatever the goal.
pub(super) const FIRST: Dispatch = by(Rule::EarliestDue);

/// What else is tried for a goal.
pub(super) fn dispatches(goal: Goal) -> Vec<Dispatch> {
    let mut all = vec![by(Rule::MostWorkLeft), by(Rule::WeightedShortest)];
    if goal == Goal::Promises {
        for patience in [0.0, 0.5] {
            for ahead in [0.5, 1.0, 2.0, 4.0] {
                for waits in [0.0, 0.5, 1.0] {
                    all.push(Dispatch {
                        rule: Rule::ApparentTardiness { ahead, waits },
                        patience,
                    });
                }
            }
        }
    }
    all
}

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

/// Decisions by one rule.
pub(super) fn dispatch(shop: &Shop, timing: &mut Timing, how: Dispatch) -> Decisions {
    let n = shop.ops.len();
    let work = work_left(shop);
    let mean = work.iter().map(|w| w.own).sum::<f64>() / n.max(1) as f64;
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
        let soonest = |r: &Ready| r.times.end.max(timing.machine_free(r.machine) + r.least);
        let first = (0..ready.len())
            .min_by_key(|&k| (soonest(&ready[k]), ready[k].op))
            .unwrap_or(0);
        ready[first] = best_way(shop, timing, ready[first].op);
        let pick = settle(shop, timing, &ready, first, how, &work, mean);
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
    how: Dispatch,
    work: &[Work],
    mean: f64,
) -> usize {
    let lead = &ready[first];
    let machine = lead.machine;
    if machine as usize == shop.machines() {
        return first;
    }
    let lasts = (lead.times.end - lead.times.start) as f64;
    let until = lead.times.start + (how.patience * lasts) as Minute;
    let mut pick = first;
    let mut best = f64::NEG_INFINITY;
    for (k, r) in ready.iter().enumerate() {
        let start = r.times.start.max(timing.machine_free(machine));
        if k != first && (r.machine != machine || start > until || start >= lead.times.end) {
            continue;
        }
        let job = &shop.jobs[shop.ops[r.op as usize].job as usize];
        let Work { own, later } = work[r.op as usize];
        let weight = job.weight.max(1) as f64;
        let score = match how.rule {
            Rule::ApparentTardiness { ahead, waits } => {
                let due = job.due.min(Minute::MAX / 2) as f64;
                let slack = due - start as f64 - own - later * (1.0 + waits);
                // Setup and run as they would be now; a long setup is put off.
                let time = (r.least + r.times.setup).max(1) as f64;
                // The logarithm of the index, which would else be nothing for far promises.
                (weight / time).ln() - slack.max(0.0) / (ahead * mean.max(1.0))
            }
            Rule::EarliestDue => -(job.due as f64),
            Rule::MostWorkLeft => own + later,
            Rule::WeightedShortest => weight / r.least.max(1) as f64,
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

fn work_left(shop: &Shop) -> Vec<Work> {
    let n = shop.ops.len();
    let stretched = |op: u32| {
        let ways = shop.ways(op).iter().map(|w| {
            let alone = (w.run - w.attended) as f64 / shop.hours(w.machine).open_share();
            let attended = (w.setup.min(w.setup_same_key) + w.attended) as f64;
            let joint = match shop.people(op).first() {
                Some(&p) => shop.joint(w.machine, p),
                None => shop.hours(w.machine),
            };
            alone + attended / joint.open_share()
        });
        ways.fold(f64::INFINITY, f64::min)
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
