//! What may become of a plan, against closed forms.

use super::*;
use crate::planning::engine::{
    formats::{classical::job_shop, sample::Sample},
    model::{Goal, calendar::WorkingTime},
    solve::{SolveOptions, first_plan, solve},
};
use rand::SeedableRng;
use statrs::distribution::{ContinuousCDF, Normal};

/// One machine, forty operations in a row: the end is a sum of independent times, so its mean and variance are
/// sums, and it is nearly normal (central limit theorem).
#[test]
fn a_row_of_independent_times_ends_as_their_sum() {
    let row = vec![(0..40).map(|_| vec![(0, 600)]).collect::<Vec<_>>()];
    let mut model = job_shop(&row);
    for op in &mut model.operations {
        op.spread = 0.2;
    }
    let plan = first_plan(&model).unwrap();
    let mut rng = rand_pcg::Pcg64::seed_from_u64(11);
    let futures = futures(&model, &plan, 4000, &mut rng).unwrap();
    let deviation = 40f64.sqrt() * 120.0;
    let normal = Normal::new(24_000.0, deviation).unwrap();
    for share in [0.1, 0.5, 0.8, 0.95] {
        let expected = normal.inverse_cdf(share);
        let got = futures.by_confidence(0, share).unwrap() as f64;
        assert!(
            (got - expected).abs() < 0.1 * deviation,
            "{share}: {got} for {expected}"
        );
        assert!((futures.chance_by(0, expected as Minute) - share).abs() < 0.04);
    }
}

/// A bore that may take long, then a minute on the hone; another block is to be honed an hour later. The hone does
/// not wait for the first when that is late: the second is done on its day in every future.
#[test]
fn nobody_waits_for_a_late_operation_when_other_work_is_ready() {
    let mut model = job_shop(&[
        vec![vec![(0, 60)], vec![(1, 1)]],
        vec![vec![(2, 70)], vec![(1, 1)]],
    ]);
    model.operations[0].spread = 3.0;
    let plan = first_plan(&model).unwrap();
    let mut rng = rand_pcg::Pcg64::seed_from_u64(5);
    let futures = futures(&model, &plan, 1000, &mut rng).unwrap();
    assert!(futures.done(0).last() > Some(&300));
    assert!(futures.done(1).iter().all(|&d| d <= 72));
}

/// Two jobs of 80 minutes that may not pause, on a machine that is open for 100 minutes a day. Where a time drawn is
/// longer than that, its job is never done; the other is, and the playing ends.
#[test]
fn a_time_that_fits_no_window_is_never_for_its_job_alone() {
    let mut model = job_shop(&[vec![vec![(0, 80)]], vec![vec![(0, 80)]]]);
    let days = (0..10).map(|d| (1440 * d, 1440 * d + 100)).collect();
    model.machines[0].calendar = WorkingTime::from_windows(days);
    for op in &mut model.operations {
        op.spread = 0.3;
    }
    let plan = first_plan(&model).unwrap();
    let mut rng = rand_pcg::Pcg64::seed_from_u64(1);
    let futures = futures(&model, &plan, 2000, &mut rng).unwrap();
    // The chance that a factor with mean one and this spread is at most 100/80.
    let variance = 0.09_f64.ln_1p();
    let fits = Normal::new(-variance / 2.0, variance.sqrt())
        .unwrap()
        .cdf((100.0_f64 / 80.0).ln());
    for job in [0, 1] {
        let done = futures.chance_by(job, 14_400);
        assert!((done - fits).abs() < 0.03, "{done} for {fits}");
        assert_eq!(futures.by_confidence(job, 0.95), None);
        assert!(futures.by_confidence(job, 0.5).is_some());
    }
}

