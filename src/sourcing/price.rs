//! What one costs.
//!
//! Prices spread by ratio, not by pounds, so it is the logarithm that is taken to be Normal, with mean and variance
//! unknown and a Normal–Inverse-Gamma prior. With x̄ and S = Σ(x−x̄)² of `n` logarithms,
//! κₙ = κ₀+n, mₙ = (κ₀m₀+n·x̄)/κₙ, aₙ = a₀+n/2, bₙ = b₀ + S/2 + κ₀n(x̄−m₀)²/(2κₙ),
//! and the next is Student t with 2aₙ degrees of freedom about mₙ with squared scale bₙ(κₙ+1)/(aₙκₙ)
//! (Murphy 2007, "Conjugate Bayesian analysis of the Gaussian distribution"; the update as in the documentation of
//! the `aprender` crate's `NormalInverseGamma`, the predictive as in `cprior`'s "Normal-normal-inverse-gamma
//! conjugate model"; Gelman et al., Bayesian Data Analysis, from memory).
//!
//! The mean of such a price is infinite: the exponential of a Student t has no mean. So none is offered; quantiles are.
//! Nor does a shop pay whatever is asked: a price drawn for a future is at most [`MOST_TIMES_MIDDLE`] times the middle one.

use super::Unusable;
use rand::Rng;
use rand_distr::{Distribution, Gamma, StandardNormal};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// κ₀: how many sightings the opinion on the level is worth.
const OPINION_LEVEL: f64 = 1.0;
/// a₀: half the sightings the opinion on the spread is worth.
const OPINION_SPREAD: f64 = 1.0;
/// The share of prices that lie within likely ÷ factor and likely × factor.
const OPINION_WITHIN: f64 = 0.8;
/// No price is above this, in minor units: far beyond any casting, and safe to add up.
const DEAREST_MINOR: f64 = 1e14;
/// The most a shop pays, in middle prices of what it believes. With two degrees of freedom and a factor of two, one
/// price in a thousand is dearer; of a borrowed price, with a factor of five, one in eighteen. Without it a few draws out
/// of a thousand decide every sum. Common practice, no source.
pub const MOST_TIMES_MIDDLE: f64 = 10.0;

/// What a shop thinks before it has seen prices: eight times in ten within likely ÷ factor and likely × factor.
/// The opinion on the level weighs as one sighting, that on the spread as two.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PriceOpinion {
    /// Likely price, in minor units of the shop's currency. Above zero.
    pub likely_minor: f64,
    /// How far out it may be. Above one.
    pub factor: f64,
}

/// What is known of prices, in minor units of one currency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Price {
    level: f64,
    weight: f64,
    predictive: StudentsT,
    /// Of 1/σ²: Gamma(aₙ, rate bₙ).
    precision: Gamma<f64>,
}

impl Price {
    /// From asked prices in minor units and an opinion.
    ///
    /// # Errors
    /// [`Unusable`] when the likely price is not above zero, the factor not above one, or a price not above zero.
    pub fn new(opinion: PriceOpinion, asked_minor: &[i64]) -> Result<Self, Unusable> {
        let PriceOpinion {
            likely_minor,
            factor,
        } = opinion;
        if !(likely_minor.is_finite() && likely_minor > 0.0) {
            return Err(Unusable::of("the likely price must be above zero"));
        }
        if !(factor.is_finite() && factor > 1.0) {
            return Err(Unusable::of("the price factor must be above 1"));
        }
        if asked_minor.iter().any(|&price| price <= 0) {
            return Err(Unusable::of("an asked price must be above zero"));
        }
        let (k0, a0, m0) = (OPINION_LEVEL, OPINION_SPREAD, likely_minor.ln());
        // The factor fixes b₀: the prior's own predictive scale is what puts OPINION_WITHIN inside ± ln factor.
        let unit = StudentsT::new(0.0, 1.0, 2.0 * a0).map_err(Unusable::of)?;
        let scale0 = factor.ln() / unit.inverse_cdf(0.5 + OPINION_WITHIN / 2.0);
        let b0 = scale0 * scale0 * a0 * k0 / (k0 + 1.0);

        let logs = || asked_minor.iter().map(|&price| (price as f64).ln());
        let n = asked_minor.len() as f64;
        let mean = logs().sum::<f64>() / n.max(1.0);
        let squares = logs().map(|x| (x - mean) * (x - mean)).sum::<f64>();
        let weight = k0 + n;
        let level = (k0 * m0 + n * mean) / weight;
        let a = a0 + n / 2.0;
        let b = b0 + squares / 2.0 + k0 * n * (mean - m0) * (mean - m0) / (2.0 * weight);
        Ok(Self {
            level,
            weight,
            predictive: StudentsT::new(level, (b * (weight + 1.0) / (a * weight)).sqrt(), 2.0 * a)
                .map_err(Unusable::of)?,
            precision: Gamma::new(a, 1.0 / b).map_err(Unusable::of)?,
        })
    }

