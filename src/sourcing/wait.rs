//! How long until one worth having turns up.
//!
//! Acceptable sightings are taken to arrive as a Poisson process whose rate is not known but has a Gamma distribution,
//! the conjugate prior: after `k` of them in `T` days, Gamma(α₀ + k, β₀ + T). Averaged over that uncertainty the wait
//! for the next is Lomax, P(wait > t) = (β/(β+t))^α (Lomax 1954; as a gamma–exponential mixture with its mean
//! β/(α−1) in the documentation of R's `bayesmeta::dlomax`).

use super::Unusable;
use rand::{Rng, RngExt};
use rand_distr::{Distribution, Gamma};

/// What is known of the rate at which acceptable ones turn up: Gamma(shape, rate) per day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wait {
    shape: f64,
    rate: f64,
    gamma: Gamma<f64>,
}

impl Wait {
    /// From `acceptable` sightings in `days` of watch and the opinion that one turns up within `likely_days` as
    /// likely as not.
    ///
    /// The opinion is worth one sighting: Gamma(1, likely days), whose median wait is `likely_days` exactly and whose
    /// mean is infinite, so that it never pretends to know when the wait must end.
    ///
    /// # Errors
    /// [`Unusable`] when days are not finite, negative, or the opinion is not above zero.
    pub fn new(likely_days: f64, acceptable: u32, days: f64) -> Result<Self, Unusable> {
        Self::from_gamma(1.0 + f64::from(acceptable), likely_days + days.max(0.0))
            .filter(|_| likely_days > 0.0)
            .ok_or_else(|| Unusable::of("the likely wait must be at least a day"))
    }

    /// From the Gamma's shape α and rate β (days) themselves.
    fn from_gamma(shape: f64, rate: f64) -> Option<Self> {
        if !rate.is_finite() || !shape.is_finite() {
            return None;
        }
        let gamma = Gamma::new(shape, 1.0 / rate).ok()?;
        Some(Self { shape, rate, gamma })
    }

    /// The Gamma's shape α.
    #[must_use]
    pub fn shape(&self) -> f64 {
        self.shape
    }

    /// The Gamma's rate β, in days.
    #[must_use]
    pub fn rate(&self) -> f64 {
        self.rate
    }

    /// Chance that the next acceptable one turns up within `days`.
    #[must_use]
    pub fn chance_within(&self, days: f64) -> f64 {
        // −expm1(−α·ln(1 + t/β)) keeps its digits for short times, where 1 − (β/(β+t))^α would not.
        -(-self.shape * (days.max(0.0) / self.rate).ln_1p()).exp_m1()
    }

    /// Days within which the next turns up with chance `p`, 0 ≤ p < 1; infinite at 1.
    #[must_use]
    pub fn quantile(&self, p: f64) -> f64 {
        let p = p.clamp(0.0, 1.0);
        self.rate * (-(-p).ln_1p() / self.shape).exp_m1()
    }

    /// Mean days to the next; `None` when it is infinite (α ≤ 1), as with nothing seen at all.
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        (self.shape > 1.0).then(|| self.rate / (self.shape - 1.0))
    }

    /// A wait for the next, in days, by inversion.
    pub fn sample<R: Rng + ?Sized>(&self, rng: &mut R) -> f64 {
        self.quantile(rng.random())
    }

    /// A rate per day, to be shared by all waits of one future.
    pub fn sample_rate<R: Rng + ?Sized>(&self, rng: &mut R) -> f64 {
        self.gamma.sample(rng)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use rand::SeedableRng;

    fn near(a: f64, b: f64) {
        assert!((a - b).abs() <= 1e-9 * b.abs().max(1.0), "{a} is not {b}");
    }

    /// Recorded with SciPy 1.17.1:
    /// `from scipy import stats as s; a, b = 4, 545`
    /// `print([s.lomax.cdf(t, a, scale=b) for t in (30, 180, 365)])`
    /// `print([s.lomax.ppf(p, a, scale=b) for p in (.1, .5, .8, .95)])`
    /// `print(s.lomax.mean(a, scale=b))`
    #[test]
    fn agrees_with_scipy() {
        let wait = Wait::new(180.0, 3, 365.0).unwrap();
        near(wait.chance_within(30.0), 0.192_923_633_063_060_8);
        near(wait.chance_within(180.0), 0.680_674_219_157_590_7);
        near(wait.chance_within(365.0), 0.871_346_845_352_197_9);
        near(wait.quantile(0.1), 14.546_102_363_785_833);
        near(wait.quantile(0.5), 103.117_877_676_482_96);
        near(wait.quantile(0.8), 269.965_085_765_565_2);
        near(wait.quantile(0.95), 607.534_677_150_214_6);
        near(wait.mean().unwrap(), 181.666_666_666_666_63);
    }

    #[test]
    fn nothing_seen_is_wide_and_has_no_mean() {
        let wait = Wait::new(180.0, 0, 0.0).unwrap();
        near(wait.quantile(0.5), 180.0);
        near(wait.quantile(0.8), 720.0);
        assert_eq!(wait.mean(), None);
        assert!(Wait::new(0.0, 3, 100.0).is_err());
        assert!(Wait::new(f64::NAN, 3, 100.0).is_err());
    }

    /// A wait drawn through a rate and a wait drawn directly have one distribution: the mixture is the model.
    #[test]
    fn a_wait_through_its_rate_is_lomax() {
        let wait = Wait::new(180.0, 3, 365.0).unwrap();
        let mut rng = rand_pcg::Pcg64::seed_from_u64(11);
        let n = 40_000;
        let mut within = [0_u32; 2];
        for _ in 0..n {
            let gap: f64 = rand_distr::Exp1.sample(&mut rng);
            within[0] += u32::from(gap / wait.sample_rate(&mut rng) <= 180.0);
            within[1] += u32::from(wait.sample(&mut rng) <= 180.0);
        }
        // Four standard errors of a proportion at n = 40,000 are under 0.01.
        for count in within {
            assert!((f64::from(count) / f64::from(n) - wait.chance_within(180.0)).abs() < 0.01);
        }
    }

    proptest! {
        #[test]
        fn quantile_undoes_chance(likely in 1.0..2000.0_f64, k in 0_u32..60, days in 0.0..4000.0_f64, t in 0.01..3000.0_f64) {
            let wait = Wait::new(likely, k, days).unwrap();
            let back = wait.quantile(wait.chance_within(t));
            // Near certainty the chance itself has no digits left to come back from.
            prop_assume!(wait.chance_within(t) < 0.999_999);
            prop_assert!((back - t).abs() < 1e-6 * t);
        }

        #[test]
        fn seeing_more_at_the_same_rate_narrows_it(k in 1_u32..40) {
            let width = |k: u32| {
                let wait = Wait::new(100.0, k, 100.0 * f64::from(k)).unwrap();
                wait.quantile(0.9).ln() - wait.quantile(0.1).ln()
            };
            prop_assert!(width(k + 1) < width(k));
        }
    }
}
