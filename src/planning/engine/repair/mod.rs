//! Repair of a plan that events have overtaken: a machine stopped, an operation took longer, a job came in.
//!
//! The old plan is timed again in the new model with as little moved as possible (`matchup`), which is a plan at once.
//! A short search then makes it better where that is worth the disturbance: each operation that ends up on another
//! machine, with another person, or behind another operation on its machine costs a stated price, in weighted minutes
//! of lateness. What the search has moved without need is moved back at the end: between plans that keep the promises
//! equally well, the one that is nearer to the old plan is taken, so nobody's slack is spent for nothing.

mod matchup;

use rand::SeedableRng;
use rand_pcg::Pcg64;

use crate::planning::engine::{
    model::{
        Minute, Model, ModelError,
        build::{NONE, Shop},
        plan::Plan,
    },
    search::anneal::{Anneal, ChangePenalty},
    solve::{SearchProgress, SolveOptions},
    timing::{Choice, Decisions, Timing},
};
use matchup::MatchUp;

/// A mended plan.
#[derive(Debug, Clone)]
pub struct Repaired {
    /// The plan.
    pub plan: Plan,
    /// Operations that are on another machine, with another person or behind another operation than in the old plan.
    pub moved: Vec<usize>,
}

/// Mends `old` for `model`. Operations of the model beyond those of the old plan are new: they take the gaps there are,
/// and the search brings them forward.
///
/// # Errors
/// When the model cannot be planned.
pub fn repair(
    model: &Model,
    old: &Plan,
    price: Minute,
    options: &SolveOptions,
    watch: &mut dyn FnMut(&SearchProgress) -> bool,
) -> Result<Repaired, ModelError> {
    let shop = Shop::build(model)?;
    let count = old.assignments.len().min(shop.ops.len());
    let known: Vec<bool> = (0..shop.ops.len()).map(|i| i < count).collect();
    let decisions = carry_over(&shop, old, count);
    let mut timing = Timing::new(&shop);
    let match_up = MatchUp::new(&shop, old, known, &decisions);
    let carried = match_up.settle(&shop, decisions, &mut timing);
    timing.full(&shop, &carried);
    // What stood before what, in the old order but among what is there now.
    let penalty = ChangePenalty {
        before: (0..shop.ops.len() as u32)
            .map(|i| timing.machine_before(i))
            .collect(),
        choice: carried.choice.clone(),
        known: count,
        price: price.clamp(0, 1_000_000),
    };
    let mut search = Anneal::new(&shop, carried.clone(), timing);
    let mut sooner = search.moves.timing.clone();
    search.first_cooling = Some(options.iterations.map_or(2_000, |all| all / 2));
    search.penalize_changes(penalty.clone());
    let mut progress = SearchProgress {
        iterations: 0,
        best: search.value.main(shop.goal),
        bound: 0,
    };
    let limit = options.iterations.unwrap_or(u64::MAX);
    let mut rng = Pcg64::seed_from_u64(options.seed);
    search.improve(&shop, options.rounds, &mut rng, &mut |k, value| {
        progress.iterations += k;
        progress.best = value.main(shop.goal);
        progress.iterations >= limit || watch(&progress)
    });
    let decisions = undo_needless_moves(
        &shop,
        &penalty,
        &match_up,
        (carried, search.moves.decisions),
        &mut sooner,
    );
    let value = sooner.full(&shop, &decisions);
    Ok(Repaired {
        plan: sooner.plan(&shop, &decisions, value),
        moved: penalty.moved(&sooner, &decisions).collect(),
    })
}

/// What a mended plan is worth: promises, with the price of what is moved, before disturbance. A job that comes later
/// behind its promise counts twice, so that what others gain by it is worth it.
fn score(
    shop: &Shop,
    penalty: &ChangePenalty,
    match_up: &MatchUp,
    decisions: &Decisions,
    timing: &mut Timing,
) -> [Minute; 3] {
    let value = timing.full(shop, decisions);
    let moved = penalty.moved(timing, decisions).count() as Minute;
    [
        value.broken,
        value.main(shop.goal)
            + penalty.price * moved
            + match_up.added_lateness(shop, timing, |job| job.weight),
        match_up.disturbance(timing),
    ]
}

