//! The shelf: castings that could be donors, by variant, and where each of them stands.

mod casting;
mod form;
mod goods_in;
mod label;
mod picture;
mod records;

use crate::db::casting_records::Source;
use crate::db::castings::{self, VariantName};
use crate::db::castings_on_shelf::{self as db, Casting, Outcome, Ownership, ShelfState};
use crate::db::people::Role;
use crate::units::Code;
use crate::web::screens::castings::{back, variant_path};
use crate::web::ui::{Answer, Page, Section, SignedIn, show};
use actix_web::web;
use chrono::NaiveDate;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

/// `/castings/shelf` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    goods_in::routes(cfg);
    casting::routes(cfg);
    label::routes(cfg);
    records::routes(cfg);
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

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Which {
    /// `all` for those used and gone too.
    show: String,
    /// Of this variant only.
    variant: Option<Uuid>,
    /// Those numbered above this only.
    after: Option<i64>,
}

/// Rows on one page.
const ROWS: u16 = 200;

impl Which {
    /// The same list with more or fewer on it.
    fn path(&self, all: bool) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        if all {
            query.append_pair("show", "all");
        }
        if let Some(id) = self.variant {
            query.append_pair("variant", &id.to_string());
        }
        format!("/castings/shelf?{}", query.finish())
    }
}

async fn list(who: SignedIn, which: web::Query<Which>) -> Answer {
    let all = which.show == "all";
    let states: &[ShelfState] = if all {
        ShelfState::ALL
    } else {
        &[ShelfState::OnShelf, ShelfState::Reserved]
    };
    let mut tx = who.begin().await?;
    let one = match which.variant {
        Some(id) => Some(castings::variant(&mut tx, id).await?),
        None => None,
    };
    let variants = castings::variant_names(&mut tx).await?;
    let after = which.after.unwrap_or(0);
    let on_shelf = db::page(&mut tx, states, which.variant, after, ROWS).await?;
    let more = (on_shelf.len() == usize::from(ROWS))
        .then(|| on_shelf.last().map(|casting| casting.number))
        .flatten();
    let new = match which.variant {
        Some(id) => format!("/castings/shelf/new?variant={id}"),
        None => "/castings/shelf/new".to_owned(),
    };
    let body = html! {
        @match &one {
            Some(variant) => (back(&variant_path(variant.id), &variant.name)),
            None => (back("/castings", "All castings")),
        }
        div.bar {
            h1 { "On the shelf" @if let Some(variant) = &one { ": " (variant.name) } }
            @if who.may(Role::Office) && !variants.is_empty() {
                div.actions {
                    a.button.quiet href="/castings/shelf/goods-in" data-key="i" data-key-label="Goods in" { "Goods in" }
                    a.button href=(new) data-key="n" data-key-label="Add casting" { "Add casting" }
                }
            }
        }
        p.lead { "Possible donors. The shop’s own that are free and have not failed are offered in the answer to a caller." }
        p {
            @if all { a href=(which.path(false)) { "Hide used and gone" } }
            @else { a href=(which.path(true)) { "Show used and gone" } }
            @if one.is_some() { " · " a href="/castings/shelf" { "Every variant" } }
        }
        @if variants.is_empty() {
            section.card { p { "No variants yet. " a href="/castings" { "Add a pattern and its variants" } " first: every casting belongs to a variant." } }
        } @else if on_shelf.is_empty() {
            section.card { p { "No castings on the shelf." } }
        }
        @for variant in &variants { (of_variant(&who, variant, &on_shelf)) }
        @if let Some(after) = more {
            p { a.button.quiet href={ (which.path(all)) "&after=" (after) } { "Next" } }
        }
    };
    Ok(Page::new(&who, "On the shelf")
        .nav(Section::Castings)
        .body(body)
        .into())
}

/// The castings of one variant; nothing where there are none.
fn of_variant(who: &SignedIn, variant: &VariantName, on_shelf: &[Casting]) -> Markup {
    let mut these = on_shelf
        .iter()
        .filter(|casting| casting.details.variant_id == variant.id)
        .peekable();
    // What a casting cost is the office's business.
    let office = who.may(Role::Office);
    html! {
        @if these.peek().is_some() {
            section.shelf aria-labelledby={ "variant-" (variant.id) } {
                h2 id={ "variant-" (variant.id) } { a href=(variant_path(variant.id)) { (variant.name) } }
                table.cells {
                    thead { tr {
                        th scope="col" { "No." } th scope="col" { "Condition" } th scope="col" { "Owner" }
                        @if office { th.number scope="col" { "Cost" } }
                        th scope="col" { "Inspection" } th scope="col" { "Status" }
                    } }
                    tbody { @for casting in these {
                        tr {
                            th scope="row" { a href=(path(casting.id)) { (casting.number) } }
                            td data-label="Condition" { (condition(casting)) }
                            td data-label="Owner" { (ownership_words(casting.details.ownership)) }
                            @if office { td.number data-label="Cost" { (cost(casting)) } }
                            td data-label="Inspection" { (inspection_words(casting, who.today())) }
                            td data-label="Status" { (standing(casting)) }
                        }
                    } }
                }
            }
        }
    }
}

fn condition(casting: &Casting) -> Markup {
    let words = &casting.details.condition;
    html! { @if words.is_empty() { span.muted { "not noted" } } @else { (words) } }
}

fn cost(casting: &Casting) -> Markup {
    let nothing = casting.details.ownership == Ownership::Customer;
    html! { @if nothing { span.muted { "none" } } @else { (casting.details.cost) } }
}

/// Where it stands, with the job that has it.
fn standing(casting: &Casting) -> Markup {
    html! {
        span.tag { (state_words(casting.state)) }
        @if let (Some(id), Some(number)) = (casting.job_id, casting.job_number) {
            " " a href={ "/jobs/" (id) } { "job " (number) }
        }
    }
}
