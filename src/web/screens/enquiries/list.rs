//! The list of calls, newest first.

use crate::db::enquiries::{self, Enquiry};
use crate::db::people::Role;
use crate::db::quick_work::{self, QuickWork};
use crate::db::{castings, quotes, standards};
use crate::enquiry::EnquiryState;
use crate::enquiry::quote::QuoteState;
use crate::estimating::Element;
use crate::units::Code;
use crate::web::ui::{Answer, Page, Section, SignedIn, csrf_field, once_field, show};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use std::collections::HashMap;
use uuid::Uuid;

/// Rows on one page.
const ROWS: u16 = 25;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Which {
    /// `all` for those closed without a sale too.
    show: String,
    /// Only those numbered below.
    before: Option<i64>,
}

pub(super) async fn list(who: SignedIn, which: web::Query<Which>) -> Answer {
    who.require(Role::Office)?;
    let all = which.show == "all";
    let states: &[EnquiryState] = if all {
        EnquiryState::ALL
    } else {
        &[EnquiryState::Open, EnquiryState::Quoted, EnquiryState::Won]
    };
    let mut tx = who.begin().await?;
    let enquiries = enquiries::list(&mut tx, states, which.before, ROWS).await?;
    let names: HashMap<Uuid, String> = castings::variant_names(&mut tx)
        .await?
        .into_iter()
        .map(|v| (v.id, v.name))
        .collect();
    let keys: Vec<Uuid> = enquiries.iter().map(|enquiry| enquiry.id).collect();
    let quick = quick_work::of(&mut tx, &keys).await?;
    let elements = match quick.is_empty() {
        true => Vec::new(),
        false => standards::list(&mut tx).await?,
    };
    let asks = |enquiry: &Enquiry| match quick.get(&enquiry.id) {
        Some(work) => Some(quick_words(work, &elements)),
        None => enquiry
            .details
            .wanted_variant_id
            .and_then(|id| names.get(&id).cloned()),
    };
    let waiting = quotes::list(&mut tx, &[QuoteState::Sent], None, None, 1)
        .await?
        .len();
    let older = (enquiries.len() == usize::from(ROWS))
        .then(|| enquiries.last().map(|e| e.number))
        .flatten();
    let body = html! {
        div.bar {
            h1 { "Enquiries" }
            div.actions {
                (new_call(&who))
            }
        }
        p {
            a href="/quotes" { @if waiting == 0 { "Quotes (none open)" } @else { "Open quotes" } }
            " · "
            a href="/customers" data-key="g u" data-key-label="Customers" { "Customers" }
            " · "
            @if all { a href="/enquiries" { "Hide enquiries with no sale" } }
            @else { a href="/enquiries?show=all" { "Show enquiries with no sale" } }
        }
        @if enquiries.is_empty() {
            section.card { p { "No enquiries yet. Press New call when one comes in." } }
        } @else {
            table.cells {
                thead { tr {
                    th scope="col" { "No." } th scope="col" { "Customer" } th scope="col" { "Wanted" }
                    th scope="col" { "Needed by" } th scope="col" { "Received" } th scope="col" { "Status" }
                } }
                tbody { @for enquiry in &enquiries { (row(&who, enquiry, asks(enquiry))) } }
            }
        }
        @if let Some(before) = older {
            p { a.button.quiet href={ "/enquiries?before=" (before) @if all { "&show=all" } } { "Older" } }
        }
    };
    Ok(Page::new(&who, "Enquiries")
        .nav(Section::Enquiries)
        .body(body)
        .into())
}

/// Quick work in a line; empty when nothing is picked yet.
fn quick_words(work: &QuickWork, elements: &[Element]) -> String {
    let summary = work.list.summary(elements);
    match (work.list.part.trim(), summary.as_str()) {
        (part, "") => part.to_owned(),
        ("", summary) => summary.to_owned(),
        (part, summary) => format!("{part}: {summary}"),
    }
}

/// `wanted`: the casting or the work.
fn row(who: &SignedIn, enquiry: &Enquiry, wanted: Option<String>) -> Markup {
    let details = &enquiry.details;
    let wanted = wanted.filter(|wanted| !wanted.is_empty());
    html! {
        tr {
            th.short scope="row" { a href={ "/enquiries/" (enquiry.id) } { (enquiry.number) } }
            td.lead-cell { @if details.caller.is_empty() { span.muted { "not given" } } @else { (details.caller) } }
            td data-label="Wanted" { @match wanted { Some(name) => (name), None => { span.muted { "not given" } } } }
            td data-label="Needed by" { @match details.wanted_by { Some(day) => (show::day(day, who.today())), None => { span.muted { "no date" } } } }
            td data-label="Received" { (show::moment(enquiry.created_at, who.shop.time_zone, who.today())) }
            td data-label="Status" { span.tag { (state_words(enquiry.state)) } }
        }
    }
}

pub(in crate::web) fn state_words(state: EnquiryState) -> &'static str {
    match state {
        EnquiryState::Open => "open",
        EnquiryState::Quoted => "quoted",
        EnquiryState::Won => "won",
        EnquiryState::Closed => "no sale",
    }
}

/// The buttons that take a call down.
pub(in crate::web) fn new_call(who: &SignedIn) -> Markup {
    html! {
        form method="post" action="/enquiries/quick" {
            (csrf_field(who))
            (once_field())
            button.quiet type="submit" data-key="q" data-key-label="Quick quote" { "Quick quote" }
        }
        form method="post" action="/enquiries" {
            (csrf_field(who))
            (once_field())
            button type="submit" data-key="n" data-key-label="New call" { "New call" }
        }
    }
}
