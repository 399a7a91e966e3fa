//! Jobs: what was won or entered by hand, with its route; its status, its cost to date and forecast, failed checks, and time bookings.

mod aftercare;
mod batches;
mod booked;
mod card;
mod customer;
mod edit;
mod end;
mod holds;
mod hours;
mod list;
mod missed;
pub(in crate::web) mod needs;
mod new;
mod points;
mod print;
mod progress;
mod route;
mod route_preview;
mod settle;

pub(in crate::web) use aftercare::sheet as fitting_sheet;
pub(in crate::web) use card::card as route_card;
pub(in crate::web) use holds::DecideForm;
pub(in crate::web) use needs::amount;
pub(in crate::web) use new::JobForm;
pub(in crate::web) use route::RouteForm;

use crate::app::job_overview::{JobOverview, job_overview};
use crate::db::jobs::{Job, JobState, OperationState};
use crate::db::people::Role;
use crate::estimating::Route;
use crate::jobs::Aftercare;
use crate::jobs::{Stage, Standing};
use crate::web::screens::enquiries::route_table;
use crate::web::screens::shelf::measured;
use crate::web::ui::floor_words::{job_stage, job_state};
use crate::web::ui::history as past;
use crate::web::ui::record::Each;
use crate::web::ui::{Answer, Page, Section, SignedIn, show};
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use uuid::Uuid;

/// `/jobs` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    aftercare::routes(cfg);
    booked::routes(cfg);
    hours::routes(cfg);
    batches::routes(cfg);
    card::routes(cfg);
    customer::routes(cfg);
    edit::routes(cfg);
    end::routes(cfg);
    holds::routes(cfg);
    missed::routes(cfg);
    needs::routes(cfg);
    new::routes(cfg);
    points::routes(cfg);
    route::routes(cfg);
    settle::routes(cfg);
    list::routes(cfg);
    cfg.route("/jobs/{id}", web::get().to(page));
}

/// The records that are kept here.
pub(in crate::web) fn records(each: &mut impl Each) {
    each.record::<Aftercare>();
}

async fn page(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let all = job_overview(&who.actor(), *id, Utc::now()).await?;
    let job = &all.job;
    let open = job.state == JobState::Open;
    let route = Route {
        operations: all.operations.iter().map(|o| o.planned.clone()).collect(),
    };
    let title = format!("Job {}", job.number);
    let body = html! {
        div.bar {
            h1 { (title) " " span.tag { (stage(job)) } }
            div.actions {
                (end::buttons(&who, &all))
                a.button.quiet type="application/pdf" href={ "/jobs/" (job.id) "/card/a4" } { "Route card, A4" }
                a.button.quiet type="application/pdf" href={ "/jobs/" (job.id) "/card/a5" } { "A5" span.visually-hidden { " route card" } }
            }
        }
        (summary(&who, &all, &route))
        (holds::section(&who, *id, &all.holds, &all.calls))
        (needs::section(&who, job, &all.needs))
        (batches::section(&who, &all))
        section.card {
            div.bar { h2 { "Route" } @if open && who.may(Role::Office) { a.button.quiet href={ "/jobs/" (job.id) "/route" } { "Change the route" } } }
            @if let Some(why) = &all.no_money { p.notice.warn { "Hours only. The cost cannot be worked out: " (why) "." } }
            (progress::table(&all, who.may(Role::Office) && open))
            details #route { summary { "Every operation with its steps, checks and cautions" } (route_table(&route)) @if all.quote.is_some() { (points::links(*id, &all.operations)) } }
        }
        @for (casting, number, records) in &all.measured { (measured::section(&who, (*casting, *number), records, Some(*id).filter(|_| open))) }
        (aftercare::section(&who, &all))
        (booked::section(&who, *id, &all.booked))
        (end::steps(&who, &all))
        (past::section_of(&who, past::Kept::Job, *id, &all.history))
    };
    Ok(Page::new(&who, title).nav(Section::Jobs).body(body).into())
}

/// How far a job has come; of an open one that it is open, the rest of the page says how it stands.
fn stage(job: &Job) -> &'static str {
    let standing = Standing {
        collected_on: job.collected_on,
        invoiced_on: job.invoiced_on,
        ..Standing::default()
    };
    match job.state {
        JobState::Open => job_state(job.state),
        state => job_stage(Stage::of(state, standing)),
    }
}

/// The figures at the head of a job's page.
fn summary(who: &SignedIn, all: &JobOverview, route: &Route) -> Markup {
    let job = &all.job;
    let open = job.state == JobState::Open;
    let current = all.current.and_then(|at| all.operations.get(at));
    html! {
        section.card {
            h2 { (job.title) }
            dl.figures {
                (customer::figure(who, job, all))
                div { dt { "Due" } dd { (show::day(job.due_on, who.today())) @if open { br; a href={ "/week/risk?job=" (job.id) "#job" } { "On time?" } } } }
                div { dt { "Promised" } dd { @match job.promised_on { Some(day) => (show::day(day, who.today())), None => "No date" } } }
                @if let Some(day) = job.collected_on { div { dt { "Collected" } dd { (show::day(day, who.today())) } } }
                @if let Some(day) = job.invoiced_on { div { dt { "Invoiced" } dd { (show::day(day, who.today())) } } }
                div { dt { "Operations done" } dd { (all.overview.done) " of " (all.operations.len()) } }
                @if let Some(next) = current.filter(|_| open) {
                    div { dt { @if next.state == OperationState::Started { "Current operation" } @else { "Next operation" } } dd { (next.planned.number) " " (next.planned.title) @if open { br; a href={ "/week?operation=" (next.id) "#operation" } { "See it in the week" } } } }
                }
                div { dt { "Standard machining hours" } dd { (route.machining().rounded()) } }
                @if let Some(quote) = &all.quote {
                    div { dt { "Quoted" } dd { (quote.net) " before tax, " a href={ "/quotes/" (quote.id) } { "quote " (quote.number) } } }
                }
                @if let Some(value) = all.value { div { dt { "Agreed price" } dd { (value) " before tax" } } }
                (progress::figures(all))
            }
        }
    }
}