    /// Location of the Student t of the logarithm of the price in minor units.
    #[must_use]
    pub fn location(&self) -> f64 {
        self.predictive.location()
    }

    /// Its scale.
    #[must_use]
    pub fn scale(&self) -> f64 {
        self.predictive.scale()
    }

    /// Its degrees of freedom.
    #[must_use]
    pub fn freedom(&self) -> f64 {
        self.predictive.freedom()
    }

    /// Chance that the next costs at most `minor` units.
    #[must_use]
    pub fn chance_at_most(&self, minor: f64) -> f64 {
        if minor > 0.0 {
            self.predictive.cdf(minor.ln())
        } else {
            0.0
        }
    }

    /// The price, in minor units, that the next does not exceed with chance `p`, 0 < p < 1.
    #[must_use]
    pub fn quantile(&self, p: f64) -> f64 {
        self.predictive
            .inverse_cdf(p.clamp(0.0, 1.0))
            .exp()
            .min(DEAREST_MINOR)
    }

    /// The most the shop pays for one, in minor units: [`MOST_TIMES_MIDDLE`] times the middle price.
    #[must_use]
    pub fn most(&self) -> f64 {
        (MOST_TIMES_MIDDLE * self.level.exp()).min(DEAREST_MINOR)
    }

    /// A price level to be shared by all purchases of one future.
    pub fn sample_level<R: Rng + ?Sized>(&self, rng: &mut R) -> PriceLevel {
        let deviation = self.precision.sample(rng).sqrt().recip();
        let z: f64 = StandardNormal.sample(rng);
        PriceLevel {
            mean: self.level + deviation * z / self.weight.sqrt(),
            deviation,
            most: self.most(),
        }
    }
}

/// Mean and standard deviation of the logarithm of prices in one future.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PriceLevel {
    mean: f64,
    deviation: f64,
    /// No price is above this, in minor units.
    most: f64,
}

