//! Review: where the hours and the money went, against what was estimated.

mod csv;
mod decisions;
mod figures;
mod lines;
pub(in crate::web) mod month;
mod picture;
mod promises;
pub(in crate::web) mod query;
pub mod words;

use crate::app::review::{Reviewed, review_period};
use crate::review::variance::Grouping;
use crate::web::ui::{Answer, FormErrors, Page, Section, SignedIn};
use actix_web::web::{self, Query};
use chrono::Utc;
use maud::{Markup, html};
use query::{Asked, ReviewQuery};

/// `/review` and what is under it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route(Section::Review.path(), web::get().to(show))
        .route("/review/figures.csv", web::get().to(csv::download))
        .route("/review/bookings", web::get().to(lines::show))
        .route("/review/promises", web::get().to(promises::show))
        .route(decisions::PATH, web::get().to(decisions::show))
        .route("/review/decisions.csv", web::get().to(decisions::download))
        .route("/review/promises/follow", web::post().to(promises::follow))
        .route("/review/month", web::get().to(month::show));
}

/// The pages of the review, by their paths and names.
const TABS: [(&str, &str); 7] = [
    ("/review", "Hours and money"),
    ("/review/standards", "Standard times"),
    ("/review/spread", "How work varies"),
    ("/review/quotes", "Quotes"),
    ("/review/promises", "Promises"),
    (decisions::PATH, "Decisions"),
    ("/review/month", "Month’s end"),
];

/// The way from one page of the review to another.
pub(in crate::web) fn tabs(here: &str) -> Markup {
    html! {
        nav.tabs aria-label="Review" {
            @for (path, name) in TABS {
                a href=(path) aria-current=[(path == here).then_some("page")] { (name) }
            }
        }
    }
}

async fn show(who: SignedIn, asked: Query<ReviewQuery>) -> Answer {
    let mut errors = FormErrors::default();
    let typed = asked.into_inner();
    let by = typed.grouping(&who, &mut errors)?;
    let read = typed.read(by, who.today(), &mut errors);
    let Some(asked) = read else {
        let body = html! {
            h1 { "Review" }
            (tabs("/review"))
            (errors.summary())
            (typed.form(&who, "/review", &errors))
        };
        return Ok(Page::new(&who, "Review")
            .nav(Section::Review)
            .body(body)
            .invalid()
            .into());
    };
    let reviewed = review_period(&who.actor(), asked.period, asked.by, Utc::now()).await?;
    let body = html! {
        h1 { "Review" }
        (tabs("/review"))
        @if reviewed.anything {
            (typed.form(&who, "/review", &errors))
            (said(&who, &asked, &reviewed))
        } @else {
            p.lead { "Where the hours and the money went, against what was estimated." }
            p { "Nothing has been booked yet. Once people book their time on jobs, each operation, machine and customer stands here with its hours and its cost beside the estimate." }
            p { "Start with " a href="/shop/devices" { "a tablet at the bench" } ", or add bookings on " a href="/jobs" { "a job" } "." }
        }
    };
    Ok(Page::new(&who, "Review")
        .nav(Section::Review)
        .body(body)
        .into())
}

/// What a period comes to: in words, as a picture, as a table.
fn said(who: &SignedIn, asked: &Asked, reviewed: &Reviewed) -> Markup {
    if reviewed.review.groups.is_empty() {
        return html! {
            p { "Nothing was booked from " (asked.days(who.today())) ". Choose other days." }
        };
    }
    html! {
        (figures::lead(who, asked, reviewed))
        section.card {
            h2 { "Cost beyond the estimate, by " (words::grouping(asked.by).to_lowercase()) }
            (picture::bars(&reviewed.review, asked, reviewed.currency))
        }
        (figures::table(asked, reviewed))
        p {
            a type="text/csv" href={ "/review/figures.csv?" (asked.query()) } { "Download for a spreadsheet (CSV)" }
        }
        @if asked.by == Grouping::Person { (figures::people(reviewed)) }
        (figures::notes(reviewed))
    }
}
