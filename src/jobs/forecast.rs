//! What a job will have cost when it is done: earned value.

use crate::units::{Money, MoneyError};
use rust_decimal::Decimal;

/// Where a job stands in money.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Earned {
    /// Budget at completion: all work at what it was estimated to cost.
    pub budget: Money,
    /// Earned value: the work that is done, at what it was estimated to cost.
    pub earned: Money,
    /// Actual cost so far.
    pub actual: Money,
}

/// What it will have cost at completion.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Forecast {
    /// Cost performance index, earned over actual: below one, work costs more than was estimated. `None` until it can be
    /// told.
    pub cpi: Option<Decimal>,
    /// When what is left goes as what was done: AC + (BAC − EV) / CPI. `None` until the index can be told.
    pub at_this_rate: Option<Money>,
    /// When what is left goes as estimated: AC + BAC − EV.
    pub rest_as_estimated: Money,
}

/// A fifth is earned before the index is told.
const FIFTH: Decimal = Decimal::from_parts(5, 0, 0, false, 0);

impl Earned {
    /// The forecast. Formulas: Project Management Institute, A Guide to the Project Management Body of Knowledge, sixth
    /// edition (2017), 7.4.2.2 (from memory): EAC = AC + (BAC − EV) / CPI, which is BAC / CPI, for a cost performance
    /// that goes on as it was, and EAC = AC + BAC − EV for what is left at the budgeted rate.
    ///
    /// The index is told once a fifth of the budget is earned and something was spent: from then on it changes by little
    /// (Christensen and Payne, Cost Performance Index Stability: Fact or Fiction?, 1992, from memory). Before that an hour that is
    /// not booked yet would make it nine, and the whole job cost a tenth.
    ///
    /// # Errors
    /// [`MoneyError`] for amounts in different currencies or beyond what can be counted.
    pub fn forecast(&self) -> Result<Forecast, MoneyError> {
        let rest_as_estimated = self.actual.plus(self.budget)?.minus(self.earned)?;
        let left = self.budget.minus(self.earned)?;
        let (actual, earned) = (self.actual.amount(), self.earned.amount());
        let budget = self.budget.amount();
        let told = earned > Decimal::ZERO && earned >= budget / FIFTH && actual > Decimal::ZERO;
        let cpi = earned.checked_div(actual).filter(|_| told);
        // Multiplied before it is divided, so that the index is not rounded on the way.
        let at_this_rate = if left.amount().is_zero() && budget > Decimal::ZERO {
            Some(self.actual)
        } else if told {
            Some(self.actual.plus(left.times(actual)?.over(earned)?)?)
        } else {
            None
        };
        Ok(Forecast {
            cpi,
            at_this_rate,
            rest_as_estimated,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Currency;
    use proptest::prelude::*;

    fn money(amount: i64) -> Money {
        Money::new(amount.into(), Currency::from_code("USD").unwrap())
    }

    fn forecast(budget: i64, earned: i64, actual: i64) -> Forecast {
        Earned {
            budget: money(budget),
            earned: money(earned),
            actual: money(actual),
        }
        .forecast()
        .unwrap()
    }

    /// Published worked examples.
    #[test]
    fn published_examples_come_out() {
        // gristprojectmanagement.us, "Info" (EAC figures 7-13 and 7-14 of a project management exam guide): a budget of
        // 500,000, 100,000 earned, 127,000 spent gives 527,000 as estimated; and 150,000 earned, 162,000 spent gives
        // 538,344 with the index rounded to 0.93 before it is used: unrounded it is 540,000, and the rounded figure
        // comes out when its index is put in.
        assert_eq!(
            forecast(500_000, 100_000, 127_000).rest_as_estimated,
            money(527_000)
        );
        let second = forecast(500_000, 150_000, 162_000);
        assert_eq!(second.at_this_rate, Some(money(540_000)));
        let rounded = second.cpi.unwrap().round_dp(2);
        assert_eq!(rounded, Decimal::new(93, 2));
        let by_hand = Decimal::from(162_000) + Decimal::from(350_000) / rounded;
        assert_eq!(by_hand.round(), Decimal::from(538_344));
        // quickbooks.intuit.com/ca, "Using earned value management": 100,000, half done, 45,000 spent: index 1.11,
        // estimate at completion 90,000.
        let third = forecast(100_000, 50_000, 45_000);
        assert_eq!(third.cpi.unwrap().round_dp(2), Decimal::new(111, 2));
        assert_eq!(third.at_this_rate, Some(money(90_000)));
        // wikislate.com, poster 15 "EVM forecasting": 100, 40, 45 thousand: index 0.89, estimate 112.5 thousand.
        let fourth = forecast(100_000, 40_000, 45_000);
        assert_eq!(fourth.cpi.unwrap().round_dp(2), Decimal::new(89, 2));
        assert_eq!(fourth.at_this_rate, Some(money(112_500)));
    }

    #[test]
    fn nothing_done_yet_has_no_rate() {
        let fresh = forecast(1_000, 0, 0);
        assert_eq!((fresh.cpi, fresh.at_this_rate), (None, None));
        assert_eq!(fresh.rest_as_estimated, money(1_000));
        // Spent and nothing earned: no rate can be told, only what is left as estimated.
        assert_eq!(forecast(1_000, 0, 50).at_this_rate, None);
        // Work is done and its hours are not booked yet.
        let unbooked = forecast(1_000, 90, 10);
        assert_eq!((unbooked.cpi, unbooked.at_this_rate), (None, None));
        assert_eq!(forecast(1_000, 600, 0).at_this_rate, None);
    }

    proptest! {
        #[test]
        fn both_forecasts_agree_when_work_costs_what_it_should(budget in 1_i64..1_000_000, share in 1_i64..100) {
            let earned = (budget * share / 100).max(1);
            let f = forecast(budget, earned, earned);
            let told = earned * 5 >= budget;
            prop_assert_eq!(f.cpi, told.then_some(Decimal::ONE));
            prop_assert_eq!(f.at_this_rate, told.then(|| money(budget)));
            prop_assert_eq!(f.rest_as_estimated, money(budget));
        }

        #[test]
        fn a_finished_job_is_forecast_at_what_it_cost(budget in 1_i64..1_000_000, actual in 0_i64..1_000_000) {
            let f = forecast(budget, budget, actual);
            prop_assert_eq!(f.at_this_rate, Some(money(actual)));
            prop_assert_eq!(f.rest_as_estimated, money(actual));
        }
    }
}
