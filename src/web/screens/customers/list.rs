//! The list of customers: found, sorted, paged, and as a file for a spreadsheet.

use super::path;
use crate::app::name_customers::name_customers;
use crate::db::customers::{self, Asked, Listed, Only, Order};
use crate::db::people::Role;
use crate::units::Code;
use crate::web::ui::record::amount;
use crate::web::ui::{
    Answer, CheckedForm, Choice, Field, Page, Reply, Section, SignedIn, csrf_field, csv, show,
};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;

/// Rows on one page.
const ROWS: u32 = 50;
/// The most rows of a file.
const FILE_ROWS: u32 = 100_000;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/customers", web::get().to(list))
        .route("/customers/list.csv", web::get().to(file))
        .route("/customers/names", web::post().to(name_all));
}

/// What the address asks for, so that it can be kept and sent to somebody.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct Which {
    q: String,
    only: String,
    sort: String,
    page: Option<u32>,
}

impl Which {
    fn asked(&self) -> Asked {
        let (order, reversed) = match self.sort.strip_prefix('-') {
            Some(order) => (order, true),
            None => (self.sort.as_str(), false),
        };
        Asked {
            words: self.q.trim().to_owned(),
            only: Only::from_code(&self.only).unwrap_or_default(),
            order: Order::from_code(order).unwrap_or_default(),
            reversed,
        }
    }

    /// The same list at another path, in another order or at another page.
    fn address(&self, path: &str, sort: &str, page: u32) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        let page = if page > 1 {
            page.to_string()
        } else {
            String::new()
        };
        for (name, value) in [
            ("q", self.q.trim()),
            ("only", &self.only),
            ("sort", sort),
            ("page", &page),
        ] {
            if !value.is_empty() {
                query.append_pair(name, value);
            }
        }
        match query.finish() {
            query if query.is_empty() => path.to_owned(),
            query => format!("{path}?{query}"),
        }
    }
}

fn only_words(only: Only) -> &'static str {
    match only {
        Only::All => "All customers",
        Only::OpenQuotes => "With open quotes",
        Only::OpenJobs => "With open jobs",
    }
}

async fn list(who: SignedIn, which: web::Query<Which>) -> Answer {
    who.require(Role::Office)?;
    let asked = which.asked();
    let page = which.page.unwrap_or(1).max(1);
    let mut tx = who.begin().await?;
    let offset = (page - 1).saturating_mul(ROWS);
    let (rows, in_all) = customers::list(&mut tx, &asked, ROWS, offset).await?;
    let choices = Only::ALL.iter();
    let choices = choices.map(|only| Choice::new(only.code(), only_words(*only)));
    let body = html! {
        div.bar {
            h1 { "Customers" }
            div.actions {
                a.button.quiet href=(which.address("/customers/list.csv", &which.sort, 1)) { "Download as CSV" }
                a.button.quiet href="/customers/import" { "From a spreadsheet" }
                a.button href="/customers/new" data-key="n" data-key-label="New customer" { "New customer" }
            }
        }
        form.grid.narrow method="get" action="/customers" role="search" aria-label="Customers" {
            (Field::text("q", "Name, phone or email", &which.q).optional().autofocus(rows.is_empty()))
            (Field::select("only", "Show", asked.only.code(), choices.collect()))
            @if !which.sort.is_empty() { input type="hidden" name="sort" value=(which.sort); }
            div.actions { button.quiet type="submit" { "Show" } }
        }
        @if rows.is_empty() {
            section.card { p {
                @if asked.words.is_empty() && asked.only == Only::All { "No customers yet. A caller becomes one when you quote." }
                @else { "No customer matches. " a href="/customers" { "Show all" } }
            } }
        } @else {
            p.muted { (show::count(in_all, "customer", "customers")) }
            (table(&who, &which, &asked, &rows))
            nav.actions aria-label="Pages" {
                @if page > 1 { a.button.quiet href=(which.address("/customers", &which.sort, page - 1)) { "Previous" } }
                @if i64::from(offset) + i64::from(ROWS) < in_all { a.button.quiet href=(which.address("/customers", &which.sort, page + 1)) { "Next" } }
            }
        }
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

fn table(who: &SignedIn, which: &Which, asked: &Asked, rows: &[Listed]) -> Markup {
    html! {
        table.cells {
            thead { tr {
                (heading(which, asked, Order::Name, "Customer", false))
                th scope="col" { "Phone" } th scope="col" { "Email" }
                (heading(which, asked, Order::LastCall, "Last call", false))
                th.number scope="col" { "Open quotes" }
                (heading(which, asked, Order::OpenJobs, "Open jobs", true))
                (heading(which, asked, Order::Won, "Won, before tax", true))
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

/// A heading that sorts by its column, and the other way round when it does already.
fn heading(which: &Which, asked: &Asked, order: Order, label: &str, number: bool) -> Markup {
    let current = asked.order == order;
    let code = if order == Order::default() {
        ""
    } else {
        order.code()
    };
    let sort = match (current && !asked.reversed, code) {
        (true, "") => "-name".to_owned(),
        (true, code) => format!("-{code}"),
        (false, code) => code.to_owned(),
    };
    // Names run upwards by themselves, all else downwards.
    let ascending = (order == Order::Name) != asked.reversed;
    let direction = if ascending { "ascending" } else { "descending" };
    html! {
        th.number[number] scope="col" aria-sort=[current.then_some(direction)] {
            a href=(which.address("/customers", &sort, 1)) {
                (label) @if current { span aria-hidden="true" { @if ascending { " ▲" } @else { " ▼" } } }
            }
        }
    }
}

async fn file(who: SignedIn, which: web::Query<Which>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let (rows, _) = customers::list(&mut tx, &which.asked(), FILE_ROWS, 0).await?;
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
