//! How often something happens, from how often it was seen: work done again, castings that fail.

use super::ratios::Interval;
use statrs::distribution::{Beta, ContinuousCDF, Gamma, StudentsT};

/// Time between events that came `count` times in `whole` of time, with the interval in which it lies with a probability of
/// 90 %: Garwood's exact interval of a Poisson rate (Garwood 1936, "Fiducial limits for the Poisson distribution", from
/// memory), turned over. None without events or time.
#[must_use]
pub fn time_between(count: u64, whole: f64) -> Option<Interval> {
    if count == 0 || whole <= 0.0 {
        return None;
    }
    let seen = count as f64;
    let least = Gamma::new(seen, 1.0).ok()?.inverse_cdf(0.05);
    let most = Gamma::new(seen + 1.0, 1.0).ok()?.inverse_cdf(0.95);
    Some(Interval {
        low: whole / most,
        likely: whole / seen,
        high: whole / least,
    })
}

/// The mean of some figures with its interval of 90 % by Student's t; none of fewer than two.
#[must_use]
pub fn mean(figures: &[f64]) -> Option<Interval> {
    let n = figures.len() as f64;
    if n < 2.0 {
        return None;
    }
    let likely = figures.iter().sum::<f64>() / n;
    let squares: f64 = figures.iter().map(|f| (f - likely).powi(2)).sum();
    let error = (squares / (n - 1.0) / n).sqrt();
    let half = StudentsT::new(0.0, 1.0, n - 1.0).ok()?.inverse_cdf(0.95) * error;
    Some(Interval {
        low: (likely - half).max(0.0),
        likely,
        high: likely + half,
    })
}

/// A share that was seen `of` so many times out of `all`, with the interval in which it lies with a probability of 90 %:
/// the posterior of a binomial share under Jeffreys' prior, Beta(x + ½, n − x + ½) (Brown, Cai and DasGupta 2001, "Interval
/// estimation for a binomial proportion", section 3.1, from memory). The figure itself is the plain share; an end at which
/// nothing lies beyond is 0 or 1. None when nothing was seen.
#[must_use]
pub fn share(of: u64, all: u64) -> Option<Interval> {
    if all == 0 || of > all {
        return None;
    }
    let (seen, not) = (of as f64, (all - of) as f64);
    let posterior = Beta::new(seen + 0.5, not + 0.5).ok()?;
    Some(Interval {
        low: if of == 0 {
            0.0
        } else {
            posterior.inverse_cdf(0.05)
        },
        likely: seen / all as f64,
        high: if of == all {
            1.0
        } else {
            posterior.inverse_cdf(0.95)
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The quantiles of Beta(5.5, 95.5), by scipy 1.17.1: beta.ppf([0.05, 0.95], 5.5, 95.5).
    #[test]
    fn a_share_has_the_interval_of_its_posterior() {
        let five = share(5, 100).unwrap();
        assert!((five.low - BETA[0]).abs() < 1e-6, "{five:?}");
        assert!((five.high - BETA[1]).abs() < 1e-6, "{five:?}");
        assert!((five.likely - 0.05).abs() < 1e-12);
        assert!(share(0, 20).unwrap().low.abs() < 1e-12);
        assert_eq!((share(0, 0), share(3, 2)), (None, None));
    }

    const BETA: [f64; 2] = [0.023_132_851_170_618, 0.095_770_763_500_116];
}
