//! Time bookings of a job, and how the office corrects one: never by changing it, always by another.

use crate::app::book_time::{self, ByHand, Correction};
use crate::db::bookings::{self, Booking};
use crate::db::jobs::{self, JobOperation};
use crate::db::people::{self, Role};
use crate::planning::local_instant;
use crate::shopfloor::Kind;
use crate::units::Code;
use crate::web::ui::floor_words::{conflict as conflict_words, kind as kind_words};
use crate::web::ui::forms::Choice;
use crate::web::ui::show::{count, moment};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
};
use actix_web::web;
use chrono::{DateTime, NaiveDateTime, Utc};
use maud::{Markup, html};
use serde::Deserialize;
use std::collections::HashMap;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/jobs/{id}/entries/new")
            .route(web::get().to(blank))
            .route(web::post().to(add)),
    )
    .service(
        web::resource("/jobs/{id}/entries/{entry}")
            .route(web::get().to(edit))
            .route(web::post().to(correct)),
    );
}

/// Everything that was entered, newest first.
pub(super) fn section(who: &SignedIn, job_id: Uuid, bookings: &[Booking]) -> Markup {
    let by_id: HashMap<Uuid, &Booking> = bookings.iter().map(|b| (b.entry.id, b)).collect();
    let struck = |b: &Booking| {
        bookings
            .iter()
            .any(|c| c.entry.kind == Kind::Struck && c.entry.corrects == Some(b.entry.id))
    };
    let zone = who.shop.time_zone;
    html! {
        section.card #entries {
            div.bar {
                h2 { "Time bookings" }
                @if who.may(Role::Office) { a.button.quiet href={ "/jobs/" (job_id) "/entries/new" } { "Add booking" } }
            }
            @if bookings.is_empty() { p { "No time booked yet." } } @else {
                details.history open[bookings.len() <= 12] {
                    summary { (count(i64::try_from(bookings.len()).unwrap_or(i64::MAX), "booking", "bookings")) }
                    ol { @for b in bookings.iter().rev() {
                        li {
                            p {
                                strong { (moment(b.entry.at, zone, who.today())) } ", " (b.person) " " (kind_words(b.entry.kind)) ", operation " (b.operation_number)
                                @if let Some(machine) = &b.machine { ", " (machine) }
                                @if b.entered_by != b.person { " (entered by " (b.entered_by) ")" }
                                @if b.device.is_none() { " · added by hand" }
                                @if struck(b) { " " span.tag { "deleted" } }
                                @if let Some(conflict) = b.conflict { " " span.tag { (conflict_words(conflict)) @if b.settled { ", checked" } } }
                                @if who.may(Role::Office) && !matches!(b.entry.kind, Kind::Stands) {
                                    " " a href={ "/jobs/" (job_id) "/entries/" (b.entry.id) } { "Correct" span.visually-hidden { ": " (b.person) " " (kind_words(b.entry.kind)) ", " (moment(b.entry.at, zone, who.today())) } }
                                }
                            }
                            @if let Some(reason) = &b.reason {
                                p.muted {
                                    (reason)
                                    @if let Some(other) = b.entry.corrects.and_then(|id| by_id.get(&id)) {
                                        " (about the booking of " (moment(other.entry.at, zone, who.today())) ", " (other.person) " " (kind_words(other.entry.kind)) ")"
                                    }
                                }
                            }
                        }
                    } }
                }
            }
        }
    }
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct EntryForm {
    key: String,
    operation: String,
    person: String,
    kind: String,
    date: String,
    time: String,
    reason: String,
}

const KINDS: [Kind; 5] = [
    Kind::Setup,
    Kind::Run,
    Kind::RunAlone,
    Kind::Pause,
    Kind::Done,
];

