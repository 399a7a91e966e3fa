//! A log-normal factor with a mean of one.

use statrs::function::erf::{erfc, erfc_inv};
use std::f64::consts::SQRT_2;

/// The standard normal quantile; `p` is kept off 0 and 1.
#[must_use]
pub fn normal_quantile(p: f64) -> f64 {
    -SQRT_2 * erfc_inv(2.0 * p.clamp(1e-300, 1.0 - 1e-16))
}

/// A log-normal factor with a mean of one: its logarithm is normal about −σ²/2 with deviation σ.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Factor {
    sigma: f64,
}

impl Factor {
    /// Always one.
    pub const ONE: Self = Self { sigma: 0.0 };

    /// With this coefficient of variation: σ² = ln(1 + cv²).
    #[must_use]
    pub fn of_cv(cv: f64) -> Self {
        Self {
            sigma: (cv * cv).ln_1p().sqrt(),
        }
    }

    /// The product of independent factors, which is one again: variances of logarithms add.
    #[must_use]
    pub fn times(self, other: Self) -> Self {
        Self {
            sigma: self.sigma.hypot(other.sigma),
        }
    }

    /// Deviation of its logarithm.
    #[must_use]
    pub fn sigma(self) -> f64 {
        self.sigma
    }

    /// Whether it is always one.
    #[must_use]
    pub fn is_one(self) -> bool {
        self.sigma <= 0.0
    }

    /// Its logarithm at a standard normal deviate.
    #[inline]
    #[must_use]
    pub fn log_at(self, z: f64) -> f64 {
        self.sigma * (z - self.sigma / 2.0)
    }

    /// The factor that is not exceeded with probability `p`.
    #[must_use]
    pub fn quantile(self, p: f64) -> f64 {
        self.log_at(normal_quantile(p)).exp()
    }

    /// The factor that is not exceeded with probability `p` **given that it is above `above`**: what a started operation
    /// takes, when it has taken so much already.
    ///
    /// By inversion of the survival function S, exactly: the x with S(x) = (1 − p)·S(above). Survival is used and not
    /// the distribution function, so that it stays exact far out, where the latter is 1 in all its digits.
    #[must_use]
    pub fn quantile_above(self, p: f64, above: f64) -> f64 {
        if above <= 0.0 {
            return self.quantile(p);
        }
        if self.is_one() {
            return above.max(1.0);
        }
        let z = above.ln() / self.sigma + self.sigma / 2.0;
        let survives = 0.5 * erfc(z / SQRT_2);
        let beyond = (1.0 - p.clamp(0.0, 1.0)) * survives;
        if beyond < 1e-290 {
            // Thirty-six deviations out: no figure is left to invert.
            return above;
        }
        self.log_at(SQRT_2 * erfc_inv(2.0 * beyond))
            .exp()
            .max(above)
    }

    /// Its mean **given that it is above `above`**: Φ((σ²/2 − ln a)/σ) / Φ((−σ²/2 − ln a)/σ), the partial mean of the
    /// log-normal over its survival (Johnson, Kotz and Balakrishnan 1994, "Continuous univariate distributions" 1, chapter
    /// 14, from memory).
    #[must_use]
    pub fn mean_above(self, above: f64) -> f64 {
        if above <= 0.0 || self.is_one() {
            return above.max(1.0);
        }
        let phi = |x: f64| 0.5 * erfc(-x / SQRT_2);
        let z = above.ln() / self.sigma;
        let survives = phi(-self.sigma / 2.0 - z);
        if survives < 1e-290 {
            return above;
        }
        (phi(self.sigma / 2.0 - z) / survives).max(above)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ContinuousCDF, LogNormal, Normal};

    #[test]
    fn quantiles_and_products_are_those_of_the_log_normal() {
        let normal = Normal::standard();
        for p in [1e-9, 0.02, 0.2, 0.5, 0.8, 0.999] {
            assert!(
                (normal_quantile(p) - normal.inverse_cdf(p)).abs() < 1e-7,
                "{p}"
            );
        }
        for cv in [0.05f64, 0.3, 1.2] {
            let variance = (1.0 + cv * cv).ln();
            let reference = LogNormal::new(-variance / 2.0, variance.sqrt()).unwrap();
            for p in [0.05, 0.5, 0.95] {
                let (ours, theirs) = (Factor::of_cv(cv).quantile(p), reference.inverse_cdf(p));
                assert!((ours / theirs - 1.0).abs() < 1e-7, "{ours} {theirs}");
            }
        }
        // (1 + a²)(1 + b²) − 1 is the squared coefficient of variation of a product of independent factors with mean one
        // (Goodman 1960, "On the exact variance of products").
        let product = Factor::of_cv(0.3).times(Factor::of_cv(0.4));
        let whole = Factor::of_cv((1.09f64 * 1.16 - 1.0).sqrt());
        assert!((product.sigma() - whole.sigma()).abs() < 1e-12);
    }

    /// Against the truncated distribution of statrs: F⁻¹(F(a) + p·(1 − F(a))); and far out, where that has no digits
    /// left, by its own definition.
    #[test]
    fn what_is_left_of_started_work_has_the_conditional_distribution() {
        let cv = 0.35f64;
        let variance = (1.0 + cv * cv).ln();
        let reference = LogNormal::new(-variance / 2.0, variance.sqrt()).unwrap();
        let factor = Factor::of_cv(cv);
        for above in [0.0, 0.4, 1.0, 1.9, 2.6] {
            for p in [0.01, 0.3, 0.5, 0.8, 0.99] {
                let at = reference.cdf(above);
                let theirs = reference.inverse_cdf(at + p * (1.0 - at));
                let ours = factor.quantile_above(p, above);
                assert!(
                    (ours / theirs - 1.0).abs() < 1e-5,
                    "{above} {p}: {ours} {theirs}"
                );
            }
        }
        // Its mean is the mean of its quantiles.
        for above in [0.4, 1.0, 2.6] {
            let n = 20_000;
            let quantiles =
                (0..n).map(|i| factor.quantile_above((f64::from(i) + 0.5) / f64::from(n), above));
            let mean = quantiles.sum::<f64>() / f64::from(n);
            assert!(
                (factor.mean_above(above) / mean - 1.0).abs() < 1e-4,
                "{above}: {mean}"
            );
        }
        let far = factor.quantile_above(0.5, 9.0);
        let share = reference.sf(far) / reference.sf(9.0);
        assert!((share - 0.5).abs() < 1e-6, "{share}");
        for (factor, above, takes) in [
            (Factor::ONE, 0.4, 1.0),
            (Factor::ONE, 1.3, 1.3),
            (factor, 1e9, 1e9),
        ] {
            assert!((factor.quantile_above(0.5, above) - takes).abs() < 1e-9);
        }
    }
}
