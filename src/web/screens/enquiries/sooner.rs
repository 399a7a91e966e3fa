//! What would make the wanted day, and what that costs.

use crate::app::make_the_day::{DayMakers, PricedWay, make_the_day};
use crate::planning::what_if::PromiseMove;
use crate::planning::words::{hours, job_words};
use crate::units::text::capitalised;
use crate::web::ui::{Answer, Page, Section, SignedIn, show};
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

#[derive(Debug, Deserialize)]
pub(super) struct Which {
    answer: Uuid,
    option: String,
}

pub(super) async fn page(who: SignedIn, id: web::Path<Uuid>, which: web::Query<Which>) -> Answer {
    let asked = (*id, which.answer);
    let found = make_the_day(&who.actor(), asked, &which.option, Utc::now()).await?;
    let title = format!(
        "What would make {}?",
        show::day(found.wanted_by, who.today())
    );
    let body = html! {
        h1 { (title) }
        p.lead { (found.option.title) }
        @if found.ways.is_empty() {
            section.card { p { "Nothing that was tried has it ready sooner: neither overtime nor another order of the work." } }
        } @else {
            p { "Each was tried on the plan as it is now. Nothing is changed by looking." }
            ol.plain { @for way in &found.ways { li.card { (one(&who, &found, way)) (agree(*id, &which, &found, way)) } } }
        }
        p { a href={ "/enquiries/" (id) "#answer" } { "Back to the enquiry" } }
    };
    Ok(Page::new(&who, title)
        .nav(Section::Enquiries)
        .body(body)
        .into())
}

/// What is done, in words.
fn done(found: &DayMakers, priced: &PricedWay) -> String {
    let changes = priced.way.changes.iter();
    let said: Vec<String> = changes.map(|change| change.words(&found.floor)).collect();
    capitalised(&said.join("; "))
}

/// Going on to agree the day, at a price that has the overtime in it.
fn agree(id: Uuid, which: &Which, found: &DayMakers, priced: &PricedWay) -> Markup {
    let query = form_urlencoded::Serializer::new(String::new())
        .append_pair("answer", &which.answer.to_string())
        .append_pair("option", &which.option)
        .append_pair("price", &priced.price.amount().to_string())
        .append_pair("promised_on", &found.wanted_by.to_string())
        .append_pair("reason", &done(found, priced))
        .finish();
    html! {
        @if priced.way.meets(found.by) {
            p { a.button href={ "/enquiries/" (id) "/bargain?" (query) } { "Agree this day at " (priced.price) " before tax" } }
            p.muted { "When the quote is won, make the change on the week: a quote does not change the plan." }
        }
    }
}

fn one(who: &SignedIn, found: &DayMakers, priced: &PricedWay) -> Markup {
    let zone = who.shop.time_zone;
    let PricedWay { way, cost, .. } = priced;
    html! {
        h2 {
            @if way.meets(found.by) { span.tag.take { "✓ Makes the day" } " " }
            @else { span.tag { "Nearer, not there" } " " }
            (done(found, priced))
        }
        dl.figures {
            div { dt { "Ready, as sure as usual" } dd { @match way.ready { Some(at) => (show::day(at.with_timezone(&zone).date_naive(), who.today())), None => "no date" } } }
            div { dt { "Overtime" } dd { @if way.overtime == 0 { "none" } @else { (hours(way.overtime)) " of people’s time, about " (cost) } } }
        }
        @let late: Vec<&PromiseMove> = way.made_late().collect();
        @if late.is_empty() {
            p { "No other promise would be broken"
                @if !way.touched.is_empty() { "; " (show::count(way.touched.len() as i64, "job", "jobs")) " would be ready later, still in time or as late as now" }
                "."
            }
        } @else {
            p { strong { "It would break a promise: " }
                @for (i, job) in late.iter().enumerate() {
                    @if i > 0 { ", " }
                    (job_words(&found.floor, job.job))
                    @if let Some(after) = job.after { " (ready " (show::day(after.with_timezone(&zone).date_naive(), who.today())) ")" }
                }
                "."
            }
        }
    }
}
