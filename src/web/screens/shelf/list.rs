//! The list of castings that could be donors.

use super::{inspection_words, ownership_words, path, state_words};
use crate::db::castings::{self, VariantName};
use crate::db::castings_on_shelf::{Casting, Ownership};
use crate::db::lists::{self, ShelfSort, ShelfView};
use crate::db::people::Role;
use crate::web::screens::castings::{back, variant_path};
use crate::web::ui::{Answer, List, ListQuery, Page, Section, SignedIn, csv};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use std::collections::HashMap;
use uuid::Uuid;

const PATH: &str = "/castings/shelf";

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/castings/shelf.csv", web::get().to(file));
}

/// The castings as they are asked for.
type Asked = List<ShelfView, ShelfSort>;

/// What a list is narrowed to besides its view.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Which {
    /// Of this variant only.
    pub(super) variant: Option<Uuid>,
}

fn read(query: &ListQuery, which: &Which) -> Asked {
    let asked: Asked = query.read(PATH, false);
    match which.variant {
        Some(id) => asked.keep("variant", id.to_string()),
        None => asked,
    }
}

pub(super) async fn list(
    who: SignedIn,
    query: web::Query<ListQuery>,
    which: web::Query<Which>,
) -> Answer {
    let asked = read(&query, &which);
    let mut tx = who.begin().await?;
    let one = match which.variant {
        Some(id) => Some(castings::variant(&mut tx, id).await?),
        None => None,
    };
    let variants = castings::variant_names(&mut tx).await?;
    let (rows, all) = lists::shelf(
        &mut tx,
        asked.view,
        which.variant,
        &asked.words,
        asked.sort,
        asked.part(),
    )
    .await?;
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
                    a.button.quiet href="/import/castings" { "From a spreadsheet" }
                    a.button href=(new) data-key="n" data-key-label="Add casting" { "Add casting" }
                }
            }
        }
        p.lead { "Possible donors. The shop’s own that are free and have not failed are offered in the answer to a caller." }
        @if one.is_some() { p { a href=(PATH) { "Every variant" } } }
        (asked.views("Castings", &[(ShelfView::Here, "On the shelf"), (ShelfView::Free, "Free"), (ShelfView::All, "Used and gone too")]))
        (asked.filter("Number, variant, condition or owner"))
        @if variants.is_empty() {
            section.card { p { "No variants yet. " a href="/castings" { "Add a pattern and its variants" } " first: every casting belongs to a variant." } }
        } @else if rows.is_empty() {
            (asked.nothing("No castings on the shelf."))
        } @else {
            (table(&who, &asked, &rows, &names(&variants)))
        }
        (asked.pages(all, "casting", "castings", Some("/castings/shelf.csv")))
    };
    Ok(Page::new(&who, "On the shelf")
        .nav(Section::Castings)
        .body(body)
        .into())
}

fn names(variants: &[VariantName]) -> HashMap<Uuid, &str> {
    variants
        .iter()
        .map(|variant| (variant.id, variant.name.as_str()))
        .collect()
}

fn table(who: &SignedIn, asked: &Asked, rows: &[Casting], names: &HashMap<Uuid, &str>) -> Markup {
    // What a casting cost is the office's business.
    let office = who.may(Role::Office);
    html! {
        table.cells {
            thead { tr {
                (asked.head(&[(ShelfSort::Number, "No.")], None))
                (asked.head(&[(ShelfSort::Variant, "Variant")], None))
                th scope="col" { "Owner" }
                @if office { (asked.head(&[(ShelfSort::Cost, "Cost")], Some("number"))) }
                (asked.head(&[(ShelfSort::Inspected, "Inspection")], None))
                th scope="col" { "Status" }
            } }
            tbody { @for casting in rows {
                @let variant = casting.details.variant_id;
                tr {
                    th scope="row" { a href=(path(casting.id)) { (casting.number) } }
                    td data-label="Variant" {
                        a href=(variant_path(variant)) { (names.get(&variant).copied().unwrap_or("variant")) }
                        div.small { (condition(casting)) }
                    }
                    td data-label="Owner" { (ownership_words(casting.details.ownership)) }
                    @if office { td.number data-label="Cost" { (cost(casting)) } }
                    td data-label="Inspection" { (inspection_words(casting, who.today())) }
                    td data-label="Status" { (standing(casting)) }
                }
            } }
        }
    }
}

async fn file(who: SignedIn, query: web::Query<ListQuery>, which: web::Query<Which>) -> Answer {
    let asked = read(&query, &which);
    let mut tx = who.begin().await?;
    let variants = castings::variant_names(&mut tx).await?;
    let names = names(&variants);
    let (rows, _) = lists::shelf(
        &mut tx,
        asked.view,
        which.variant,
        &asked.words,
        asked.sort,
        asked.whole(),
    )
    .await?;
    let office = who.may(Role::Office);
    let mut head = vec![
        "Number",
        "Variant",
        "Condition",
        "Owner",
        "Inspection",
        "Status",
        "Job",
    ];
    if office {
        head.extend(["Cost", "Currency"]);
    }
    let rows = rows.into_iter().map(|casting| {
        let variant = names.get(&casting.details.variant_id).copied();
        let mut row = vec![
            casting.number.to_string(),
            variant.unwrap_or_default().to_owned(),
            casting.details.condition.clone(),
            ownership_words(casting.details.ownership).to_owned(),
            inspection_words(&casting, who.today()),
            state_words(casting.state).to_owned(),
            casting
                .job_number
                .map(|number| number.to_string())
                .unwrap_or_default(),
        ];
        if office {
            row.push(casting.details.cost.amount().to_string());
            row.push(casting.details.cost.currency().code().to_owned());
        }
        row
    });
    Ok(csv::download_under("castings.csv", &head, rows).into())
}

pub(super) fn condition(casting: &Casting) -> Markup {
    let words = &casting.details.condition;
    html! { @if words.is_empty() { span.muted { "not noted" } } @else { (words) } }
}

pub(super) fn cost(casting: &Casting) -> Markup {
    let nothing = casting.details.ownership == Ownership::Customer;
    html! { @if nothing { span.muted { "none" } } @else { (casting.details.cost) } }
}

/// Where it stands, with the job that has it.
pub(super) fn standing(casting: &Casting) -> Markup {
    html! {
        span.tag { (state_words(casting.state)) }
        @if let (Some(id), Some(number)) = (casting.job_id, casting.job_number) {
            " " a href={ "/jobs/" (id) } { "job " (number) }
        }
    }
}
