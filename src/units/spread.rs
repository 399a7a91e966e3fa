//! How far a standard time spreads in practice, as ratios of the standard.

use rand::Rng;
use rand_distr::Distribution;
use rust_decimal::prelude::{FromPrimitive, ToPrimitive};
use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};
use statrs::distribution::ContinuousCDF;

/// Why a spread was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum SpreadError {
    /// The three points are out of order.
    #[error(
        "the lowest ratio must not be above the likeliest, nor the likeliest above the highest"
    )]
    OutOfOrder,
    /// A ratio of nothing or less.
    #[error("every ratio must be above 0")]
    NotPositive,
    /// A ratio nobody believes.
    #[error("a ratio above 100 is not believed")]
    TooLarge,
    /// A coefficient of variation out of range.
    #[error("the coefficient of variation must be from 0 to 3")]
    CvOutside,
}

/// The spread of a time as a ratio of its standard, so that a revised standard keeps its spread.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Spread {
    /// Three-point estimate: lowest, likeliest and highest ratio to the standard time, e.g. 0.8, 1.0, 1.6.
    ThreePoint {
        /// Lowest ratio.
        low: Decimal,
        /// Likeliest ratio.
        likely: Decimal,
        /// Highest ratio.
        high: Decimal,
    },
    /// Coefficient of variation about a mean ratio of one, log-normal.
    Cv {
        /// Standard deviation over mean.
        cv: Decimal,
    },
}

/// As a floating-point number, for formulas; every decimal has one.
fn float(decimal: Decimal) -> f64 {
    decimal.to_f64().unwrap_or(f64::NAN)
}

impl Spread {
    /// No spread at all: the standard time every time.
    pub const NONE: Self = Self::Cv { cv: Decimal::ZERO };

    /// A three-point spread, checked.
    ///
    /// # Errors
    /// [`SpreadError`].
    pub fn three_point(low: Decimal, likely: Decimal, high: Decimal) -> Result<Self, SpreadError> {
        let spread = Self::ThreePoint { low, likely, high };
        spread.validate().map(|()| spread)
    }

    /// A log-normal spread about a mean ratio of one, checked.
    ///
    /// # Errors
    /// [`SpreadError::CvOutside`].
    pub fn cv(cv: Decimal) -> Result<Self, SpreadError> {
        let spread = Self::Cv { cv };
        spread.validate().map(|()| spread)
    }

    /// Whether its figures make sense: low ≤ likely ≤ high, all above 0 and none above 100; cv from 0 to 3.
    ///
    /// # Errors
    /// [`SpreadError`], the first that is found.
    pub fn validate(&self) -> Result<(), SpreadError> {
        match *self {
            Self::ThreePoint { low, likely, high } => {
                if low <= Decimal::ZERO {
                    Err(SpreadError::NotPositive)
                } else if low > likely || likely > high {
                    Err(SpreadError::OutOfOrder)
                } else if high > Decimal::ONE_HUNDRED {
                    Err(SpreadError::TooLarge)
                } else {
                    Ok(())
                }
            }
            Self::Cv { cv } => {
                if cv < Decimal::ZERO || cv > Decimal::from(3) {
                    Err(SpreadError::CvOutside)
                } else {
                    Ok(())
                }
            }
        }
    }

    /// Mean ratio: (a + 4m + b)/6 for three points (Malcolm, Roseboom, Clark and Fazar 1959, "Application of a technique
    /// for research and development program evaluation", Operations Research 7(5)), one for a coefficient of variation.
    #[must_use]
    pub fn mean(&self) -> f64 {
        match *self {
            Self::ThreePoint { low, likely, high } => {
                (float(low) + 4.0 * float(likely) + float(high)) / 6.0
            }
            Self::Cv { .. } => 1.0,
        }
    }

    /// Variance of the ratio: ((b − a)/6)² for three points (Malcolm and others 1959), cv² for a coefficient of variation.
    /// It is also the variance of what [`RatioDistribution::sample`] gives, not an approximation to it.
    #[must_use]
    pub fn variance(&self) -> f64 {
        match *self {
            Self::ThreePoint { low, high, .. } => ((float(high) - float(low)) / 6.0).powi(2),
            Self::Cv { cv } => float(cv).powi(2),
        }
    }

