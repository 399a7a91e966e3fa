//! Jobs: what was won, with its route; where it stands, what it costs so far and will have cost, what was found wrong,
//! and who did what when.

mod booked;
mod card;
mod customer;
mod holds;
mod missed;
mod needs;
mod progress;
mod settle;

pub(in crate::web) use needs::amount;

use self::progress::Progress;
use crate::db::jobs::{self, JobState, OperationState};
use crate::db::people::Role;
use crate::db::{
    bookings, casting_records, checks, history, holds as store_holds, machines,
    needs as store_needs, quotes,
};
use crate::estimating::Route;
use crate::units::Code;
use crate::web::screens::enquiries::route_table;
use crate::web::ui::history as past;
use crate::web::ui::{Answer, Page, Section, SignedIn, WebError, show};
use actix_web::web;
use chrono::Utc;
use maud::html;
use serde::Deserialize;
use uuid::Uuid;

/// `/jobs` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    booked::routes(cfg);
    card::routes(cfg);
    customer::routes(cfg);
    holds::routes(cfg);
    missed::routes(cfg);
    needs::routes(cfg);
    settle::routes(cfg);
    cfg.route("/jobs", web::get().to(list))
        .route("/jobs/{id}", web::get().to(page));
}

/// Rows on one page.
const ROWS: u16 = 100;

fn state_words(state: JobState) -> &'static str {
    match state {
        JobState::Open => "in hand",
        JobState::Done => "done",
        JobState::Cancelled => "cancelled",
    }
}

