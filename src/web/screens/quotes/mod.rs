//! Quotes as they were given: lines and totals of the day, and the one decision about each.

use crate::app::AppError;
use crate::app::lapse::lapse;
use crate::app::lose_quote::lose_quote;
use crate::app::reserve_slot::reserve_slot;
use crate::app::win_quote::{Won, win_quote};
use crate::db::people::Role;
use crate::db::{decisions, enquiries, history, jobs, quotes};
use crate::enquiry::Answer as EnquiryAnswer;
use crate::enquiry::quote::{Quote, QuoteState};
use crate::units::Code;
use crate::web::screens::enquiries::{cost_lines, route_table};
use crate::web::ui::history as past;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    show, words,
};
use actix_web::web;
use chrono::{NaiveDate, Utc};
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

/// `/quotes` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/quotes", web::get().to(list))
        .route("/quotes/{id}", web::get().to(page))
        .route("/quotes/{id}/won", web::post().to(won))
        .route("/quotes/{id}/lost", web::post().to(lost))
        .route("/quotes/{id}/slot", web::post().to(slot));
}

/// Rows on one page.
const ROWS: u16 = 50;

fn today(who: &SignedIn) -> NaiveDate {
    Utc::now().with_timezone(&who.shop.time_zone).date_naive()
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Which {
    show: String,
    before: Option<i64>,
}

async fn list(who: SignedIn, which: web::Query<Which>) -> Answer {
    who.require(Role::Office)?;
    let all = which.show == "all";
    let states: &[QuoteState] = if all {
        QuoteState::ALL
    } else {
        &[QuoteState::Sent]
    };
    lapse(&who.actor(), today(&who)).await?;
    let mut tx = who.begin().await?;
    let quotes = quotes::list(&mut tx, states, None, which.before, ROWS).await?;
    tx.commit().await?;
    let older = (quotes.len() == usize::from(ROWS))
        .then(|| quotes.last().map(|q| q.number))
        .flatten();
    let body = html! {
        div.bar { h1 { @if all { "Quotes" } @else { "Open quotes" } } }
        p {
            @if all { a href="/quotes" { "Show open quotes only" } }
            @else { a href="/quotes?show=all" { "Show all quotes" } }
        }
        @if quotes.is_empty() {
            section.card { p { "None." } }
        } @else {
            table.cells {
                thead { tr {
                    th scope="col" { "No." } th scope="col" { "Offer" } th.number scope="col" { "Before tax" }
                    th scope="col" { "Promised" } th scope="col" { "Valid until" } th scope="col" { "Status" }
                } }
                tbody { @for quote in &quotes {
                    tr {
                        th scope="row" { a href={ "/quotes/" (quote.id) } { (quote.number) } }
                        td data-label="Offer" { (quote.title) }
                        td.number data-label="Before tax" { (quote.net) }
                        td data-label="Promised" { (promised(quote)) }
                        td data-label="Valid until" { (show::day(quote.valid_until)) }
                        td data-label="Status" { span.tag { (words::quote_state(quote.state)) } }
                    }
                } }
            }
        }
        @if let Some(before) = older {
            p { a.button.quiet href={ "/quotes?before=" (before) @if all { "&show=all" } } { "Older" } }
        }
    };
    Ok(Page::new(&who, "Quotes")
        .nav(Section::Enquiries)
        .body(body)
        .into())
}

fn promised(quote: &Quote) -> Markup {
    html! { @match quote.promised_on { Some(day) => (show::day(day)), None => { span.muted { "no date" } } } }
}

/// What is typed to decide a quote or to reserve its slot.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct Decision {
    version: String,
    due_on: String,
    why: String,
    hold_until: String,
}

async fn page(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut typed = Decision::default();
    let mut tx = who.begin().await?;
    let quote = quotes::get(&mut tx, *id).await?;
    typed.due_on = quote
        .promised_on
        .map(|day| day.to_string())
        .unwrap_or_default();
    drop(tx);
    Ok(draw(&who, *id, &typed, &FormErrors::default())
        .await?
        .into())
}

/// A refusal as a complaint beside a field; whatever else went wrong is passed on.
fn refused(error: AppError, field: &str, errors: &mut FormErrors) -> Result<(), WebError> {
    match error {
        AppError::Refused(why) => errors.add(field, words::refusal(&why)),
        other => return Err(other.into()),
    }
    Ok(())
}

async fn won(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<Decision>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    if let Some(due_on) = errors.date("due_on", &form.due_on) {
        let won = Won {
            quote_id: *id,
            version: form.version.parse().unwrap_or(0),
            due_on,
        };
        match win_quote(&who.actor(), won, today(&who)).await {
            Ok((job_id, number)) => {
                return Ok(Reply::see_other(format!("/jobs/{job_id}"))
                    .flash(format!("Accepted: job {number} opened.")));
            }
            Err(error) => refused(error, "due_on", &mut errors)?,
        }
    }
    Ok(draw(&who, *id, &form, &errors).await?.invalid().into())
}

async fn lost(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<Decision>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    if let Some(why) = errors.required_text("why", &form.why, 500) {
        let version = form.version.parse().unwrap_or(0);
        match lose_quote(&who.actor(), *id, version, &why).await {
            Ok(()) => {
                return Ok(Reply::see_other(format!("/quotes/{id}")).flash("Marked as declined."));
            }
            Err(error) => refused(error, "why", &mut errors)?,
        }
    }
    Ok(draw(&who, *id, &form, &errors).await?.invalid().into())
}