/// Nothing varies: every future is the plan.
#[test]
fn without_spread_every_future_is_the_plan() {
    let mut model = Sample::week().make(3, None);
    for op in &mut model.operations {
        op.spread = 0.0;
    }
    model.goal = Goal::Promises;
    let options = SolveOptions {
        iterations: Some(5000),
        ..SolveOptions::default()
    };
    let plan = solve(&model, &options, &mut |_| false).unwrap().plan;
    let mut rng = rand_pcg::Pcg64::seed_from_u64(1);
    let futures = futures(&model, &plan, 3, &mut rng).unwrap();
    for (op, a) in model.operations.iter().zip(&plan.assignments) {
        assert!(futures.done(op.job).iter().all(|&d| d >= a.end));
    }
    let sum: Minute = (0..model.jobs.len())
        .map(|j| futures.done(j)[0] - model.jobs[j].release)
        .sum();
    assert!(sum <= plan.value.in_progress);
}

fn sample(model: &Model, iterations: u64) -> Plan {
    let options = SolveOptions {
        iterations: Some(iterations),
        ..SolveOptions::default()
    };
    solve(model, &options, &mut |_| false).unwrap().plan
}

/// Forty hours in a row by one person, all times sharing the shop's and the job's factor: the deviations of the
/// logarithms add, and the sum is log-normal to within what the operations' own scatter adds.
#[test]
fn shared_causes_make_the_whole_job_longer_or_shorter() {
    let row = vec![(0..40).map(|_| vec![(0, 600)]).collect::<Vec<_>>()];
    let mut model = job_shop(&row);
    model.uncertainty.shares = crate::estimating::Variation {
        shop_percent: 10.into(),
        job_percent: 20.into(),
        ..crate::estimating::Variation::none()
    }
    .shares();
    let plan = first_plan(&model).unwrap();
    let mut rng = rand_pcg::Pcg64::seed_from_u64(3);
    let futures = futures(&model, &plan, 4000, &mut rng).unwrap();
    let variance = 0.01_f64.ln_1p() + 0.04_f64.ln_1p();
    let whole = statrs::distribution::LogNormal::new(-variance / 2.0, variance.sqrt()).unwrap();
    for share in [0.05, 0.5, 0.8, 0.95] {
        let expected = 24_000.0 * whole.inverse_cdf(share);
        let got = futures.by_confidence(0, share).unwrap() as f64;
        assert!(
            (got / expected - 1.0).abs() < 0.02,
            "{share}: {got} for {expected}"
        );
    }
}

/// A started bore of a hundred minutes, ninety of them gone: what is left has the conditional distribution.
#[test]
fn started_work_takes_what_is_left_of_it_given_what_has_passed() {
    use crate::planning::engine::model::{Fixed, uncertainty::OperationCauses};
    let mut model = job_shop(&[vec![vec![(0, 10)]]]);
    model.operations[0].fixed = Some(Fixed {
        mode: 0,
        person: None,
        start: 0,
        attended_until: 0,
        end: 10,
    });
    model.operations[0].spread = 0.3;
    model.uncertainty.shares = crate::estimating::Variation {
        job_percent: 20.into(),
        ..crate::estimating::Variation::none()
    }
    .shares();
    model.uncertainty.operations = vec![OperationCauses {
        worked: 90,
        whole: 100,
        ..OperationCauses::default()
    }];
    let plan = first_plan(&model).unwrap();
    let mut rng = rand_pcg::Pcg64::seed_from_u64(3);
    let futures = futures(&model, &plan, 8000, &mut rng).unwrap();
    let variance = 0.09_f64.ln_1p() + 0.04_f64.ln_1p();
    let whole = statrs::distribution::LogNormal::new(-variance / 2.0, variance.sqrt()).unwrap();
    let gone = whole.cdf(0.9);
    for share in [0.2, 0.5, 0.8, 0.95] {
        let expected = 100.0 * whole.inverse_cdf(gone + share * (1.0 - gone)) - 90.0;
        let got = futures.by_confidence(0, share).unwrap() as f64;
        assert!(
            (got - expected).abs() < 2.0,
            "{share}: {got} for {expected}"
        );
    }
}

