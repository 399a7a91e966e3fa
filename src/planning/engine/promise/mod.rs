//! A date for a job that is not in the plan yet.
//!
//! The candidate is put into the running plan operation by operation, each at the earliest place (machine, person and
//! position) at which no other job comes later than its promise allows, or than it does already. What may become of
//! the plan with it in is then drawn, and the date is the day that holds in the share of futures asked for.

mod planned_dates;

use rand::Rng;

use crate::planning::engine::{
    futures::{self, Futures},
    model::{
        Minute, Model, ModelError,
        build::{NONE, Shop},
        plan::Plan,
    },
    repair::carry_over,
    timing::{Choice, Decisions, Moved, Timing},
};

pub use planned_dates::PlannedDates;

/// What can be promised.
#[derive(Debug, Clone)]
pub struct Promise {
    /// The plan with the candidate in.
    pub plan: Plan,
    /// When the candidate is done if everything takes the time planned.
    pub planned: Minute,
    /// When it is done at the confidence asked for; `None` when too many futures run past all calendars.
    pub date: Option<Minute>,
    /// What becomes of every job.
    pub futures: Futures,
}

/// Finds the date of job `candidate` of `model`, whose operations come after all those that `running` has planned.
/// `confidence` is a share from 0 to 1, e.g. 0.8.
///
/// # Errors
/// When the model cannot be planned, or has no operations beyond the running plan's.
pub fn promise(
    model: &Model,
    running: &Plan,
    candidate: usize,
    confidence: f64,
    count: usize,
    rng: &mut impl Rng,
) -> Result<Promise, ModelError> {
    let shop = Shop::build(model)?;
    let known = running.assignments.len();
    if known >= shop.ops.len() || candidate >= shop.jobs.len() {
        return Err(ModelError::Unreadable(
            "there is no candidate beyond the running plan".into(),
        ));
    }
    let mut decisions = carry_over(&shop, running, known);
    // The candidate last of all: it is in nobody's way there.
    decisions.order.sort_by_key(|&i| i as usize >= known);
    let mut timing = Timing::new(&shop);
    timing.full(&shop, &decisions);
    let allowed: Vec<Minute> = (0..shop.jobs.len())
        .map(|j| {
            if j == candidate {
                return Minute::MAX;
            }
            let done = done(&shop, &timing, j);
            if shop.jobs[j].due == Minute::MAX {
                Minute::MAX
            } else {
                done.max(shop.jobs[j].due)
            }
        })
        .collect();
    let new: Vec<u32> = decisions
        .order
        .iter()
        .copied()
        .filter(|&i| i as usize >= known)
        .collect();
    for op in new {
        insert(&shop, &mut decisions, &mut timing, op, &allowed);
    }
    let value = timing.full(&shop, &decisions);
    let plan = timing.plan(&shop, &decisions, value);
    let planned = done(&shop, &timing, candidate);
    let futures = futures::run(model, &shop, &plan, count, rng);
    Ok(Promise {
        date: futures.by_confidence(candidate, confidence),
        plan,
        planned,
        futures,
    })
}

fn done(shop: &Shop, timing: &Timing, job: usize) -> Minute {
    let ends = shop
        .sinks(&shop.jobs[job])
        .iter()
        .map(|&op| timing.times[op as usize].end);
    ends.max().unwrap_or(Minute::MIN)
}

/// Puts an operation, now behind all that is not the candidate's, where it ends first without harm.
fn insert(shop: &Shop, d: &mut Decisions, timing: &mut Timing, op: u32, allowed: &[Minute]) {
    let at = timing.place_of(op);
    let lowest = shop
        .before(op)
        .iter()
        .filter(|l| !shop.ops[l.op as usize].fixed)
        .map(|l| timing.place_of(l.op) + 1)
        .max()
        .unwrap_or(0);
    let original = d.choice[op as usize];
    let nobody = [NONE];
    let people = if shop.people(op).is_empty() {
        &nobody[..]
    } else {
        shop.people(op)
    };
    let ops = [op];
    let moved = |to: usize| Moved {
        lo: to,
        hi: at + 1,
        ops: &ops,
    };
    let mut best: Option<(Minute, usize, Choice)> = None;
    for (k, mode) in shop.modes(op).iter().enumerate() {
        for &person in people {
            let choice = Choice {
                mode: k as u32,
                person,
            };
            for to in lowest..=at {
                // Only behind an operation that shares machine or person does the place make a difference.
                let shares = to == lowest || {
                    let before = d.order[to - 1];
                    let c = d.choice[before as usize];
                    shop.modes(before)[c.mode as usize].machine == mode.machine
                        || (person != NONE && c.person == person)
                };
                // Nor can it help to go before work that is over when the job is released.
                if !shares
                    || (to < at
                        && timing.times[d.order[to] as usize].end <= shop.ops[op as usize].release)
                {
                    continue;
                }
                d.order[to..=at].rotate_right(1);
                d.choice[op as usize] = choice;
                let fits = timing
                    .changed(shop, d, moved(to), Minute::MAX, None)
                    .is_some_and(|v| v.broken == 0)
                    && allowed
                        .iter()
                        .enumerate()
                        .all(|(j, &by)| by == Minute::MAX || done(shop, timing, j) <= by);
                let end = timing.times[op as usize].end;
                d.order[to..=at].rotate_left(1);
                d.choice[op as usize] = original;
                timing.reject(d, to, at + 1);
                if fits {
                    if best.is_none_or(|b| end < b.0) {
                        best = Some((end, to, choice));
                    }
                    break;
                }
            }
        }
    }
    if let Some((_, to, choice)) = best {
        d.order[to..=at].rotate_right(1);
        d.choice[op as usize] = choice;
        if timing
            .changed(shop, d, moved(to), Minute::MAX, None)
            .is_some()
        {
            timing.accept(shop);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planning::engine::{
        formats::sample::Sample,
        model::validator::validate,
        solve::{SolveOptions, solve},
    };
    use rand::SeedableRng;

    /// No promise that held before is broken, none already late gets later, and the date keeps its confidence.
    #[test]
    fn a_candidate_breaks_no_promise() {
        let mut sample = Sample::week();
        sample.promise_percent = 300;
        for seed in 1..4 {
            let model = sample.make(seed, None);
            let last = model.jobs.len() - 1;
            let n = model.operations.iter().position(|o| o.job == last).unwrap();
            let mut without = model.clone();
            without.operations.truncate(n);
            without.links.retain(|l| l.after < n);
            let options = SolveOptions {
                seed: 1,
                iterations: Some(20_000),
                rounds: 9,
            };
            let running = solve(&without, &options, &mut |_| false).unwrap().plan;
            let mut rng = rand_pcg::Pcg64::seed_from_u64(seed);
            let p = promise(&model, &running, last, 0.8, 400, &mut rng).unwrap();
            assert!(
                validate(&model, &p.plan).is_empty(),
                "{:?}",
                validate(&model, &p.plan)
            );
            let ends = |plan: &Plan, j: usize| {
                let of = model
                    .operations
                    .iter()
                    .zip(&plan.assignments)
                    .filter(|(o, _)| o.job == j);
                of.map(|(_, a)| a.end).max()
            };
            for j in 0..last {
                let (before, after) = (ends(&running, j).unwrap(), ends(&p.plan, j).unwrap());
                assert!(after <= before.max(model.jobs[j].due.unwrap()), "job {j}");
            }
            assert_eq!(ends(&p.plan, last), Some(p.planned));
            assert!(p.futures.chance_by(last, p.date.unwrap()) >= 0.8);
        }
    }
}