    /// Standard deviation over mean.
    #[must_use]
    pub fn coefficient(&self) -> f64 {
        self.variance().sqrt() / self.mean()
    }

    /// The same mean and shape with another coefficient of variation, to a thousandth. Three points are moved towards their mean
    /// or away from it, but the lowest not below a tenth; without any spread before, only a mean of one can be given one.
    #[must_use]
    pub fn with_coefficient(&self, cv: Decimal) -> Option<Self> {
        let now = Decimal::from_f64(self.coefficient())?;
        match *self {
            Self::Cv { .. } => Self::cv(cv).ok(),
            Self::ThreePoint { .. } if now.is_zero() => ((self.mean() - 1.0).abs() < 1e-9)
                .then(|| Self::cv(cv).ok())
                .flatten(),
            Self::ThreePoint { low, likely, high } => {
                let mean = (low + Decimal::from(4) * likely + high) / Decimal::from(6);
                let least = dec!(0.1);
                let most = if low < mean && mean > least {
                    (mean - least) / (mean - low)
                } else {
                    Decimal::ONE
                };
                let by = (cv / now).min(most);
                let moved = |point: Decimal| (mean + (point - mean) * by).round_dp(3);
                Self::three_point(moved(low), moved(likely), moved(high)).ok()
            }
        }
    }

    /// The distribution of the ratio, made once for many samples.
    ///
    /// Three points: the beta distribution on `low` to `high` whose mean **and** variance are the two published PERT
    /// figures, by moments: with μ the mean and v = 1/36 the variance on the unit interval, α = μ·(μ(1 − μ)/v − 1) and
    /// β = (1 − μ)·(μ(1 − μ)/v − 1). (The other beta in use, with α = 1 + 4(m − a)/(b − a), keeps the mode instead and has
    /// a variance of (μ − a)(b − μ)/7; here the mode may lie a little off `likely`.) A coefficient of variation: the
    /// log-normal with σ² = ln(1 + cv²), −σ²/2 as its mean of the log, so that its mean is one.
    ///
    /// # Errors
    /// [`SpreadError`] when the figures make no sense.
    pub fn distribution(&self) -> Result<RatioDistribution, SpreadError> {
        self.validate()?;
        let shape = match *self {
            Self::ThreePoint { low, likely, high } => {
                if low == high {
                    Shape::Constant(float(likely))
                } else {
                    let (low, width) = (float(low), float(high - low));
                    let mu = (self.mean() - low) / width;
                    // mu is from 1/6 to 5/6, so mu(1 − mu) is at least 5/36 and both parameters are at least 2/3.
                    let total = 36.0 * mu * (1.0 - mu) - 1.0;
                    beta(low, width, mu * total, (1.0 - mu) * total)
                        .unwrap_or(Shape::Constant(self.mean()))
                }
            }
            Self::Cv { cv } if cv.is_zero() => Shape::Constant(1.0),
            Self::Cv { .. } => {
                let variance_of_log = self.variance().ln_1p();
                log_normal(-variance_of_log / 2.0, variance_of_log.sqrt())
                    .unwrap_or(Shape::Constant(1.0))
            }
        };
        Ok(RatioDistribution { shape })
    }
}

/// The distribution of a time's ratio to its standard.
#[derive(Debug, Clone, Copy)]
pub struct RatioDistribution {
    shape: Shape,
}

#[derive(Debug, Clone, Copy)]
enum Shape {
    Constant(f64),
    Beta {
        low: f64,
        width: f64,
        sampler: rand_distr::Beta<f64>,
        cdf: statrs::distribution::Beta,
    },
    LogNormal {
        sampler: rand_distr::LogNormal<f64>,
        cdf: statrs::distribution::LogNormal,
    },
}

/// `None` for parameters that are not those of a beta distribution, which a valid spread never gives.
fn beta(low: f64, width: f64, alpha: f64, beta: f64) -> Option<Shape> {
    Some(Shape::Beta {
        low,
        width,
        sampler: rand_distr::Beta::new(alpha, beta).ok()?,
        cdf: statrs::distribution::Beta::new(alpha, beta).ok()?,
    })
}