/// The moment that the fields `date` and `time` name by the shop's clock, which is not still to come.
pub(super) fn moment_of(
    who: &SignedIn,
    date: &str,
    time: &str,
    errors: &mut FormErrors,
) -> Option<DateTime<Utc>> {
    let date = errors.date("date", date);
    let time = errors.time("time", time);
    let at = local_instant(who.shop.time_zone, NaiveDateTime::new(date?, time?));
    if at > Utc::now() {
        errors.add("time", "Enter a time that is past");
        return None;
    }
    Some(at)
}

/// What a link to the form says already.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Asked {
    operation: String,
    kind: String,
}

async fn blank(who: SignedIn, id: web::Path<Uuid>, asked: web::Query<Asked>) -> Answer {
    who.require(Role::Office)?;
    let Asked { operation, kind } = asked.into_inner();
    let now = Utc::now().with_timezone(&who.shop.time_zone);
    let form = EntryForm {
        key: Uuid::now_v7().to_string(),
        operation,
        kind,
        date: now.format("%Y-%m-%d").to_string(),
        time: now.format("%H:%M").to_string(),
        ..EntryForm::default()
    };
    Ok(new_page(&who, *id, &form, &FormErrors::default())
        .await?
        .into())
}

async fn new_page(
    who: &SignedIn,
    job_id: Uuid,
    form: &EntryForm,
    errors: &FormErrors,
) -> Result<Page, WebError> {
    let mut tx = who.begin().await?;
    let job = jobs::get(&mut tx, job_id).await?;
    let operations: Vec<JobOperation> = jobs::operations(&mut tx, job_id).await?;
    let everyone = people::list(&mut tx).await?;
    let operations = operations
        .iter()
        .map(|o| Choice::new(o.id, format!("{} {}", o.planned.number, o.planned.title)))
        .collect();
    let everyone = everyone
        .iter()
        .filter(|p| p.active)
        .map(|p| Choice::new(p.id, &p.name))
        .collect();
    let kinds = KINDS
        .iter()
        .map(|kind| Choice::new(kind.code(), kind_words(*kind)))
        .collect();
    let body = html! {
        h1 { "Add booking: job " (job.number) }
        p { "For work that was not booked at the bench: work sent out, or a device that was down. For a day’s hours in one form, " a href="/jobs/hours" { "enter hours" } "." }
        (errors.summary())
        form.grid method="post" action={ "/jobs/" (job_id) "/entries/new" } novalidate {
            (csrf_field(who))
            input type="hidden" name="key" value=(form.key);
            (Field::select("operation", "Operation", &form.operation, operations).errors(errors))
            (Field::select("person", "Who", &form.person, everyone).errors(errors))
            (Field::select("kind", "What", &form.kind, kinds).errors(errors))
            (Field::date("date", "On", &form.date).errors(errors))
            (Field::time("time", "At", &form.time).errors(errors))
            (Field::text("reason", "Reason", &form.reason).errors(errors))
            div.actions { button type="submit" { "Add booking" } a.button.quiet href={ "/jobs/" (job_id) } { "Back" } }
        }
    };
    Ok(Page::new(who, format!("Add booking: job {}", job.number))
        .nav(Section::Jobs)
        .body(body))
}

async fn add(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<EntryForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let operation = errors.row("operation", &form.operation);
    let person = errors.row("person", &form.person);
    let kind = errors.choice("kind", &form.kind, |code| {
        Kind::from_code(code).filter(|k| KINDS.contains(k))
    });
    let at = moment_of(&who, &form.date, &form.time, &mut errors);
    let reason = errors.required_text("reason", &form.reason, 400);
    let key = Uuid::try_parse(&form.key).unwrap_or_else(|_| Uuid::now_v7());
    let (Some(operation), Some(person), Some(kind), Some(at), Some(reason)) =
        (operation, person, kind, at, reason)
    else {
        return Ok(new_page(&who, *id, &form, &errors).await?.invalid().into());
    };
    let entry = ByHand {
        id: key,
        operation_id: operation,
        person_id: person,
        kind,
        at,
        reason,
    };
    let job_id = book_time::add_by_hand(&who.actor(), entry, Utc::now()).await?;
    Ok(Reply::see_other(format!("/jobs/{job_id}#entries")).flash("Booking added"))
}

