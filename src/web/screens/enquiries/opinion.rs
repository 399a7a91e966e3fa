//! What nobody has seen has no price yet: the owner of the shop says the cheapest, the likely and the dearest.

use crate::app::say_price::{PriceSaid, say_price};
use crate::sourcing::PriceRangeOpinion;
use crate::units::text::capitalised;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

/// What is typed of a price.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct PriceForm {
    variant: String,
    cheapest: String,
    likely: String,
    dearest: String,
}

/// The three prices of a casting, asked for on the enquiry.
pub(super) fn form(who: &SignedIn, enquiry_id: Uuid, variant: Uuid) -> Markup {
    let typed = PriceForm {
        variant: variant.to_string(),
        ..PriceForm::default()
    };
    fields(who, enquiry_id, &typed, &FormErrors::default())
}

fn fields(who: &SignedIn, enquiry_id: Uuid, typed: &PriceForm, errors: &FormErrors) -> Markup {
    let currency = who.shop.currency;
    // Several such forms may stand on one page.
    let id = |field: &str| format!("{field}-{}", typed.variant);
    let field = |name: &str, label: &str, value: &str| {
        Field::money(name, label, value, currency)
            .id(&id(name))
            .errors(errors)
    };
    html! {
        form.grid method="post" action={ "/enquiries/" (enquiry_id) "/price" } novalidate {
            (csrf_field(who))
            input type="hidden" name="variant" value=(typed.variant);
            (field("cheapest", "Cheapest", &typed.cheapest).hint("One in ten is cheaper"))
            (field("likely", "Likely", &typed.likely))
            (field("dearest", "Dearest", &typed.dearest).hint("One in ten is dearer"))
            div.actions { button type="submit" { "Save the three prices" } }
        }
    }
}

pub(super) async fn save(
    who: SignedIn,
    id: web::Path<Uuid>,
    form: CheckedForm<PriceForm>,
) -> Answer {
    let mut errors = FormErrors::default();
    let currency = who.shop.currency;
    let variant = errors.row("variant", &form.variant);
    let cheapest = errors.money("cheapest", &form.cheapest, currency);
    let likely = errors.money("likely", &form.likely, currency);
    let dearest = errors.money("dearest", &form.dearest, currency);
    if let (Some(variant_id), Some(cheapest), Some(likely), Some(dearest)) =
        (variant, cheapest, likely, dearest)
    {
        let said = PriceSaid {
            variant_id,
            opinion: PriceRangeOpinion {
                cheapest,
                likely,
                dearest,
            },
        };
        let today = who.today();
        match say_price(&who.actor(), &said, today).await? {
            Ok(()) => {
                return Ok(Reply::see_other(format!("/enquiries/{id}#answer")).flash("Saved."));
            }
            Err(unusable) => errors.add("likely", capitalised(&unusable.to_string())),
        }
    }
    const TITLE: &str = "What does one cost?";
    let body = html! {
        h1 { (TITLE) }
        (errors.summary())
        section.card { (fields(&who, *id, &form, &errors)) }
        p { a href={ "/enquiries/" (id) "#answer" } { "Back to the enquiry" } }
    };
    Ok(Page::new(&who, TITLE)
        .nav(Section::Enquiries)
        .body(body)
        .invalid()
        .into())
}
