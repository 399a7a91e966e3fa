//! The list of customers: found, sorted, paged, and as a file for a spreadsheet.

use super::path;
use crate::app::name_customers::name_customers;
use crate::db::customers::{self, Asked, Listed, Only, Order};
use crate::db::people::Role;
use crate::web::ui::record::amount;
use crate::web::ui::{
    self, Answer, CheckedForm, ListQuery, Page, Reply, Section, SignedIn, csrf_field, csv, show,
};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;

const PATH: &str = "/customers";

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route(PATH, web::get().to(list))
        .route("/customers/list.csv", web::get().to(file))
        .route("/customers/names", web::post().to(name_all));
}

/// The customers as they are asked for.
type List = ui::List<Only, Order>;

fn asked(list: &List) -> Asked {
    Asked {
        words: list.words.clone(),
        only: list.view,
        order: list.sort,
        descending: list.descending,
    }
}

async fn list(who: SignedIn, query: web::Query<ListQuery>) -> Answer {
    who.require(Role::Office)?;
    let list: List = query.read(PATH, false);
    let mut tx = who.begin().await?;
    let (rows, in_all) = customers::list(&mut tx, &asked(&list), list.part()).await?;
    let body = html! {
        div.bar {
            h1 { "Customers" }
            div.actions {
                a.button.quiet href="/import/customers" { "From a spreadsheet" }
                a.button href="/customers/new" data-key="n" data-key-label="New customer" { "New customer" }
            }
        }
        (list.views("Customers", &[(Only::All, "All"), (Only::OpenQuotes, "With open quotes"), (Only::OpenJobs, "With open jobs")]))
        (list.filter("Name, phone or email"))
        @if rows.is_empty() {
            (list.nothing("No customers yet. A caller becomes one when you quote."))
        } @else {
            (table(&who, &list, &rows))
        }
        (list.pages(in_all, "customer", "customers", Some("/customers/list.csv")))
        (nameless_names(&who))
    };
    Ok(Page::new(&who, "Customers")
        .nav(Section::Enquiries)
        .body(body)
        .into())
}

/// The names that were said in calls and jobs and are nobody's yet.
fn nameless_names(who: &SignedIn) -> Markup {
    html! {
        details {
            summary { "Names that are not on record" }
            form.inline method="post" action="/customers/names" {
                (csrf_field(who))
                span { "A quote adds its caller. Names in enquiries, jobs and castings that never came to a quote can be added too." }
                button.quiet type="submit" { "Add them as customers" }
            }
        }
    }
}

fn table(who: &SignedIn, list: &List, rows: &[Listed]) -> Markup {
    html! {
        table.cells {
            thead { tr {
                (list.head(&[(Order::Name, "Customer")], None))
                th scope="col" { "Phone" } th scope="col" { "Email" }
                (list.falling_head(&[(Order::LastCall, "Last call")], None))
                th.number scope="col" { "Open quotes" }
                (list.falling_head(&[(Order::OpenJobs, "Open jobs")], Some("number")))
                (list.falling_head(&[(Order::Won, "Won, before tax")], Some("number")))
            } }
            tbody { @for row in rows { tr {
                th scope="row" { a href=(path(row.id)) { (row.name) } }
                td data-label="Phone" { (or_none(&row.phone)) }
                td data-label="Email" { (or_none(&row.email)) }
                td data-label="Last call" { @match row.last_call {
                    Some(at) => (show::day(at.with_timezone(&who.shop.time_zone).date_naive(), who.today())),
                    None => { span.muted { "never" } }
                } }
                td.number data-label="Open quotes" { (row.open_quotes) }
                td.number data-label="Open jobs" { (row.open_jobs) }
                td.number data-label="Won, before tax" { (show::whole(row.won)) }
            } } }
        }
    }
}

fn or_none(text: &str) -> Markup {
    html! { @if text.is_empty() { span.muted { "none" } } @else { (text) } }
}

async fn file(who: SignedIn, query: web::Query<ListQuery>) -> Answer {
    who.require(Role::Office)?;
    let list: List = query.read(PATH, false);
    let mut tx = who.begin().await?;
    let (rows, _) = customers::list(&mut tx, &asked(&list), list.whole()).await?;
    let won = format!("Won before tax {}", who.shop.currency.code());
    let head = [
        "Customer",
        "Phone",
        "Email",
        "Calls",
        "Last call",
        "Open quotes",
        "Open jobs",
        &won,
    ];
    let head = head.map(str::to_owned).to_vec();
    let rows = rows.into_iter().map(|row| {
        let last = row.last_call.map(|at| {
            at.with_timezone(&who.shop.time_zone)
                .date_naive()
                .to_string()
        });
        vec![
            row.name,
            row.phone,
            row.email,
            row.calls.to_string(),
            last.unwrap_or_default(),
            row.open_quotes.to_string(),
            row.open_jobs.to_string(),
            amount(row.won),
        ]
    });
    let file = csv::download("customers.csv", std::iter::once(head).chain(rows));
    Ok(file.into())
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Nothing {}

/// Adds every name that belongs to nobody as a customer.
async fn name_all(who: SignedIn, _form: CheckedForm<Nothing>) -> Answer {
    let made = name_customers(&who.actor()).await?;
    let words = show::count(made, "customer added.", "customers added.");
    Ok(Reply::see_other("/customers").flash(words))
}