/// Reserves the quote's slot in the plan until a day; releases it when none is named.
async fn slot(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<Decision>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let until = errors.optional(&form.hold_until, |errors| {
        errors.date("hold_until", &form.hold_until)
    });
    if let Some(until) = until {
        match reserve_slot(&who.actor(), *id, until, today(&who)).await {
            Ok(()) => {
                let done = match until {
                    Some(until) => format!("Slot reserved until {}.", show::day(until)),
                    None => "Slot released.".to_owned(),
                };
                return Ok(Reply::see_other(format!("/quotes/{id}")).flash(done));
            }
            Err(error) => refused(error, "hold_until", &mut errors)?,
        }
    }
    Ok(draw(&who, *id, &form, &errors).await?.invalid().into())
}

async fn draw(
    who: &SignedIn,
    id: Uuid,
    typed: &Decision,
    errors: &FormErrors,
) -> Result<Page, WebError> {
    who.require(Role::Office)?;
    lapse(&who.actor(), today(who)).await?;
    let mut tx = who.begin().await?;
    let quote = quotes::get(&mut tx, id).await?;
    let lines = quotes::lines(&mut tx, id).await?;
    let basis = quotes::basis(&mut tx, id).await?;
    let enquiry = enquiries::get(&mut tx, quote.enquiry_id).await?;
    let job = jobs::of_quote(&mut tx, id).await?;
    let held = decisions::slot_held_until(&mut tx, id).await?;
    let history = history::of_row(&mut tx, "quote", id).await?;
    tx.commit().await?;
    // The answer is kept as it was; one written by an earlier version of the program may no longer read, and then only
    // what was said is missing, not the quote.
    let answer: Option<EnquiryAnswer> = serde_json::from_value(basis.answer).ok();
    let zone = who.shop.time_zone;
    let title = format!("Quote {}", quote.number);
    let body = html! {
        div.bar {
            h1 { (title) " " span.tag { (words::quote_state(quote.state)) } }
        }
        div.paper.card {
            h2 { (quote.title) }
            dl.figures {
                div { dt { "For" } dd { @if enquiry.details.caller.is_empty() { "customer not named" } @else { (enquiry.details.caller) } " · " a href={ "/enquiries/" (enquiry.id) } { "enquiry " (enquiry.number) } } }
                div { dt { "Date" } dd { (show::moment(quote.created_at, zone)) } }
                div { dt { "Valid until" } dd { (show::day(quote.valid_until)) } }
                div { dt { "Promised" } dd { (promised(&quote)) } }
            }
            (cost_lines(&lines))
            dl.totals {
                div { dt { "Before tax" } dd { (quote.net) } }
                div { dt { "Tax" } dd { (quote.tax) } }
                div { dt { "Total" } dd { (quote.gross) } }
            }
            p.muted { "Fixed on the day it was given: later rate changes do not affect it." }
        }
        @if let Some(why) = &quote.lost_why { section.card { h2 { "Declined" } p { (why) } } }
        @if let Some(job) = &job { section.card { h2 { "Accepted" } p { a href={ "/jobs/" (job.id) } { "Job " (job.number) } } } }
        @if quote.state == QuoteState::Sent {
            (decide(who, &quote, typed, errors))
            (slot_form(who, &quote, held, typed, errors))
        }
        @if let Some(answer) = &answer {
            section.card { h2 { "What the customer was told" } p.sentence { (answer.sentence) } }
        }
        details.card { summary { "Quoted operations" } (route_table(&basis.route)) }
        (past::section(who, &history))
    };
    Ok(Page::new(who, title).nav(Section::Enquiries).body(body))
}

/// The slot in the plan that may be reserved for the quote.
fn slot_form(
    who: &SignedIn,
    quote: &Quote,
    held: Option<NaiveDate>,
    typed: &Decision,
    errors: &FormErrors,
) -> Markup {
    let stored = held.map(|day| day.to_string()).unwrap_or_default();
    let value = if typed.hold_until.is_empty() {
        &stored
    } else {
        &typed.hold_until
    };
    html! {
        section.card {
            h2 { "Slot in the plan" }
            p { @match held {
                Some(day) => { "Reserved until the end of " (show::day(day)) ". It is released then, or when the quote is declined." }
                None => "Not reserved: other work may take it.",
            } }
            form.grid method="post" action={ "/quotes/" (quote.id) "/slot" } novalidate {
                (csrf_field(who))
                (Field::date("hold_until", "Reserve until", value).hint("Leave blank to release it").optional().errors(errors))
                div.actions { button.quiet type="submit" { "Update slot" } }
            }
        }
    }
}

fn decide(who: &SignedIn, quote: &Quote, typed: &Decision, errors: &FormErrors) -> Markup {
    html! {
        (errors.summary())
        div.columns {
            section.card {
                h2 { "Accepted" }
                form.grid method="post" action={ "/quotes/" (quote.id) "/won" } novalidate {
                    (csrf_field(who))
                    input type="hidden" name="version" value=(quote.version);
                    (Field::date("due_on", "Due date", &typed.due_on).errors(errors))
                    div.actions { button type="submit" { "Open the job" } }
                }
            }
            section.card {
                h2 { "Declined" }
                form.grid method="post" action={ "/quotes/" (quote.id) "/lost" } novalidate {
                    (csrf_field(who))
                    input type="hidden" name="version" value=(quote.version);
                    (Field::text("why", "Reason", &typed.why).hint("Price, date, found one elsewhere").errors(errors))
                    div.actions { button.quiet type="submit" { "Mark as declined" } }
                }
            }
        }
    }
}
