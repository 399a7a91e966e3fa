//! Whether what was promised held: of the days and costs given as so sure, how many turned out so.
//!
//! A promise given as 80 % sure should be kept four times out of five; kept always, it was given too late and calls were
//! lost; kept half the time, it was no promise. The count alone says little while there are few, so an interval stands
//! beside it. The **probability integral transform** looks closer: where in the range that was forecast did the outcome
//! fall? Outcomes spread evenly over it when the range is right, pile up at the late end when it is too hopeful, in the
//! middle when it is too wide (Dawid 1984, from memory).
//!
//! Futures leave out what nobody models: jobs that come in later, what people do that is not in the plan. The **correction**
//! learns that from the outcomes: if of the promises given as 80 % sure fewer held, the next are given at a higher share of
//! futures, and at a lower one if more did. Each outcome moves the share by γ·(missed − (1 − stated)), adaptive conformal
//! inference (Gibbs and Candès 2021, "Adaptive conformal inference under distribution shift", equation 2, for the share
//! 1 − α). In the long run the stated share holds whatever the futures leave out.
//!
//! ```
//! use borewright::review::calibration::{share_of_futures, wilson};
//!
//! // Nothing is known yet: 80 % sure is 80 % of futures. After a broken promise it is more.
//! assert!((share_of_futures(0.8, []) - 0.8).abs() < 1e-9);
//! assert!(share_of_futures(0.8, [false]) > 0.81);
//! // 35 of 41 kept: nine in ten sure that between 74 and 93 % of such promises hold.
//! let (low, high) = wilson(35, 41);
//! assert!((low - 0.741).abs() < 0.001 && (high - 0.922).abs() < 0.001);
//! ```

use super::Z_90;
use std::collections::BTreeMap;

/// How many of the latest outcomes are looked at. A record that is cut off holds too seldom or too often by what the share has
/// to move, over [`STEP`] times this: a twenty-fifth of it.
pub const LATEST: usize = 1_000;

/// How far one outcome moves the share: forty promises of a kind turn it round. Common practice, no source.
pub const STEP: f64 = 0.025;

/// No promise is given at less or more than these shares of futures.
const LEAST: f64 = 0.05;
const MOST: f64 = 0.995;

/// What a run of broken promises may ask for beyond [`MOST`]: they are made up for by those that follow, as in the paper, where
/// the share may leave its range. Cut off there, promises that fail together held in 93 of 100 where 95 were said. Four broken
/// at 95 % sure ask for as much. Common practice, no source.
const OWED: f64 = 0.1;

/// The share of futures for the next promise after one at `share` of those `stated` as so sure.
#[must_use]
pub fn step(share: f64, stated: f64, held: bool) -> f64 {
    let missed = if held { 0.0 } else { 1.0 };
    share + STEP * (missed - (1.0 - stated))
}

/// The share of futures at which to promise, from 0 to 1, for `stated` of such promises to hold; `held` tells of the promises
/// given as that sure, those whose outcome came first first, whether they held.
#[must_use]
pub fn share_of_futures(stated: f64, held: impl IntoIterator<Item = bool>) -> f64 {
    let share = held.into_iter().fold(stated, |share, held| {
        step(share, stated, held).clamp(LEAST, MOST + OWED)
    });
    share.min(MOST)
}

/// The interval, 90 %, of the share of promises that hold, when `kept` of `given` did: Wilson's score interval (Wilson 1927,
/// "Probable inference, the law of succession, and statistical inference"), which Brown, Cai and DasGupta (2001, "Interval
/// estimation for a binomial proportion") advise for small counts. All of it when none was given.
#[must_use]
pub fn wilson(kept: u32, given: u32) -> (f64, f64) {
    score_interval(f64::from(kept), f64::from(given), Z_90)
}

fn score_interval(kept: f64, given: f64, z: f64) -> (f64, f64) {
    if given <= 0.0 {
        return (0.0, 1.0);
    }
    let share = kept / given;
    let spread = z * z / given;
    let centre = (share + spread / 2.0) / (1.0 + spread);
    let half = z / (1.0 + spread) * (share * (1.0 - share) / given + spread / (4.0 * given)).sqrt();
    ((centre - half).max(0.0), (centre + half).min(1.0))
}

