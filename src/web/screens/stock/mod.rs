//! Stock: parts and materials with what is on hand and on order, and the tooling that comes back.

mod form;
mod item;
mod order;
mod tool;

use crate::db::people::Role;
use crate::db::stock::{self, Item};
use crate::db::tools::{self, Tool};
use crate::web::screens::jobs::amount;
use crate::web::ui::{Answer, Page, Section, SignedIn, show};
use actix_web::web;
use chrono::NaiveDate;
use maud::{Markup, html};
use serde::Deserialize;

/// `/stock` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    item::routes(cfg);
    order::routes(cfg);
    tool::routes(cfg);
    cfg.route(PATH, web::get().to(list));
}

const PATH: &str = "/stock";

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Which {
    /// `all` for what is no longer kept too.
    show: String,
}

async fn list(who: SignedIn, which: web::Query<Which>) -> Answer {
    let all = which.show == "all";
    let mut tx = who.begin().await?;
    let items = stock::items(&mut tx, all).await?;
    let tools = tools::list(&mut tx, all).await?;
    let office = who.may(Role::Office);
    let short: Vec<&Item> = items
        .iter()
        .filter(|item| item.details.active && item.level().short_by().is_some())
        .collect();
    let on = who.today();
    let out = tools.iter().filter_map(|tool| tool.out.as_ref());
    let overdue = i64::try_from(out.filter(|out| out.is_overdue(on)).count()).unwrap_or(i64::MAX);
    let body = html! {
        div.bar {
            h1 { "Stock" }
            @if office { a.button href="/stock/items/new" data-key="n" data-key-label="Add an item" { "Add an item" } }
        }
        p.lead { "Parts and materials for jobs. The job due first is served first." }
        @if !short.is_empty() { (to_order(&short)) }
        @if overdue > 0 {
            p.notice.warn { span.sign aria-hidden="true" { "!" } " " a href="#tooling" { (show::count(overdue, "set of tooling", "sets of tooling")) " should be back" } ". A job that needs it has no date until it is." }
        }
        @if items.is_empty() {
            section.card { p { "No items yet. A material of a standard time is taken from the item of the same name." } }
        } @else {
            (table(&items, who.today()))
        }
        div.bar #tooling {
            h2 { "Reusable tooling" }
            @if office { a.button.quiet href="/stock/tools/new" data-key="t" data-key-label="Add tooling" { "Add tooling" } }
        }
        @if tools.is_empty() {
            section.card { p { "None yet. Add sets of temporary bolts, mandrels and the like, each out with one job at a time." } }
        } @else {
            (tool_table(&tools, who.today()))
        }
        p {
            @if all { a href=(PATH) { "Hide what is no longer stocked" } }
            @else { a href="/stock?show=all" { "Show what is no longer stocked too" } }
        }
    };
    Ok(Page::new(&who, "Stock")
        .nav(Section::Stock)
        .body(body)
        .into())
}

/// What falls short of its minimum once jobs have had theirs and what is on order has come.
fn to_order(short: &[&Item]) -> Markup {
    html! {
        section.card.to-order aria-labelledby="to-order-title" {
            h2 #to-order-title { "To order" }
            p { "On hand plus on order, less what is allocated to open jobs, is below the minimum." }
            table.cells.small {
                thead { tr { th scope="col" { "Item" } th.number scope="col" { "Short by" } th.number scope="col" { "Minimum" } th scope="col" { "Supplier" } } }
                tbody { @for item in short {
                    tr {
                        th scope="row" { a href=(item::path(item.id)) { (item.details.name) } }
                        td.number data-label="Short by" { @if let Some(by) = item.level().short_by() { (amount(by, &item.details.unit)) } }
                        td.number data-label="Minimum" { @if let Some(least) = item.details.minimum { (amount(least, &item.details.unit)) } }
                        td data-label="Supplier" { (or_nothing(&item.details.supplier)) }
                    }
                } }
            }
        }
    }
}

fn table(items: &[Item], today: NaiveDate) -> Markup {
    html! {
        table.cells {
            thead { tr {
                th scope="col" { "Item" } th.number scope="col" { "On hand" } th.number scope="col" { "Allocated" }
                th.number scope="col" { "On order" } th.number scope="col" { "Minimum" } th scope="col" { "Kept at" }
            } }
            tbody { @for item in items {
                @let unit = &item.details.unit;
                tr {
                    th scope="row" {
                        a href=(item::path(item.id)) { (item.details.name) }
                        @if !item.details.active { " " span.tag { "no longer stocked" } }
                    }
                    td.number data-label="On hand" { (amount(item.on_hand, unit)) @if item.level().is_low() { " " span.tag.hole { "low" } } }
                    td.number data-label="Allocated" { (amount(item.wanted, unit)) }
                    td.number data-label="On order" {
                        (amount(item.on_order, unit))
                        @if !item.on_order.is_zero() {
                            span.muted { @match item.next_on { Some(on) => { ", next " (show::day(on, today)) } None => ", no date" } }
                        }
                    }
                    td.number data-label="Minimum" { @match item.details.minimum { Some(least) => (amount(least, unit)), None => { span.muted { "none" } } } }
                    td data-label="Kept at" { (or_nothing(&item.details.kept_at)) }
                }
            } }
        }
    }
}

fn tool_table(tools: &[Tool], on: NaiveDate) -> Markup {
    html! {
        table.cells {
            thead { tr { th scope="col" { "Item" } th scope="col" { "Where it is" } th scope="col" { "Kept at" } } }
            tbody { @for tool in tools {
                tr {
                    th scope="row" {
                        a href=(tool::path(tool.id)) { (tool.details.name) }
                        @if !tool.details.active { " " span.tag { "no longer in use" } }
                    }
                    td data-label="Where it is" { (tool::whereabouts(tool, on)) }
                    td data-label="Kept at" { (or_nothing(&tool.details.kept_at)) }
                }
            } }
        }
    }
}

fn or_nothing(text: &str) -> Markup {
    html! { @if text.is_empty() { span.muted { "none" } } @else { (text) } }
}
