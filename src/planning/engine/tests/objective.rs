//! What the engine prefers, shown on shops small enough to see.

use rand::SeedableRng;
use rand_pcg::Pcg64;

use crate::planning::engine::{
    formats::classical::job_shop,
    model::{Goal, Minute, Model, validator::validate},
    random::below,
    solve::{SolveOptions, first_plan, solve},
};

/// On one machine that has the first job's fixture on its table: ten minutes with it, ten with another, and two thousand
/// with the first again. Each change takes a minute.
fn shop(wait_per_setup: Minute) -> Model {
    let mut model = job_shop(&[
        vec![vec![(0, 10)]],
        vec![vec![(0, 10)]],
        vec![vec![(0, 2000)]],
    ]);
    model.goal = Goal::Promises;
    model.wait_per_setup = wait_per_setup;
    model.machines[0].on_table = Some(1);
    for (op, key) in model.operations.iter_mut().zip([1, 2, 1]) {
        op.setup_key = Some(key);
        op.modes[0].setup = 1;
    }
    model
}

/// Starts of the three in the plan found.
fn starts(model: &Model) -> [Minute; 3] {
    let options = SolveOptions {
        iterations: Some(2_000),
        ..SolveOptions::default()
    };
    let plan = solve(model, &options, &mut |_| false).unwrap().plan;
    assert_eq!(validate(model, &plan), vec![]);
    [0, 1, 2].map(|i| plan.assignments[i].start)
}

/// A minute of setup is saved when that costs less waiting than it is worth: here a job would wait 2,000 minutes for it.
#[test]
fn setup_and_waiting_are_exchanged_at_the_rate_that_is_set() {
    assert_eq!(starts(&shop(500)), [0, 10, 21]);
    assert_eq!(starts(&shop(1_900)), [0, 10, 21]);
    assert_eq!(starts(&shop(2_100)), [0, 2010, 10]);
    assert_eq!(starts(&shop(0)), [0, 10, 21]);
    // A promise goes before either.
    let mut model = shop(0);
    model.jobs[2].due = Some(2_010);
    assert_eq!(starts(&model), [0, 2010, 10]);
    model.wait_per_setup = 1_000_001;
    assert!(solve(&model, &SolveOptions::default(), &mut |_| true).is_err());
}

/// Long routes that come back to the same few machines again and again, with times from 1 to 99. The load of the fullest
/// machine bounds the makespan from below. Schedules without delay come a third nearer to it than active ones do: by the
/// other rules it is 0.36, 0.05 and 0.27 above it.
#[test]
fn large_re_entrant_sets_are_planned_near_the_load_of_the_fullest_machine() {
    for (jobs, length, machines, within) in [
        (40, 200, 20, 0.25),
        (100, 100, 10, 0.03),
        (100, 200, 50, 0.18),
    ] {
        let mut rng = Pcg64::seed_from_u64(7);
        let mut load = vec![0; machines];
        let rows: Vec<Vec<Vec<(usize, Minute)>>> = (0..jobs)
            .map(|_| {
                let mut operation = || {
                    let machine = below(&mut rng, machines as u32) as usize;
                    let time = Minute::from(1 + below(&mut rng, 99));
                    load[machine] += time;
                    vec![(machine, time)]
                };
                (0..length).map(|_| operation()).collect()
            })
            .collect();
        let model = job_shop(&rows);
        let plan = first_plan(&model).unwrap();
        assert_eq!(validate(&model, &plan), vec![]);
        let fullest = load.iter().copied().max().unwrap();
        let gap = plan.value.makespan as f64 / fullest as f64 - 1.0;
        assert!(gap < within, "{jobs} x {length} on {machines}: {gap}");
    }
}
