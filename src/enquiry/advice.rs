//! Which option to take: the shop's one rule, for the screen, the API and the sentence alike.
//!
//! 1. What another beats, being no dearer and no later and better in one of the two, is never taken.
//! 2. Of the rest the shop takes the one whose price, together with the shop's own price for each week that it is ready
//!    after the wanted day, counted by the day, is lowest; of equals the sooner, then the cheaper.
//! 3. So what meets the day and is cheapest of those that do is taken, unless a later one saves more than its wait costs.
//! 4. Where no day is wanted, every day from today counts as waiting.
//! 5. What has no day that holds with the shop's confidence is taken only when nothing has one: the one that costs least for
//!    its chance to be delivered at all, price over chance; of equals the likeliest.
//!
//! A wanted day that moves by a day moves what the shop has to weigh by a seventh of a week's wait at most, so the advice
//! never jumps to something far dearer for a day's sake.

use chrono::NaiveDate;
use rust_decimal::Decimal;

/// What the choice rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Offered {
    /// What it is compared at, before tax: see [`super::Figures::compared`].
    pub(super) price: Decimal,
    /// The day that holds with the shop's confidence; `None` when none does.
    pub(super) ready: Option<NaiveDate>,
    /// Per cent of futures in which it is never ready.
    pub(super) never_percent: u32,
}

/// How waiting is weighed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Waiting {
    /// The wanted day or, where none was named, today.
    pub(super) from: NaiveDate,
    /// What a week's wait after it is worth. Not negative.
    pub(super) week: Decimal,
}

impl Waiting {
    /// What waiting until a day is worth: nothing until the wanted day, then a seventh of a week's price a day.
    fn until(&self, day: NaiveDate) -> Decimal {
        let days = Decimal::from((day - self.from).num_days().max(0));
        days.checked_mul(self.week)
            .map_or(Decimal::MAX, |sum| sum / Decimal::from(7))
    }
}

impl Offered {
    /// The day, a missing one after all others.
    fn day(&self) -> NaiveDate {
        self.ready.unwrap_or(NaiveDate::MAX)
    }

    /// Whether this one is no dearer and no later than the other, and better in one of the two. Of two without a day
    /// neither is the sooner, so price alone does not decide between them.
    pub(super) fn beats(&self, other: &Self) -> bool {
        let no_worse = self.price <= other.price && self.day() <= other.day();
        let better = self.price < other.price || self.day() < other.day();
        self.ready.is_some() && no_worse && better
    }

    /// Price over the chance to be delivered at all.
    fn for_its_chance(&self) -> Decimal {
        let chance = Decimal::from(100_u32.saturating_sub(self.never_percent));
        self.price.checked_div(chance).unwrap_or(Decimal::MAX)
    }

    /// Price and wait together; `None` without a day.
    fn weighed(&self, waiting: Waiting) -> Option<Decimal> {
        Some(
            self.price
                .checked_add(waiting.until(self.ready?))
                .unwrap_or(Decimal::MAX),
        )
    }
}

/// The index of the option the shop would take, by the rule of this module.
pub(super) fn best(offered: &[Offered], waiting: Waiting) -> Option<usize> {
    let unbeaten = || {
        offered
            .iter()
            .enumerate()
            .filter(|(_, one)| !offered.iter().any(|other| other.beats(one)))
    };
    unbeaten()
        .filter_map(|(index, one)| Some((index, one.weighed(waiting)?, one)))
        .min_by_key(|(_, weighed, one)| (*weighed, one.day(), one.price))
        .map(|(index, ..)| index)
        .or_else(|| {
            unbeaten()
                .min_by_key(|(_, one)| (one.for_its_chance(), one.never_percent))
                .map(|(index, _)| index)
        })
}

