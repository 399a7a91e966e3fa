//! Quotes as they were given: lines and totals of the day, and the one decision that may still happen to each.

use crate::db::people::Role;
use crate::db::quotes::{self, Quote, QuoteState};
use crate::db::{DbError, decisions, enquiries, history, jobs};
use crate::enquiry::Answer as EnquiryAnswer;
use crate::units::Code;
use crate::web::screens::enquiries::{cost_lines, route_table};
use crate::web::ui::history as past;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    show,
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

/// What became of a quote, in words.
pub(in crate::web) fn state_words(state: QuoteState) -> &'static str {
    match state {
        QuoteState::Sent => "waiting for an answer",
        QuoteState::Won => "won",
        QuoteState::Lost => "lost",
        QuoteState::Lapsed => "lapsed",
    }
}

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
    let mut tx = who.begin().await?;
    quotes::lapse(&mut tx, today(&who)).await?;
    let quotes = quotes::list(&mut tx, states, None, which.before, ROWS).await?;
    tx.commit().await?;
    let older = (quotes.len() == usize::from(ROWS))
        .then(|| quotes.last().map(|q| q.number))
        .flatten();
    let body = html! {
        div.bar { h1 { @if all { "Quotes" } @else { "Quotes waiting for an answer" } } }
        p {
            @if all { a href="/quotes" { "Only those waiting for an answer" } }
            @else { a href="/quotes?show=all" { "All quotes, won, lost and lapsed too" } }
        }
        @if quotes.is_empty() {
            section.card { p { "None." } }
        } @else {
            table.cells {
                thead { tr {
                    th scope="col" { "No." } th scope="col" { "Offered" } th.number scope="col" { "Before tax" }
                    th scope="col" { "Promised" } th scope="col" { "Holds until" } th scope="col" { "Stands at" }
                } }
                tbody { @for quote in &quotes {
                    tr {
                        th scope="row" { a href={ "/quotes/" (quote.id) } { (quote.number) } }
                        td data-label="Offered" { (quote.title) }
                        td.number data-label="Before tax" { (quote.net) }
                        td data-label="Promised" { (promised(quote)) }
                        td data-label="Holds until" { (show::day(quote.valid_until)) }
                        td data-label="Stands at" { span.tag { (state_words(quote.state)) } }
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
    html! { @match quote.promised_on { Some(day) => (show::day(day)), None => { span.muted { "no day" } } } }
}

/// What is typed to decide a quote.
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

async fn won(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<Decision>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    if let Some(due_on) = errors.date("due_on", &form.due_on) {
        let mut tx = who.begin().await?;
        let version = form.version.parse().unwrap_or(0);
        match quotes::win(&mut tx, *id, version, today(&who), due_on).await {
            Ok(job_id) => {
                let number = jobs::get(&mut tx, job_id).await?.number;
                tx.commit().await?;
                return Ok(Reply::see_other(format!("/jobs/{job_id}"))
                    .flash(format!("Won: job {number} is opened.")));
            }
            Err(DbError::Refused(why)) => errors.add("due_on", why),
            Err(error) => return Err(error.into()),
        }
    }
    Ok(draw(&who, *id, &form, &errors).await?.invalid().into())
}

async fn lost(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<Decision>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    if let Some(why) = errors.required_text("why", &form.why, 500) {
        let mut tx = who.begin().await?;
        match quotes::lose(&mut tx, *id, form.version.parse().unwrap_or(0), &why).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(
                    Reply::see_other(format!("/quotes/{id}")).flash("Lost. Why is on record.")
                );
            }
            Err(DbError::Refused(why)) => errors.add("why", why),
            Err(error) => return Err(error.into()),
        }
    }
    Ok(draw(&who, *id, &form, &errors).await?.invalid().into())
}

/// Holds the quote's place in the plan until a day; gives it up when none is named.
async fn slot(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<Decision>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let told = if form.hold_until.trim().is_empty() {
        decisions::drop_slot(&mut tx, *id).await?;
        Some("Its place in the plan is given up.".to_owned())
    } else if let Some(until) = errors.date("hold_until", &form.hold_until) {
        if until < today(&who) {
            errors.add("hold_until", "That day is past");
            None
        } else {
            match decisions::hold_slot(&mut tx, *id, until).await {
                Ok(()) => Some(format!(
                    "Its place in the plan is held until {}.",
                    show::day(until)
                )),
                Err(DbError::Refused(why)) => {
                    errors.add("hold_until", why);
                    None
                }
                Err(error) => return Err(error.into()),
            }
        }
    } else {
        None
    };
    if let Some(told) = told {
        tx.commit().await?;
        return Ok(Reply::see_other(format!("/quotes/{id}")).flash(told));
    }
    drop(tx);
    Ok(draw(&who, *id, &form, &errors).await?.invalid().into())
}

async fn draw(
    who: &SignedIn,
    id: Uuid,
    typed: &Decision,
    errors: &FormErrors,
) -> Result<Page, WebError> {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    quotes::lapse(&mut tx, today(who)).await?;
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
            h1 { (title) " " span.tag { (state_words(quote.state)) } }
        }
        div.paper.card {
            h2 { (quote.title) }
            dl.figures {
                div { dt { "For" } dd { @if enquiry.details.caller.is_empty() { "a caller who gave no name" } @else { (enquiry.details.caller) } " · " a href={ "/enquiries/" (enquiry.id) } { "enquiry " (enquiry.number) } } }
                div { dt { "Given" } dd { (show::moment(quote.created_at, zone)) } }
                div { dt { "Holds until" } dd { (show::day(quote.valid_until)) } }
                div { dt { "Day promised" } dd { (promised(&quote)) } }
            }
            (cost_lines(&lines))
            dl.totals {
                div { dt { "Before tax" } dd { (quote.net) } }
                div { dt { "Tax" } dd { (quote.tax) } }
                div { dt { "To pay" } dd { (quote.gross) } }
            }
            p.muted { "As it stood on the day: later changes of rates do not alter it." }
        }
        @if let Some(why) = &quote.lost_why { section.card { h2 { "Lost" } p { (why) } } }
        @if let Some(job) = &job { section.card { h2 { "Won" } p { a href={ "/jobs/" (job.id) } { "Job " (job.number) } } } }
        @if quote.state == QuoteState::Sent {
            (decide(who, &quote, typed, errors))
            (slot_form(who, &quote, held, typed, errors))
        }
        @if let Some(answer) = &answer {
            section.card { h2 { "What was said" } p.sentence { (answer.sentence) } }
        }
        details.card { summary { "The route it was reckoned with" } (route_table(&basis.route)) }
        (past::section(who, &history))
    };
    Ok(Page::new(who, title).nav(Section::Enquiries).body(body))
}

/// The place in the plan that may be held for the quote.
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
            h2 { "Its place in the plan" }
            p { @match held {
                Some(day) => { "Held until the end of " (show::day(day)) ", as if it were a job. It lapses by itself then, or when the quote is lost." }
                None => "Not held: other work may take it.",
            } }
            form.grid method="post" action={ "/quotes/" (quote.id) "/slot" } novalidate {
                (csrf_field(who))
                (Field::date("hold_until", "Hold it until", value).hint("Empty gives it up").optional().errors(errors))
                div.actions { button.quiet type="submit" { "Save" } }
            }
        }
    }
}

fn decide(who: &SignedIn, quote: &Quote, typed: &Decision, errors: &FormErrors) -> Markup {
    html! {
        (errors.summary())
        div.columns {
            section.card {
                h2 { "They take it" }
                form.grid method="post" action={ "/quotes/" (quote.id) "/won" } novalidate {
                    (csrf_field(who))
                    input type="hidden" name="version" value=(quote.version);
                    (Field::date("due_on", "The day to work to", &typed.due_on).errors(errors))
                    div.actions { button type="submit" { "Won: open the job" } }
                }
            }
            section.card {
                h2 { "They turn it down" }
                form.grid method="post" action={ "/quotes/" (quote.id) "/lost" } novalidate {
                    (csrf_field(who))
                    input type="hidden" name="version" value=(quote.version);
                    (Field::text("why", "Why", &typed.why).hint("Price, day, found one elsewhere …").errors(errors))
                    div.actions { button.quiet type="submit" { "Lost" } }
                }
            }
        }
    }
}
