//! The list of calls, newest first.

use crate::db::enquiries::{self, Enquiry, EnquiryState};
use crate::db::people::Role;
use crate::db::{castings, quotes};
use crate::units::Code;
use crate::web::ui::{Answer, Page, Section, SignedIn, csrf_field, show};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use std::collections::HashMap;
use uuid::Uuid;

/// Rows on one page.
const ROWS: u16 = 50;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Which {
    /// `all` for those that came to nothing too.
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
        &[EnquiryState::Open, EnquiryState::Quoted]
    };
    let mut tx = who.begin().await?;
    let enquiries = enquiries::list(&mut tx, states, which.before, ROWS).await?;
    let names: HashMap<Uuid, String> = castings::variant_names(&mut tx)
        .await?
        .into_iter()
        .map(|v| (v.id, v.name))
        .collect();
    let waiting = quotes::list(&mut tx, &[quotes::QuoteState::Sent], None, None, 1)
        .await?
        .len();
    let older = (enquiries.len() == usize::from(ROWS))
        .then(|| enquiries.last().map(|e| e.number))
        .flatten();
    let body = html! {
        div.bar {
            h1 { "Enquiries" }
            form method="post" action="/enquiries" {
                (csrf_field(&who))
                button type="submit" data-key="n" data-key-label="New call" { "New call" }
            }
        }
        p {
            a href="/quotes" { "Quotes" @if waiting == 0 { " (none waiting)" } @else { " waiting for an answer" } }
            " · "
            @if all { a href="/enquiries" { "Hide those that came to nothing" } }
            @else { a href="/enquiries?show=all" { "Show those that came to nothing" } }
        }
        @if enquiries.is_empty() {
            section.card { p { "No calls yet. The phone will ring." } }
        } @else {
            table.cells {
                thead { tr {
                    th scope="col" { "No." } th scope="col" { "Caller" } th scope="col" { "Wants" }
                    th scope="col" { "By" } th scope="col" { "Called" } th scope="col" { "Stands at" }
                } }
                tbody { @for enquiry in &enquiries { (row(&who, enquiry, &names)) } }
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

fn row(who: &SignedIn, enquiry: &Enquiry, names: &HashMap<Uuid, String>) -> Markup {
    let details = &enquiry.details;
    let wanted = details.wanted_variant_id.and_then(|id| names.get(&id));
    html! {
        tr {
            th scope="row" { a href={ "/enquiries/" (enquiry.id) } { (enquiry.number) } }
            td data-label="Caller" { @if details.caller.is_empty() { span.muted { "not said yet" } } @else { (details.caller) } }
            td data-label="Wants" { @match wanted { Some(name) => (name), None => { span.muted { "not said yet" } } } }
            td data-label="By" { @match details.wanted_by { Some(day) => (show::day(day)), None => { span.muted { "no day" } } } }
            td data-label="Called" { (show::moment(enquiry.created_at, who.shop.time_zone)) }
            td data-label="Stands at" { span.tag { (state_words(enquiry.state)) } }
        }
    }
}

pub(super) fn state_words(state: EnquiryState) -> &'static str {
    match state {
        EnquiryState::Open => "being answered",
        EnquiryState::Quoted => "quoted",
        EnquiryState::Closed => "came to nothing",
    }
}