/// The better of the plan carried over and the one found, with each job put back where it was carried to when the
/// promises are kept as well so.
fn undo_needless_moves(
    shop: &Shop,
    penalty: &ChangePenalty,
    match_up: &MatchUp,
    (carried, found): (Decisions, Decisions),
    timing: &mut Timing,
) -> Decisions {
    let unmoved = score(shop, penalty, match_up, &carried, timing);
    let before: Vec<Minute> = timing.times.iter().map(|t| t.start).collect();
    let mut best = (score(shop, penalty, match_up, &found, timing), found);
    if unmoved <= best.0 {
        return carried;
    }
    for job in 0..shop.jobs.len() {
        let now: Vec<Minute> = timing.times.iter().map(|t| t.start).collect();
        let mine = |op: u32| shop.ops[op as usize].job as usize == job;
        let differs = |&op: &u32| {
            let i = op as usize;
            mine(op) && (now[i] != before[i] || best.1.choice[i] != carried.choice[i])
        };
        if !carried.order.iter().any(differs) {
            continue;
        }
        let mut other = best.1.clone();
        other.order.sort_by_key(|&op| {
            if mine(op) {
                before[op as usize]
            } else {
                now[op as usize]
            }
        });
        for &op in &carried.order {
            if mine(op) {
                other.choice[op as usize] = carried.choice[op as usize];
            }
        }
        if !in_order(shop, &other.order) {
            continue;
        }
        let score_now = score(shop, penalty, match_up, &other, timing);
        if score_now < best.0 {
            best = (score_now, other);
        } else {
            timing.full(shop, &best.1);
        }
    }
    best.1
}

/// Whether everything stands behind what it waits for.
fn in_order(shop: &Shop, order: &[u32]) -> bool {
    let mut placed: Vec<bool> = shop.ops.iter().map(|op| op.fixed).collect();
    order.iter().all(|&op| {
        placed[op as usize] = true;
        shop.before(op).iter().all(|l| placed[l.op as usize])
    })
}

/// Times an old plan's order and choices again, as early as the model now allows: right-shift repair without
/// search. Operations of the model are those of the plan, one for one; their old starts say what comes first.
///
/// # Errors
/// When the model cannot be planned, or has not as many operations as the plan.
pub fn right_shift(model: &Model, old: &Plan) -> Result<Plan, ModelError> {
    let (shop, decisions) = as_ordered(model, old)?;
    let mut timing = Timing::new(&shop);
    let value = timing.full(&shop, &decisions);
    Ok(timing.plan(&shop, &decisions, value))
}

/// Times an old plan again with as little moved as possible: what can keep its place keeps it. Operations of the
/// model are those of the plan, one for one; `known` says which of them had a place, the others' starts are wishes.
///
/// # Errors
/// When the model cannot be planned, or has not as many operations as the plan.
pub fn match_up(model: &Model, old: &Plan, known: Vec<bool>) -> Result<Plan, ModelError> {
    let (shop, decisions) = as_ordered(model, old)?;
    if known.len() != shop.ops.len() {
        return Err(wrong_plan());
    }
    let mut timing = Timing::new(&shop);
    let decisions =
        MatchUp::new(&shop, old, known, &decisions).settle(&shop, decisions, &mut timing);
    let value = timing.full(&shop, &decisions);
    Ok(timing.plan(&shop, &decisions, value))
}

/// The order and choices of a plan that has as many operations as the model.
fn as_ordered(model: &Model, old: &Plan) -> Result<(Shop, Decisions), ModelError> {
    let shop = Shop::build(model)?;
    if old.assignments.len() != shop.ops.len() {
        return Err(wrong_plan());
    }
    let decisions = carry_over(&shop, old, shop.ops.len());
    Ok((shop, decisions))
}

fn wrong_plan() -> ModelError {
    ModelError::Unreadable("the plan is not one of this model".into())
}

