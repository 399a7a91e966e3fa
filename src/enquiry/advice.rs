//! Which option to take.

use chrono::NaiveDate;
use rust_decimal::Decimal;
use std::cmp::Reverse;

/// What the choice rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Offered {
    /// The price the shop would quote, before tax.
    pub(super) net: Decimal,
    /// The day that holds with the shop's confidence; `None` when none does.
    pub(super) ready: Option<NaiveDate>,
    /// The chance, in per cent, that it is ready on the wanted day or before, if one was named.
    pub(super) in_time_percent: Option<u32>,
    /// Per cent of futures in which it is never ready.
    pub(super) never_percent: u32,
}

impl Offered {
    /// The day, a missing one after all others.
    fn day(&self) -> NaiveDate {
        self.ready.unwrap_or(NaiveDate::MAX)
    }

    /// Whether this one is no dearer and no later than the other, and better in one of the two. Of two without a day
    /// neither is the sooner, so price alone does not decide between them.
    pub(super) fn beats(&self, other: &Self) -> bool {
        let no_worse = self.net <= other.net && self.day() <= other.day();
        let better = self.net < other.net || self.day() < other.day();
        self.ready.is_some() && no_worse && better
    }

    /// Whether it holds the wanted day with the shop's confidence or, where none was named, some day.
    fn holds(&self, confidence: u32) -> bool {
        match self.in_time_percent {
            Some(percent) => percent >= confidence,
            None => self.ready.is_some(),
        }
    }
}

/// The index of the option the shop would take, out of those that no other beats: the cheapest that holds the wanted day
/// (or, where none was named, is ready at all) with the shop's confidence, in per cent; where none does, the one likeliest
/// to, and of those as likely the one ready first.
pub(super) fn best(offered: &[Offered], confidence: u32) -> Option<usize> {
    let unbeaten = || {
        offered
            .iter()
            .enumerate()
            .filter(|(_, one)| !offered.iter().any(|other| other.beats(one)))
    };
    unbeaten()
        .filter(|(_, one)| one.holds(confidence))
        .min_by_key(|(_, one)| (one.net, one.day()))
        .or_else(|| {
            unbeaten().max_by_key(|(_, one)| {
                (
                    one.in_time_percent,
                    Reverse(one.never_percent),
                    Reverse(one.day()),
                    Reverse(one.net),
                )
            })
        })
        .map(|(index, _)| index)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn day(n: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 12, 1).unwrap() + chrono::Days::new(n)
    }

    fn offered(net: i64, ready: Option<u64>, in_time: Option<u32>) -> Offered {
        Offered {
            net: net.into(),
            ready: ready.map(day),
            in_time_percent: in_time,
            never_percent: if ready.is_some() { 0 } else { 60 },
        }
    }

    /// Nothing is in time: the likeliest was the dearer and later one, by futures that are lucky.
    #[test]
    fn what_is_dearer_and_later_is_not_taken_for_its_luck() {
        let convert = offered(1500, Some(20), Some(0));
        let hunt = offered(4000, Some(300), Some(3));
        assert_eq!(best(&[convert, hunt], 80), Some(0));
        assert_eq!(best(&[hunt, convert], 80), Some(1));
        let none_at_all = offered(1600, Some(25), Some(0));
        assert_eq!(best(&[convert, none_at_all], 80), Some(0));
    }

    #[test]
    fn the_cheapest_in_time_is_taken() {
        let cheap = offered(900, Some(40), Some(30));
        let dear = offered(2000, Some(10), Some(95));
        assert_eq!(best(&[cheap, dear], 80), Some(1));
        let (cheap, dear) = (offered(900, Some(40), None), offered(2000, Some(10), None));
        assert_eq!(best(&[cheap, dear], 80), Some(0));
        assert_eq!(best(&[offered(900, None, None)], 80), Some(0));
        assert_eq!(best(&[], 80), None);
    }

    fn any_offered() -> impl Strategy<Value = Offered> {
        (
            1_i64..20,
            prop::option::of(0_u64..12),
            prop::option::of(0_u32..=100),
            0_u32..=100,
        )
            .prop_map(|(net, ready, in_time_percent, never_percent)| Offered {
                never_percent,
                ..offered(net, ready, in_time_percent)
            })
    }

    proptest! {
        #[test]
        fn no_other_is_both_cheaper_and_sooner(
            offered in prop::collection::vec(any_offered(), 1..8), confidence in 50_u32..100
        ) {
            let taken = offered[best(&offered, confidence).unwrap()];
            for other in &offered {
                prop_assert!(!(other.net < taken.net && other.day() < taken.day()), "{other:?} beats {taken:?}");
                prop_assert!(!other.beats(&taken));
            }
        }
    }
}