/// Wyn is there on half the days, so his bore waits for him; what Ines can do as well does not wait.
#[test]
fn the_absent_are_waited_for_or_stood_in_for() {
    use crate::planning::engine::model::Person;
    let week = || WorkingTime::from_windows((0..30).map(|d| (d * 1440, d * 1440 + 480)).collect());
    let mut model = job_shop(&[
        vec![vec![(0, 480)], vec![(0, 240)]],
        vec![vec![(1, 480)], vec![(1, 240)]],
    ]);
    for name in ["Wyn", "Ines"] {
        model.people.push(Person {
            name: name.into(),
            calendar: week(),
        });
    }
    for op in &mut model.operations {
        op.people = if op.job == 0 { vec![0] } else { vec![0, 1] };
        op.may_pause = true;
        op.modes[0].attended = op.modes[0].run;
    }
    model.uncertainty.shares = crate::estimating::Variation {
        absence_percent: 50.into(),
        ..crate::estimating::Variation::none()
    }
    .shares();
    let plan = sample(&model, 2000);
    let mut rng = rand_pcg::Pcg64::seed_from_u64(3);
    let futures = futures(&model, &plan, 2000, &mut rng).unwrap();
    // Wyn's second day is his first back: at 1440 + 240 with a chance of a half, a day later with a quarter …
    for (days, chance) in [(1, 0.5), (2, 0.75), (3, 0.875)] {
        let got = futures.chance_by(0, days * 1440 + 240);
        assert!((got - chance).abs() < 0.04, "{days}: {got}");
    }
    // Either of two can go on with the other job once Wyn's is done; it is never earlier than with Ines alone.
    assert!(futures.chance_by(1, 1440 + 240) >= 0.45);
}

/// Nine jobs that share the shop's factor go late together: in the bad fifth nearly all of them, while chances that
/// add up would say three.
#[test]
fn weeks_fail_together() {
    let rows: Vec<_> = (0..9).map(|m| vec![vec![(m, 1000)]]).collect();
    let mut model = job_shop(&rows);
    for job in &mut model.jobs {
        job.due = Some(1060);
    }
    model.goal = Goal::Promises;
    let plan = first_plan(&model).unwrap();
    let together = |model: &Model| {
        let mut rng = rand_pcg::Pcg64::seed_from_u64(3);
        futures(model, &plan, 2000, &mut rng)
            .unwrap()
            .late_together(0.2)
    };
    model.uncertainty.shares = crate::estimating::Variation {
        shop_percent: 10.into(),
        ..crate::estimating::Variation::none()
    }
    .shares();
    assert_eq!(together(&model), 9);
    model.uncertainty.shares = Default::default();
    for op in &mut model.operations {
        op.spread = 0.1;
    }
    assert!(together(&model) <= 4);
}

/// One bore of 600 minutes: its promise is brought forward by what it takes longer in four futures of five, and a plan that
/// ends behind that is late by so much in the model that is searched, and not in the shop's own.
#[test]
fn a_promise_is_brought_forward_by_what_may_go_wrong() {
    use super::buffers::{lateness, with_buffers};
    let mut model = job_shop(&[vec![vec![(0, 600)]], vec![vec![(1, 600)]]]);
    for (op, job) in model.operations.iter_mut().zip(&mut model.jobs) {
        op.spread = 0.2;
        job.due = Some(650);
        job.weight = 2;
    }
    let plan = first_plan(&model).unwrap();
    let mut rng = rand_pcg::Pcg64::seed_from_u64(3);
    let drawn = futures(&model, &plan, 4000, &mut rng).unwrap();
    let aim = with_buffers(&model, &plan, &drawn, 0.8, |job| job == 0);
    let variance = 0.04_f64.ln_1p();
    let takes = statrs::distribution::LogNormal::new(-variance / 2.0, variance.sqrt()).unwrap();
    let buffer = 600.0 * takes.inverse_cdf(0.8) - 600.0;
    assert!((aim.jobs[0].due.unwrap() as f64 - (650.0 - buffer)).abs() < 8.0);
    assert_eq!(aim.jobs[1].due, Some(650));
    assert_eq!(lateness(&model, &plan), 0);
    assert_eq!(lateness(&aim, &plan), 2 * (600 - aim.jobs[0].due.unwrap()));
}