impl PriceLevel {
    /// One price, in whole minor units, at most [`Price::most`].
    pub fn sample<R: Rng + ?Sized>(&self, rng: &mut R) -> i64 {
        let z: f64 = StandardNormal.sample(rng);
        (self.mean + self.deviation * z)
            .exp()
            .min(self.most)
            .round() as i64
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use rand::SeedableRng;

    const ASKED: [i64; 5] = [85_000, 110_000, 95_000, 140_000, 90_000];

    fn opinion() -> PriceOpinion {
        PriceOpinion {
            likely_minor: 90_000.0,
            factor: 2.0,
        }
    }

    fn near(a: f64, b: f64) {
        assert!((a - b).abs() <= 1e-8 * b.abs().max(1.0), "{a} is not {b}");
    }

    /// Recorded with SciPy 1.17.1 by the formulas above:
    /// `import numpy as np; from scipy import stats as s`
    /// `x = np.log([85e3, 110e3, 95e3, 140e3, 90e3]); n, m0 = 5, np.log(90e3)`
    /// `b0 = (np.log(2) / s.t.ppf(.9, 2)) ** 2 / 2; k, a = 1 + n, 1 + n / 2`
    /// `m = (m0 + n * x.mean()) / k`
    /// `b = b0 + ((x - x.mean()) ** 2).sum() / 2 + n * (x.mean() - m0) ** 2 / (2 * k)`
    /// `d = s.t(2 * a, m, np.sqrt(b * (k + 1) / (a * k)))`
    /// `print(m, np.sqrt(b * (k + 1) / (a * k)), np.exp(d.ppf([.1, .5, .8, .95])), d.cdf(np.log([80e3, 120e3])))`
    #[test]
    fn agrees_with_scipy() {
        let price = Price::new(opinion(), &ASKED).unwrap();
        near(price.location(), 11.514_133_658_507_655);
        near(price.scale(), 0.226_811_716_768_028_22);
        near(price.freedom(), 7.0);
        near(price.quantile(0.1), 72_635.737_617_552_37);
        near(price.quantile(0.5), 100_120.892_369_726_69);
        near(price.quantile(0.8), 122_683.565_400_212_94);
        near(price.quantile(0.95), 153_867.371_219_465_54);
        near(price.chance_at_most(80_000.0), 0.177_769_258_937_195_45);
        near(price.chance_at_most(120_000.0), 0.774_596_465_048_958_3);
    }

    #[test]
    fn nothing_seen_is_the_opinion_as_it_was_given() {
        let price = Price::new(opinion(), &[]).unwrap();
        near(price.quantile(0.5), 90_000.0);
        near(price.quantile(0.9), 180_000.0);
        near(price.quantile(0.1), 45_000.0);
    }

    #[test]
    fn refuses_what_has_no_logarithm() {
        assert!(Price::new(opinion(), &[0]).is_err());
        for (likely_minor, factor) in [
            (0.0, 2.0),
            (f64::NAN, 2.0),
            (900.0, 1.0),
            (900.0, f64::INFINITY),
        ] {
            assert!(
                Price::new(
                    PriceOpinion {
                        likely_minor,
                        factor
                    },
                    &[]
                )
                .is_err()
            );
        }
    }

    /// A price drawn through a shared level has the predictive distribution.
    #[test]
    fn a_price_through_its_level_is_student_t() {
        let price = Price::new(opinion(), &ASKED).unwrap();
        let mut rng = rand_pcg::Pcg64::seed_from_u64(5);
        let n = 40_000;
        for p in [0.1, 0.5, 0.8] {
            let limit = price.quantile(p);
            let below = (0..n)
                .filter(|_| (price.sample_level(&mut rng).sample(&mut rng) as f64) <= limit)
                .count();
            assert!(
                (below as f64 / f64::from(n) - p).abs() < 0.01,
                "{p}: {below}"
            );
        }
    }

    proptest! {
        /// However little is known, no price drawn is above the most a shop pays.
        #[test]
        fn no_price_is_drawn_above_the_most(
            asked in prop::collection::vec(1_000_i64..1_000_000, 0..4), factor in 1.1..100.0_f64, seed in any::<u64>()
        ) {
            let price = Price::new(PriceOpinion { likely_minor: 90_000.0, factor }, &asked).unwrap();
            let mut rng = rand_pcg::Pcg64::seed_from_u64(seed);
            for _ in 0..200 {
                let drawn = price.sample_level(&mut rng).sample(&mut rng) as f64;
                prop_assert!(drawn <= price.quantile(0.5) * MOST_TIMES_MIDDLE + 1.0, "{drawn}");
            }
        }

        #[test]
        fn quantile_undoes_chance(asked in prop::collection::vec(1_000_i64..1_000_000, 0..12), p in 0.01..0.99_f64) {
            let price = Price::new(opinion(), &asked).unwrap();
            let x = price.quantile(p);
            prop_assume!(x < DEAREST_MINOR);
            prop_assert!((price.chance_at_most(x) - p).abs() < 1e-6);
        }

        #[test]
        fn the_same_prices_seen_again_narrow_it(asked in prop::collection::vec(30_000_i64..300_000, 2..8)) {
            let width = |asked: &[i64]| {
                let price = Price::new(opinion(), asked).unwrap();
                (price.quantile(0.9) / price.quantile(0.1)).ln()
            };
            let twice: Vec<i64> = asked.iter().chain(&asked).copied().collect();
            let thrice: Vec<i64> = twice.iter().chain(&twice).copied().collect();
            prop_assert!(width(&thrice) < width(&twice) * 1.0001);
        }
    }
}
