//! A casting and its inspection as they are typed.

use crate::store::castings::VariantName;
use crate::store::castings_on_shelf::{Casting, CastingDetails, Outcome, Ownership};
use crate::units::Money;
use crate::web::forms::Choice;
use crate::web::{Field, FormErrors, SignedIn};
use chrono::NaiveDate;
use maud::{Markup, html};
use serde::Deserialize;

/// A casting as typed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct CastingForm {
    pub(super) variant: String,
    pub(super) ownership: String,
    pub(super) cost: String,
    pub(super) condition: String,
    pub(super) version: String,
}

impl CastingForm {
    pub(super) fn of(casting: &Casting) -> Self {
        let details = &casting.details;
        let cost = match details.ownership {
            Ownership::Shop => details.cost.amount().normalize().to_string(),
            Ownership::Customer => String::new(),
        };
        Self {
            variant: details.variant_id.to_string(),
            ownership: details.ownership.code().to_owned(),
            cost,
            condition: details.condition.clone(),
            version: casting.version.to_string(),
        }
    }

    pub(super) fn read(
        &self,
        who: &SignedIn,
        variants: &[VariantName],
        errors: &mut FormErrors,
    ) -> Option<CastingDetails> {
        let variant_id = errors.row("variant", &self.variant).and_then(|id| {
            let known = variants.iter().any(|variant| variant.id == id);
            if !known {
                errors.add("variant", "This variant is not in the register any more");
            }
            known.then_some(id)
        });
        let ownership = errors.choice("ownership", &self.ownership, Ownership::from_code);
        let currency = who.shop.currency;
        let cost = match ownership {
            Some(Ownership::Customer) if self.cost.trim().is_empty() => Some(Money::zero(currency)),
            _ => errors.money("cost", &self.cost, currency),
        };
        let cost = cost.and_then(|cost| {
            let given = ownership == Some(Ownership::Customer) && !cost.amount().is_zero();
            if given {
                errors.add(
                    "cost",
                    "A customer’s own costs the shop nothing; leave this empty",
                );
            }
            (!given).then_some(cost)
        });
        let condition = errors.text("condition", &self.condition, 1000);
        Some(CastingDetails {
            variant_id: variant_id?,
            ownership: ownership?,
            cost: cost?,
            condition: condition?,
        })
    }

    pub(super) fn fields(
        &self,
        who: &SignedIn,
        variants: &[VariantName],
        errors: &FormErrors,
    ) -> Markup {
        let variants = variants
            .iter()
            .map(|variant| Choice::new(variant.id, &variant.name))
            .collect();
        let owners = vec![
            Choice::new(Ownership::Shop.code(), "The shop’s own"),
            Choice::new(Ownership::Customer.code(), "A customer’s, left here"),
        ];
        html! {
            (Field::select("variant", "Variant", &self.variant, variants).errors(errors))
            (Field::radios("ownership", "Whose it is", &self.ownership, owners).errors(errors))
            (Field::money("cost", "Cost", &self.cost, who.shop.currency)
                .hint("What the shop paid, carriage and all; nothing for a customer’s").errors(errors))
            (Field::textarea("condition", "Condition", &self.condition, 2).wide().optional()
                .hint("As it came: rust, studs, marks, what is with it").errors(errors))
        }
    }
}

/// What an inspection found, as typed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct InspectionForm {
    pub(super) outcome: String,
    pub(super) inspected_on: String,
    pub(super) version: String,
}

impl InspectionForm {
    pub(super) fn blank(today: NaiveDate) -> Self {
        Self {
            inspected_on: today.to_string(),
            ..Self::default()
        }
    }

    pub(super) fn read(
        &self,
        today: NaiveDate,
        errors: &mut FormErrors,
    ) -> Option<(Outcome, NaiveDate)> {
        let outcome = errors.choice("outcome", &self.outcome, Outcome::from_code);
        let on = errors
            .date("inspected_on", &self.inspected_on)
            .and_then(|day| {
                if day > today {
                    errors.add("inspected_on", "That day is still to come");
                }
                (day <= today).then_some(day)
            });
        Some((outcome?, on?))
    }
}
