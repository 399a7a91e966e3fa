//! What may become of a plan: its operations take other times than planned, in the order and hours planned.
//!
//! Each future draws every run time from a log-normal distribution with the planned time as its mean and the
//! operation's coefficient of variation, and plays the plan out with the machines and people planned. Each has its turn
//! when it was planned, but nobody stands idle by a late operation's empty machine: what can begin by then goes first.
//! What has been started or pinned stays as planned.

mod simulation;

use rand::Rng;

use crate::planning::engine::{
    model::{Minute, Model, ModelError, build::Shop, plan::Plan},
    timing::{Decisions, Timing},
};

pub(super) use simulation::Simulation;

/// When the jobs were done in each of many futures.
#[derive(Debug, Clone)]
pub struct Futures {
    /// By job, ascending.
    done: Vec<Vec<Minute>>,
}

impl Futures {
    /// The share of futures in which the job is done by then: the chance that a promise holds.
    #[must_use]
    pub fn chance_by(&self, job: usize, by: Minute) -> f64 {
        let done = &self.done[job];
        if done.is_empty() {
            return 0.0;
        }
        done.partition_point(|&d| d <= by) as f64 / done.len() as f64
    }

    /// The first minute by which the job is done in at least this share of the futures (0 to 1); `None` for a job
    /// without operations, or when its work ran past all calendars in too many of them.
    #[must_use]
    pub fn by_confidence(&self, job: usize, share: f64) -> Option<Minute> {
        let done = &self.done[job];
        let needed = (share.clamp(0.0, 1.0) * done.len() as f64).ceil() as usize;
        done.get(needed.max(1) - 1)
            .copied()
            .filter(|&d| d < crate::planning::engine::model::calendar::NEVER)
    }

    /// Completions of a job in all futures, ascending.
    #[must_use]
    pub fn done(&self, job: usize) -> &[Minute] {
        &self.done[job]
    }
}

/// Runs a plan through `count` futures.
///
/// # Errors
/// When the model cannot be planned, or the plan is not one of it.
pub fn futures(
    model: &Model,
    plan: &Plan,
    count: usize,
    rng: &mut impl Rng,
) -> Result<Futures, ModelError> {
    let shop = Shop::build(model)?;
    if plan.assignments.len() != shop.ops.len() {
        return Err(ModelError::Unreadable(
            "the plan is not one of this model".into(),
        ));
    }
    let decisions = Decisions::of_plan(&shop, plan);
    let mut timing = Timing::new(&shop);
    Ok(run(model, &shop, plan, &decisions, &mut timing, count, rng))
}

/// Runs decisions through futures.
pub(crate) fn run(
    model: &Model,
    shop: &Shop,
    plan: &Plan,
    decisions: &Decisions,
    timing: &mut Timing,
    count: usize,
    rng: &mut impl Rng,
) -> Futures {
    let mut simulation = Simulation::new(model, plan, decisions);
    let mut done = vec![Vec::with_capacity(count); shop.jobs.len()];
    for _ in 0..count {
        simulation.draw_and_replay(shop, timing, rng);
        for (job, done) in shop.jobs.iter().zip(&mut done) {
            if let Some(end) = shop
                .sinks(job)
                .iter()
                .map(|&op| timing.times[op as usize].end)
                .max()
            {
                done.push(end);
            }
        }
    }
    timing.stretch.fill(0);
    for done in &mut done {
        done.sort_unstable();
    }
    Futures { done }
}

#[cfg(test)]
mod tests {
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
}
