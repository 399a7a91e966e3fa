//! Ranges read off simulated futures: order statistics, never fitted curves.

use crate::estimating::futures::rank_of_share;
use crate::estimating::{Policy, Recalibration, percent_of_futures};
use crate::units::{Currency, Money};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

/// Prices over the futures, before tax, each at the share of futures that the shop's record of costs asks for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PriceRange {
    /// 1 in 10 is cheaper.
    pub low: Money,
    /// As many cheaper as dearer.
    pub likely: Money,
    /// 1 in 10 is dearer.
    pub high: Money,
    /// What the shop's confidence asks for.
    pub at_confidence: Money,
}

impl PriceRange {
    /// Reads the range off prices in minor units. `None` when there are no futures.
    #[must_use]
    pub fn of(prices: &[i64], policy: &Policy, currency: Currency) -> Option<Self> {
        let mut sorted = prices.to_vec();
        sorted.sort_unstable();
        let at = |percent: u32| {
            let share = policy.costs.share_of_futures(f64::from(percent) / 100.0);
            sorted
                .get(rank_of_share(share, sorted.len()))
                .map(|minor| Money::from_minor(*minor, currency))
        };
        Some(Self {
            low: at(10)?,
            likely: at(50)?,
            high: at(90)?,
            at_confidence: at(policy.confidence_percent)?,
        })
    }
}

/// Ready times over the futures, each at the share of futures that the shop's record asks for. A bound that falls among the futures in which the job is not ready within the
/// horizon is `None`: later than anyone can say.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReadyRange {
    /// No future is sooner.
    #[serde(default)]
    pub earliest: Option<DateTime<Utc>>,
    /// 1 in 10 is sooner.
    pub early: Option<DateTime<Utc>>,
    /// As many sooner as later.
    pub likely: Option<DateTime<Utc>>,
    /// 1 in 10 is later.
    pub late: Option<DateTime<Utc>>,
    /// The time that holds at the shop's confidence.
    pub at_confidence: Option<DateTime<Utc>>,
}

impl ReadyRange {
    /// Reads the range off the times that are 0, 1 … 100 per cent sure.
    #[must_use]
    pub fn of(percentiles: &[Option<DateTime<Utc>>], confidence_percent: u32) -> Self {
        let at = |percent: u32| percentiles.get(percent as usize).copied().flatten();
        Self {
            earliest: at(0),
            early: at(10),
            likely: at(50),
            late: at(90),
            at_confidence: at(confidence_percent),
        }
    }

    /// The times that are 0, 1 … 100 per cent sure; `None` is later than every time, so futures without one sort last.
    #[must_use]
    pub fn percentiles(
        times: &[Option<DateTime<Utc>>],
        map: Recalibration,
    ) -> Vec<Option<DateTime<Utc>>> {
        let mut sorted = times.to_vec();
        sorted.sort_unstable_by_key(|time| time.unwrap_or(DateTime::<Utc>::MAX_UTC));
        (0..=100_u32)
            .map(|percent| {
                let share = map.share_of_futures(f64::from(percent) / 100.0);
                sorted
                    .get(rank_of_share(share, sorted.len()))
                    .copied()
                    .flatten()
            })
            .collect()
    }
}

/// A chance in whole per cent that never claims certainty: 1 to 99 unless every future, or none, agrees; and even
/// then it is a statement about the futures that were drawn.
#[must_use]
pub fn percent_of(hits: usize, n: usize) -> u32 {
    if n == 0 {
        return 0;
    }
    let rounded = u32::try_from((hits * 200 + n) / (2 * n)).unwrap_or(100);
    if hits == 0 || hits == n {
        rounded
    } else {
        rounded.clamp(1, 99)
    }
}

/// How sure a day is that so many of `n` futures keep, in whole per cent; certain only when every future, or none, agrees.
#[must_use]
pub fn chance_of(map: Recalibration, hits: usize, n: usize) -> u32 {
    if n == 0 || hits == 0 || hits >= n {
        return percent_of(hits, n);
    }
    percent_of(
        (map.chance(hits as f64 / n as f64) * 1e6).round() as usize,
        1_000_000,
    )
    .clamp(1, 99)
}

/// The share of futures, in whole per cent, that a day takes at the shop's confidence, when the record asks for another.
#[must_use]
pub fn day_share_percent(map: Recalibration, policy: &Policy) -> Option<u32> {
    let share = map.share_of_futures(f64::from(policy.confidence_percent) / 100.0);
    (!map.is_none()).then(|| percent_of_futures(share))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimating::futures::rank;
    use proptest::prelude::*;

    fn at_80() -> Policy {
        Policy {
            overhead_percent: 0.into(),
            margin_percent: 0.into(),
            tax_percent: 0.into(),
            confidence_percent: 80,
            costs: Recalibration::none(),
        }
    }

    #[test]
    fn eighty_in_a_hundred_means_at_least_eighty() {
        let pounds = Currency::from_code("GBP").unwrap();
        let prices: Vec<i64> = (1..=10).map(|i| i * 100).collect();
        let range = PriceRange::of(&prices, &at_80(), pounds).unwrap();
        assert_eq!(range.at_confidence, Money::from_minor(800, pounds));
        assert_eq!(range.low, Money::from_minor(100, pounds));
        // Where costs proved higher than forecast, the price that is as sure is a higher one.
        let policy = Policy {
            costs: Recalibration::new(0.8, 0.95),
            ..at_80()
        };
        let range = PriceRange::of(&prices, &policy, pounds).unwrap();
        assert_eq!(range.at_confidence, Money::from_minor(1_000, pounds));
        assert!(PriceRange::of(&[], &at_80(), pounds).is_none());
    }

    #[test]
    fn a_future_without_an_end_is_later_than_every_date() {
        let day = |d: i64| Some(DateTime::<Utc>::UNIX_EPOCH + chrono::Duration::days(d));
        let times = [None, day(3), day(1), None];
        let range = ReadyRange::of(&ReadyRange::percentiles(&times, Recalibration::none()), 75);
        assert_eq!((range.earliest, range.early), (day(1), day(1)));
        assert_eq!(range.likely, day(3));
        assert_eq!(range.at_confidence, None);
    }

    #[test]
    fn a_chance_is_only_none_or_all_when_it_is() {
        assert_eq!(percent_of(1, 1000), 1);
        assert_eq!(percent_of(999, 1000), 99);
        assert_eq!(percent_of(1000, 1000), 100);
        assert_eq!(percent_of(0, 1000), 0);
        assert_eq!(percent_of(505, 1000), 51);
    }

    proptest! {
        #[test]
        fn no_fewer_futures_hold_than_were_promised(
            prices in prop::collection::vec(0i64..1_000_000, 1..300), percent in 1u32..=100
        ) {
            let mut sorted = prices.clone();
            sorted.sort_unstable();
            let bound = sorted[rank(percent, sorted.len())];
            let hold = prices.iter().filter(|p| **p <= bound).count();
            prop_assert!(hold * 100 >= percent as usize * prices.len());
        }
    }
}
