//! The forms of what is booked on an item of stock.

use crate::db::stock::OrderDetails;
use crate::web::ui::{Field, FormErrors};
use chrono::NaiveDate;
use maud::{Markup, html};
use rust_decimal::Decimal;
use serde::Deserialize;

/// The most of anything that is taken as meant.
pub(in crate::web) const MOST: Decimal = Decimal::from_parts(1_000_000, 0, 0, false, 0);
/// The least that can be booked.
pub(in crate::web) const LEAST: Decimal = Decimal::from_parts(1, 0, 0, false, 3);

/// A quantity of something that is there.
pub(super) fn quantity(errors: &mut FormErrors, field: &str, raw: &str) -> Option<Decimal> {
    errors.decimal(field, raw, LEAST..=MOST)
}

/// An order as typed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct OrderForm {
    pub(super) order_quantity: String,
    pub(super) order_supplier: String,
    pub(super) order_expected: String,
}

impl OrderForm {
    pub(super) fn read(&self, today: NaiveDate, errors: &mut FormErrors) -> Option<OrderDetails> {
        let quantity = quantity(errors, "order_quantity", &self.order_quantity);
        let supplier = errors.required_text("order_supplier", &self.order_supplier, 120);
        let expected_on = errors.optional(&self.order_expected, |errors| {
            coming(errors, "order_expected", &self.order_expected, today)
        });
        Some(OrderDetails {
            quantity: quantity?,
            supplier: supplier?,
            ordered_on: today,
            expected_on: expected_on?,
        })
    }

    pub(super) fn fields(&self, unit: &str, errors: &FormErrors) -> Markup {
        html! {
            (Field::decimal("order_quantity", "Quantity", &self.order_quantity).unit(unit).errors(errors))
            (Field::text("order_supplier", "Supplier", &self.order_supplier).errors(errors))
            (Field::date("order_expected", "Expected", &self.order_expected).optional()
                .hint("Without a date, jobs that wait for it have no date either").errors(errors))
        }
    }
}

/// A day that is not past.
pub(in crate::web) fn coming(
    errors: &mut FormErrors,
    field: &str,
    raw: &str,
    today: NaiveDate,
) -> Option<NaiveDate> {
    let day = errors.date(field, raw)?;
    if day < today {
        errors.add(field, "Enter today or a later day");
        return None;
    }
    Some(day)
}

/// A count, or goods written off, as typed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct BookForm {
    /// What is on hand, as the page showed it.
    pub(super) seen: String,
    pub(super) counted: String,
    pub(super) counted_why: String,
    pub(super) off_quantity: String,
    pub(super) off_why: String,
}

impl BookForm {
    pub(super) fn read_count(&self, errors: &mut FormErrors) -> Option<(Decimal, String)> {
        let counted = errors.decimal("counted", &self.counted, Decimal::ZERO..=MOST);
        let why = errors.required_text("counted_why", &self.counted_why, 200);
        Some((counted?, why?))
    }

    pub(super) fn read_off(&self, errors: &mut FormErrors) -> Option<(Decimal, String)> {
        let quantity = quantity(errors, "off_quantity", &self.off_quantity);
        let why = errors.required_text("off_why", &self.off_why, 200);
        Some((quantity?, why?))
    }
}