/// `None` for parameters that are not those of a log-normal distribution, which a valid spread never gives.
fn log_normal(location: f64, scale: f64) -> Option<Shape> {
    Some(Shape::LogNormal {
        sampler: rand_distr::LogNormal::new(location, scale).ok()?,
        cdf: statrs::distribution::LogNormal::new(location, scale).ok()?,
    })
}

impl RatioDistribution {
    /// One ratio drawn at random.
    pub fn sample(&self, rng: &mut impl Rng) -> f64 {
        match &self.shape {
            Shape::Constant(ratio) => *ratio,
            Shape::Beta {
                low,
                width,
                sampler,
                ..
            } => low + width * sampler.sample(rng),
            Shape::LogNormal { sampler, .. } => sampler.sample(rng),
        }
    }

    /// The ratio that is not exceeded with probability `p`; `p` outside 0 to 1 is taken as the nearer end.
    #[must_use]
    pub fn quantile(&self, p: f64) -> f64 {
        let p = p.clamp(0.0, 1.0);
        match &self.shape {
            Shape::Constant(ratio) => *ratio,
            Shape::Beta {
                low, width, cdf, ..
            } => low + width * cdf.inverse_cdf(p),
            Shape::LogNormal { cdf, .. } => cdf.inverse_cdf(p),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use rand_pcg::Pcg64;
    use rand_pcg::rand_core::SeedableRng;

    fn d(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn another_coefficient_keeps_the_mean_and_the_shape() {
        let three = Spread::three_point(d("0.8"), d("1.0"), d("1.8")).unwrap();
        let half = three.with_coefficient(d("0.075")).unwrap();
        assert!((half.mean() - three.mean()).abs() < 0.001);
        assert!((half.coefficient() - 0.075).abs() < 0.001, "{half:?}");
        // Towards nothing and back is where it was, to the last place that is kept.
        let back = half.with_coefficient(d("0.1515")).unwrap();
        assert!((back.coefficient() - three.coefficient()).abs() < 0.002);
        // Far out, the lowest stays a tenth.
        let Some(Spread::ThreePoint { low, .. }) = three.with_coefficient(d("2")) else {
            panic!("three points stay three points");
        };
        assert_eq!(low, d("0.1"));
        let cv = Spread::cv(d("0.2")).unwrap();
        assert_eq!(cv.with_coefficient(d("0.35")), Spread::cv(d("0.35")).ok());
        let exact = Spread::three_point(d("1"), d("1"), d("1")).unwrap();
        assert_eq!(exact.with_coefficient(d("0.1")), Spread::cv(d("0.1")).ok());
        let off = Spread::three_point(d("2"), d("2"), d("2")).unwrap();
        assert_eq!(off.with_coefficient(d("0.1")), None);
    }

    fn moments(spread: Spread, samples: u32) -> (f64, f64) {
        let distribution = spread.distribution().unwrap();
        let mut rng = Pcg64::seed_from_u64(7);
        let n = f64::from(samples);
        let drawn: Vec<f64> = (0..samples)
            .map(|_| distribution.sample(&mut rng))
            .collect();
        let mean = drawn.iter().sum::<f64>() / n;
        let variance = drawn.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0);
        (mean, variance)
    }

    /// The PERT figures as everyone prints them, e.g. maxwideman.com, "PERT calculation", te = (to + 4tm + tp)/6, and
    /// blog.youkuaiyun.com/hejishan, which quotes netmba.com: variance ((pessimistic − optimistic)/6)².
    #[test]
    fn mean_and_variance_are_the_published_pert_formulas() {
        let spread = Spread::three_point(d("0.8"), d("1.0"), d("1.6")).unwrap();
        assert!((spread.mean() - 6.4 / 6.0).abs() < 1e-12);
        assert!((spread.variance() - (0.8_f64 / 6.0).powi(2)).abs() < 1e-12);
    }

    /// The sampler has those two moments, also where the likeliest is at an end. The beta with mean 1/3 or 1/2 and
    /// variance 1/36 on the unit interval is how cob.sjsu.edu (R. Davis, "PERT and beta distributions") draws it.
    #[test]
    fn samples_have_the_same_mean_and_variance() {
        for (low, likely, high) in [
            ("0.8", "1.0", "1.6"),
            ("0.9", "1.0", "1.1"),
            ("1", "1", "3"),
            ("0.5", "2", "2"),
        ] {
            let spread = Spread::three_point(d(low), d(likely), d(high)).unwrap();
            let (mean, variance) = moments(spread, 200_000);
            let sigma = spread.variance().sqrt();
            assert!(
                (mean - spread.mean()).abs() < 5.0 * sigma / 200_000_f64.sqrt(),
                "{low} {likely} {high}"
            );
            assert!(
                (variance / spread.variance() - 1.0).abs() < 0.02,
                "{low} {likely} {high}"
            );
        }
        let spread = Spread::cv(d("0.25")).unwrap();
        let (mean, variance) = moments(spread, 200_000);
        assert!((mean - 1.0).abs() < 5.0 * 0.25 / 200_000_f64.sqrt());
        assert!((variance / 0.0625 - 1.0).abs() < 0.03);
    }

    /// Values of SciPy 1.17.1 (see the command in each case's comment).
    #[test]
    fn quantiles_are_those_of_scipy() {
        let close = |ours: f64, scipy: f64| {
            assert!((ours / scipy - 1.0).abs() < 1e-6, "{ours} against {scipy}");
        };
        // m=(6.4/6-.8)/.8; t=36*m*(1-m)-1; [0.8+0.8*beta.ppf(p, m*t, (1-m)*t) for p in (.1,.5,.8,.95)]
        let spread = Spread::three_point(d("0.8"), d("1.0"), d("1.6")).unwrap();
        let distribution = spread.distribution().unwrap();
        for (p, scipy) in [
            (0.1, 0.9005978080),
            (0.5, 1.0533650425),
            (0.8, 1.1830933374),
            (0.95, 1.3074789010),
        ] {
            close(distribution.quantile(p), scipy);
        }
        // s2=log(1+.25**2); [lognorm.ppf(p, sqrt(s2), scale=exp(-s2/2)) for p in (.1,.5,.8,.95)]
        let distribution = Spread::cv(d("0.25")).unwrap().distribution().unwrap();
        for (p, scipy) in [
            (0.1, 0.7076138066),
            (0.5, 0.9701425001),
            (0.8, 1.1935263435),
            (0.95, 1.4545326740),
        ] {
            close(distribution.quantile(p), scipy);
        }
    }

    #[test]
    fn refuses_nonsense() {
        assert_eq!(
            Spread::three_point(d("1"), d("0.9"), d("2")),
            Err(SpreadError::OutOfOrder)
        );
        assert_eq!(
            Spread::three_point(d("1"), d("3"), d("2")),
            Err(SpreadError::OutOfOrder)
        );
        assert_eq!(
            Spread::three_point(d("0"), d("1"), d("2")),
            Err(SpreadError::NotPositive)
        );
        assert_eq!(
            Spread::three_point(d("1"), d("1"), d("101")),
            Err(SpreadError::TooLarge)
        );
        assert_eq!(Spread::cv(d("-0.1")), Err(SpreadError::CvOutside));
        assert_eq!(Spread::cv(d("3.1")), Err(SpreadError::CvOutside));
        // The last that are taken.
        assert!(Spread::cv(d("0")).is_ok() && Spread::cv(d("3")).is_ok());
        assert!(Spread::three_point(d("0.1"), d("1"), d("100")).is_ok());
    }

    proptest! {
        #[test]
        fn ratios_stay_between_low_and_high(low in 1_i64..100, more in 0_i64..100, yet_more in 0_i64..100, seed: u64, p in 0.0..1.0) {
            let low_ratio = Decimal::new(low, 2);
            let spread = Spread::three_point(low_ratio, Decimal::new(low + more, 2), Decimal::new(low + more + yet_more, 2)).unwrap();
            let distribution = spread.distribution().unwrap();
            let (a, b) = (float(low_ratio) - 1e-9, float(Decimal::new(low + more + yet_more, 2)) + 1e-9);
            let mut rng = Pcg64::seed_from_u64(seed);
            for ratio in [distribution.sample(&mut rng), distribution.quantile(p)] {
                prop_assert!((a..=b).contains(&ratio), "{}", ratio);
            }
        }
    }
}
