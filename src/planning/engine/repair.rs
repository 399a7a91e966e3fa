//! A plan that has been overtaken by events, mended: a machine stopped, an operation took longer, a job came in.
//!
//! The old order is timed again in the new model, which is a plan at once (right-shift repair). A short search then
//! makes it better where that is worth the disturbance: each operation that ends up on another machine, with another
//! person, or behind another operation on its machine costs a stated price, in weighted minutes of lateness.

use rand::SeedableRng;
use rand_pcg::Pcg64;

use super::{
    anneal::{Anneal, Near},
    build::{NONE, Shop},
    model::{Minute, Model, ModelError},
    moves::Moves,
    plan::Plan,
    solve::{Progress, Settings},
    timing::{Choice, Decisions, Timing},
};

/// A mended plan.
#[derive(Debug, Clone)]
pub struct Repaired {
    /// The plan.
    pub plan: Plan,
    /// Operations that are on another machine, with another person or behind another operation than in the old plan.
    pub moved: Vec<usize>,
}

/// Mends `old` for `model`. Operations of the model beyond those of the old plan are new: they join at the end, and
/// the search brings them forward.
///
/// # Errors
/// When the model cannot be planned.
pub fn repair(
    model: &Model,
    old: &Plan,
    price: Minute,
    settings: &Settings,
    watch: &mut dyn FnMut(&Progress) -> bool,
) -> Result<Repaired, ModelError> {
    let shop = Shop::build(model)?;
    let known = old.assignments.len().min(shop.ops.len());
    let decisions = carry_over(&shop, old, known);
    let mut timing = Timing::new(&shop);
    timing.full(&shop, &decisions);
    // What stood before what, in the old order but among what is there now.
    let near = Near {
        before: (0..shop.ops.len() as u32)
            .map(|i| timing.machine_before(i))
            .collect(),
        choice: decisions.choice.clone(),
        known,
        price: price.clamp(0, 1_000_000),
    };
    let mut search = Anneal::new(&shop, decisions, timing);
    search.first_cooling = Some(settings.iterations.map_or(2_000, |all| all / 2));
    search.stay_near(near.clone());
    let mut progress = Progress {
        iterations: 0,
        best: search.value.main(shop.goal),
        bound: 0,
    };
    let limit = settings.iterations.unwrap_or(u64::MAX);
    let mut rng = Pcg64::seed_from_u64(settings.seed);
    search.improve(&shop, settings.rounds, &mut rng, &mut |k, value| {
        progress.iterations += k;
        progress.best = value.main(shop.goal);
        progress.iterations >= limit || watch(&progress)
    });
    let Moves {
        timing, decisions, ..
    } = &mut search.moves;
    let moved = near.moved(timing, decisions).collect();
    let value = timing.once(&shop, decisions);
    Ok(Repaired {
        plan: timing.plan(&shop, decisions, value),
        moved,
    })
}

/// Puts an old plan's order and choices on a clock again, as early as the model now allows: right-shift repair without
/// search. Operations of the model are those of the plan, one for one; their old starts say what comes first.
///
/// # Errors
/// When the model cannot be planned, or has not as many operations as the plan.
pub fn right_shift(model: &Model, old: &Plan) -> Result<Plan, ModelError> {
    let shop = Shop::build(model)?;
    if old.assignments.len() != shop.ops.len() {
        return Err(ModelError::Unreadable(
            "the plan is not one of this model".into(),
        ));
    }
    let decisions = carry_over(&shop, old, shop.ops.len());
    let mut timing = Timing::new(&shop);
    let value = timing.full(&shop, &decisions);
    Ok(timing.plan(&shop, &decisions, value))
}

/// The old order and choices; what is new, or can no longer be done as it was, is chosen afresh.
pub(super) fn carry_over(shop: &Shop, old: &Plan, known: usize) -> Decisions {
    let mut order = shop.topological();
    order.retain(|&i| !shop.ops[i as usize].fixed);
    let start = |i: u32| {
        old.assignments
            .get(i as usize)
            .map_or(Minute::MAX, |a| a.start)
    };
    order.sort_by_key(|&i| start(i));
    // New links may run against the old order: what waits follows what it waits for.
    let mut placed = vec![false; shop.ops.len()];
    let mut sorted = Vec::with_capacity(order.len());
    for (i, op) in shop.ops.iter().enumerate() {
        placed[i] = op.fixed;
    }
    while sorted.len() < order.len() {
        let from = sorted.len();
        order.iter().for_each(|&i| {
            if !placed[i as usize] && shop.before(i).iter().all(|l| placed[l.op as usize]) {
                placed[i as usize] = true;
                sorted.push(i);
            }
        });
        if sorted.len() == from {
            break;
        }
    }
    let choice = (0..shop.ops.len() as u32)
        .map(|i| {
            let old = old
                .assignments
                .get(i as usize)
                .filter(|_| (i as usize) < known);
            let way = old.map_or(0, |a| a.mode as u32);
            let people = shop.people(i);
            let person = old
                .and_then(|a| a.person)
                .map(|p| p as u32)
                .filter(|p| people.contains(p));
            Choice {
                way: if (way as usize) < shop.ways(i).len() {
                    way
                } else {
                    0
                },
                person: person.or_else(|| people.first().copied()).unwrap_or(NONE),
            }
        })
        .collect();
    Decisions {
        order: sorted,
        choice,
    }
}

#[cfg(test)]
mod tests {
    use super::super::{sample::Sample, solve::solve, validator::validate};
    use super::*;

    #[test]
    fn a_stopped_machine_moves_little_and_what_moves_pays() {
        let mut model = Sample::week().make(9, None);
        let settings = Settings {
            seed: 1,
            iterations: Some(40_000),
            rounds: 9,
        };
        let old = solve(&model, &settings, &mut |_| false).unwrap().plan;
        // The first machine stands still for the first two days.
        model.machines[0].calendar = model.machines[0].calendar.without((0, 2880));
        let quick = Settings {
            seed: 1,
            iterations: Some(3_000),
            rounds: 9,
        };
        let free = repair(&model, &old, 0, &quick, &mut |_| false).unwrap();
        let dear = repair(&model, &old, 1_000_000, &quick, &mut |_| false).unwrap();
        for r in [&free, &dear] {
            assert!(
                validate(&model, &r.plan).is_empty(),
                "{:?}",
                validate(&model, &r.plan)
            );
        }
        assert!(dear.moved.len() <= 2, "{:?}", dear.moved);
        assert!(dear.moved.len() < free.moved.len());
        assert!(free.plan.value.lateness <= dear.plan.value.lateness);
    }

    #[test]
    fn a_job_that_came_in_is_taken_up() {
        let model = Sample::week().make(4, None);
        let mut fewer = model.clone();
        let last = fewer.jobs.len() - 1;
        let n = fewer.operations.iter().position(|o| o.job == last).unwrap();
        fewer.operations.truncate(n);
        fewer.links.retain(|l| l.after < n);
        let settings = Settings {
            seed: 1,
            iterations: Some(20_000),
            rounds: 9,
        };
        let old = solve(&fewer, &settings, &mut |_| false).unwrap().plan;
        let new = repair(&model, &old, 60, &settings, &mut |_| false).unwrap();
        assert!(validate(&model, &new.plan).is_empty());
    }
}