/// How the promises of one confidence turned out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kept {
    /// How sure they were given, in per cent.
    pub stated: u32,
    /// How many were given whose outcome is known.
    pub given: u32,
    /// How many of them were kept.
    pub kept: u32,
    /// The interval of the share that holds, from 0 to 1.
    pub interval: (f64, f64),
    /// The share of futures at which the next would be given with the correction.
    pub corrected: f64,
}

/// What the record says of promises.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Too few, or about as many as was said.
    AsStated,
    /// Fewer held than was said.
    TooHopeful,
    /// More held than was said.
    TooCautious,
}

impl Kept {
    /// Whether as many held as was said, as far as so few can tell.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        let stated = f64::from(self.stated) / 100.0;
        if self.interval.1 < stated {
            Verdict::TooHopeful
        } else if self.interval.0 > stated {
            Verdict::TooCautious
        } else {
            Verdict::AsStated
        }
    }
}

/// Promises by how sure they were given, in per cent; those whose outcome came first first.
#[must_use]
pub fn kept(outcomes: &[(u32, bool)]) -> Vec<Kept> {
    let mut by: BTreeMap<u32, Vec<bool>> = BTreeMap::new();
    for (stated, held) in outcomes {
        by.entry(*stated).or_default().push(*held);
    }
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    by.into_iter()
        .map(|(stated, held)| {
            let kept = count(held.iter().filter(|held| **held).count());
            let given = count(held.len());
            Kept {
                stated,
                given,
                kept,
                interval: wilson(kept, given),
                corrected: share_of_futures(f64::from(stated) / 100.0, held),
            }
        })
        .collect()
}

/// Where in a forecast an outcome fell: between two shares of the futures, because days and amounts are counted in whole
/// ones and many futures may agree.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// The share of futures below it.
    pub below: f64,
    /// The share of futures not above it.
    pub not_above: f64,
}

/// Where an outcome fell in the percentiles of its forecast, sorted; `None` without any.
#[must_use]
pub fn place<T: PartialOrd>(percentiles: &[T], outcome: &T) -> Option<Place> {
    if percentiles.is_empty() {
        return None;
    }
    let all = percentiles.len() as f64;
    let share = |count: usize| count as f64 / all;
    Some(Place {
        below: share(percentiles.iter().filter(|p| *p < outcome).count()),
        not_above: share(percentiles.iter().filter(|p| *p <= outcome).count()),
    })
}

