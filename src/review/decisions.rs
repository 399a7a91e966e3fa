//! Looking back on a decision: what the way that was taken came to, beside what the other way would probably have cost.
//!
//! The answer that a quote was made from is kept with the forecast of every way that was open. Once the job is ready its cost
//! and day are known; those of the other way never will be, so they stay what they were: a forecast. Prices are compared, since
//! a casting that is bought for a customer is charged at cost and in no cost of the shop: of the taken way the price that its
//! true cost would have asked for. One decision proves nothing, since a good one can turn out badly; over many, the taken
//! way should be the cheaper one more often than not (common practice, no source).

use super::calibration::place;
use chrono::NaiveDate;
use std::cmp::Ordering;

/// What the taken way came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Came {
    /// The price before tax that its true cost would have asked for, minor units.
    pub price: i64,
    /// The day it was ready.
    pub ready_on: NaiveDate,
}

/// How often, by its forecast, the other way would have been cheaper than what the taken one came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cheaper {
    /// In less than one of ten futures.
    Hardly,
    /// In one to five of ten.
    LessOften,
    /// In five to nine of ten.
    MoreOften,
    /// In more than nine of ten.
    Nearly,
}

/// The other way as it was forecast, held against what the taken one came to.
#[derive(Debug, Clone, PartialEq)]
pub struct Hindsight {
    /// The price before tax that 10, 50 and 90 of 100 futures do not exceed, minor units.
    pub price: [i64; 3],
    /// How often it would have been cheaper.
    pub cheaper: Cheaper,
    /// The day by which 10, 50 and 90 of 100 futures have it ready; none: later than anyone can say.
    pub ready: [Option<NaiveDate>; 3],
    /// The share of futures, from 0 to 1, in which it is sooner.
    pub sooner: f64,
}

/// Holds the forecast of a way, its price and the percentiles of its day, against what the taken one came to.
#[must_use]
pub fn hindsight(came: Came, price: [i64; 3], ready: &[Option<NaiveDate>]) -> Hindsight {
    let day = |percent: usize| ready.get(percent).copied().flatten();
    let days: Vec<NaiveDate> = ready.iter().map(|d| d.unwrap_or(NaiveDate::MAX)).collect();
    let exceeded = price.iter().filter(|p| came.price > **p).count();
    Hindsight {
        cheaper: match exceeded {
            0 => Cheaper::Hardly,
            1 => Cheaper::LessOften,
            2 => Cheaper::MoreOften,
            _ => Cheaper::Nearly,
        },
        price,
        ready: [day(10), day(50), day(90)],
        sooner: place(&days, &came.ready_on).map_or(0.0, |place| place.below),
    }
}

/// Many decisions together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Together {
    /// How many were looked back on.
    pub decisions: usize,
    /// How many came out at no more than the middle price of the other way.
    pub cheaper: usize,
    /// How many were ready no later than the middle day of the other way.
    pub sooner: usize,
    /// What the other ways would have been priced at in the middle beyond what the taken ones came to, minor units; below
    /// nought: less.
    pub saved: i64,
}

impl Together {
    /// Counts one more.
    pub fn add(&mut self, came: Came, other: &Hindsight) {
        let [_, price, _] = other.price;
        let [_, day, _] = other.ready;
        self.decisions += 1;
        self.cheaper += usize::from(came.price <= price);
        self.sooner += usize::from(day.is_none_or(|day| came.ready_on <= day));
        self.saved = self.saved.saturating_add(price.saturating_sub(came.price));
    }
}

/// The dearest mistakes first: by how much the taken way came out above the middle price of the other.
#[must_use]
pub fn dearest_first(a: (Came, &Hindsight), b: (Came, &Hindsight)) -> Ordering {
    let over = |(came, other): (Came, &Hindsight)| {
        let [_, middle, _] = other.price;
        came.price.saturating_sub(middle)
    };
    over(b).cmp(&over(a))
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::Days;
    use proptest::prelude::*;

    fn day(after: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2027, 3, 1).unwrap() + Days::new(after)
    }

    #[test]
    fn the_other_way_is_held_against_what_came_of_it() {
        let ready: Vec<Option<NaiveDate>> = (0..=100).map(|p| (p <= 80).then(|| day(p))).collect();
        let came = |price, after| Came {
            price,
            ready_on: day(after),
        };
        let price = [110_000, 150_000, 190_000];
        let first = hindsight(came(130_000, 10), price, &ready);
        assert_eq!(first.cheaper, Cheaper::LessOften);
        assert_eq!(first.ready, [Some(day(10)), Some(day(50)), None]);
        assert!((first.sooner - 10.0 / 101.0).abs() < 1e-12);
        let second = hindsight(came(160_000, 60), price, &ready);
        assert_eq!(second.cheaper, Cheaper::MoreOften);
        let mut together = Together::default();
        together.add(came(130_000, 10), &first);
        together.add(came(160_000, 60), &second);
        assert_eq!(
            (
                together.decisions,
                together.cheaper,
                together.sooner,
                together.saved
            ),
            (2, 1, 1, 10_000)
        );
        assert_eq!(
            dearest_first((came(130_000, 10), &first), (came(160_000, 60), &second)),
            Ordering::Greater
        );
    }

    proptest! {
        /// The dearer and the later the taken way came, the oftener the other one would have been better.
        #[test]
        fn what_came_worse_never_looks_better(
            mut price in prop::array::uniform3(0_i64..1_000_000), a in 0_i64..1_000_000, more in 0_i64..1_000_000,
            after in 0_u64..90, later in 0_u64..90
        ) {
            price.sort_unstable();
            let ready: Vec<Option<NaiveDate>> = (0..=100).map(|p| Some(day(p))).collect();
            let at = |price_of, on| hindsight(Came { price: price_of, ready_on: day(on) }, price, &ready);
            let (one, other) = (at(a, after), at(a + more, after + later));
            prop_assert!(one.cheaper as u8 <= other.cheaper as u8);
            prop_assert!(one.sooner <= other.sooner);
        }
    }
}
