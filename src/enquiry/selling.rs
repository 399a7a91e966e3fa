//! What the shop has decided about the way it sells: what a week of waiting is worth, and the terms of a search.

use crate::units::{Currency, Money};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// Minutes after which an answer is old.
pub const ANSWER_KEEPS_MINUTES: std::ops::RangeInclusive<i64> = 5..=1440;

/// The shop's own terms. The starting values are common practice, no source.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Selling {
    /// What a week's wait beyond the wanted day is worth to a customer, by the shop’s own estimate; zero: nothing.
    pub week_of_waiting: Money,
    /// What is charged for a search, whether or not it finds one; zero: nothing.
    pub search_fee: Money,
    /// What the shop adds to the cost of a casting it buys for a customer, in per cent.
    pub handling_percent: Decimal,
    /// The margin, in per cent of the price, below which only the owner may quote.
    pub least_margin_percent: Decimal,
    /// What an hour of overtime costs beyond a usual one, in per cent.
    pub overtime_percent: Decimal,
    /// Minutes after which an answer is old: before it is quoted the shop is asked.
    pub answer_keeps_minutes: u32,
    /// What carriage of a casting costs whatever it weighs; none where the shop has not said.
    #[serde(default)]
    pub carriage_base: Option<Money>,
    /// What it costs for each kilogram besides.
    #[serde(default)]
    pub carriage_per_kg: Option<Money>,
}

impl Selling {
    /// The starting values, for a shop that has decided nothing yet.
    #[must_use]
    pub fn starting(currency: Currency) -> Self {
        Self {
            week_of_waiting: Money::new(Decimal::ONE_HUNDRED, currency),
            search_fee: Money::zero(currency),
            handling_percent: Decimal::from(15),
            least_margin_percent: Decimal::from(5),
            overtime_percent: Decimal::from(50),
            answer_keeps_minutes: 60,
            carriage_base: None,
            carriage_per_kg: None,
        }
    }

    /// What carriage of a casting costs by its weight in kg, to the currency's smallest unit. `None` where the shop has not
    /// said what it costs, or nobody knows the weight and it counts.
    ///
    /// ```
    /// use borewright::enquiry::Selling;
    /// use borewright::units::{Currency, Money};
    /// let pounds = Currency::from_code("GBP")?;
    /// let selling = Selling {
    ///     carriage_base: Some(Money::parse("25", pounds)?),
    ///     carriage_per_kg: Some(Money::parse("0.45", pounds)?),
    ///     ..Selling::starting(pounds)
    /// };
    /// // 25 + 96 × 0.45
    /// assert_eq!(selling.carriage(Some(96.into())), Some(Money::parse("68.20", pounds)?));
    /// assert_eq!(selling.carriage(None), None);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn carriage(&self, weight_kg: Option<Decimal>) -> Option<Money> {
        let by_weight = match self.carriage_per_kg {
            Some(each) => Some(each.times(weight_kg?).ok()?.rounded()),
            None => None,
        };
        match (self.carriage_base, by_weight) {
            (Some(base), Some(more)) => base.plus(more).ok(),
            (one, None) | (None, one) => one,
        }
    }
}
