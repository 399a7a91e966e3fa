//! Random models of every kind: none panics, every plan validates, the same seed gives the same plan.

use proptest::prelude::*;

use crate::planning::engine::{
    formats::sample::Sample,
    model::{Fixed, Goal, validator::validate},
    solve::{SolveOptions, first_plan, solve},
};

fn samples() -> impl Strategy<Value = (Sample, u64)> {
    let sizes = (1usize..6, 0usize..4, 1usize..9, 1u32..6);
    let shares = (0u32..100, 0u32..100, 0u32..20, 0u32..10, 0u32..4);
    (sizes, shares, any::<u64>()).prop_map(
        |((machines, people, jobs, ops), (second, pause, outside, lags, keys), seed)| {
            let sample = Sample {
                machines,
                people,
                jobs,
                operations: (1, ops),
                quarters: (1, 16),
                second_machine: second,
                may_pause: pause,
                outside,
                lags,
                keys,
                days: 300,
                promise_percent: 80,
            };
            (sample, seed)
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn every_plan_validates_and_the_same_seed_gives_the_same(
        (sample, seed) in samples(),
        makespan in any::<bool>(),
        pin in proptest::option::of((any::<prop::sample::Index>(), any::<bool>())),
    ) {
        let mut model = sample.make(seed, None);
        if makespan {
            model.goal = Goal::Makespan;
        }
        if let Some((index, started)) = pin {
            // An operation without a predecessor is pinned to some place where nothing is in its way.
            let first: Vec<usize> = (0..model.operations.len())
                .filter(|&i| model.links.iter().all(|l| l.after != i))
                .collect();
            let op = first[index.index(first.len())];
            let a = first_plan(&model).unwrap().assignments[op];
            // What must follow within some time of a start so long ago would be too late whatever is planned.
            let hurried = model.links.iter().any(|l| l.before == op && l.max_lag.is_some());
            let shift = if started && !hurried { -a.start - 5 } else { 0 };
            model.operations[op].fixed = Some(Fixed {
                mode: a.mode,
                person: a.person,
                start: a.start + shift,
                attended_until: a.attended_until + shift,
                end: a.end + shift,
            });
        }
        let first = first_plan(&model).unwrap();
        prop_assert_eq!(first.value.broken, 0);
        prop_assert!(validate(&model, &first).is_empty(), "{:?}", validate(&model, &first));
        let options = SolveOptions { seed: 3, iterations: Some(3000), rounds: 3 };
        let a = solve(&model, &options, &mut |_| false).unwrap();
        prop_assert!(validate(&model, &a.plan).is_empty(), "{:?}", validate(&model, &a.plan));
        prop_assert!(a.plan.value.compare(&first.value, model.objective()).is_le());
        prop_assert!(a.plan.value.main(model.goal) >= a.bound);
        let b = solve(&model, &options, &mut |_| false).unwrap();
        prop_assert_eq!(a.plan, b.plan);
    }
}
