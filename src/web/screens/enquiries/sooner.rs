//! What would make the wanted day, and what that costs.

use crate::app::make_the_day::{DayMakers, make_the_day};
use crate::planning::what_if::{PromiseMove, Sooner};
use crate::planning::words::{hours, job_words};
use crate::units::Money;
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
            p { "Each was tried on the plan as it is now. Nothing is changed by looking. What a customer pays for it is yours to say." }
            ol.plain { @for (way, cost) in &found.ways { li.card { (one(&who, &found, way, *cost)) } } }
        }
        p { a href={ "/enquiries/" (id) "#answer" } { "Back to the enquiry" } }
    };
    Ok(Page::new(&who, title)
        .nav(Section::Enquiries)
        .body(body)
        .into())
}

fn one(who: &SignedIn, found: &DayMakers, way: &Sooner, cost: Money) -> Markup {
    let zone = who.shop.time_zone;
    let said: Vec<String> = way
        .changes
        .iter()
        .map(|change| change.words(&found.floor))
        .collect();
    html! {
        h2 {
            @if way.meets(found.by) { span.tag.take { "✓ Makes the day" } " " }
            @else { span.tag { "Nearer, not there" } " " }
            (capitalised(&said.join("; ")))
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