/// How many outcomes fell into each of so many equal parts of their forecasts. One that falls on a step of its forecast is
/// spread over the step, the non-randomised transform for counts (Czado, Gneiting and Held 2009, "Predictive model
/// assessment for count data", from memory). The parts sum to the number of outcomes.
#[must_use]
pub fn histogram(places: &[Place], parts: u32) -> Vec<f64> {
    let width = 1.0 / f64::from(parts.max(1));
    (0..parts)
        .map(|part| {
            let (from, until) = (f64::from(part) * width, f64::from(part + 1) * width);
            let last = part + 1 == parts;
            places
                .iter()
                .map(|place| {
                    let step = place.not_above - place.below;
                    if step <= f64::EPSILON {
                        // Between two percentiles, or beyond all of them.
                        let inside = place.below >= from && (place.below < until || last);
                        return if inside { 1.0 } else { 0.0 };
                    }
                    let here = place.not_above.min(until) - place.below.max(from);
                    here.max(0.0) / step
                })
                .sum()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use rand::{RngExt, SeedableRng};

    /// Newcombe 1998, "Two-sided confidence intervals for the single proportion", table I, method 3, from memory: 95 %.
    #[test]
    fn published_score_intervals_come_out() {
        for (kept, given, low, high) in [
            (81.0, 263.0, 0.2553, 0.3662),
            (15.0, 148.0, 0.0624, 0.1605),
            (0.0, 20.0, 0.0, 0.1611),
            (1.0, 29.0, 0.0061, 0.1718),
        ] {
            let found = score_interval(kept, given, 1.959_963_984_540_054);
            assert!(
                (found.0 - low).abs() < 6e-5 && (found.1 - high).abs() < 6e-5,
                "{kept}/{given}: {found:?}"
            );
        }
        assert_eq!(wilson(0, 0), (0.0, 1.0));
    }

    #[test]
    fn a_record_is_told_with_what_so_few_can_say() {
        let outcomes: Vec<(u32, bool)> = (0..41)
            .map(|at| (80, at % 7 != 0))
            .chain([(50, true)])
            .collect();
        let record = kept(&outcomes);
        assert_eq!(
            (record[0].stated, record[0].given, record[0].kept),
            (50, 1, 1)
        );
        assert_eq!(
            (record[1].stated, record[1].given, record[1].kept),
            (80, 41, 35)
        );
        assert_eq!(record[1].verdict(), Verdict::AsStated);
        let hopeful: Vec<(u32, bool)> = (0..60).map(|at| (80, at % 2 == 0)).collect();
        assert_eq!(kept(&hopeful)[0].verdict(), Verdict::TooHopeful);
        assert!(kept(&hopeful)[0].corrected > 0.95);
        let cautious: Vec<(u32, bool)> = (0..60).map(|_| (80, true)).collect();
        assert_eq!(kept(&cautious)[0].verdict(), Verdict::TooCautious);
    }

    /// One week in ten is bad, and promises fail in it together whatever share they were given at.
    #[test]
    fn the_stated_share_holds_where_promises_fail_together() {
        let mut rng = rand_pcg::Pcg64::seed_from_u64(3);
        for (stated, about) in [(0.5f64, 0.01), (0.8, 0.006), (0.95, 0.004)] {
            let mut held: Vec<bool> = Vec::new();
            for _week in 0..200 {
                let bend = if rng.random_bool(0.1) { 12.0 } else { 1.3 };
                for _ in 0..20 {
                    let latest = held.len().saturating_sub(LATEST);
                    let share = share_of_futures(stated, held[latest..].iter().copied());
                    held.push(rng.random::<f64>() < share.powf(bend));
                }
            }
            let count = held.iter().filter(|held| **held).count();
            let got = count as f64 / held.len() as f64;
            assert!((got - stated).abs() < about, "{stated}: {got}");
        }
    }

    /// Futures that promise too much: what they say holds in a share p does in p². The record finds the share that does.
    #[test]
    fn the_stated_share_holds_in_the_long_run() {
        let mut rng = rand_pcg::Pcg64::seed_from_u64(2);
        for stated in [0.5f64, 0.8, 0.95] {
            let mut held = Vec::new();
            for _ in 0..4_000 {
                let share = share_of_futures(stated, held.iter().copied());
                held.push(rng.random::<f64>() < share * share);
            }
            let count = held.iter().filter(|held| **held).count();
            let got = count as f64 / held.len() as f64;
            assert!((got - stated).abs() < 0.015, "{stated}: {got}");
        }
    }

    proptest! {
        /// Proposition 4.1 of Gibbs and Candès: over T promises the share that is missed differs from the one stated by no
        /// more than (max(α₁, 1 − α₁) + γ) / (T·γ), whatever the world does, as long as a promise at all futures is kept
        /// and one at none is not.
        #[test]
        fn coverage_is_kept_within_the_papers_bound_in_any_world(
            stated in 0.05_f64..0.95, bend in 0.2_f64..5.0, drift in -2.0_f64..2.0, seed in any::<u64>(), count in 50_usize..1_500
        ) {
            let mut rng = rand_pcg::Pcg64::seed_from_u64(seed);
            let mut share = stated;
            let mut missed = 0_u32;
            for at in 0..count {
                // The share that truly holds is a bent one, and drifts.
                let bend = bend * (drift * at as f64 / count as f64).exp();
                let held = match share {
                    s if s >= 1.0 => true,
                    s if s <= 0.0 => false,
                    s => rng.random::<f64>() < s.powf(bend),
                };
                missed += u32::from(!held);
                share = step(share, stated, held);
            }
            let rate = f64::from(missed) / count as f64;
            let bound = (stated.max(1.0 - stated) + STEP) / (count as f64 * STEP);
            prop_assert!((rate - (1.0 - stated)).abs() <= bound + 1e-9, "{} {}", rate, bound);
        }

        #[test]
        fn the_parts_of_the_picture_sum_to_the_outcomes(days in proptest::collection::vec((0_u32..40, 0_u32..45), 1..60)) {
            let places: Vec<Place> = days
                .iter()
                .filter_map(|(wide, outcome)| {
                    let percentiles: Vec<u32> = (0..=100).map(|p| p * wide / 100).collect();
                    place(&percentiles, outcome)
                })
                .collect();
            let parts = histogram(&places, 10);
            prop_assert!((parts.iter().sum::<f64>() - places.len() as f64).abs() < 1e-6);
        }
    }
}