/// The old order and choices; what is new, or can no longer be done as it was, is chosen afresh.
pub(crate) fn carry_over(shop: &Shop, old: &Plan, known: usize) -> Decisions {
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
            let mode = old.map_or(0, |a| a.mode as u32);
            let people = shop.people(i);
            let person = old
                .and_then(|a| a.person)
                .map(|p| p as u32)
                .filter(|p| people.contains(p));
            Choice {
                mode: if (mode as usize) < shop.modes(i).len() {
                    mode
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
    use super::*;
    use crate::planning::engine::{
        formats::sample::Sample, model::validator::validate, solve::solve,
    };
    use proptest::prelude::*;

    #[test]
    fn a_stopped_machine_moves_little_and_what_moves_pays() {
        let mut model = Sample::week().make(9, None);
        let options = SolveOptions {
            seed: 1,
            iterations: Some(40_000),
            rounds: 9,
        };
        let old = solve(&model, &options, &mut |_| false).unwrap().plan;
        // The first machine stands still for the first two days.
        model.machines[0].calendar = model.machines[0].calendar.without((0, 2880));
        let quick = SolveOptions {
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
        let options = SolveOptions {
            seed: 1,
            iterations: Some(20_000),
            rounds: 9,
        };
        let old = solve(&fewer, &options, &mut |_| false).unwrap().plan;
        let new = repair(&model, &old, 60, &options, &mut |_| false).unwrap();
        assert!(validate(&model, &new.plan).is_empty());
    }

    /// Which jobs have an operation on a machine in a plan.
    fn jobs_on(model: &Model, plan: &Plan, machine: usize) -> Vec<bool> {
        let mut on = vec![false; model.jobs.len()];
        for (op, a) in model.operations.iter().zip(&plan.assignments) {
            on[op.job] |= op.modes[a.mode].machine == Some(machine);
        }
        on
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(6))]

        /// A machine stops for four hours, and promises have room: jobs that have no work on it are put off
        /// no more than when everything is pushed on in the old order, and mostly not at all.
        #[test]
        fn a_stop_of_four_hours_leaves_alone_what_it_has_nothing_to_do_with(
            seed in 1_u64..400, machine in 0_usize..8, day in 0_i64..4, hour in 8_i64..13,
        ) {
            let sample = Sample { promise_percent: 400, ..Sample::week() };
            let mut model = sample.make(seed, None);
            let options = SolveOptions { seed: 1, iterations: Some(4_000), rounds: 9 };
            let old = solve(&model, &options, &mut |_| false).unwrap().plan;
            prop_assume!(old.value.lateness == 0);
            let from = day * 1440 + hour * 60;
            let calendar = model.machines[machine].calendar.without((from, from + 240));
            model.machines[machine].calendar = calendar;
            let concerned = jobs_on(&model, &old, machine);
            let quick = SolveOptions { seed: 1, iterations: Some(1_500), rounds: 9 };
            let mended = repair(&model, &old, 600, &quick, &mut |_| false).unwrap();
            prop_assert!(validate(&model, &mended.plan).is_empty(), "{:?}", validate(&model, &mended.plan));
            let pushed = right_shift(&model, &old).unwrap();
            prop_assume!(mended.plan.value.lateness == 0 && pushed.value.lateness == 0);
            // Minutes by which they begin later.
            let later = |plan: &Plan| -> Minute {
                let ops = model.operations.iter().zip(&plan.assignments).zip(&old.assignments);
                let theirs = ops.filter(|((op, _), _)| !concerned[op.job]);
                theirs.map(|((_, now), was)| (now.start - was.start).max(0)).sum()
            };
            let (mended, pushed) = (later(&mended.plan), later(&pushed));
            // Repair spares also what only follows work of that machine elsewhere, so what is counted here may come a
            // little later.
            prop_assert!(mended <= pushed + pushed / 5, "{} for {}", mended, pushed);
        }

        /// Nothing happened: nothing moves, whatever the search could find.
        #[test]
        fn a_plan_nothing_happened_to_is_left_as_it_is(seed in 1_u64..400) {
            let model = Sample { promise_percent: 400, ..Sample::week() }.make(seed, None);
            let options = SolveOptions { seed: 1, iterations: Some(2_000), rounds: 9 };
            let old = solve(&model, &options, &mut |_| false).unwrap().plan;
            prop_assume!(old.value.lateness == 0);
            let again = match_up(&model, &old, vec![true; model.operations.len()]).unwrap();
            prop_assert_eq!(&again.assignments, &old.assignments);
            let mended = repair(&model, &old, 600, &options, &mut |_| false).unwrap();
            prop_assert_eq!(mended.plan.assignments, old.assignments);
        }
    }
}
