//! Futures that everything shares: what is the same in future `k` is the same for whoever asks.

use super::{Factor, Shares, factor::normal_quantile};
use rand_pcg::Pcg64;

/// What a figure is drawn for. Figures of different causes are independent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u64)]
pub enum Cause {
    /// The whole shop.
    Shop = 1,
    /// A person.
    Person,
    /// A kind of work.
    Element,
    /// A job or casting.
    Job,
    /// An operation by itself.
    Own,
    /// The setup of an operation.
    Setup,
    /// Outside work, or a delivery.
    Outside,
    /// Whether a person is there on a day.
    Absence,
    /// When machines break down.
    Breakdown,
    /// Whether an operation is done again.
    Rework,
    /// Who of several does it.
    Who,
    /// Where a casting comes from.
    Procurement,
}

/// All futures, by their seed and the shop's shares. Drawing is by key (what, for whom, in which future) and not one after
/// another, so future `k` of a plan and future `k` of an option are the same world: the same bad month, the same slow
/// hand, and a comparison is of the options and not of the dice (common random numbers).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Worlds {
    seed: u64,
    shares: Shares,
}

impl Worlds {
    /// Futures of a seed.
    #[must_use]
    pub fn new(seed: u64, shares: Shares) -> Self {
        Self { seed, shares }
    }

    /// How much things vary.
    #[must_use]
    pub fn shares(&self) -> &Shares {
        &self.shares
    }

    /// Future `k`.
    #[inline]
    #[must_use]
    pub fn world(&self, k: u64) -> World {
        self.world_like(k, k)
    }

    /// Future `k`, in which the shop, its people and kinds of work are as in future `like`: for more futures of a job than
    /// there are of the plan that it comes into.
    #[inline]
    #[must_use]
    pub fn world_like(&self, k: u64, like: u64) -> World {
        let seed = |k: u64| mix(self.seed ^ mix(k.wrapping_add(GOLDEN)));
        World {
            seed: seed(k),
            shared: seed(like),
            shares: self.shares,
        }
    }
}

/// One future.
#[derive(Debug, Clone, Copy)]
pub struct World {
    seed: u64,
    shared: u64,
    shares: Shares,
}

/// 2⁶⁴ over the golden ratio.
const GOLDEN: u64 = 0x9E37_79B9_7F4A_7C15;

