//! Whether a bought one is any good.
//!
//! Each bought one is good with an unknown chance that has a Beta distribution, the conjugate prior: after `g` good
//! and `s` scrap ones, Beta(a₀ + g, b₀ + s) (Raiffa & Schlaifer 1961, from memory). The chance that the next is good is
//! a/(a+b).

use super::Unusable;
use rand::{Rng, RngExt};
use rand_distr::Distribution;
use statrs::function::beta::beta_reg;

/// How many bought ones the shop's opinion is worth.
const OPINION_WEIGHT: f64 = 2.0;

/// What is known of the chance that a bought one is good: Beta(a, b).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Good {
    a: f64,
    b: f64,
    beta: rand_distr::Beta<f64>,
}

impl Good {
    /// From those bought and the opinion that `likely_percent` of a hundred are good, worth two bought ones.
    ///
    /// # Errors
    /// [`Unusable`] when the percentage is not between 1 and 99: an opinion that is certain cannot learn.
    pub fn new(likely_percent: u32, good: u32, scrap: u32) -> Result<Self, Unusable> {
        let share = f64::from(likely_percent) / 100.0;
        let a = OPINION_WEIGHT * share + f64::from(good);
        let b = OPINION_WEIGHT * (1.0 - share) + f64::from(scrap);
        if !(1..=99).contains(&likely_percent) {
            return Err(Unusable::of(
                "how many of a hundred are good must be between 1 and 99",
            ));
        }
        let beta = rand_distr::Beta::new(a, b).map_err(Unusable::of)?;
        Ok(Self { a, b, beta })
    }

    /// Chance that the next bought one is good.
    #[must_use]
    pub fn chance(&self) -> f64 {
        self.a / (self.a + self.b)
    }

    /// Probability that the share of good ones is at most `share`.
    #[must_use]
    pub fn cdf(&self, share: f64) -> f64 {
        beta_reg(self.a, self.b, share.clamp(0.0, 1.0))
    }

    /// The share of good ones that is not exceeded with probability `p`. By bisection: the usual approximations lose
    /// their digits when an opinion is close to certain (b near 0), and this is asked for a few times a page only.
    #[must_use]
    pub fn quantile(&self, p: f64) -> f64 {
        let (mut low, mut high) = (0.0_f64, 1.0_f64);
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if self.cdf(middle) < p {
                low = middle;
            } else {
                high = middle;
            }
        }
        f64::midpoint(low, high)
    }

    /// A share of good ones, to be shared by all purchases of one future.
    pub fn sample<R: Rng + ?Sized>(&self, rng: &mut R) -> f64 {
        self.beta.sample(rng)
    }

    /// Expected number that fail before one is good, when the shop stops after `most` bad ones: the number that fail is
    /// beta-geometric, so P(at least k) = Π (b + i)/(a + b + i) over i < k, and the expectation is the sum of these for
    /// k = 1 … most. For a > 1 and a growing `most` it tends to (a + b − 1)/(a − 1) − 1 = b/(a − 1) (Johnson, Kemp and
    /// Kotz, Univariate Discrete Distributions, 3rd ed. 2005, §6.2.3, from memory); for a ≤ 1 only the limit makes it
    /// finite.
    #[must_use]
    pub fn expected_failures(&self, most: u32) -> f64 {
        let mut at_least = 1.0;
        (0..most)
            .map(|i| {
                at_least *= (self.b + f64::from(i)) / (self.a + self.b + f64::from(i));
                at_least
            })
            .sum()
    }

    /// The chance that at least `count` fail before one is good.
    #[must_use]
    pub fn chance_of_failures(&self, count: u32) -> f64 {
        (0..count)
            .map(|i| (self.b + f64::from(i)) / (self.a + self.b + f64::from(i)))
            .product()
    }

    /// How many fail before one is good in one future, counted up to one more than `most`.
    pub fn sample_failures<R: Rng + ?Sized>(&self, most: u32, rng: &mut R) -> u32 {
        let good = self.sample(rng);
        let mut failed = 0;
        while failed <= most && rng.random::<f64>() >= good {
            failed += 1;
        }
        failed
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
    /// `from scipy import stats as s; a, b = 1.5 + 4, 0.5 + 1; d = s.beta(a, b)`
    /// `print(d.mean(), [d.cdf(x) for x in (.5, .8)], [d.ppf(p) for p in (.1, .5, .9)])`
    /// `print(d.expect(lambda p: 1 / p))`
    #[test]
    fn agrees_with_scipy() {
        let good = Good::new(75, 4, 1).unwrap();
        near(good.chance(), 0.785_714_285_714_285_7);
        near(good.cdf(0.5), 0.047_292_606_316_386_58);
        near(good.cdf(0.8), 0.464_536_973_581_567_87);
        near(good.quantile(0.1), 0.579_536_480_940_263_7);
        near(good.quantile(0.5), 0.813_658_265_750_393_7);
        near(good.quantile(0.9), 0.950_369_295_731_489_3);
        // Mean bought until one is good, E[1/p]: with so many good ones the limit hardly shows.
        assert!((1.0 + good.expected_failures(1000) - 1.333_333_333_333_542).abs() < 1e-6);
    }

    #[test]
    fn nothing_bought_is_the_opinion_and_wide() {
        let good = Good::new(40, 0, 0).unwrap();
        near(good.chance(), 0.4);
        assert!(good.quantile(0.9) - good.quantile(0.1) > 0.7);
        // E[1/p] is infinite here; a shop that stops after ten bad ones has a finite number.
        assert!((1.0..10.0).contains(&good.expected_failures(10)));
        assert!(Good::new(100, 1, 0).is_err());
        assert!(Good::new(0, 1, 0).is_err());
    }

    /// The number that fails, drawn, has the expectation and the tail that are worked out.
    #[test]
    fn failures_drawn_are_as_many_as_expected() {
        let good = Good::new(40, 1, 1).unwrap();
        let mut rng = rand_pcg::Pcg64::seed_from_u64(8);
        let n = 100_000;
        let drawn: Vec<u32> = (0..n)
            .map(|_| good.sample_failures(10, &mut rng).min(10))
            .collect();
        let mean = drawn.iter().map(|&f| f64::from(f)).sum::<f64>() / f64::from(n);
        // Four standard errors: the deviation of a count up to ten is under four.
        assert!((mean - good.expected_failures(10)).abs() < 0.05, "{mean}");
        let share = drawn.iter().filter(|&&f| f >= 2).count() as f64 / f64::from(n);
        assert!(
            (share - good.chance_of_failures(2)).abs() < 0.007,
            "{share}"
        );
    }

    proptest! {
        #[test]
        fn quantile_undoes_cdf(percent in 1_u32..100, g in 0_u32..20, s in 0_u32..20, p in 0.01..0.99_f64) {
            let good = Good::new(percent, g, s).unwrap();
            let share = good.quantile(p);
            // At the very ends of the unit interval a share has no digits left.
            prop_assume!(share > 1e-9 && share < 1.0 - 1e-9);
            prop_assert!((good.cdf(share) - p).abs() < 1e-6);
        }
    }
}
