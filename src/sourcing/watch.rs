//! What a shop says before it has seen much: since when it keeps watch on a variant, and its own opinion.

use super::Unusable;
use crate::units::{Currency, Money};
use chrono::NaiveDate;
use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// The widest factor a watch may have.
pub const WIDEST_FACTOR: Decimal = Decimal::from_parts(20, 0, 0, false, 0);

/// The watch a shop keeps on one variant.
///
/// Every opinion in it weighs as little as an opinion should: that on wait and price as much as one sighting,
/// that on soundness as much as two bought ones.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Watch {
    /// Of which variant.
    pub variant_id: Uuid,
    /// The first day on which the shop would have noticed one for sale.
    pub since: NaiveDate,
    /// Days within which, the shop would say, one turns up as likely as not. At least 1.
    pub likely_wait_days: u32,
    /// What one is likely to cost, in the shop's opinion; `None` when it has none.
    pub likely_price: Option<Money>,
    /// How far out that opinion may be: eight times in ten the price is within likely ÷ factor and likely × factor.
    /// Above 1.
    pub price_factor: Decimal,
    /// How many of a hundred bought ones would prove good, in the shop's opinion. 1 to 99.
    pub good_percent: u32,
    /// Hours a week spent looking, while hunting.
    pub search_hours_a_week: Decimal,
    /// Carriage of one.
    pub carriage: Money,
    /// Days from buying one to having it inspected in the shop.
    pub carriage_days: u32,
    /// Days an offer stays open, on average. At least 1.
    pub offer_days: u32,
    /// Grows by one with every edit.
    pub version: i32,
}

/// What the shop says of a price: cheapest, likely, dearest, of which eight in ten lie between the outer two.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PriceRangeOpinion {
    /// One in ten is cheaper.
    pub cheapest: Money,
    /// As many cheaper as dearer.
    pub likely: Money,
    /// One in ten is dearer.
    pub dearest: Money,
}

impl Watch {
    /// The same watch with an opinion on price. The factor is the larger of dearest ÷ likely and likely ÷ cheapest, to two
    /// places, upwards, so that both ends are within it.
    ///
    /// # Errors
    /// [`Unusable`] when the three are not in order, above zero and of one currency, or too far apart.
    pub fn with_price(self, opinion: PriceRangeOpinion) -> Result<Self, Unusable> {
        let [cheapest, likely, dearest] =
            [opinion.cheapest, opinion.likely, opinion.dearest].map(|money| money.amount());
        let currency = opinion.likely.currency();
        if [opinion.cheapest.currency(), opinion.dearest.currency()] != [currency; 2] {
            return Err(Unusable::of("the three prices are not in one currency"));
        }
        if cheapest <= Decimal::ZERO || cheapest >= likely || likely >= dearest {
            return Err(Unusable::of(
                "the cheapest must be below the likely price, and the dearest above it",
            ));
        }
        let factor = [dearest.checked_div(likely), likely.checked_div(cheapest)]
            .into_iter()
            .flatten()
            .max()
            .map(|factor| factor.round_dp_with_strategy(2, RoundingStrategy::AwayFromZero));
        let factor = factor
            .filter(|factor| *factor <= WIDEST_FACTOR)
            .ok_or_else(|| Unusable::of("the prices are too far apart"))?;
        Ok(Self {
            likely_price: Some(opinion.likely),
            price_factor: factor,
            ..self
        })
    }

    /// A watch begun on a day with nothing but the program's own mild opinions: half a year, no price, three of four
    /// good, an hour a week. They are starting points for the shop to change, `common practice, no source`.
    #[must_use]
    pub fn new(variant_id: Uuid, since: NaiveDate, currency: Currency) -> Self {
        Self {
            variant_id,
            since,
            likely_wait_days: 180,
            likely_price: None,
            price_factor: Decimal::TWO,
            good_percent: 75,
            search_hours_a_week: Decimal::ONE,
            carriage: Money::zero(currency),
            carriage_days: 7,
            offer_days: 14,
            version: 1,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rust_decimal::dec;

    #[test]
    fn three_prices_make_an_opinion() {
        let currency = Currency::from_code("GBP").unwrap();
        let gbp = |amount: i64| Money::new(amount.into(), currency);
        let watch = || Watch::new(Uuid::nil(), NaiveDate::MIN, currency);
        let said = |cheapest, likely, dearest| {
            let [cheapest, likely, dearest] = [cheapest, likely, dearest].map(gbp);
            watch().with_price(PriceRangeOpinion {
                cheapest,
                likely,
                dearest,
            })
        };
        let opinion = said(500, 800, 1400).unwrap();
        assert_eq!(opinion.likely_price, Some(gbp(800)));
        assert_eq!(opinion.price_factor, dec!(1.75));
        assert_eq!(said(200, 800, 1400).unwrap().price_factor, dec!(4));
        for wrong in [
            (0, 800, 900),
            (800, 800, 900),
            (500, 800, 800),
            (1, 800, 900),
        ] {
            assert!(said(wrong.0, wrong.1, wrong.2).is_err(), "{wrong:?}");
        }
    }
}