/// The finalizer of SplitMix64 (Steele, Lea and Flood 2014, "Fast splittable pseudorandom number generators"; variant 13
/// of Stafford's mixers): every bit of the result depends on every bit given.
#[inline]
fn mix(mut x: u64) -> u64 {
    x = (x ^ (x >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x = (x ^ (x >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    x ^ (x >> 31)
}

/// A number that stands for a word: FNV-1a, 64 bits (Fowler, Noll and Vo).
#[must_use]
pub fn key_of(word: &str) -> u64 {
    word.bytes().fold(0xCBF2_9CE4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3)
    })
}

impl World {
    /// How much things vary.
    #[inline]
    #[must_use]
    pub fn shares(&self) -> &Shares {
        &self.shares
    }

    /// 64 random bits for a cause and a key.
    #[inline]
    #[must_use]
    pub fn bits(&self, cause: Cause, key: u64) -> u64 {
        let seed = match cause {
            Cause::Shop | Cause::Person | Cause::Element => self.shared,
            _ => self.seed,
        };
        mix(seed ^ mix(key.wrapping_add(GOLDEN.wrapping_mul(cause as u64))))
    }

    /// A uniform number above 0 and below 1.
    #[inline]
    #[must_use]
    pub fn uniform(&self, cause: Cause, key: u64) -> f64 {
        ((self.bits(cause, key) >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    /// A standard normal deviate.
    #[inline]
    #[must_use]
    pub fn normal(&self, cause: Cause, key: u64) -> f64 {
        normal_quantile(self.uniform(cause, key))
    }

    /// A generator of its own, for what takes more than one number.
    #[must_use]
    pub fn generator(&self, cause: Cause, key: u64) -> Pcg64 {
        let bits = u128::from(self.bits(cause, key));
        Pcg64::new(bits << 64 | u128::from(self.seed), u128::from(key))
    }

    fn log(&self, factor: Factor, cause: Cause, key: u64) -> f64 {
        if factor.is_one() {
            0.0
        } else {
            factor.log_at(self.normal(cause, key))
        }
    }

    /// Logarithm of what all work takes over its standard: the level, and the shop's factor.
    #[must_use]
    pub fn log_shop(&self) -> f64 {
        self.shares.log_level + self.log(self.shares.shop, Cause::Shop, 0)
    }

    /// Logarithm of a person's factor.
    #[must_use]
    pub fn log_person(&self, person: u64) -> f64 {
        self.log(self.shares.person, Cause::Person, person)
    }

    /// Logarithm of the factor of a kind of work.
    #[must_use]
    pub fn log_element(&self, element: u64) -> f64 {
        self.log(self.shares.element, Cause::Element, element)
    }

    /// Logarithm of a job's factor.
    #[must_use]
    pub fn log_job(&self, job: u64) -> f64 {
        self.log(self.shares.job, Cause::Job, job)
    }

    /// What outside work or a delivery takes over its days.
    #[must_use]
    pub fn outside(&self, key: u64) -> f64 {
        self.log(self.shares.outside, Cause::Outside, key).exp()
    }

    /// What an operation takes for being done again or not: 1, or 1 and the share that is repeated.
    #[inline]
    #[must_use]
    pub fn rework(&self, operation: u64) -> f64 {
        if self.shares.rework > 0.0 && self.uniform(Cause::Rework, operation) < self.shares.rework {
            1.0 + self.shares.rework_share
        } else {
            1.0
        }
    }

    /// One of those who can do it.
    #[must_use]
    pub fn who(&self, able: &[u64], operation: u64) -> Option<u64> {
        able.get(self.which(able.len(), operation)?).copied()
    }

    /// Which of so many does it.
    #[must_use]
    pub fn which(&self, of: usize, operation: u64) -> Option<usize> {
        let count = u64::try_from(of).ok().filter(|&n| n > 0)?;
        usize::try_from(self.bits(Cause::Who, operation) % count).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimating::variation::Variation;

    /// Mean one, the variance asked for, and what shares a cause is correlated by its part of the variance and no more.
    #[test]
    fn variances_add_up_and_only_shared_causes_correlate() {
        let worlds = Worlds::new(3, Variation::default().shares());
        let n = 40_000;
        let log = |k: u64, person: u64, job: u64| {
            let w = worlds.world(k);
            w.log_shop() + w.log_person(person) + w.log_element(5) + w.log_job(job)
        };
        let moments = |a: (u64, u64), b: (u64, u64)| {
            let (mut ma, mut mb, mut ab) = (0.0, 0.0, 0.0);
            for k in 0..n {
                let (x, y) = (log(k, a.0, a.1), log(k, b.0, b.1));
                ma += x / n as f64;
                mb += y / n as f64;
                ab += x * y / n as f64;
            }
            ab - ma * mb
        };
        let variance = |percent: f64| (1.0 + (percent / 100.0_f64).powi(2)).ln();
        let (shop, person, element, job) =
            (variance(5.0), variance(8.0), variance(8.0), variance(12.0));
        for (a, b, expected) in [
            ((1, 1), (1, 1), shop + person + element + job),
            ((1, 1), (1, 2), shop + person + element),
            ((1, 1), (2, 1), shop + element + job),
            ((1, 1), (2, 2), shop + element),
        ] {
            let got = moments(a, b);
            assert!(
                (got / expected - 1.0).abs() < 0.05,
                "{a:?} {b:?}: {got} for {expected}"
            );
        }
        let mean: f64 = (0..n).map(|k| log(k, 1, 1).exp()).sum::<f64>() / n as f64;
        assert!((mean - 1.0).abs() < 0.005, "{mean}");
    }

    /// Who does it is one of those who can, each as often as another: of 3,000 a third, give or take four standard deviations
    /// of 26.
    #[test]
    fn whoever_can_does_it_as_often_as_another() {
        let worlds = Worlds::new(3, Variation::none().shares());
        let mut times = [0_i32; 3];
        for k in 0..3_000 {
            let who = worlds.world(k).who(&[20, 21, 22], 7).unwrap();
            times[usize::try_from(who - 20).unwrap()] += 1;
        }
        assert!(times.iter().all(|n| (n - 1_000).abs() < 104), "{times:?}");
        assert_eq!(worlds.world(1).who(&[], 7), None);
    }

    /// The drawn figures of a future, so that nobody changes what a seed means without seeing it.
    #[test]
    fn a_future_stays_what_it_was() {
        let w = Worlds::new(1, Variation::default().shares()).world(42);
        let figures = [
            w.log_shop(),
            w.log_person(0),
            w.log_element(key_of("DOWEL-REAM")),
            w.log_job(9),
            w.outside(10),
        ];
        let said: Vec<String> = figures.iter().map(|x| format!("{x:.5}")).collect();
        assert_eq!(said, SNAPSHOT);
    }

    const SNAPSHOT: [&str; 5] = ["-0.06535", "0.04004", "-0.03416", "0.08401", "0.79774"];
}
