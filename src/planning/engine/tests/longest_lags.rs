//! Longest lags: where each job could keep its own alone, a plan for all of them keeps them all.

use proptest::prelude::*;
use rand::SeedableRng;
use rand_pcg::Pcg64;

use crate::planning::engine::{
    formats::{classical::job_shop, sample::Sample},
    model::{Fixed, Link, Minute, Model, validator::validate},
    random::below,
    solve::{SolveOptions, first_plan, solve},
};

/// The model with one of its jobs alone, as the first.
fn alone(model: &Model, job: usize) -> Model {
    let mut one = model.clone();
    one.jobs = vec![model.jobs[job].clone()];
    let first = model
        .operations
        .iter()
        .position(|o| o.job == job)
        .unwrap_or(0);
    one.operations.retain(|o| o.job == job);
    for op in &mut one.operations {
        op.job = 0;
    }
    let all = first..first + one.operations.len();
    one.links.retain(|l| all.contains(&l.after));
    for link in &mut one.links {
        (link.before, link.after) = (link.before - first, link.after - first);
    }
    one
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Every operation follows the one before it at once or within half an hour, on machines that never close; now and
    /// then it waits as well for the one before that.
    #[test]
    fn work_without_waits_is_planned_without_waits(
        seed in any::<u64>(), jobs in 2usize..14, length in 2usize..7, machines in 1usize..5, people in 0usize..3,
    ) {
        let rng = &mut Pcg64::seed_from_u64(seed);
        let mut operation = |_| {
            let machine = below(rng, machines as u32) as usize;
            vec![(machine, Minute::from(5 + below(rng, 200)))]
        };
        let rows: Vec<_> = (0..jobs).map(|_| (0..length).map(&mut operation).collect()).collect();
        let mut model = job_shop(&rows);
        for _ in 0..people {
            model.people.push(crate::planning::engine::model::Person {
                name: String::new(),
                calendar: crate::planning::engine::model::calendar::WorkingTime::always(),
            });
        }
        for op in &mut model.operations {
            op.people = (0..people).collect();
            for mode in &mut op.modes {
                mode.attended = if people > 0 { mode.run / 2 } else { 0 };
            }
        }
        for link in &mut model.links {
            link.max_lag = Some(Minute::from(below(rng, 4)) * 10);
        }
        let more: Vec<Link> = model.links.windows(2).filter(|l| l[0].after == l[1].before).map(|l| Link {
            before: l[0].before, after: l[1].after, min_lag: 0, max_lag: None,
        }).collect();
        model.links.extend(more);
        let plan = first_plan(&model).unwrap();
        prop_assert_eq!(plan.value.broken, 0);
        prop_assert!(validate(&model, &plan).is_empty());
    }

    /// With shifts, people, setups and second machines: when every job has a plan alone, all of them have one together.
    #[test]
    fn what_each_job_keeps_alone_all_keep_together(
        seed in any::<u64>(), jobs in 2usize..12, people in 0usize..4, pause in 0u32..100, tight in 0u32..100,
    ) {
        let sample = Sample {
            jobs, people, may_pause: pause, outside: 5, lags: 0, quarters: (1, 12), days: 400, ..Sample::small(jobs)
        };
        let mut model = sample.make(seed, None);
        let rng = &mut Pcg64::seed_from_u64(seed);
        for link in &mut model.links {
            if below(rng, 100) < tight {
                link.min_lag = 15 * Minute::from(below(rng, 3));
                link.max_lag = Some(link.min_lag + 30 * Minute::from(below(rng, 40)));
            }
        }
        let each_alone = (0..model.jobs.len()).all(|job| {
            first_plan(&alone(&model, job)).is_ok_and(|plan| plan.value.broken == 0)
        });
        prop_assume!(each_alone);
        let plan = first_plan(&model).unwrap();
        prop_assert_eq!(plan.value.broken, 0);
        prop_assert!(validate(&model, &plan).is_empty());
        let options = SolveOptions { iterations: Some(300), ..SolveOptions::default() };
        let better = solve(&model, &options, &mut |_| false).unwrap().plan;
        prop_assert_eq!(better.value.broken, 0);
    }
}

/// A block comes out of the oven at minute 10 and must be on the press by 40, which other work would like to have for
/// days; the long job has the earlier promise, and weighs more. What is hot goes first.
#[test]
fn what_follows_started_work_soon_is_not_kept_behind_other_work() {
    let mut model = job_shop(&[
        vec![vec![(0, 60)], vec![(1, 20)], vec![(2, 30)]],
        vec![vec![(1, 5_000)]],
        vec![vec![(2, 25)], vec![(1, 40)]],
    ]);
    model.goal = crate::planning::engine::model::Goal::Promises;
    for (job, due) in model.jobs.iter_mut().zip([9_000, 10, 20]) {
        job.due = Some(due);
    }
    model.jobs[1].weight = 100_000;
    (model.links[0].max_lag, model.links[1].max_lag) = (Some(30), Some(5));
    model.operations[0].fixed = Some(Fixed {
        mode: 0,
        person: None,
        start: -50,
        attended_until: -50,
        end: 10,
    });
    let plan = first_plan(&model).unwrap();
    assert_eq!(plan.value.broken, 0);
    assert_eq!(validate(&model, &plan), vec![]);
}