fn operation_words(state: OperationState) -> &'static str {
    match state {
        OperationState::Queued => "waiting",
        OperationState::Started => "started",
        OperationState::Done => "done",
    }
}

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
        settle::Open::read(&mut tx).await?.count()
    };
    let older = (jobs.len() == usize::from(ROWS))
        .then(|| jobs.last().map(|j| j.number))
        .flatten();
    let body = html! {
        div.bar { h1 { @if all { "Jobs" } @else { "Jobs in hand" } } }
        p {
            @if all { a href="/jobs" { "Only those in hand" } } @else { a href="/jobs?show=all" { "All jobs, done and cancelled too" } }
        }
        @if to_settle > 0 {
            p.notice.warn { span.sign aria-hidden="true" { "!" } " " a href="/jobs/settle" { "To settle: " (to_settle) } " – holds, forgotten clocks, entries at odds, customers to be told." }
        }
        @if !all && !load.is_empty() {
            section.card {
                h2 { "Work waiting" }
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
            section.card { p { "None. A quote that is won becomes a job." } }
        } @else {
            table.cells {
                thead { tr {
                    th scope="col" { "No." } th scope="col" { "Job" } th scope="col" { "Work to" }
                    th scope="col" { "Promised" } th scope="col" { "Stands at" }
                } }
                tbody { @for job in &jobs {
                    tr {
                        th scope="row" { a href={ "/jobs/" (job.id) } { (job.number) } }
                        td data-label="Job" { (job.title) }
                        td data-label="Work to" { (show::day(job.due_on)) }
                        td data-label="Promised" { @match job.promised_on { Some(day) => (show::day(day)), None => { span.muted { "no day" } } } }
                        td data-label="Stands at" { span.tag { (state_words(job.state)) } }
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
    let mut tx = who.begin().await?;
    let job = jobs::get(&mut tx, *id).await?;
    let operations = jobs::operations(&mut tx, *id).await?;
    let needs = store_needs::of_job(&mut tx, *id).await?;
    let customer = casting_records::customer_of_job(&mut tx, *id).await?;
    // Money is the office's business.
    let quote = match job.quote_id.filter(|_| who.may(Role::Office)) {
        Some(quote_id) => Some(quotes::get(&mut tx, quote_id).await?),
        None => None,
    };
    let history = history::of_row(&mut tx, "job", *id).await?;
    let booked = bookings::of_job(&mut tx, *id).await?;
    let hours = bookings::hours_of_job(&mut tx, &booked, Utc::now()).await?;
    let keys: Vec<Uuid> = operations.iter().map(|o| o.id).collect();
    let checked = checks::of_operations(&mut tx, &keys).await?;
    let found_wrong = checks::holds(&mut tx, Some(*id)).await?;
    let calls = store_holds::to_tell(&mut tx, Some(*id)).await?;
    let costs = store_holds::costs(&mut tx, *id).await?;
    let rates = if who.may(Role::Office) {
        let machines = machines::machines(&mut tx).await?;
        // Without rates there is no money to show; the shop's own screens say what is missing.
        machines::rates(&mut tx, &machines).await?.ok()
    } else {
        None
    };
    let progress = |rates| Progress::of(&operations, &hours, &checked, &costs, rates);
    let (progress, no_money) = match progress(rates.as_ref()) {
        Ok(progress) => (progress, None),
        Err(why) => {
            let without = progress(None).map_err(|error| WebError::Internal(error.to_string()))?;
            (without, Some(why.to_string()))
        }
    };
    let next = operations
        .iter()
        .find(|o| o.state == OperationState::Started)
        .or_else(|| {
            operations.iter().find(|o| {
                let open = |n: &u32| {
                    let before = operations.iter().find(|b| b.planned.number == *n);
                    before.is_some_and(|b| b.state != OperationState::Done)
                };
                o.state == OperationState::Queued && !o.planned.after.iter().any(open)
            })
        });
    let done = operations
        .iter()
        .filter(|o| o.state == OperationState::Done)
        .count();
    let route = Route {
        operations: operations.iter().map(|o| o.planned.clone()).collect(),
    };
    let title = format!("Job {}", job.number);
    let body = html! {
        div.bar {
            h1 { (title) " " span.tag { (state_words(job.state)) } }
            div.actions {
                a.button.quiet type="application/pdf" href={ "/jobs/" (job.id) "/card/a4" } { "Route card, A4" }
                a.button.quiet type="application/pdf" href={ "/jobs/" (job.id) "/card/a5" } { "A5" span.visually-hidden { " route card" } }
            }
        }
        section.card {
            h2 { (job.title) }
            dl.figures {
                (customer::figure(&who, &job, &customer))
                div { dt { "Work to" } dd { (show::day(job.due_on)) @if job.state == JobState::Open { br; a href={ "/week/risk?job=" (job.id) "#job" } { "Will it hold?" } } } }
                div { dt { "Promised" } dd { @match job.promised_on { Some(day) => (show::day(day)), None => "no day" } } }
                div { dt { "Operations done" } dd { (done) " of " (operations.len()) } }
                @if let Some(next) = next {
                    div { dt { @if next.state == OperationState::Started { "Is at" } @else { "Next" } } dd { (next.planned.number) " " (next.planned.title) @if job.state == JobState::Open { br; a href={ "/week?operation=" (next.id) "#operation" } { "Its place in the week" } } } }
                }
                div { dt { "Machining at the standard" } dd { (route.machining().rounded()) } }
                @if let Some(quote) = &quote {
                    div { dt { "Quoted" } dd { (quote.net) " before tax, " a href={ "/quotes/" (quote.id) } { "quote " (quote.number) } } }
                }
                (progress.figures())
            }
        }
        (holds::section(&who, *id, &found_wrong, &calls))
        (needs::section(&who, &job, &needs))
        section.card {
            h2 { "Route" }
            @if let Some(why) = no_money { p.notice.warn { "Hours only: what they cost cannot be told, because " (why) "." } }
            (progress.table(job.id, who.may(Role::Office) && job.state == JobState::Open))
            details #route { summary { "Every operation with its steps, checks and cautions" } (route_table(&route)) }
        }
        (booked::section(&who, *id, &booked))
        (past::section(&who, &history))
    };
    Ok(Page::new(&who, title).nav(Section::Jobs).body(body).into())
}
