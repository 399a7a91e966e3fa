//! How much of a run somebody stands by: the attended share by bookings, beside that of the standard.
//!
//! A person's time is charged and planned for the attended part of a run, the machine's for all of it. The share is the
//! ratio of two sums over operations, minutes attended and minutes run, with the standard error of a ratio estimator (Cochran
//! 1977, "Sampling techniques", section 6.3, from memory) and the interval of nine in ten. Only operations of which one
//! element makes nearly all of the run are looked at, so nothing has to be shared out.

use super::Z_90;
use super::ratios::Interval;
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;
use std::collections::BTreeMap;

/// Fewer finished operations than this propose nothing: common practice, no source.
pub const LEAST_OPERATIONS: usize = 8;
/// A share that is nearer than this to its standard is right: common practice, no source.
const LEAST_CHANGE: f64 = 0.05;
/// Shares are set in steps of five per cent.
const STEPS: f64 = 20.0;

/// The run of a finished operation, in minutes.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Code of the element that makes nearly all of it.
    pub code: String,
    /// Somebody stood by.
    pub attended: f64,
    /// The machine ran by itself.
    pub alone: f64,
}

/// The attended share of an element by bookings, from 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// With its interval.
    pub share: Interval,
    /// Finished operations it rests on.
    pub operations: usize,
}

impl Share {
    /// The share to set in place of `standard`: none when too little is known, or the standard is right as far as can be seen.
    #[must_use]
    pub fn proposed(&self, standard: f64) -> Option<Decimal> {
        let Interval { low, likely, high } = self.share;
        let off = !(low..=high).contains(&standard) && (likely - standard).abs() >= LEAST_CHANGE;
        let steps = Decimal::from_f64((likely * STEPS).round())?;
        (self.operations >= LEAST_OPERATIONS && off)
            .then(|| (steps / Decimal::from(20)).normalize())
    }
}

/// The shares of all elements, by code; none of an element with fewer than two runs.
#[must_use]
pub fn shares(runs: &[Run]) -> BTreeMap<&str, Share> {
    let mut by: BTreeMap<&str, Vec<(f64, f64)>> = BTreeMap::new();
    for run in runs {
        let whole = run.attended + run.alone;
        if whole > 0.0 {
            by.entry(&run.code).or_default().push((run.attended, whole));
        }
    }
    by.into_iter()
        .filter(|(_, runs)| runs.len() > 1)
        .map(|(code, runs)| (code, share(&runs)))
        .collect()
}

fn share(runs: &[(f64, f64)]) -> Share {
    let n = runs.len() as f64;
    let whole: f64 = runs.iter().map(|(_, whole)| whole).sum();
    let ratio = runs.iter().map(|(attended, _)| attended).sum::<f64>() / whole;
    let squares: f64 = runs
        .iter()
        .map(|(attended, whole)| (attended - ratio * whole).powi(2))
        .sum();
    let error = (squares * n / (n - 1.0)).sqrt() / whole;
    Share {
        share: Interval {
            low: (ratio - Z_90 * error).max(0.0),
            likely: ratio,
            high: (ratio + Z_90 * error).min(1.0),
        },
        operations: runs.len(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_distr::{Distribution, StandardNormal};
    use rust_decimal::dec;

    fn run(attended: f64, alone: f64) -> Run {
        Run {
            code: "DECK-FACE".to_owned(),
            attended,
            alone,
        }
    }

    /// By hand: 20 of 50, 30 of 60 and 10 of 40 minutes are 60 of 150; the residuals of 0.4 are 0, 6 and −6, so the error
    /// is √(72 · 3 / 2) / 150.
    #[test]
    fn the_share_and_its_error_come_out_as_by_hand() {
        let runs = [run(20.0, 30.0), run(30.0, 30.0), run(10.0, 30.0)];
        let all = shares(&runs);
        let found = all["DECK-FACE"];
        let error = 108.0_f64.sqrt() / 150.0;
        assert!((found.share.likely - 0.4).abs() < 1e-12);
        assert!((found.share.low - (0.4 - Z_90 * error)).abs() < 1e-12);
        assert_eq!((found.operations, found.proposed(0.9)), (3, None));
    }

    /// Of many shops whose operations differ, the interval holds the truth in about nine of ten, and what is proposed is
    /// within a step of it.
    #[test]
    fn the_interval_holds_as_often_as_it_says() {
        let mut rng = rand_pcg::Pcg64::seed_from_u64(3);
        let mut held = 0;
        for _ in 0..1_000 {
            let runs: Vec<Run> = (0..30)
                .map(|_| {
                    let normal: f64 = StandardNormal.sample(&mut rng);
                    let minutes = 60.0 * (0.3 * normal).exp();
                    let share = (0.55 + rng.random_range(-0.15..0.15_f64)).clamp(0.0, 1.0);
                    run(minutes * share, minutes * (1.0 - share))
                })
                .collect();
            let found = shares(&runs)["DECK-FACE"];
            held += usize::from((found.share.low..=found.share.high).contains(&0.55));
            let proposed = found.proposed(0.4).unwrap();
            assert!((dec!(0.5)..=dec!(0.6)).contains(&proposed), "{proposed}");
            assert_eq!(found.proposed(found.share.likely + 0.001), None);
        }
        assert!((860..=930).contains(&held), "{held}");
    }
}
