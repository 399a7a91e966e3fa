//! Where the figures most probably lie: restricted maximum likelihood by expectation and maximisation.
//!
//! Dempster, Laird and Rubin 1977, "Maximum likelihood from incomplete data via the EM algorithm"; for the variances of mixed
//! models Laird and Ware 1982, "Random-effects models for longitudinal data"; for scatter with heavy tails as a normal
//! whose precision varies Lange, Little and Taylor 1989, "Robust statistical modeling using the t distribution" (formulas
//! from memory).

use super::design::{Design, JOB, VARIANCES};
use super::system::{System, Variances};

/// When to stop.
#[derive(Debug, Clone, Copy)]
pub(super) struct Effort {
    /// Most rounds.
    pub rounds: usize,
    /// No variance has changed by more than this part of itself.
    pub tolerance: f64,
}

/// What was found.
#[derive(Debug, Clone)]
pub(super) struct Mode {
    /// Values of the columns.
    pub values: Vec<f64>,
    /// Effects of the jobs.
    #[cfg(test)]
    pub jobs: Vec<f64>,
    /// Variances.
    pub variances: Variances,
    /// Precision of each row over that of the scatter.
    pub weights: Vec<f64>,
}

/// A variance is never smaller, so that nothing is divided by nothing: a coefficient of variation of 0.1 %.
const LEAST: f64 = 1e-6;

/// The mode with scatter of so many degrees of freedom, or normal scatter; none when the system cannot be solved.
pub(super) fn mode(design: &Design, freedom: Option<f64>, effort: Effort) -> Option<Mode> {
    let mut values = start(design);
    let mut weights = vec![1.0; design.rows.len()];
    let mut variances = Variances {
        of: [0.01; VARIANCES],
        scatter: 0.04,
    };
    for round in 0.. {
        let system = System::new(design, &values);
        let solved = system.solve(&weights, &variances)?;
        let (squares, of) = system.expected_squares(&solved);
        values.clone_from(&solved.values);
        let before = variances;
        for (variance, (sum, count)) in variances.of.iter_mut().zip(of) {
            if count > 0 {
                *variance = (sum / count as f64).max(LEAST);
            }
        }
        let weighted: f64 = squares.iter().zip(&weights).map(|(s, w)| s * w).sum();
        variances.scatter = (weighted / squares.len() as f64).max(LEAST);
        if let Some(freedom) = freedom {
            for (weight, square) in weights.iter_mut().zip(&squares) {
                *weight = (freedom + 1.0) / (freedom + square / variances.scatter);
            }
        }
        let moved = |a: f64, b: f64| (a / b - 1.0).abs();
        let most = variances
            .of
            .iter()
            .zip(before.of)
            .map(|(a, b)| moved(*a, b))
            .fold(moved(variances.scatter, before.scatter), f64::max);
        if most < effort.tolerance || round + 1 >= effort.rounds {
            return Some(Mode {
                #[cfg(test)]
                jobs: solved.job_means(&solved.values),
                values,
                variances,
                weights,
            });
        }
    }
    None
}

/// Every element at the ratio of the logarithms' means.
fn start(design: &Design) -> Vec<f64> {
    let mut values = vec![0.0; design.kinds.len()];
    for mean in [super::Part::Run, super::Part::Setup]
        .iter()
        .filter_map(|part| {
            let group = design.groups.iter().find(|g| g.part == *part)?;
            Some((*part, group.mean))
        })
    {
        let rows = design.rows.iter().filter(|row| {
            let first = row.elements.first();
            first.is_some_and(|(g, _)| design.groups[*g].part == mean.0)
        });
        let (sum, count) = rows.fold((0.0, 0.0), |(sum, count), row| {
            let standard: f64 = row.elements.iter().map(|(_, m)| m).sum();
            (sum + row.log - standard.ln(), count + 1.0)
        });
        if count > 0.0 {
            values[mean.1] = sum / count;
        }
    }
    values
}

impl Variances {
    /// The variance of jobs.
    pub(super) fn job(&self) -> f64 {
        self.of[JOB]
    }
}
