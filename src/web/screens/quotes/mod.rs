//! Quotes as they were given: lines and totals of the day, and the one decision about each.

mod list;

use crate::app::AppError;
use crate::app::lose_quote::lose_quote;
use crate::app::reserve_slot::reserve_slot;
use crate::app::win_quote::{Won, win_quote};
use crate::db::people::Role;
use crate::db::{decisions, enquiries, history, jobs, quotes};
use crate::enquiry::Terms;
use crate::enquiry::quote::{Quote, QuoteState};
use crate::web::screens::enquiries::{cost_lines, route_table};
use crate::web::ui::history as past;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    once_field, show, words,
};
use actix_web::web;
use chrono::NaiveDate;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

/// `/quotes` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    list::routes(cfg);
    cfg.route("/quotes/{id}", web::get().to(page))
        .route("/quotes/{id}/won", web::post().to(won))
        .route("/quotes/{id}/lost", web::post().to(lost))
        .route("/quotes/{id}/slot", web::post().to(slot));
}

/// What a price that is not fixed depends on.
fn on_terms(quote: &Quote, today: NaiveDate) -> Markup {
    html! {
        @match &quote.offered_on.terms {
            None | Some(Terms::Fixed) => {}
            Some(Terms::IfSound { lost, .. }) => p.notice {
                "This price holds if the casting proves sound. If it does not, "
                @if lost.amount().is_zero() { "nothing" } @else { (lost) " before tax" }
                " is charged for it."
            },
            Some(Terms::Search(terms)) => p.notice {
                "A search: nothing is promised. The sum below is what it comes to in the middle of the outcomes. The work is "
                (terms.work) " before tax; castings are charged at cost plus " (terms.handling_percent.normalize()) " %, those that prove bad included."
                @if let Some(most) = terms.limits.most { " At most " (most) " before tax." }
                @if let Some(day) = terms.limits.ends_on { " The search ends on " (show::day(day, today)) "." }
            },
        }
    }
}

/// What a donor of another pattern leaves different for good: the customer reads it with the price.
fn stays_different(quote: &Quote) -> Markup {
    let related = quote.offered_on.related.as_ref();
    html! {
        @if let Some(donor) = related.filter(|donor| !donor.lasting.is_empty()) {
            h3 { "Stays different for good" }
            p { "The block is made from a casting of the " (donor.name) ", a related engine:" }
            ul { @for lasting in &donor.lasting { li { (lasting) } } }
        }
    }
}

fn promised(quote: &Quote, today: NaiveDate) -> Markup {
    html! { @match quote.promised_on { Some(day) => (show::day(day, today)), None => { span.muted { "no date" } } } }
}

/// What is typed to decide a quote or to reserve its slot.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct Decision {
    version: String,
    due_on: String,
    /// "yes" when a due date that is questioned is meant.
    confirmed: String,
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
fn refused(
    who: &SignedIn,
    error: AppError,
    field: &str,
    errors: &mut FormErrors,
) -> Result<(), WebError> {
    match error {
        AppError::Refused(why) => errors.add(field, words::refusal(&why, who.today())),
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
            confirmed: form.confirmed == "yes",
        };
        match win_quote(&who.actor(), won, who.today(), form.keyed()).await {
            Ok((job_id, number)) => {
                return Ok(Reply::see_other(format!("/jobs/{job_id}"))
                    .flash(format!("Accepted: job {number} opened.")));
            }
            Err(error) => refused(&who, error, "due_on", &mut errors)?,
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
            Err(error) => refused(&who, error, "why", &mut errors)?,
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
        match reserve_slot(&who.actor(), *id, until, who.today()).await {
            Ok(()) => {
                let done = match until {
                    Some(until) => {
                        format!("Slot reserved until {}.", show::day(until, who.today()))
                    }
                    None => "Slot released.".to_owned(),
                };
                return Ok(Reply::see_other(format!("/quotes/{id}")).flash(done));
            }
            Err(error) => refused(&who, error, "hold_until", &mut errors)?,
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
    let mut tx = who.begin().await?;
    let quote = quotes::get(&mut tx, id).await?;
    let lines = quotes::lines(&mut tx, id).await?;
    let basis = quotes::basis(&mut tx, id).await?;
    let beside = quotes::beside(&mut tx, &quote).await?;
    let enquiry = enquiries::get(&mut tx, quote.enquiry_id).await?;
    let job = jobs::of_quote(&mut tx, id).await?;
    // Past its day a slot is released within a minute; until then it is no longer reserved all the same.
    let held = decisions::slot_held_until(&mut tx, id).await?;
    let held = held.filter(|until| *until >= who.today());
    let history = history::of_row(&mut tx, "quote", id).await?;
    tx.commit().await?;
    // Quotes from before the sentence was kept with them have it in the answer alone, that of the whole answer.
    let said = match quote.offered_on.said.as_str() {
        "" => basis.answer["sentence"].as_str().unwrap_or_default(),
        said => said,
    };
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
                div { dt { "Date" } dd { (show::moment(quote.created_at, zone, who.today())) } }
                div { dt { "Valid until" } dd { (show::day(quote.valid_until, who.today())) } }
                div { dt { "Promised" } dd { (promised(&quote, who.today())) } }
            }
            (on_terms(&quote, who.today()))
            (stays_different(&quote))
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
        @if !said.is_empty() {
            section.card {
                h2 { "What the customer was told" }
                p.sentence { (said) }
                @if !quote.offered_on.conditions.is_empty() {
                    p { "And, since it differs from that:" }
                    ul.risks { @for said in &quote.offered_on.conditions { li { (said) } } }
                }
            }
        }
        @if !quote.offered_on.reason.is_empty() {
            section.card { h2 { "Why it differs from the answer" } p { (quote.offered_on.reason) } }
        }
        @if !beside.is_empty() {
            section.card {
                h2 { "The other options of this quote" }
                ul.plain { @for other in &beside {
                    li { a href={ "/quotes/" (other.id) } { "Quote " (other.number) } ": " (other.title) ", " (other.net) " before tax, " (words::quote_state(other.state)) }
                } }
                p.muted { "When one is accepted, the others are declined." }
            }
        }
        details.card { summary { "Quoted operations" } (route_table(&basis.route)) }
        (past::section_of(who, past::Kept::Quote, id, &history))
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
                Some(day) => { "Reserved until the end of " (show::day(day, who.today())) ". It is released then, or when the quote is declined." }
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
                    (once_field())
                    input type="hidden" name="version" value=(quote.version);
                    (Field::date("due_on", "Due date", &typed.due_on).errors(errors))
                    @if errors.get("due_on").is_some() {
                        (Field::checkbox("confirmed", "This due date is meant", typed.confirmed == "yes").value("yes"))
                    }
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
