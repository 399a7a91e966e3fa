//! Jobs: what was won or entered by hand, with its route; its status, its cost to date and forecast, failed checks, and time bookings.

mod booked;
mod card;
mod customer;
mod edit;
mod end;
mod holds;
mod missed;
mod needs;
mod new;
mod progress;
mod settle;

pub(in crate::web) use needs::amount;

use crate::app::job_overview::{JobOverview, job_overview};
use crate::app::settle as app_settle;
use crate::db::jobs::{self, JobState, OperationState};
use crate::db::people::Role;
use crate::estimating::Route;
use crate::units::Code;
use crate::web::screens::enquiries::route_table;
use crate::web::ui::floor_words::job_state;
use crate::web::ui::history as past;
use crate::web::ui::{Answer, Page, Section, SignedIn, show};
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

/// `/jobs` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    booked::routes(cfg);
    card::routes(cfg);
    customer::routes(cfg);
    edit::routes(cfg);
    end::routes(cfg);
    holds::routes(cfg);
    missed::routes(cfg);
    needs::routes(cfg);
    new::routes(cfg);
    settle::routes(cfg);
    cfg.route("/jobs", web::get().to(list))
        .route("/jobs/{id}", web::get().to(page));
}

/// Rows on one page.
const ROWS: u16 = 100;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Which {
    show: String,
    before: Option<i64>,
}

async fn list(who: SignedIn, which: web::Query<Which>) -> Answer {
    let all = which.show == "all";
    let states: &[JobState] = if all {
        JobState::ALL
    } else {
        &[JobState::Open]
    };
    let mut tx = who.begin().await?;
    let jobs = jobs::list(&mut tx, states, which.before, ROWS).await?;
    let load = jobs::machine_load(&mut tx).await?;
    let to_settle = if all {
        0
    } else {
        app_settle::open(&who.actor(), Utc::now()).await?.count()
    };
    let older = (jobs.len() == usize::from(ROWS))
        .then(|| jobs.last().map(|j| j.number))
        .flatten();
    let body = html! {
        div.bar {
            h1 { @if all { "Jobs" } @else { "Open jobs" } }
            @if who.may(Role::Office) { div.actions { a.button href="/jobs/new" data-key="n" data-key-label="New job" { "New job" } } }
        }
        p {
            @if all { a href="/jobs" { "Open jobs only" } } @else { a href="/jobs?show=all" { "All jobs, with done and cancelled" } }
        }
        @if to_settle > 0 {
            p.notice.warn { span.sign aria-hidden="true" { "!" } " " a href="/jobs/settle" { "Needs attention: " (to_settle) } " – holds, clocks left running, conflicting bookings, calls to customers." }
        }
        @if !all && !load.is_empty() {
            section.card {
                h2 { "Work ahead" }
                table.cells.small {
                    thead { tr { th scope="col" { "Machine" } th.number scope="col" { "Operations" } th.number scope="col" { "Standard time" } } }
                    tbody { @for machine in &load {
                        tr {
                            th scope="row" { (machine.machine_kind) }
                            td.number data-label="Operations" { (machine.operations) }
                            td.number data-label="Standard time" { (machine.minutes.rounded()) }
                        }
                    } }
                }
            }
        }
        @if jobs.is_empty() {
            section.card { p { "No jobs. An accepted quote becomes a job. Other work is entered with New job." } }
        } @else {
            table.cells {
                thead { tr {
                    th scope="col" { "No." } th scope="col" { "Job" } th scope="col" { "Due" }
                    th scope="col" { "Promised" } th scope="col" { "Status" }
                } }
                tbody { @for job in &jobs {
                    tr {
                        th scope="row" { a href={ "/jobs/" (job.id) } { (job.number) } }
                        td data-label="Job" { (job.title) }
                        td data-label="Due" { (show::day(job.due_on, who.today())) }
                        td data-label="Promised" { @match job.promised_on { Some(day) => (show::day(day, who.today())), None => { span.muted { "No date" } } } }
                        td data-label="Status" { span.tag { (job_state(job.state)) } }
                    }
                } }
            }
        }
        @if let Some(before) = older {
            p { a.button.quiet href={ "/jobs?before=" (before) @if all { "&show=all" } } { "Older" } }
        }
    };
    Ok(Page::new(&who, "Jobs").nav(Section::Jobs).body(body).into())
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
            h1 { (title) " " span.tag { (job_state(job.state)) } }
            div.actions {
                (end::buttons(&who, &all))
                a.button.quiet type="application/pdf" href={ "/jobs/" (job.id) "/card/a4" } { "Route card, A4" }
                a.button.quiet type="application/pdf" href={ "/jobs/" (job.id) "/card/a5" } { "A5" span.visually-hidden { " route card" } }
            }
        }
        (summary(&who, &all, &route))
        (holds::section(&who, *id, &all.holds, &all.calls))
        (needs::section(&who, job, &all.needs))
        section.card {
            h2 { "Route" }
            @if let Some(why) = &all.no_money { p.notice.warn { "Hours only. The cost cannot be worked out: " (why) "." } }
            (progress::table(&all, who.may(Role::Office) && open))
            details #route { summary { "Every operation with its steps, checks and cautions" } (route_table(&route)) }
        }
        (booked::section(&who, *id, &all.booked))
        (end::steps(&who, &all))
        (past::section(&who, &all.history))
    };
    Ok(Page::new(&who, title).nav(Section::Jobs).body(body).into())
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
