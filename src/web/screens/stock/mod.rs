//! Stock: parts and materials with what is on hand and on order, and the tooling that comes back.

mod form;
mod item;
mod made;
mod making;
mod order;
mod tool;
mod tooling;

pub(in crate::web) use form::{LEAST, MOST, coming};

use crate::db::ShopTx;
use crate::db::lists::{self, ItemSort, ItemView, Part, ToolSort, ToolView};
use crate::db::people::Role;
use crate::db::stock::Item;
use crate::db::tools::Tool;
use crate::web::screens::jobs::amount;
use crate::web::ui::record::Each;
use crate::web::ui::{Answer, List, ListQuery, Page, Section, SignedIn, csv, show};
use actix_web::web;
use chrono::NaiveDate;
use maud::{Markup, html};
use rust_decimal::Decimal;

/// `/stock` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    item::routes(cfg);
    made::routes(cfg);
    making::routes(cfg);
    order::routes(cfg);
    tool::routes(cfg);
    tooling::routes(cfg);
    cfg.route(PATH, web::get().to(list))
        .route("/stock.csv", web::get().to(file));
}

/// The records that are kept here.
pub(in crate::web) fn records(each: &mut impl Each) {
    each.record::<item::ItemSheet>();
    each.record::<making::MakingSheet>();
    each.record::<tool::ToolSheet>();
}

const PATH: &str = "/stock";

/// The items as they are asked for.
type Asked = List<ItemView, ItemSort>;
/// So many items to order, and sets of tooling that are out, are named ahead of the list.
const AHEAD: i64 = 10;

/// The first rows of a list, ahead of it.
fn ahead() -> Part {
    Part {
        descending: false,
        skip: 0,
        rows: AHEAD,
    }
}

async fn list(who: SignedIn, query: web::Query<ListQuery>) -> Answer {
    let asked: Asked = query.read(PATH, false);
    let today = who.today();
    let mut tx = who.begin().await?;
    let (items, all) =
        lists::items(&mut tx, asked.view, &asked.words, asked.sort, asked.part()).await?;
    let (mut short, mut short_in_all) = (Vec::new(), 0);
    let (mut overdue, mut tools, mut tools_in_all) = (0, Vec::new(), 0);
    if asked.is_unfiltered() {
        (short, short_in_all) =
            lists::items(&mut tx, ItemView::ToOrder, "", ItemSort::Name, ahead()).await?;
        let sets = async |tx: &mut ShopTx, view| {
            lists::tools(tx, view, "", ToolSort::Name, today, ahead()).await
        };
        (_, overdue) = sets(&mut tx, ToolView::Overdue).await?;
        (tools, tools_in_all) = sets(&mut tx, ToolView::InUse).await?;
    }
    let office = who.may(Role::Office);
    let body = html! {
        div.bar {
            h1 { "Stock" }
            div.actions {
                @if office { a.button href="/stock/items/new" data-key="n" data-key-label="Add an item" { "Add an item" } }
                @if office { a.button.quiet href="/import/stock" { "From a spreadsheet" } }
                a.button.quiet href=(tooling::PATH) data-key="o" data-key-label="Reusable tooling" { "Reusable tooling" }
            }
        }
        p.lead { "Parts and materials for jobs. The job due first is served first." }
        @if !short.is_empty() { (to_order(&short, short_in_all)) }
        @if overdue > 0 {
            p.notice.warn { span.sign aria-hidden="true" { "!" } " " a href={ (tooling::PATH) "?view=overdue" } { (show::count(overdue, "set of tooling", "sets of tooling")) " should be back" } ". A job that needs it has no date until it is." }
        }
        (asked.views("Stock", &[(ItemView::Kept, "Stocked"), (ItemView::ToOrder, "To order"), (ItemView::All, "No longer stocked too")]))
        (asked.filter("Item, supplier or place"))
        @if items.is_empty() {
            (asked.nothing("No items yet. A material of a standard time is taken from the item of the same name."))
        } @else {
            (table(&asked, &items, today))
        }
        (asked.pages(all, "item", "items", Some("/stock.csv")))
        @if asked.is_unfiltered() { (tooling_ahead(&who, &tools, tools_in_all)) }
    };
    Ok(Page::new(&who, "Stock")
        .nav(Section::Stock)
        .body(body)
        .into())
}

