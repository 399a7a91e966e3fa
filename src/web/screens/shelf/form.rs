//! The forms of the shelf, as they are typed and as they are understood.

use super::source_words;
use crate::db::casting_records::{Origin, Source};
use crate::db::castings::VariantName;
use crate::db::castings_on_shelf::{Casting, CastingDetails, Outcome, Ownership};
use crate::sourcing::Sighting;
use crate::units::{Code, Money};
use crate::web::ui::forms::Choice;
use crate::web::ui::show::day;
use crate::web::ui::{Field, FormErrors, SignedIn};
use chrono::NaiveDate;
use maud::{Markup, html};
use serde::Deserialize;
use utoipa::ToSchema;

/// A casting as typed.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(default)]
pub(in crate::web) struct CastingForm {
    pub(super) variant: String,
    pub(super) ownership: String,
    pub(super) owner: String,
    pub(super) source: String,
    pub(super) sighting: String,
    pub(super) came_from: String,
    pub(super) cost: String,
    pub(super) condition: String,
    #[schema(ignore)]
    pub(super) version: String,
}

impl CastingForm {
    pub(super) fn of(casting: &Casting, origin: &Origin) -> Self {
        let details = &casting.details;
        let cost = match details.ownership {
            Ownership::Shop => details.cost.amount().normalize().to_string(),
            Ownership::Customer => String::new(),
        };
        let sighting = origin.sighting.as_ref();
        Self {
            variant: details.variant_id.to_string(),
            ownership: details.ownership.code().to_owned(),
            owner: origin.owner.clone(),
            source: origin.source.code().to_owned(),
            sighting: sighting.map(|(id, ..)| id.to_string()).unwrap_or_default(),
            came_from: origin.came_from.clone(),
            cost,
            condition: details.condition.clone(),
            version: casting.version.to_string(),
        }
    }

    pub(in crate::web) fn read(
        &self,
        who: &SignedIn,
        variants: &[VariantName],
        errors: &mut FormErrors,
    ) -> Option<(CastingDetails, Origin)> {
        let variant_id = errors.row("variant", &self.variant).and_then(|id| {
            let known = variants.iter().any(|variant| variant.id == id);
            if !known {
                errors.add("variant", "Choose a variant: this one was removed");
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
                    "Leave the cost empty: a customer’s casting costs the shop nothing",
                );
            }
            (!given).then_some(cost)
        });
        let condition = errors.text("condition", &self.condition, 1000);
        let origin = self.read_origin(ownership, errors);
        let details = CastingDetails {
            variant_id: variant_id?,
            ownership: ownership?,
            cost: cost?,
            condition: condition?,
        };
        Some((details, origin?))
    }

    fn read_origin(&self, ownership: Option<Ownership>, errors: &mut FormErrors) -> Option<Origin> {
        let customers = ownership == Some(Ownership::Customer);
        let owner = if customers {
            errors.required_text("owner", &self.owner, 120)
        } else if self.owner.trim().is_empty() {
            Some(String::new())
        } else {
            errors.add(
                "owner",
                "Leave the customer empty: this casting is the shop’s",
            );
            None
        };
        let source = match self.source.trim() {
            "" if customers => Some(Source::Customer),
            "" => Some(Source::Bought),
            typed => errors.choice("source", typed, Source::from_code),
        };
        let sighting = errors.optional(&self.sighting, |errors| {
            let id = errors.row("sighting", &self.sighting)?;
            if source != Some(Source::Sighting) {
                errors.add(
                    "sighting",
                    "Choose “seen for sale” as the source, or clear the sighting",
                );
                return None;
            }
            Some(id)
        });
        let came_from = errors.text("came_from", &self.came_from, 200);
        Some(Origin {
            source: source?,
            sighting: sighting?.map(|id| (id, NaiveDate::default(), String::new())),
            came_from: came_from?,
            owner: owner?,
        })
    }

    pub(super) fn fields(
        &self,
        who: &SignedIn,
        variants: &[VariantName],
        sightings: &[Sighting],
        errors: &FormErrors,
    ) -> Markup {
        let variants = variants
            .iter()
            .map(|variant| Choice::new(variant.id, &variant.name))
            .collect();
        html! {
            (Field::select("variant", "Variant", &self.variant, variants).errors(errors))
            (self.fields_of_any(who, sightings, errors))
        }
    }

    /// All fields but the variant's.
    pub(super) fn fields_of_any(
        &self,
        who: &SignedIn,
        sightings: &[Sighting],
        errors: &FormErrors,
    ) -> Markup {
        let owners = vec![
            Choice::new(Ownership::Shop.code(), "The shop"),
            Choice::new(Ownership::Customer.code(), "A customer"),
        ];
        let sources = Source::ALL
            .iter()
            .map(|source| Choice::new(source.code(), source_words(*source)))
            .collect();
        let sightings = sightings
            .iter()
            .map(|seen| {
                Choice::new(
                    seen.id,
                    format!("{}, {}", day(seen.seen_on, who.today()), seen.place),
                )
            })
            .collect();
        html! {
            (Field::radios("ownership", "Owner", &self.ownership, owners).errors(errors))
            (Field::text("owner", "Customer", &self.owner).optional()
                .hint("For a customer’s casting: it is used only in that customer’s jobs").errors(errors))
            (Field::money("cost", "Cost", &self.cost, who.shop.currency)
                .hint("What the shop paid, with carriage. Leave it empty for a customer’s casting").errors(errors))
            (Field::select("source", "Source", &self.source, sources).optional().errors(errors))
            (Field::select("sighting", "Sighting", &self.sighting, sightings).optional().errors(errors))
            (Field::text("came_from", "Supplier", &self.came_from).optional().errors(errors))
            (Field::textarea("condition", "Condition", &self.condition, 2).wide().optional()
                .hint("As received: rust, studs, marks, loose parts").errors(errors))
        }
    }
}

/// What an inspection found, as typed.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(default)]
pub(in crate::web) struct InspectionForm {
    pub(super) outcome: String,
    pub(super) inspected_on: String,
    #[schema(ignore)]
    pub(super) version: String,
}

impl InspectionForm {
    pub(super) fn blank(today: NaiveDate) -> Self {
        Self {
            inspected_on: today.to_string(),
            ..Self::default()
        }
    }

    pub(in crate::web) fn read(
        &self,
        today: NaiveDate,
        errors: &mut FormErrors,
    ) -> Option<(Outcome, NaiveDate)> {
        let outcome = errors.choice("outcome", &self.outcome, Outcome::from_code);
        let on = errors
            .date("inspected_on", &self.inspected_on)
            .and_then(|day| {
                if day > today {
                    errors.add("inspected_on", "Enter a date that is not in the future");
                }
                (day <= today).then_some(day)
            });
        Some((outcome?, on?))
    }
}
