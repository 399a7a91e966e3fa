//! Whether asking prices go up or down: a slope that single odd prices do not bend.

use super::Sighting;
use crate::estimating::variation::normal_quantile;
use crate::units::{Currency, plain};
use chrono::NaiveDate;
use rust_decimal::Decimal;

/// How a price changes in a year, as a factor: 1.05 is five per cent dearer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// The factor of a year.
    pub year: f64,
    /// Lower end of its 90 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// How many prices it rests on.
    pub prices: usize,
}

/// Fewer prices than this, or prices of less than half a year, have no trend that anybody should act on: common practice, no
/// source.
pub const LEAST_PRICES: usize = 6;
const LEAST_DAYS: i64 = 182;

/// A slope with an interval.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Slope {
    middle: f64,
    low: f64,
    high: f64,
}

/// The median of the slopes between all pairs (Theil 1950, "A rank-invariant method of linear and polynomial regression
/// analysis"), and the interval of Sen (1968, "Estimates of the regression coefficient based on Kendall's tau", section 3; from
/// memory): with N slopes and the variance σ² = (n(n − 1)(2n + 5) − Σ t(t − 1)(2t + 5))/18 of Kendall's score, where t are
/// the counts of equal times or equal prices, the slopes of ranks (N ∓ z·σ)/2.
fn theil_sen(points: &[(f64, f64)]) -> Option<Slope> {
    let mut slopes: Vec<f64> = Vec::new();
    for (i, (x, y)) in points.iter().enumerate() {
        for (other, z) in points.iter().skip(i + 1) {
            let run = other - x;
            if run.abs() > 0.0 {
                slopes.push((z - y) / run);
            }
        }
    }
    if slopes.is_empty() {
        return None;
    }
    slopes.sort_by(f64::total_cmp);
    let count = slopes.len();
    let score = |n: usize| (n * n.saturating_sub(1) * (2 * n + 5)) as f64;
    let ties = |values: Vec<f64>| -> f64 {
        let mut sorted = values;
        sorted.sort_by(f64::total_cmp);
        let equal = sorted.chunk_by(|a, b| a.total_cmp(b).is_eq());
        equal.map(|same| score(same.len())).sum()
    };
    let tied =
        ties(points.iter().map(|p| p.0).collect()) + ties(points.iter().map(|p| p.1).collect());
    let sigma = ((score(points.len()) - tied) / 18.0).max(0.0).sqrt();
    let reach = normal_quantile(0.95) * sigma;
    let at = |rank: f64| {
        let rank = rank.round().clamp(0.0, count.saturating_sub(1) as f64);
        slopes.get(rank as usize).copied()
    };
    let middle = f64::midpoint(*slopes.get((count - 1) / 2)?, *slopes.get(count / 2)?);
    Some(Slope {
        middle,
        low: at((count as f64 - reach) / 2.0 - 1.0)?,
        high: at((count as f64 + reach) / 2.0)?,
    })
}

