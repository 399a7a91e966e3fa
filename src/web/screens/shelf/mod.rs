//! The shelf: castings that could be donors, by variant, and where each of them stands.

mod casting;
mod form;
mod goods_in;
mod label;
mod list;
pub(in crate::web) mod measured;
mod picture;
mod records;

pub(in crate::web) use form::{CastingForm, InspectionForm};
pub(in crate::web) use picture::LARGEST;
pub(in crate::web) use records::{MarkForm, MeasureForm, made_of};

use crate::db::casting_records::Source;
use crate::db::castings_on_shelf::{Casting, Outcome, Ownership, ShelfState};
use crate::web::ui::show;
use actix_web::web;
use chrono::NaiveDate;
use uuid::Uuid;

/// `/castings/shelf` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    goods_in::routes(cfg);
    list::routes(cfg);
    casting::routes(cfg);
    label::routes(cfg);
    records::routes(cfg);
    measured::routes(cfg);
}

/// Where a casting's page is.
fn path(id: Uuid) -> String {
    format!("/castings/shelf/{id}")
}

/// Where a casting came from, in words.
fn source_words(source: Source) -> &'static str {
    match source {
        Source::Sighting => "seen for sale",
        Source::Bought => "bought",
        Source::Customer => "brought by its owner",
    }
}

/// Whose a casting is, in words.
fn ownership_words(ownership: Ownership) -> &'static str {
    match ownership {
        Ownership::Shop => "the shop",
        Ownership::Customer => "a customer",
    }
}

/// Where a casting stands, in words.
fn state_words(state: ShelfState) -> &'static str {
    match state {
        ShelfState::OnShelf => "on the shelf",
        ShelfState::Reserved => "set aside for a job",
        ShelfState::Used => "used",
        ShelfState::Scrapped => "written off",
        ShelfState::Returned => "returned to its owner",
    }
}

fn outcome_words(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Good => "good",
        Outcome::Failed => "failed",
    }
}

/// What the inspection found and when, in words.
fn inspection_words(casting: &Casting, today: NaiveDate) -> String {
    casting.inspection.map_or_else(
        || "not inspected yet".to_owned(),
        |(outcome, on)| format!("{}, {}", outcome_words(outcome), show::day(on, today)),
    )
}
