//! Who gets what there is: goods on hand and on order go to the job that is due first.

use super::Cover;
use chrono::NaiveDate;
use rust_decimal::Decimal;
use std::collections::HashMap;
use uuid::Uuid;

/// What an open job still wants of an item.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Demand {
    /// The need.
    pub need_id: Uuid,
    /// How much.
    pub quantity: Decimal,
    /// The day its job is due.
    pub due_on: NaiveDate,
    /// The number of its job: of two that are due on one day, the older is served first.
    pub job_number: i64,
}

/// What is still to come of an order that has a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Delivery {
    /// The day it is expected.
    pub expected_on: NaiveDate,
    /// What is still to come.
    pub quantity: Decimal,
}

/// What there is of an item, and what is wanted of it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Supply {
    /// On hand.
    pub on_hand: Decimal,
    /// On order with a day.
    pub deliveries: Vec<Delivery>,
    /// Wanted by open jobs.
    pub demands: Vec<Demand>,
}

impl Supply {
    /// How each need is covered, once the jobs that are due before have had theirs. A need that asks for more than there
    /// is takes its turn all the same: those after it do not get what it waits for.
    ///
    /// ```
    /// use borewright::stock::{Cover, Delivery, Demand, Supply};
    /// use chrono::NaiveDate;
    /// use uuid::Uuid;
    ///
    /// let day = |d| NaiveDate::from_ymd_opt(2026, 3, d).unwrap_or_default();
    /// let demand = |need, quantity: i64, due: u32| Demand {
    ///     need_id: Uuid::from_u128(need),
    ///     quantity: quantity.into(),
    ///     due_on: day(due),
    ///     job_number: 1,
    /// };
    /// // Five dowels on hand and four to come on the 8th; the job due on the 10th wants four, the other three.
    /// let dowels = Supply {
    ///     on_hand: 5.into(),
    ///     deliveries: vec![Delivery { expected_on: day(8), quantity: 4.into() }],
    ///     demands: vec![demand(2, 3, 20), demand(1, 4, 10)],
    /// };
    /// let served = dowels.serve();
    /// assert_eq!(served[&Uuid::from_u128(1)], Cover::OnHand);
    /// assert_eq!(served[&Uuid::from_u128(2)], Cover::OnOrder(day(8)));
    /// ```
    #[must_use]
    pub fn serve(mut self) -> HashMap<Uuid, Cover> {
        self.demands
            .sort_by_key(|demand| (demand.due_on, demand.job_number, demand.need_id));
        self.deliveries.sort_by_key(|delivery| delivery.expected_on);
        let mut wanted = Decimal::ZERO;
        let mut served = HashMap::new();
        for demand in &self.demands {
            wanted += demand.quantity;
            served.insert(demand.need_id, self.cover(wanted));
        }
        served
    }

    /// How an amount is covered by what is on hand and then by what comes, day by day.
    fn cover(&self, wanted: Decimal) -> Cover {
        let mut there = self.on_hand;
        if there >= wanted {
            return Cover::OnHand;
        }
        for delivery in &self.deliveries {
            there += delivery.quantity;
            if there >= wanted {
                return Cover::OnOrder(delivery.expected_on);
            }
        }
        Cover::Short
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 3, d).unwrap()
    }

    fn demand(need: u128, quantity: i64, due: u32, job_number: i64) -> Demand {
        Demand {
            need_id: Uuid::from_u128(need),
            quantity: quantity.into(),
            due_on: day(due),
            job_number,
        }
    }

    fn delivery(d: u32, quantity: i64) -> Delivery {
        Delivery {
            expected_on: day(d),
            quantity: quantity.into(),
        }
    }

    #[test]
    fn due_first_is_served_first_and_of_one_day_the_older_job() {
        let served = Supply {
            on_hand: 2.into(),
            deliveries: vec![delivery(12, 1), delivery(8, 1)],
            demands: vec![
                demand(4, 1, 20, 1),
                demand(3, 1, 10, 9),
                demand(2, 1, 10, 3),
                demand(1, 1, 5, 7),
            ],
        }
        .serve();
        let cover = |need| served[&Uuid::from_u128(need)];
        assert_eq!(cover(1), Cover::OnHand);
        assert_eq!(cover(2), Cover::OnHand);
        assert_eq!(cover(3), Cover::OnOrder(day(8)));
        assert_eq!(cover(4), Cover::OnOrder(day(12)));
    }

    #[test]
    fn a_need_too_large_keeps_its_turn() {
        let served = Supply {
            on_hand: 3.into(),
            deliveries: Vec::new(),
            demands: vec![demand(1, 4, 5, 1), demand(2, 1, 6, 2)],
        }
        .serve();
        assert_eq!(served[&Uuid::from_u128(1)], Cover::Short);
        assert_eq!(served[&Uuid::from_u128(2)], Cover::Short);
    }
}
