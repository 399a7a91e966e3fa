//! The planning engine's figures on one thread: `cargo bench --bench planning`.
//!
//! Prints, for invented shops made from fixed seeds: the time of the first plan, how the plan improves with time, the
//! time of 1,000 futures, of a promise, of a repair and of an explanation, and how the first plan and the rate of moves
//! change from 100 to 10,000 operations. Times are wall-clock; run it on a machine that does nothing else, or read the
//! least of several runs. The published instances are measured by `borewright plan bench`.

use borewright::planning::engine::{
    explain::explain,
    futures::futures,
    model::Model,
    promise::promise,
    repair::repair,
    sample::Sample,
    solve::{Settings, first_plan, solve},
    validator::validate,
};
use rand::SeedableRng;
use rand_pcg::Pcg64;
use std::time::Instant;

/// Least milliseconds of several runs.
fn least<T>(runs: u32, mut what: impl FnMut() -> T) -> f64 {
    (0..runs)
        .map(|_| {
            let begun = Instant::now();
            std::hint::black_box(what());
            begun.elapsed().as_secs_f64() * 1000.0
        })
        .fold(f64::INFINITY, f64::min)
}

/// Searches so long, printing weighted lateness as it falls.
fn course(name: &str, model: &Model, at: &[f64]) -> anyhow::Result<()> {
    let begun = Instant::now();
    let mut next = 0;
    let last = at.last().copied().unwrap_or(0.0);
    let outcome = solve(model, &Settings::default(), &mut |p| {
        let now = begun.elapsed().as_secs_f64();
        while next < at.len() && now >= at[next] {
            println!(
                "{name}: weighted lateness after {:>5.1} s {:>9} ({} moves)",
                at[next], p.best, p.iterations
            );
            next += 1;
        }
        now >= last
    });
    anyhow::ensure!(
        validate(model, &outcome?.plan).is_empty(),
        "{name}: the plan breaks a rule"
    );
    Ok(())
}

fn main() -> anyhow::Result<()> {
    let week = Sample::week().make(1, Some(420));
    let industrial = Sample::industrial().make(1, Some(6057));
    println!(
        "first plan, week (8 machines, 4 people, 60 jobs, 420 operations): {:.1} ms",
        least(5, || first_plan(&week))
    );
    println!(
        "first plan, industrial (51 machines, 828 jobs, 6,057 operations): {:.0} ms",
        least(3, || first_plan(&industrial))
    );
    course("week", &week, &[0.0, 0.5, 1.0, 2.0, 10.0])?;
    course(
        "industrial",
        &industrial,
        &[0.0, 2.0, 5.0, 10.0, 20.0, 30.0],
    )?;

    let settings = Settings {
        iterations: Some(100_000),
        ..Settings::default()
    };
    let plan = solve(&week, &settings, &mut |_| false)?.plan;
    println!(
        "1,000 futures of the week: {:.0} ms",
        least(5, || futures(
            &week,
            &plan,
            1000,
            &mut Pcg64::seed_from_u64(1)
        ))
    );
    let mut stopped = week.clone();
    stopped.machines[0].calendar = stopped.machines[0].calendar.without((0, 1440));
    let quick = Settings {
        iterations: Some(500),
        ..Settings::default()
    };
    println!(
        "repair after a machine stops, 500 moves: {:.1} ms",
        least(5, || repair(&stopped, &plan, 60, &quick, &mut |_| false))
    );
    let late = (0..week.jobs.len()).max_by_key(|&j| {
        let ends = week
            .operations
            .iter()
            .zip(&plan.assignments)
            .filter(|(o, _)| o.job == j)
            .map(|(_, a)| a.end);
        ends.max().unwrap_or(0) - week.jobs[j].due.unwrap_or(0)
    });
    println!(
        "explanation of the latest job: {:.0} ms",
        least(3, || explain(&week, &plan, late.unwrap_or(0)))
    );
    let last = week.jobs.len() - 1;
    let mut without = week.clone();
    without.operations.retain(|o| o.job != last);
    let n = without.operations.len();
    without.links.retain(|l| l.after < n);
    let running = solve(&without, &settings, &mut |_| false)?.plan;
    println!(
        "promise of one more job, with 1,000 futures: {:.0} ms",
        least(3, || promise(
            &week,
            &running,
            last,
            0.8,
            1000,
            &mut Pcg64::seed_from_u64(1)
        ))
    );
    for operations in [100usize, 300, 1000, 3000, 10_000] {
        let mut shape = Sample::industrial();
        shape.jobs = operations / 8 + 1;
        shape.machines = (operations / 100).clamp(4, 80);
        shape.people = shape.machines;
        let model = shape.make(2, Some(operations));
        let first = least(2, || first_plan(&model));
        let mut searching = None;
        let outcome = solve(&model, &Settings::default(), &mut |_| {
            searching
                .get_or_insert_with(Instant::now)
                .elapsed()
                .as_secs_f64()
                >= 2.0
        })?;
        let rate = outcome.iterations as f64 / 2.0;
        println!(
            "{operations:>6} operations: first plan {first:>8.1} ms, about {rate:>7.0} moves a second"
        );
    }
    Ok(())
}
