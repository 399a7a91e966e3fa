//! How the shop makes a price of a cost.

use super::Recalibration;
use crate::units::{Money, MoneyError};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// The shop's pricing policy. Percentages are whole numbers of per cent: 12.5 means 12.5 %.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Policy {
    /// Overhead on cost.
    pub overhead_percent: Decimal,
    /// Margin on the selling price before tax.
    pub margin_percent: Decimal,
    /// Tax, the shop's own setting.
    pub tax_percent: Decimal,
    /// The chance, in per cent, with which the shop wants its quoted hours and costs to suffice.
    pub confidence_percent: u32,
    /// How sure costs have proved to be.
    #[serde(default = "Recalibration::none")]
    pub costs: Recalibration,
}

impl Policy {
    /// What is wrong with it, each complaint with the form field it belongs beside. Empty when all is well.
    #[must_use]
    pub fn faults(&self) -> Vec<(&'static str, String)> {
        let percent = |p: Decimal, most: i64| (Decimal::ZERO..=Decimal::from(most)).contains(&p);
        [
            (
                percent(self.overhead_percent, 1000),
                "overhead_percent",
                "Overhead is from 0 to 1000 per cent of cost",
            ),
            (
                percent(self.margin_percent, 95),
                "margin_percent",
                "Margin is from 0 to 95 per cent of the selling price; at 100 there would be no price high enough",
            ),
            (
                percent(self.tax_percent, 100),
                "tax_percent",
                "Tax is from 0 to 100 per cent",
            ),
            (
                (50..=99).contains(&self.confidence_percent),
                "confidence_percent",
                "Enter a confidence from 50 to 99 %",
            ),
        ]
        .into_iter()
        .filter(|(well, ..)| !well)
        .map(|(_, field, message)| (field, message.to_owned()))
        .collect()
    }

    /// The futures, in per cent, whose cost a price at the shop's confidence covers: the confidence, unless the record of costs
    /// asks for another.
    #[must_use]
    pub fn covered_percent(&self) -> u32 {
        let share = self
            .costs
            .share_of_futures(f64::from(self.confidence_percent) / 100.0);
        // Never all of them: no price covers what nobody has drawn.
        ((share * 100.0).round() as u32).min(99)
    }

    /// The selling price before tax for a cost before overhead, not rounded: cost × (1 + overhead) / (1 − margin).
    ///
    /// Overhead is absorbed as a percentage of cost; margin is a share of the selling price, not a mark-up on cost.
    ///
    /// # Errors
    /// [`MoneyError::Overflow`], also for a margin of 100 % or more.
    pub fn price(&self, cost: Money) -> Result<Money, MoneyError> {
        let with_overhead = cost.plus(cost.percent(self.overhead_percent)?)?;
        with_overhead.over(Decimal::ONE - self.margin_percent / Decimal::ONE_HUNDRED)
    }
}
