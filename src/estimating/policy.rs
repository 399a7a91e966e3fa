//! How the shop makes a price of a cost.

use super::Recalibration;
use crate::units::{Currency, Money, MoneyError};
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

    /// The selling prices before tax for costs of many futures, all in minor units: [`Self::price`], rounded.
    ///
    /// # Errors
    /// As [`Self::price`].
    pub fn prices(&self, costs: &[i64], currency: Currency) -> Result<Vec<i64>, MoneyError> {
        let exactly = |cost: i64| {
            let cost = Money::from_minor(cost, currency);
            self.price(cost)?.rounded().to_minor()
        };
        let Some(ratio) = self.ratio() else {
            return costs.iter().map(|&cost| exactly(cost)).collect();
        };
        let one = |&cost: &i64| ratio.of(cost).map_or_else(|| exactly(cost), Ok);
        costs.iter().map(one).collect()
    }

    /// What a price is over its cost; `None` for figures too long for whole numbers.
    fn ratio(&self) -> Option<Ratio> {
        let tens = |digits: u32| 10_i128.checked_pow(digits);
        let (over, margin) = (self.overhead_percent, self.margin_percent);
        let (over_tens, margin_tens) = (tens(over.scale())?, tens(margin.scale())?);
        let with_overhead = over_tens.checked_mul(100)?.checked_add(over.mantissa())?;
        let left = margin_tens
            .checked_mul(100)?
            .checked_sub(margin.mantissa())?;
        let ratio = Ratio {
            above: with_overhead.checked_mul(margin_tens)?,
            below: left.checked_mul(over_tens)?,
        };
        (ratio.below > 0).then_some(ratio)
    }
}

/// A fraction of whole numbers.
#[derive(Debug, Clone, Copy)]
struct Ratio {
    above: i128,
    /// More than nought.
    below: i128,
}

impl Ratio {
    /// So much of a count, halves away from zero; `None` when it is too large. A product of whole numbers is exact, and a
    /// quotient to 28 digits rounds to the same minor unit: it is a half, or further from one than its last digit.
    fn of(self, count: i64) -> Option<i64> {
        let twice = i128::from(count).checked_mul(self.above)?.checked_mul(2)?;
        let half_up = twice.abs().checked_add(self.below)? / self.below.checked_mul(2)?;
        i64::try_from(half_up * twice.signum()).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use rust_decimal::dec;

    fn policy(overhead_percent: Decimal, margin_percent: Decimal) -> Policy {
        Policy {
            overhead_percent,
            margin_percent,
            tax_percent: dec!(20),
            confidence_percent: 80,
            costs: Recalibration::none(),
        }
    }

    #[test]
    fn a_margin_of_all_of_the_price_is_refused() {
        let pounds = Currency::from_code("GBP").unwrap();
        assert!(policy(dec!(10), dec!(100)).prices(&[1], pounds).is_err());
        let prices = policy(dec!(25), dec!(20)).prices(&[80, -80, 0], pounds);
        assert_eq!(prices, Ok(vec![125, -125, 0]));
    }

    proptest! {
        /// Price by price as the exact decimals have it, in currencies of two, no and three digits.
        #[test]
        fn prices_are_those_of_exact_money(
            overhead in 0i64..400_000, margin in 0i64..99_999, scale in 0u32..5,
            costs in prop::collection::vec(-1_000_000_000i64..1_000_000_000, 1..40)
        ) {
            let percent = |figure: i64| Decimal::new(figure, 3).round_dp(scale);
            let policy = policy(percent(overhead), percent(margin).min(dec!(99)));
            for code in ["GBP", "JPY", "KWD"] {
                let currency = Currency::from_code(code).unwrap();
                let exact: Vec<i64> = costs
                    .iter()
                    .map(|&cost| {
                        let price = policy.price(Money::from_minor(cost, currency)).unwrap();
                        price.rounded().to_minor().unwrap()
                    })
                    .collect();
                prop_assert_eq!(policy.prices(&costs, currency), Ok(exact));
            }
        }
    }
}
