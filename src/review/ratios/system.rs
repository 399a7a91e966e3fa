//! The mixed-model equations (Henderson 1975, "Best linear unbiased estimation and prediction under a selection model",
//! equation 5, from memory): columns are solved together, jobs are taken out first, because each stands in few rows.

use super::dense::{Factored, Lower};
use super::design::{Design, JOB, Kind, VARIANCES, VARIED};

/// A linear system with one job a row.
#[derive(Debug, Clone)]
pub(super) struct System {
    rows: Vec<Line>,
    /// First row of each job, and one past the last.
    starts: Vec<usize>,
    kinds: Vec<Kind>,
}

#[derive(Debug, Clone)]
struct Line {
    coefficients: Vec<(usize, f64)>,
    figure: f64,
}

/// Variances: of the kinds in [`VARIED`], of jobs, and of the scatter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Variances {
    pub of: [f64; VARIANCES],
    pub scatter: f64,
}

/// Nothing is known of the mean before: it lies within a factor of e²⁰ of the standard, so to say.
const PRECISION_OF_MEAN: f64 = 1.0 / 400.0;

impl Variances {
    fn precision(&self, kind: Kind) -> f64 {
        VARIED
            .iter()
            .position(|k| *k == kind)
            .map_or(PRECISION_OF_MEAN, |at| 1.0 / self.of[at])
    }
}

/// The equations factored for given variances and weights.
pub(super) struct Solved {
    /// Factor of the columns' equations, jobs taken out.
    pub factor: Factored,
    /// The columns' likeliest values.
    pub values: Vec<f64>,
    jobs: Vec<Taken>,
}

/// A job that was taken out: its own precision, what links it to the columns, and its own right-hand side.
struct Taken {
    precision: f64,
    links: Vec<(usize, f64)>,
    right: f64,
}

impl System {
    pub(super) fn new(design: &Design, values: &[f64]) -> Self {
        let rows = design.tangent(values).into_iter();
        let mut starts = vec![0; design.jobs + 1];
        for row in &design.rows {
            starts[row.job + 1] += 1;
        }
        for at in 1..starts.len() {
            starts[at] += starts[at - 1];
        }
        Self {
            rows: rows
                .map(|(coefficients, figure)| Line {
                    coefficients,
                    figure,
                })
                .collect(),
            starts,
            kinds: design.kinds.clone(),
        }
    }

    pub(super) fn len(&self) -> usize {
        self.rows.len()
    }

    fn of_job(&self, job: usize) -> std::ops::Range<usize> {
        self.starts[job]..self.starts[job + 1]
    }

    pub(super) fn jobs(&self) -> usize {
        self.starts.len() - 1
    }

    /// Sets up and factors the equations; `weights` are the rows' precisions over that of the scatter.
    pub(super) fn solve(&self, weights: &[f64], variances: &Variances) -> Option<Solved> {
        let size = self.kinds.len();
        let mut matrix = Lower::zero(size);
        let mut right = vec![0.0; size];
        for (i, kind) in self.kinds.iter().enumerate() {
            matrix.add(i, i, variances.precision(*kind));
        }
        let mut jobs = Vec::with_capacity(self.jobs());
        let mut links = vec![0.0; size];
        for job in 0..self.jobs() {
            let mut taken = Taken {
                precision: 1.0 / variances.of[JOB],
                links: Vec::new(),
                right: 0.0,
            };
            let mut touched: Vec<usize> = Vec::new();
            for at in self.of_job(job) {
                let (line, weight) = (&self.rows[at], weights[at] / variances.scatter);
                for (n, (i, a)) in line.coefficients.iter().enumerate() {
                    let weighted = a * weight;
                    right[*i] += weighted * line.figure;
                    links[*i] += weighted;
                    touched.push(*i);
                    matrix.add(*i, *i, weighted * a);
                    for (j, b) in &line.coefficients[..n] {
                        matrix.add(*i, *j, weighted * b);
                    }
                }
                taken.precision += weight;
                taken.right += weight * line.figure;
            }
            touched.sort_unstable();
            touched.dedup();
            taken.links = touched.iter().map(|i| (*i, links[*i])).collect();
            for (n, (i, a)) in taken.links.iter().enumerate() {
                let share = a / taken.precision;
                right[*i] -= share * taken.right;
                for (j, b) in &taken.links[..=n] {
                    matrix.add(*i, *j, -share * b);
                }
                links[*i] = 0.0;
            }
            jobs.push(taken);
        }
        let factor = matrix.factor()?;
        factor.solve(&mut right);
        Some(Solved {
            factor,
            values: right,
            jobs,
        })
    }

