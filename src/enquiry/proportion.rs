//! No price out of proportion. A search could be followed to any price, one dear block after another proving bad; a shop
//! stops long before that, because it has a cheaper way. So no figure of an option is shown that is more than
//! [`MOST_TIMES_CHEAPEST`] times the cheapest option's lowest: the futures beyond it are those in which the shop has
//! stopped, and an option with nothing else to show is not offered.

use crate::estimating::futures::percentile;

/// How many times the lowest price of the cheapest option any figure of another may be. Common practice, no source.
pub(super) const MOST_TIMES_CHEAPEST: i64 = 30;

/// The percentile that is the low end of a price range.
const LOW_PERCENT: u32 = 10;

/// The price at which the shop stops, in minor units, from the prices of each option in the futures in which it delivers.
/// Futures beyond it count no more, so it is sought until nothing changes: it is [`MOST_TIMES_CHEAPEST`] times the lowest
/// low end of what is left. `None` when no option costs anything.
pub(super) fn limit(options: &[Vec<i64>]) -> Option<i64> {
    let mut limit = i64::MAX;
    loop {
        let lowest = options
            .iter()
            .filter_map(|prices| {
                let within: Vec<i64> = prices.iter().copied().filter(|p| *p <= limit).collect();
                percentile(&within, LOW_PERCENT)
            })
            .filter(|low| *low > 0)
            .min()?;
        let next = lowest.saturating_mul(MOST_TIMES_CHEAPEST);
        // A lower limit can only lower the low end, so this comes to rest.
        if next >= limit {
            return Some(limit);
        }
        limit = next;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_cheapest_option_sets_the_limit() {
        let convert = vec![900, 1000, 1100];
        let hunt = vec![2000, 4000, 9_000_000];
        assert_eq!(limit(&[hunt, convert]), Some(27_000));
        assert_eq!(limit(&[vec![0, 0]]), None);
        assert_eq!(limit(&[]), None);
    }

    proptest! {
        #[test]
        fn what_is_left_is_in_proportion(
            options in prop::collection::vec(prop::collection::vec(1_i64..1_000_000_000, 1..60), 1..6)
        ) {
            let limit = limit(&options).unwrap();
            let lows: Vec<i64> = options
                .iter()
                .filter_map(|prices| {
                    let within: Vec<i64> = prices.iter().copied().filter(|p| *p <= limit).collect();
                    percentile(&within, LOW_PERCENT)
                })
                .collect();
            prop_assert_eq!(lows.iter().min().map(|low| low * MOST_TIMES_CHEAPEST >= limit), Some(true));
        }
    }
}
