//! What a shop says before it has seen much: since when it keeps watch on a variant, and its own opinion.

use crate::units::{Currency, Money};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

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

impl Watch {
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
