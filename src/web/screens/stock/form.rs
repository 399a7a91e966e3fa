//! The forms of an item of stock and of what is booked on it.

use crate::db::stock::{Item, ItemDetails, OrderDetails};
use crate::web::ui::stale::Changed;
use crate::web::ui::{Field, FormErrors};
use chrono::NaiveDate;
use maud::{Markup, html};
use rust_decimal::Decimal;
use serde::Deserialize;

/// The most of anything that is taken as meant.
const MOST: Decimal = Decimal::from_parts(1_000_000, 0, 0, false, 0);
/// The least that can be booked.
const LEAST: Decimal = Decimal::from_parts(1, 0, 0, false, 3);

/// A quantity of something that is there.
pub(super) fn quantity(errors: &mut FormErrors, field: &str, raw: &str) -> Option<Decimal> {
    errors.decimal(field, raw, LEAST..=MOST)
}

/// An item as typed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct ItemForm {
    pub(super) name: String,
    pub(super) unit: String,
    pub(super) minimum: String,
    pub(super) kept_at: String,
    pub(super) supplier: String,
    pub(super) active: String,
    pub(super) version: String,
}

impl ItemForm {
    pub(super) fn blank() -> Self {
        Self {
            unit: "each".to_owned(),
            active: "yes".to_owned(),
            ..Self::default()
        }
    }

    pub(super) fn of(item: &Item) -> Self {
        let details = &item.details;
        Self {
            name: details.name.clone(),
            unit: details.unit.clone(),
            minimum: details.minimum.map(|m| m.to_string()).unwrap_or_default(),
            kept_at: details.kept_at.clone(),
            supplier: details.supplier.clone(),
            active: if details.active { "yes" } else { "" }.to_owned(),
            version: item.version.to_string(),
        }
    }

    pub(super) fn read(&self, errors: &mut FormErrors) -> Option<ItemDetails> {
        let name = errors.required_text("name", &self.name, 120);
        let unit = errors.required_text("unit", &self.unit, 20);
        let minimum = errors.optional(&self.minimum, |e| quantity(e, "minimum", &self.minimum));
        let kept_at = errors.text("kept_at", &self.kept_at, 120);
        let supplier = errors.text("supplier", &self.supplier, 120);
        Some(ItemDetails {
            name: name?,
            unit: unit?,
            minimum: minimum?,
            kept_at: kept_at?,
            supplier: supplier?,
            active: self.active == "yes",
        })
    }

    /// Both values of whatever differs.
    pub(super) fn differs_from(&self, typed: &Self) -> Vec<Changed> {
        let kept = |form: &Self| if form.active == "yes" { "yes" } else { "no" };
        [
            Changed::if_differs("Name", &self.name, typed.name.trim()),
            Changed::if_differs("Unit", &self.unit, typed.unit.trim()),
            Changed::if_differs("Minimum", &self.minimum, typed.minimum.trim()),
            Changed::if_differs("Kept", &self.kept_at, typed.kept_at.trim()),
            Changed::if_differs("From", &self.supplier, typed.supplier.trim()),
            Changed::if_differs("Still kept", kept(self), kept(typed)),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    pub(super) fn fields(&self, errors: &FormErrors) -> Markup {
        html! {
            (Field::text("name", "Name", &self.name).hint("A material of a standard time under this name draws on it").errors(errors))
            (Field::text("unit", "Counted in", &self.unit).hint("each, kg, m, litre …").errors(errors))
            (Field::decimal("minimum", "Minimum", &self.minimum).optional()
                .hint("For what must never run out; none: bought when a job asks").errors(errors))
            (Field::text("kept_at", "Kept", &self.kept_at).optional().errors(errors))
            (Field::text("supplier", "Bought from", &self.supplier).optional().errors(errors))
            (Field::checkbox("active", "Still kept", self.active == "yes"))
        }
    }
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
            (Field::text("order_supplier", "From", &self.order_supplier).errors(errors))
            (Field::date("order_expected", "Expected", &self.order_expected).optional()
                .hint("Without a day, jobs that wait for it have none either").errors(errors))
        }
    }
}

/// A day that is not past.
pub(super) fn coming(
    errors: &mut FormErrors,
    field: &str,
    raw: &str,
    today: NaiveDate,
) -> Option<NaiveDate> {
    let day = errors.date(field, raw)?;
    if day < today {
        errors.add(field, "That day is past");
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
