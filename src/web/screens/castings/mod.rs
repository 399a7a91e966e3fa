//! The castings screens: patterns, their variants drawn, two variants side by side, and the shop's conversion rules.

pub(in crate::web) mod compare;
pub mod drawing;

mod boss;
mod compare_view;
mod crack_repairs;
mod element_codes;
mod feature;
mod from_table;
mod labels;
mod list;
mod pattern;
mod pattern_form;
mod related;
mod related_rows;
mod rules;
mod rules_form;
pub(in crate::web) mod sizes;
mod sizes_fields;
mod variant;
mod variant_form;

use crate::castings::measured::Sizes;
use crate::castings::{Face, FeatureKind, Place};
use crate::castings::{Pattern, RemedyRule, Variant};
use crate::enquiry::{CrackRepair, RelatedPattern};
use crate::units::Code;
use crate::web::ui::forms::Choice;
use crate::web::ui::record::Each;
use crate::web::ui::record::{Done, Typed};
use crate::web::ui::{SignedIn, WebError, csrf_field};
use actix_web::web;
use maud::{Markup, html};
use std::fmt::Display;
use uuid::Uuid;

/// `/castings` and all under it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    list::routes(cfg);
    // Routes match in this order: `/castings/patterns/new` stands before `/castings/patterns/{id}`.
    from_table::routes(cfg);
    pattern_form::routes(cfg);
    pattern::routes(cfg);
    boss::routes(cfg);
    sizes::routes(cfg);
    related::routes(cfg);
    variant_form::routes(cfg);
    variant::routes(cfg);
    feature::routes(cfg);
    compare::routes(cfg);
    crack_repairs::routes(cfg);
    rules_form::routes(cfg);
    rules::routes(cfg);
}

/// The records that are kept here.
pub(in crate::web) fn records(each: &mut impl Each) {
    each.record::<Pattern>();
    each.record::<boss::BossSheet>();
    each.record::<Sizes>();
    each.record::<RelatedPattern>();
    each.record::<Variant>();
    each.record::<feature::FeatureSheet>();
    each.record::<RemedyRule>();
    each.record::<CrackRepair>();
}

/// The version a form was filled in from.
pub(in crate::web) fn version(raw: &str) -> Result<i32, WebError> {
    raw.parse().map_err(|_| {
        WebError::BadRequest(
            "The form does not say which version it changes; load the page again.".to_owned(),
        )
    })
}

/// Where something stands on a pattern or variant, as an address or a form names it.
#[derive(Debug, Clone, Default)]
struct PlaceQuery {
    face: String,
    label: String,
}

impl PlaceQuery {
    fn of(query: &Typed) -> Self {
        Self {
            face: query.get("face").to_owned(),
            label: query.get("label").to_owned(),
        }
    }

    fn place(&self) -> Result<Place, WebError> {
        Face::from_code(&self.face)
            .map(|face| Place::new(face, self.label.clone()))
            .ok_or(WebError::NotFound("this place"))
    }
}

/// A place as the query of an address: `face=rear&label=R7`.
fn place_query(place: &Place) -> String {
    form_urlencoded::Serializer::new(String::new())
        .append_pair("face", place.face.code())
        .append_pair("label", &place.label)
        .finish()
}

/// The id of a place's row in a table; what is no letter or digit is written as its number, so no two are alike.
fn place_id(place: &Place) -> String {
    let label: String = place
        .label
        .chars()
        .map(|c| {
            if c.is_alphanumeric() {
                c.to_string()
            } else {
                format!("_{:x}_", u32::from(c))
            }
        })
        .collect();
    format!("{}-{label}", place.face.code())
}

fn face_choices() -> Vec<Choice> {
    Face::ALL
        .iter()
        .map(|face| Choice::new(face.code(), face))
        .collect()
}

fn kind_choices() -> Vec<Choice> {
    FeatureKind::ALL
        .iter()
        .map(|kind| Choice::new(kind.code(), kind))
        .collect()
}

/// The link back, above the heading.
pub(in crate::web) fn back(to: &str, words: &str) -> Markup {
    html! { p.back { a href=(to) { "‹ " (words) } } }
}

/// The form of a record's details, folded away under its page until it is asked for or refused.
pub(in crate::web) fn details_and_history(
    who: &SignedIn,
    action: &str,
    version: &str,
    fields: &Markup,
    open: bool,
) -> Markup {
    html! {
        section.card aria-labelledby="details-title" {
            details.written-down open[open] {
                summary { h2 #details-title { "Details" } }
                form.grid method="post" action=(action) novalidate {
                    (csrf_field(who))
                    input type="hidden" name="version" value=(version);
                    (fields)
                    div.actions { button type="submit" { "Save" } }
                }
            }
        }
    }
}

/// What was left empty, in words.
fn or_none(value: Option<impl Display>, none: &str) -> String {
    value.map_or_else(|| none.to_owned(), |value| value.to_string())
}

/// Path to a pattern's page.
fn pattern_path(id: Uuid) -> String {
    format!("/castings/patterns/{id}")
}

/// Path to a variant's page.
pub(in crate::web) fn variant_path(id: Uuid) -> String {
    format!("/castings/variants/{id}")
}

/// Saving what stands at a place and going on to the next.
fn another_button(new: bool) -> Markup {
    html! {
        @if new { button.quiet type="submit" name="then" value="another" { "Save and add another" } }
    }
}

/// Where to go once what stands at a place is saved or deleted, and what to say. `path` is the page of its casting, and
/// `kind` what there is of it.
fn after(done: Done, place: &Place, path: &str, kind: &str, typed: &Typed) -> (String, String) {
    if done == Done::Deleted {
        return (path.to_owned(), format!("Deleted: {place}"));
    }
    let to = match typed.get("then") {
        "another" => format!("{path}/{kind}/new?face={}", place.face.code()),
        _ => format!("{path}#{}", place_id(place)),
    };
    (to, format!("Saved: {place}"))
}
