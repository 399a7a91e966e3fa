//! A call as it is typed, on the screen or by a program.

use crate::app::catalogue::Catalogue;
use crate::db::enquiries::{Enquiry, EnquiryDetails};
use crate::enquiry::{Condition, Purpose};
use crate::units::{Code, Currency};
use crate::web::ui::FormErrors;
use serde::Deserialize;
use uuid::Uuid;

/// A call as it is typed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct CallForm {
    pub(in crate::web) caller: String,
    pub(in crate::web) contact: String,
    pub(in crate::web) wanted: String,
    pub(in crate::web) wanted_by: String,
    pub(in crate::web) brings: String,
    pub(in crate::web) brings_note: String,
    pub(in crate::web) repairs: Vec<String>,
    pub(in crate::web) also: Vec<String>,
    pub(in crate::web) note: String,
    pub(in crate::web) purpose: String,
    pub(in crate::web) condition: String,
    pub(in crate::web) search_most: String,
    pub(in crate::web) search_ends_on: String,
    pub(in crate::web) version: String,
}

impl CallForm {
    pub(super) fn of(enquiry: &Enquiry) -> Self {
        let details = &enquiry.details;
        let key = |id: Option<Uuid>| id.map(|id| id.to_string()).unwrap_or_default();
        Self {
            caller: details.caller.clone(),
            contact: details.contact.clone(),
            wanted: key(details.wanted_variant_id),
            wanted_by: details
                .wanted_by
                .map(|day| day.to_string())
                .unwrap_or_default(),
            brings: key(details.brings_variant_id),
            brings_note: details.brings_note.clone(),
            repairs: details.repairs.clone(),
            also: details.also.clone(),
            note: details.note.clone(),
            purpose: details.purpose.code().to_owned(),
            condition: details.condition.code().to_owned(),
            search_most: details
                .search_most
                .map(|most| most.normalize().to_string())
                .unwrap_or_default(),
            search_ends_on: details
                .search_ends_on
                .map(|day| day.to_string())
                .unwrap_or_default(),
            version: enquiry.version.to_string(),
        }
    }

    /// Reads it, with a complaint beside every field that does not read.
    pub(in crate::web) fn read(
        &self,
        catalogue: &Catalogue,
        currency: Currency,
        errors: &mut FormErrors,
    ) -> Option<EnquiryDetails> {
        let caller = errors.text("caller", &self.caller, 120);
        let contact = errors.text("contact", &self.contact, 120);
        let variant = |errors: &mut FormErrors, field: &str, raw: &str| {
            let read = errors.optional(raw, |errors| errors.row(field, raw))?;
            if read.is_some_and(|id| !catalogue.variants.iter().any(|v| v.id == id)) {
                errors.add(field, "This variant has been removed. Choose another");
                return None;
            }
            Some(read)
        };
        let wanted = variant(errors, "wanted", &self.wanted);
        let wanted_by = errors.optional(&self.wanted_by, |errors| {
            errors.date("wanted_by", &self.wanted_by)
        });
        let brings = variant(errors, "brings", &self.brings);
        let brings_note = errors.text("brings_note", &self.brings_note, 2000);
        let note = errors.text("note", &self.note, 4000);
        let purpose = or_not_said(errors, "purpose", &self.purpose, Purpose::from_code);
        let condition = or_not_said(errors, "condition", &self.condition, Condition::from_code);
        let search_most = errors.optional(&self.search_most, |errors| {
            let most = errors.money("search_most", &self.search_most, currency)?;
            if most.amount().is_zero() {
                errors.add("search_most", "Enter an amount above 0, or leave it empty");
                return None;
            }
            Some(most.amount())
        });
        let search_ends_on = errors.optional(&self.search_ends_on, |errors| {
            errors.date("search_ends_on", &self.search_ends_on)
        });
        let extra_work = catalogue.extra_work();
        let mut known = |field: &str, codes: &[String]| {
            let unknown = codes
                .iter()
                .find(|code| !extra_work.iter().any(|e| e.code == **code));
            if let Some(code) = unknown {
                errors.add(
                    field,
                    format!("“{code}” is no longer one of the shop’s standard times. Clear it"),
                );
            }
            unknown.is_none().then(|| codes.to_vec())
        };
        let repairs = known("repairs", &self.repairs);
        let also = known("also", &self.also);
        Some(EnquiryDetails {
            caller: caller?,
            contact: contact?,
            wanted_variant_id: wanted?,
            wanted_by: wanted_by?,
            brings_variant_id: brings?,
            brings_note: brings_note?,
            repairs: repairs?,
            also: also?,
            note: note?,
            search_most: search_most?,
            search_ends_on: search_ends_on?,
            purpose: purpose?,
            condition: condition?,
        })
    }
}

/// What was chosen; nothing chosen is the first of the list.
fn or_not_said<T: Code + Default>(
    errors: &mut FormErrors,
    field: &str,
    raw: &str,
    read: fn(&str) -> Option<T>,
) -> Option<T> {
    if raw.is_empty() {
        return Some(T::default());
    }
    errors.choice(field, raw, read)
}
