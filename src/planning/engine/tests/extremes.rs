//! Numbers at the ends of what a whole number holds: refused, or planned without overflow.

use proptest::prelude::*;
use rand::SeedableRng;
use rand_pcg::Pcg64;

use crate::planning::engine::{
    explain::explain,
    formats::{classical::read_flexible, sample::Sample},
    futures::futures,
    model::{Fixed, Goal, Minute, Model, calendar::WorkingTime, validator::validate},
    repair::repair,
    solve::{SolveOptions, solve},
};

/// Puts a number into one of the places of a model that hold one.
fn put(model: &mut Model, place: usize, index: usize, number: Minute) {
    let (jobs, operations) = (model.jobs.len(), model.operations.len());
    let job = &mut model.jobs[index % jobs];
    let op = &mut model.operations[index % operations];
    match place {
        0 => job.release = number,
        1 => job.due = Some(number),
        2 => job.weight = number,
        3 => op.modes[0].run = number,
        4 => op.modes[0].setup = number,
        5 => op.modes[0].setup_same_key = number,
        6 => (op.modes[0].attended, op.modes[0].run) = (number, number),
        7 | 8 => {
            op.fixed = Some(Fixed {
                mode: 0,
                person: None,
                start: if place == 7 { number } else { number.min(0) },
                attended_until: number.min(0),
                end: number,
            });
        }
        9 | 10 if !model.links.is_empty() => {
            let k = index % model.links.len();
            let link = &mut model.links[k];
            link.min_lag = if place == 9 { number } else { 0 };
            link.max_lag = (place == 10).then_some(number);
        }
        11 => drop(model.changeovers.insert((0, 1), number)),
        12 => model.machines[0].calendar = WorkingTime::from_windows(vec![(number, Minute::MAX)]),
        13 => {
            let windows = vec![(Minute::MIN, 0), (1, number)];
            model.machines[0].calendar = WorkingTime::from_windows(windows);
        }
        _ => {}
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn no_number_is_too_big(
        seed in 0u64..50,
        makespan in any::<bool>(),
        changes in prop::collection::vec((0usize..14, 0usize..20, 0usize..13), 1..5),
    ) {
        const ENDS: [Minute; 13] = [
            Minute::MIN, Minute::MIN + 1, -(1 << 40), -100_000_001, -100_000_000, -1, 0, 1, 100_000_000, 100_000_001,
            1 << 40, Minute::MAX - 1, Minute::MAX,
        ];
        let mut model = Sample::small(6).make(seed, None);
        if makespan {
            model.goal = Goal::Makespan;
        }
        for (place, index, number) in changes {
            put(&mut model, place, index, ENDS[number]);
        }
        let options = SolveOptions { iterations: Some(400), ..SolveOptions::default() };
        // A model that is refused is well answered.
        if let Ok(outcome) = solve(&model, &options, &mut |_| false) {
            let plan = outcome.plan;
            prop_assert!(plan.value.broken > 0 || validate(&model, &plan).is_empty());
            let mut rng = Pcg64::seed_from_u64(seed);
            futures(&model, &plan, 3, &mut rng).unwrap();
            explain(&model, &plan, 0).unwrap();
            repair(&model, &plan, 60, &options, &mut |_| false).unwrap();
        }
    }
}

/// Jobs of the greatest weight that are never done: their lateness does not overflow.
#[test]
fn what_is_never_done_is_late_within_bounds() {
    let mut model = Sample::small(40).make(1, None);
    for job in &mut model.jobs {
        (job.release, job.due, job.weight) = (0, Some(-100_000_000), 1_000_000);
    }
    for machine in &mut model.machines {
        machine.calendar = WorkingTime::from_windows(vec![(0, 600)]);
    }
    for op in &mut model.operations {
        op.people.clear();
        op.may_pause = true;
        for mode in &mut op.modes {
            (mode.setup, mode.setup_same_key, mode.run, mode.attended) = (0, 0, 200, 0);
        }
    }
    let options = SolveOptions {
        iterations: Some(400),
        ..SolveOptions::default()
    };
    let outcome = solve(&model, &options, &mut |_| false).unwrap();
    assert!(outcome.plan.value.broken > 0);
    assert!(outcome.plan.value.lateness <= 40 * 1_000_000 * 400_000_000);
    for job in &mut model.jobs {
        job.weight = 1_000_000_000;
    }
    assert!(solve(&model, &options, &mut |_| false).is_err());
}

/// A machine's number in a text is no reason to make so many machines.
#[test]
fn a_machine_beyond_all_measure_is_refused() {
    for number in ["9223372036854775807", "-9223372036854775808", "0"] {
        assert!(read_flexible(&format!("1 1\n1 1 {number} 5")).is_err());
    }
}