async fn the_entry(who: &SignedIn, job_id: Uuid, entry: Uuid) -> Result<Booking, WebError> {
    let mut tx = who.begin().await?;
    bookings::of_job(&mut tx, job_id)
        .await?
        .into_iter()
        .find(|b| b.entry.id == entry)
        .ok_or(WebError::NotFound("this booking"))
}

async fn edit(who: SignedIn, path: web::Path<(Uuid, Uuid)>) -> Answer {
    who.require(Role::Office)?;
    let (job_id, entry) = path.into_inner();
    let booking = the_entry(&who, job_id, entry).await?;
    let at = booking.entry.at.with_timezone(&who.shop.time_zone);
    let form = EntryForm {
        key: Uuid::now_v7().to_string(),
        date: at.format("%Y-%m-%d").to_string(),
        time: at.format("%H:%M").to_string(),
        kind: Kind::Moved.code().to_owned(),
        ..EntryForm::default()
    };
    Ok(edit_page(&who, job_id, &booking, &form, &FormErrors::default()).into())
}

fn edit_page(
    who: &SignedIn,
    job_id: Uuid,
    booking: &Booking,
    form: &EntryForm,
    errors: &FormErrors,
) -> Page {
    let mut ways = vec![
        Choice::new("moved", "It was at another time"),
        Choice::new("struck", "It did not happen"),
    ];
    if booking.conflict.is_some() {
        ways.push(Choice::new("stands", "It is right as it is"));
    }
    let body = html! {
        h1 { "Correct a booking" }
        p {
            strong { (moment(booking.entry.at, who.shop.time_zone, who.today())) } ", " (booking.person) " " (kind_words(booking.entry.kind))
            ", job " (booking.job_number) ", operation " (booking.operation_number) "."
        }
        p { "The booking stays on record. Your correction is kept beside it with your name, and counts from now on." }
        (errors.summary())
        form.grid method="post" action={ "/jobs/" (job_id) "/entries/" (booking.entry.id) } novalidate {
            (csrf_field(who))
            input type="hidden" name="key" value=(form.key);
            (Field::radios("kind", "Correction", &form.kind, ways).errors(errors))
            (Field::date("date", "On", &form.date).hint("Only for another time").errors(errors))
            (Field::time("time", "At", &form.time).errors(errors))
            (Field::text("reason", "Reason", &form.reason).wide().errors(errors))
            div.actions { button type="submit" { "Correct" } a.button.quiet href={ "/jobs/" (job_id) "#entries" } { "Back" } }
        }
    };
    Page::new(who, "Correct a booking")
        .nav(Section::Jobs)
        .body(body)
}

async fn correct(
    who: SignedIn,
    path: web::Path<(Uuid, Uuid)>,
    form: CheckedForm<EntryForm>,
) -> Answer {
    who.require(Role::Office)?;
    let (job_id, entry) = path.into_inner();
    let booking = the_entry(&who, job_id, entry).await?;
    let mut errors = FormErrors::default();
    let kind = errors.choice("kind", &form.kind, |code| {
        Kind::from_code(code).filter(|k| k.corrects())
    });
    let at = match kind {
        Some(Kind::Moved) => moment_of(&who, &form.date, &form.time, &mut errors),
        _ => Some(Utc::now()),
    };
    let reason = errors.required_text("reason", &form.reason, 400);
    let key = Uuid::try_parse(&form.key).unwrap_or_else(|_| Uuid::now_v7());
    let (Some(kind), Some(at), Some(reason)) = (kind, at, reason) else {
        let page = edit_page(&who, job_id, &booking, &form, &errors);
        return Ok(page.invalid().into());
    };
    let correction = Correction {
        id: key,
        kind,
        at,
        reason,
    };
    book_time::correct(&who.actor(), &booking.entry, correction, Utc::now(), None).await?;
    Ok(Reply::see_other(format!("/jobs/{job_id}#entries")).flash("Booking corrected"))
}