/// The index of the cheapest option that is ready on a day or before, with the shop's confidence.
pub(super) fn cheapest_by(offered: &[Offered], day: NaiveDate) -> Option<usize> {
    offered
        .iter()
        .enumerate()
        .filter(|(_, one)| one.day() <= day)
        .min_by_key(|(_, one)| (one.price, one.day()))
        .map(|(index, _)| index)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn day(n: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 12, 1).unwrap() + chrono::Days::new(n)
    }

    fn offered(price: i64, ready: Option<u64>) -> Offered {
        Offered {
            price: price.into(),
            ready: ready.map(day),
            never_percent: if ready.is_some() { 0 } else { 60 },
        }
    }

    fn waiting(wanted: u64, week: i64) -> Waiting {
        Waiting {
            from: day(wanted),
            week: week.into(),
        }
    }

    /// A conversion for January against a find for July, neither in time: nobody waits half a year to pay more.
    #[test]
    fn what_is_dearer_and_later_is_not_taken() {
        let convert = offered(1697, Some(42));
        let hunt = offered(4050, Some(230));
        assert_eq!(best(&[convert, hunt], waiting(10, 100)), Some(0));
        assert_eq!(best(&[hunt, convert], waiting(10, 0)), Some(1));
    }

    #[test]
    fn the_cheapest_in_time_is_taken_unless_waiting_saves_more_than_it_costs() {
        let (dear, cheap) = (offered(2000, Some(10)), offered(1400, Some(24)));
        // Two weeks late saves 600: worth it at 200 a week, not at 400.
        assert_eq!(best(&[dear, cheap], waiting(10, 200)), Some(1));
        assert_eq!(best(&[dear, cheap], waiting(10, 400)), Some(0));
        assert_eq!(cheapest_by(&[dear, cheap], day(10)), Some(0));
        // Both are in time: the cheaper, whatever a week is worth.
        assert_eq!(best(&[dear, cheap], waiting(24, 400)), Some(1));
        assert_eq!(cheapest_by(&[dear, cheap], day(9)), None);
    }

    #[test]
    fn what_has_no_day_comes_last() {
        let never = offered(900, None);
        assert_eq!(
            best(&[never, offered(4000, Some(90))], waiting(0, 100)),
            Some(1)
        );
        assert_eq!(best(&[never], waiting(0, 100)), Some(0));
        assert_eq!(best(&[], waiting(0, 100)), None);
    }

    /// A new shop whose people are not entered yet has no day for anything: one in a hundred more that are found is not worth
    /// a third more.
    #[test]
    fn without_any_day_price_is_weighed_against_the_chance() {
        let undated = |price, never_percent| Offered {
            never_percent,
            ..offered(price, None)
        };
        let (convert, find) = (undated(1050, 16), undated(1409, 15));
        assert_eq!(best(&[find, convert], waiting(0, 100)), Some(1));
        // What is hardly ever found is no bargain, and what never is comes last.
        assert_eq!(best(&[undated(900, 60), find], waiting(0, 100)), Some(1));
        assert_eq!(best(&[undated(1, 100), find], waiting(0, 100)), Some(1));
    }

    fn any_offered() -> impl Strategy<Value = Offered> {
        (1_i64..400, prop::option::of(0_u64..120), 0_u32..=100).prop_map(
            |(price, ready, never_percent)| Offered {
                never_percent,
                ..offered(price * 10, ready)
            },
        )
    }

    proptest! {
        #[test]
        fn the_advice_is_never_beaten_and_never_dearer_than_what_is_in_time(
            offered in prop::collection::vec(any_offered(), 1..8), wanted in 0_u64..130, week in 0_i64..500
        ) {
            let taken = offered[best(&offered, waiting(wanted, week)).unwrap()];
            for other in &offered {
                prop_assert!(!(other.price < taken.price && other.day() < taken.day()), "{other:?} beats {taken:?}");
                prop_assert!(!other.beats(&taken));
            }
            if let Some(in_time) = cheapest_by(&offered, day(wanted)) {
                prop_assert!(taken.price <= offered[in_time].price);
            }
        }

        /// One day more or less to be ready in changes price and wait together by a seventh of a week's wait at most.
        #[test]
        fn a_day_never_makes_the_advice_jump(
            offered in prop::collection::vec(any_offered(), 1..8), wanted in 0_u64..130, week in 0_i64..500
        ) {
            let weighed = |wanted| {
                let waiting = waiting(wanted, week);
                best(&offered, waiting).and_then(|taken| offered[taken].weighed(waiting))
            };
            if let (Some(today), Some(tomorrow)) = (weighed(wanted), weighed(wanted + 1)) {
                prop_assert!(tomorrow <= today);
                prop_assert!(today - tomorrow <= Decimal::from(week) / Decimal::from(7) + Decimal::new(1, 9));
            }
        }
    }
}