/// The trend of asking prices of castings worth having, in one currency; none where there are too few or too short a time.
#[must_use]
pub fn trend(sightings: &[Sighting], currency: Currency, today: NaiveDate) -> Option<Trend> {
    let priced: Vec<(NaiveDate, f64)> = sightings
        .iter()
        .filter(|s| s.acceptable && s.seen_on <= today)
        .filter_map(|s| {
            let asked = s
                .asked
                .filter(|m| m.currency() == currency && m.amount() > Decimal::ZERO)?;
            Some((s.seen_on, plain(asked.amount()).ln()))
        })
        .collect();
    let first = priced.iter().map(|p| p.0).min()?;
    let last = priced.iter().map(|p| p.0).max()?;
    if priced.len() < LEAST_PRICES || (last - first).num_days() < LEAST_DAYS {
        return None;
    }
    let points: Vec<(f64, f64)> = priced
        .iter()
        .map(|(day, log)| ((*day - first).num_days() as f64 / 365.25, *log))
        .collect();
    let slope = theil_sen(&points)?;
    Some(Trend {
        year: slope.middle.exp(),
        low: slope.low.exp(),
        high: slope.high.exp(),
        prices: priced.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Money;
    use chrono::Days;
    use uuid::Uuid;

    #[derive(serde::Deserialize)]
    struct Reference {
        trend: Data,
    }

    #[derive(serde::Deserialize)]
    struct Data {
        days: Vec<f64>,
        price: Vec<f64>,
        slope: f64,
        low: f64,
        high: f64,
    }

    /// Against scipy.stats.theilslopes on prices with equal days; the script beside the data names the version.
    #[test]
    fn the_slope_and_its_interval_are_those_of_scipy() {
        let file = include_str!("../../tests/reference/learned.json");
        let Reference { trend: data } = serde_json::from_str(file).unwrap();
        let points: Vec<(f64, f64)> = data
            .days
            .iter()
            .zip(&data.price)
            .map(|(d, p)| (*d, p.ln()))
            .collect();
        let slope = theil_sen(&points).unwrap();
        for (ours, theirs) in [
            (slope.middle, data.slope),
            (slope.low, data.low),
            (slope.high, data.high),
        ] {
            assert!((ours - theirs).abs() < 1e-12, "{ours} for {theirs}");
        }
    }

    /// By hand: of eight prices 1 1 1 2 2 3 3 3 at even times, 28 slopes, seven of them nought and the next 1/4. The variance
    /// of the score is (8·7·21 − 2·3·2·11 − 2·1·9)/18 = 57, so the interval begins at rank (28 − 1.645·√57)/2 = 7.8, the
    /// eighth slope; without the ties it would be 65.3 and begin at one of the noughts.
    #[test]
    fn equal_prices_narrow_the_interval() {
        let prices = [1.0, 1.0, 1.0, 2.0, 2.0, 3.0, 3.0, 3.0];
        let points: Vec<(f64, f64)> = (0..8).map(f64::from).zip(prices).collect();
        let slope = theil_sen(&points).unwrap();
        for (ours, by_hand) in [
            (slope.low, 0.25),
            (slope.middle, 1.0 / 3.0),
            (slope.high, 0.5),
        ] {
            assert!((ours - by_hand).abs() < 1e-12, "{ours} for {by_hand}");
        }
    }

    /// Five per cent a year, and one price that is a mistake.
    #[test]
    fn one_odd_price_bends_no_trend() {
        let pounds = Currency::from_code("GBP").unwrap();
        let start: NaiveDate = "2024-01-01".parse().unwrap();
        let mut seen: Vec<Sighting> = (0..10_u64)
            .map(|i| {
                let mut one = Sighting::new(Uuid::nil(), Uuid::nil(), start + Days::new(73 * i));
                let price = 1000.0 * 1.05_f64.powf(73.0 * i as f64 / 365.25);
                one.asked = Some(Money::from_minor((price * 100.0) as i64, pounds));
                one
            })
            .collect();
        let today = start + Days::new(800);
        let found = trend(&seen, pounds, today).unwrap();
        assert!((found.year - 1.05).abs() < 0.002, "{found:?}");
        seen[9].asked = Some(Money::from_minor(10_000_000, pounds));
        let found = trend(&seen, pounds, today).unwrap();
        assert!((found.year - 1.05).abs() < 0.02, "{found:?}");
        assert_eq!(trend(&seen[..LEAST_PRICES - 1], pounds, today), None);
        assert_eq!(trend(&seen[..2], pounds, today), None);
        // Half a year is enough, a day less is not.
        let last = |days: u64| {
            let mut six = seen[..LEAST_PRICES].to_vec();
            for (one, at) in six.iter_mut().zip([0, 20, 40, 60, 80, days]) {
                one.seen_on = start + Days::new(at);
            }
            trend(&six, pounds, today)
        };
        assert!(last(182).is_some() && last(181).is_none());
    }
}