/// The first sets of tooling, with the way to all of them.
fn tooling_ahead(who: &SignedIn, tools: &[Tool], all: i64) -> Markup {
    html! {
        div.bar #tooling {
            h2 { "Reusable tooling" }
            @if who.may(Role::Office) { a.button.quiet href="/stock/tools/new" data-key="t" data-key-label="Add tooling" { "Add tooling" } }
        }
        @if tools.is_empty() {
            section.card { p { "None yet. Add sets of temporary bolts, mandrels and the like, each out with one job at a time." } }
        } @else {
            (tooling::plain_table(tools, who.today()))
            @if all > AHEAD { p { a href=(tooling::PATH) { "All " (all) " sets" } } }
        }
    }
}

async fn file(who: SignedIn, query: web::Query<ListQuery>) -> Answer {
    let asked: Asked = query.read(PATH, false);
    let mut tx = who.begin().await?;
    let (items, _) =
        lists::items(&mut tx, asked.view, &asked.words, asked.sort, asked.whole()).await?;
    let head = [
        "Item",
        "Unit",
        "On hand",
        "Allocated",
        "On order",
        "Next on",
        "Being made",
        "Minimum",
        "Short by",
        "Kept at",
        "Supplier",
        "Stocked",
    ];
    let rows = items.into_iter().map(|item| {
        let short = item.level().short_by();
        let figure = |figure: Option<Decimal>| {
            figure
                .map(|f| f.normalize().to_string())
                .unwrap_or_default()
        };
        vec![
            item.details.name,
            item.details.unit,
            figure(Some(item.on_hand)),
            figure(Some(item.wanted)),
            figure(Some(item.on_order)),
            csv::day(item.next_on),
            figure(Some(item.being_made)),
            figure(item.details.minimum),
            figure(short),
            item.details.kept_at,
            item.details.supplier,
            csv::yes(item.details.active),
        ]
    });
    Ok(csv::download_under("stock.csv", &head, rows).into())
}

/// What falls short of its minimum once jobs have had theirs and what is on order has come.
fn to_order(short: &[Item], all: i64) -> Markup {
    html! {
        section.card.to-order aria-labelledby="to-order-title" {
            h2 #to-order-title { "To order" }
            p { "What is left after the open jobs, with what is on order or being made, is below the minimum." }
            table.cells.small {
                thead { tr { th scope="col" { "Item" } th.number scope="col" { "Below by" } th scope="col" { "For the jobs" } th.number scope="col" { "Minimum" } th scope="col" { "Supplier" } } }
                tbody { @for item in short {
                    tr {
                        th scope="row" { a href=(item::path(item.id)) { (item.details.name) } }
                        td.number data-label="Below by" { @if let Some(by) = item.level().short_by() { (amount(by, &item.details.unit)) } }
                        td data-label="For the jobs" { @match item.level().missing() {
                            Some(missing) => { strong { (amount(missing, &item.details.unit)) " missing" } }
                            None => "enough",
                        } }
                        td.number data-label="Minimum" { @if let Some(least) = item.details.minimum { (amount(least, &item.details.unit)) } }
                        td data-label="Supplier" { @if item.made_here { "made here" } @else { (or_nothing(&item.details.supplier)) } }
                    }
                } }
            }
            @if all > AHEAD { p { a href={ (PATH) "?view=to_order" } { "All " (all) " to order" } } }
        }
    }
}

fn table(asked: &Asked, items: &[Item], today: NaiveDate) -> Markup {
    html! {
        table.cells {
            thead { tr {
                (asked.head(&[(ItemSort::Name, "Item"), (ItemSort::Supplier, "supplier")], None))
                th.number scope="col" { "On hand" } th.number scope="col" { "Allocated" }
                th.number scope="col" { "On order" } th.number scope="col" { "Minimum" }
                (asked.head(&[(ItemSort::KeptAt, "Kept at")], None))
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
                        (amount(item.on_order + item.being_made, unit))
                        @if !item.being_made.is_zero() { span.muted { ", " (item.being_made) " being made" } }
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

fn or_nothing(text: &str) -> Markup {
    html! { @if text.is_empty() { span.muted { "none" } } @else { (text) } }
}
