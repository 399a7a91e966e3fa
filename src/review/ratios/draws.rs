//! How sure it is: draws from the posterior by blocked Gibbs sampling, from the mode on.
//!
//! In turn: all columns and jobs together from their normal distribution (their equations solved, and a draw with the
//! inverse as covariance); the precision of each row from its gamma distribution, which makes the scatter Student's t; the
//! degrees of freedom from a short list; the scatter and each variance from inverse gammas. Deviations have half-Cauchy
//! priors (Gelman 2006, "Prior distributions for variance parameters in hierarchical models"), drawn as inverse gammas of
//! inverse gammas (Makalic and Schmidt 2016, "A simple sampler for the horseshoe estimator"; formulas from memory).

use super::design::{Design, JOB, VARIANCES, VARIED};
use super::mode::Mode;
use super::system::{System, Variances};
use crate::estimating::variation::normal_quantile;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Gamma, StandardNormal};
use rand_pcg::Pcg64;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Draws left out while the sampler finds its way from the mode, and draws kept. Chosen by the measured coverage of the
/// intervals: docs/learning.md.
const FIRST: usize = 100;
const KEPT: usize = 500;

/// Scale of the half-Cauchy priors: one standard deviation in two is below a tenth. Common practice, no source.
const SCALE: f64 = 0.1;

/// Degrees of freedom that the scatter may have, equally likely before: from tails so heavy that a variance hardly exists
/// to nearly normal.
const FREEDOMS: [f64; 5] = [3.0, 4.0, 6.0, 10.0, 30.0];

/// One draw.
#[derive(Debug, Clone)]
pub(super) struct Draw {
    /// Values of the columns.
    pub values: Vec<f64>,
    /// Variances; that of the scatter is of ordinary rows, see [`ordinary`].
    pub variances: Variances,
}

/// All that is kept of the draws.
#[derive(Debug, Clone)]
pub(super) struct Draws {
    /// The draws.
    pub draws: Vec<Draw>,
    /// Mean effect of each job.
    pub jobs: Vec<f64>,
    /// Mean precision of each row over that of the scatter: small for what does not look like work.
    pub weights: Vec<f64>,
}

/// The variance of a normal with the same middle four fifths as a Student's t of scale one: what ordinary work scatters by,
/// with the tails that are clocks nobody stopped left out.
fn ordinary(freedom: f64) -> f64 {
    let t = StudentsT::new(0.0, 1.0, freedom).map_or(f64::NAN, |t| t.inverse_cdf(0.9));
    (t / normal_quantile(0.9)).powi(2)
}

fn gamma(rng: &mut Pcg64, shape: f64, rate: f64) -> f64 {
    Gamma::new(shape, 1.0 / rate).map_or(shape / rate, |g| g.sample(rng))
}

/// Logarithm of the likelihood of the squared residuals over the scatter's variance, but for what does not depend on the
/// degrees of freedom.
fn log_likelihood(freedom: f64, squares: &[f64]) -> f64 {
    use statrs::function::gamma::ln_gamma;
    let each = ln_gamma(f64::midpoint(freedom, 1.0))
        - ln_gamma(freedom / 2.0)
        - (freedom * std::f64::consts::PI).ln() / 2.0;
    let tails: f64 = squares.iter().map(|s| (s / freedom).ln_1p()).sum();
    each * squares.len() as f64 - f64::midpoint(freedom, 1.0) * tails
}

fn pick_freedom(rng: &mut Pcg64, squares: &[f64]) -> usize {
    let logs = FREEDOMS.map(|f| log_likelihood(f, squares));
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let chances = logs.map(|l| (l - most).exp());
    let mut left: f64 = rng.random::<f64>() * chances.iter().sum::<f64>();
    for (at, chance) in chances.iter().enumerate() {
        left -= chance;
        if left <= 0.0 {
            return at;
        }
    }
    FREEDOMS.len() - 1
}