    /// What is left of a row's figure by columns and jobs.
    pub(super) fn residuals(&self, values: &[f64], jobs: &[f64]) -> Vec<f64> {
        let mut left = Vec::with_capacity(self.len());
        for (job, effect) in jobs.iter().enumerate() {
            for line in &self.rows[self.of_job(job)] {
                let said: f64 = line.coefficients.iter().map(|(i, a)| a * values[*i]).sum();
                left.push(line.figure - said - effect);
            }
        }
        left
    }

    /// Squares that are expected with the columns and jobs as uncertain as they are: of each row's residual, and for each
    /// kind of deviation the sum of its squares with how many there are.
    pub(super) fn expected_squares(
        &self,
        solved: &Solved,
    ) -> (Vec<f64>, [(f64, usize); VARIANCES]) {
        let inverse = solved.factor.inverse();
        let jobs = solved.job_means(&solved.values);
        let mut of = [(0.0, 0); VARIANCES];
        for (i, kind) in self.kinds.iter().enumerate() {
            if let Some(at) = VARIED.iter().position(|k| k == kind) {
                of[at].0 += solved.values[i].powi(2) + inverse.at(i, i);
                of[at].1 += 1;
            }
        }
        let quadratic = |x: &[(usize, f64)]| -> f64 {
            let mut sum = 0.0;
            for (n, (i, a)) in x.iter().enumerate() {
                sum += a * a * inverse.at(*i, *i);
                for (j, b) in &x[..n] {
                    sum += 2.0 * a * b * inverse.at(*i, *j);
                }
            }
            sum
        };
        let mut squares = self.residuals(&solved.values, &jobs);
        let mut scratch = vec![0.0; self.kinds.len()];
        for (job, taken) in solved.jobs.iter().enumerate() {
            let share: Vec<(usize, f64)> = taken
                .links
                .iter()
                .map(|(i, a)| (*i, a / taken.precision))
                .collect();
            let variance = 1.0 / taken.precision;
            of[JOB].0 += jobs[job].powi(2) + variance + quadratic(&share);
            of[JOB].1 += 1;
            for at in self.of_job(job) {
                for (i, a) in &share {
                    scratch[*i] -= a;
                }
                for (i, a) in &self.rows[at].coefficients {
                    scratch[*i] += a;
                }
                let net: Vec<(usize, f64)> = share
                    .iter()
                    .map(|(i, _)| (*i, std::mem::take(&mut scratch[*i])))
                    .collect();
                squares[at] = squares[at].powi(2) + quadratic(&net) + variance;
            }
        }
        (squares, of)
    }

    /// Kinds of the columns.
    pub(super) fn kinds(&self) -> &[Kind] {
        &self.kinds
    }
}

impl Solved {
    /// The likeliest effect of each job, given the columns.
    pub(super) fn job_means(&self, values: &[f64]) -> Vec<f64> {
        self.jobs
            .iter()
            .map(|taken| {
                let linked: f64 = taken.links.iter().map(|(i, a)| a * values[*i]).sum();
                (taken.right - linked) / taken.precision
            })
            .collect()
    }

    /// Variance of each job's effect, given the columns.
    pub(super) fn job_variances(&self) -> impl Iterator<Item = f64> {
        self.jobs.iter().map(|taken| 1.0 / taken.precision)
    }
}