/// The draws; none when the system cannot be solved.
pub(super) fn draws(design: &Design, mode: &Mode, seed: u64) -> Option<Draws> {
    let mut rng = Pcg64::seed_from_u64(seed);
    let system = System::new(design, &mode.values);
    let mut variances = mode.variances;
    let mut weights = mode.weights.clone();
    let ordinary = FREEDOMS.map(ordinary);
    let mut of_prior = [SCALE * SCALE; VARIANCES];
    let mut freedom = 1;
    let mut kept = Draws {
        draws: Vec::with_capacity(KEPT),
        jobs: vec![0.0; system.jobs()],
        weights: vec![0.0; system.len()],
    };
    let mut noise = vec![0.0; system.kinds().len()];
    for round in 0..FIRST + KEPT {
        let solved = system.solve(&weights, &variances)?;
        noise.fill_with(|| StandardNormal.sample(&mut rng));
        solved.factor.backward(&mut noise);
        let values: Vec<f64> = solved
            .values
            .iter()
            .zip(&noise)
            .map(|(v, n)| v + n)
            .collect();
        let mut jobs = solved.job_means(&values);
        for (job, variance) in jobs.iter_mut().zip(solved.job_variances()) {
            let normal: f64 = StandardNormal.sample(&mut rng);
            *job += normal * variance.sqrt();
        }
        let squares: Vec<f64> = system
            .residuals(&values, &jobs)
            .into_iter()
            .map(|r| r * r)
            .collect();
        scatter(
            &mut rng,
            &squares,
            &mut weights,
            &mut variances.scatter,
            &mut freedom,
        );
        deviations(
            &mut rng,
            &system,
            &values,
            &jobs,
            &mut variances,
            &mut of_prior,
        );
        if round >= FIRST {
            let part = 1.0 / KEPT as f64;
            for (mean, job) in kept.jobs.iter_mut().zip(&jobs) {
                *mean += part * job;
            }
            for (mean, weight) in kept.weights.iter_mut().zip(&weights) {
                *mean += part * weight;
            }
            let mut variances = variances;
            variances.scatter *= ordinary[freedom];
            kept.draws.push(Draw { values, variances });
        }
    }
    Some(kept)
}

/// Draws the degrees of freedom, the rows' precisions and the scatter's variance.
fn scatter(
    rng: &mut Pcg64,
    squares: &[f64],
    weights: &mut [f64],
    variance: &mut f64,
    freedom: &mut usize,
) {
    let over: Vec<f64> = squares.iter().map(|s| s / *variance).collect();
    *freedom = pick_freedom(rng, &over);
    let nu = FREEDOMS[*freedom];
    let mut sum = 0.0;
    for ((weight, over), square) in weights.iter_mut().zip(&over).zip(squares) {
        *weight = gamma(rng, f64::midpoint(nu, 1.0), f64::midpoint(nu, *over));
        sum += *weight * square;
    }
    *variance = 1.0 / gamma(rng, squares.len() as f64 / 2.0, sum / 2.0);
}

/// Draws the variances of elements, people, months and jobs.
fn deviations(
    rng: &mut Pcg64,
    system: &System,
    values: &[f64],
    jobs: &[f64],
    variances: &mut Variances,
    of_prior: &mut [f64; VARIANCES],
) {
    let mut sums = [(0.0, 0.0); VARIANCES];
    for (kind, value) in system.kinds().iter().zip(values) {
        if let Some(at) = VARIED.iter().position(|k| k == kind) {
            sums[at].0 += value * value;
            sums[at].1 += 1.0;
        }
    }
    sums[JOB] = (jobs.iter().map(|j| j * j).sum(), jobs.len() as f64);
    for ((variance, prior), (sum, count)) in variances.of.iter_mut().zip(of_prior).zip(sums) {
        let drawn = gamma(rng, (count + 1.0) / 2.0, sum / 2.0 + 1.0 / *prior);
        *variance = (1.0 / drawn).clamp(1e-8, 25.0);
        *prior = 1.0 / gamma(rng, 1.0, 1.0 / *variance + 1.0 / (SCALE * SCALE));
    }
}
