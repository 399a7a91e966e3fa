//! `/api/v1/bookings` and `/api/v1/checks`: what is done at the bench, by whoever the request comes from.

use super::body::Body;
use super::idempotency::keyed;
use super::nothing;
use crate::app::book_time::{self, Correction};
use crate::app::record_check;
use crate::db::bookings::{self, Booking, NewBooking};
use crate::db::checks::NewResult;
use crate::db::jobs;
use crate::db::people::Role;
use crate::planning::in_reach;
use crate::quality::{Found, reading};
use crate::shopfloor::Kind;
use crate::units::Code;
use crate::web::ui::floor_words;
use crate::web::ui::{Answer, FormErrors, SignedIn, WebError};
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::{DateTime, SubsecRound, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// `/api/v1/bookings` and `/api/v1/checks`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/bookings").post(book))
        .service(web::resource("/api/v1/checks").post(check))
        .service(web::resource("/api/v1/jobs/{id}/bookings").get(list))
        .service(web::resource("/api/v1/jobs/{id}/bookings/{booking}/correction").post(correct));
}

#[derive(OpenApi)]
#[openapi(paths(book, check, list, correct))]
pub(super) struct Doc;

/// What somebody does now with an operation.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewEntry {
    /// `setup`, `run`, `run_alone` (the machine runs by itself), `pause` or `done`.
    kind: String,
    operation_id: Uuid,
    /// At which machine, if it is at one.
    #[serde(default)]
    machine_id: Option<Uuid>,
}

/// An entry that is booked.
#[derive(Debug, Serialize, ToSchema)]
struct EntryBooked {
    id: Uuid,
    at: DateTime<Utc>,
    /// What it does not agree with, in words. It is booked all the same, for the office to settle.
    conflict: Option<&'static str>,
}

/// Books what whoever sends it begins, pauses or has done. What they attend elsewhere in another setup is paused.
#[utoipa::path(post, path = "/api/v1/bookings", operation_id = "book_entry", tag = "Bench",
    params(("Idempotency-Key" = Option<String>, Header)),
    request_body = NewEntry,
    responses((status = 201, description = "It is booked", body = EntryBooked)))]
async fn book(req: HttpRequest, who: SignedIn, body: Body<NewEntry>) -> Answer {
    let mut errors = FormErrors::default();
    let begins = |code: &str| Kind::from_code(code).filter(|kind| !kind.corrects());
    let Some(kind) = errors.choice("kind", &body.kind, begins) else {
        return Err(errors.into());
    };
    let keyed = keyed(&req, &who, &body.sent)?;
    // As it is kept.
    let now = Utc::now().trunc_subsecs(6);
    let new = NewBooking {
        id: Uuid::now_v7(),
        kind,
        operation_id: body.operation_id,
        machine_id: body.machine_id,
        person_id: who.person_id,
        entered_by: who.person_id,
        device_id: None,
        at: now,
        device_at: now,
        received_at: now,
        corrects: None,
        reason: None,
    };
    let entered = book_time::book_once(&who.actor(), &new, keyed.as_ref()).await?;
    let booked = EntryBooked {
        id: entered.id,
        at: entered.at,
        conflict: entered.conflict.map(floor_words::conflict),
    };
    Ok(HttpResponse::Created().json(booked).into())
}

/// A check of an operation, as it was found: measured, with readings at several places, or gauged.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewCheck {
    operation_id: Uuid,
    /// Which of the operation's checks, counted from 0.
    place: u32,
    /// The measurement, in the unit of its limits.
    #[serde(default)]
    measured: Option<String>,
    /// One for each place that is measured.
    #[serde(default)]
    readings: Vec<String>,
    /// Whether the gauge goes.
    #[serde(default)]
    goes: Option<bool>,
    #[serde(default)]
    note: String,
}

/// A check that is recorded.
#[derive(Debug, Serialize, ToSchema)]
struct CheckRecorded {
    id: Uuid,
    /// Whether it passed. Where it did not, the job is on hold until the office decides.
    passed: bool,
}

impl NewCheck {
    fn read(&self, errors: &mut FormErrors) -> Option<(Found, String)> {
        let note = errors.text("note", &self.note, 400);
        let mut number = |field: &str, text: &str| {
            let read = reading(text);
            if read.is_none() {
                errors.add(field, "Enter a number, for example 0.02");
            }
            read
        };
        let found = match (&self.measured, self.readings.as_slice(), self.goes) {
            (Some(text), [], None) => number("measured", text).map(Found::Measured),
            (None, [_, ..], None) => {
                let readings = self.readings.iter().enumerate();
                let read: Vec<_> = readings
                    .map(|(at, text)| number(&format!("readings.{at}"), text))
                    .collect();
                read.into_iter().collect::<Option<_>>().map(Found::Readings)
            }
            (None, [], Some(goes)) => Some(Found::Gauged(goes)),
            _ => {
                errors.add("measured", "Send one of measured, readings and goes");
                None
            }
        };
        found.zip(note)
    }
}

/// Records a check.
#[utoipa::path(post, path = "/api/v1/checks", operation_id = "record_check", tag = "Bench",
    params(("Idempotency-Key" = Option<String>, Header)),
    request_body = NewCheck,
    responses((status = 201, description = "It is recorded", body = CheckRecorded)))]
async fn check(req: HttpRequest, who: SignedIn, body: Body<NewCheck>) -> Answer {
    let mut errors = FormErrors::default();
    let Some((found, note)) = body.read(&mut errors) else {
        return Err(errors.into());
    };
    let keyed = keyed(&req, &who, &body.sent)?;
    let now = Utc::now();
    let new = NewResult {
        id: Uuid::now_v7(),
        operation_id: body.operation_id,
        place: body.place,
        found,
        note,
        person_id: who.person_id,
        entered_by: who.person_id,
        device_id: None,
        at: now,
        device_at: now,
        received_at: now,
    };
    let (id, checked) = record_check::record(&who.actor(), &new, keyed.as_ref()).await?;
    let recorded = CheckRecorded {
        id,
        passed: checked.passed,
    };
    Ok(HttpResponse::Created().json(recorded).into())
}

/// An entry of a job.
#[derive(Debug, Serialize, ToSchema)]
struct EntryShown {
    id: Uuid,
    /// What it says: as of a new one, or `moved`, `struck` or `stands` of the one it corrects.
    kind: &'static str,
    operation_id: Uuid,
    operation_number: i32,
    person_id: Uuid,
    person: String,
    machine_id: Option<Uuid>,
    at: DateTime<Utc>,
    corrects: Option<Uuid>,
    reason: Option<String>,
}

impl From<Booking> for EntryShown {
    fn from(booking: Booking) -> Self {
        let entry = booking.entry;
        Self {
            id: entry.id,
            kind: entry.kind.code(),
            operation_id: entry.operation,
            operation_number: booking.operation_number,
            person_id: entry.person,
            person: booking.person,
            machine_id: entry.machine,
            at: entry.at,
            corrects: entry.corrects,
            reason: booking.reason,
        }
    }
}

/// What is booked on a job, in the order it happened.
#[utoipa::path(get, path = "/api/v1/jobs/{id}/bookings", operation_id = "list_bookings", tag = "Bench",
    params(("id" = Uuid, Path, description = "The job")),
    responses((status = 200, description = "The entries, corrections too", body = Vec<EntryShown>)))]
async fn list(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    jobs::get(&mut tx, *id).await?;
    let booked = bookings::of_job(&mut tx, *id).await?;
    let shown: Vec<EntryShown> = booked.into_iter().map(EntryShown::from).collect();
    Ok(HttpResponse::Ok().json(shown).into())
}

/// How an entry is corrected.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewCorrection {
    /// `moved` (it happened at another time), `struck` (it never happened) or `stands` (it is right as it is).
    kind: String,
    /// When it happened, for `moved`.
    #[serde(default)]
    at: Option<DateTime<Utc>>,
    reason: String,
}

/// Corrects an entry by another that points at it.
#[utoipa::path(post, path = "/api/v1/jobs/{id}/bookings/{booking}/correction", operation_id = "correct_booking", tag = "Bench",
    params(("id" = Uuid, Path, description = "The job"),
           ("booking" = Uuid, Path, description = "The entry"),
           ("Idempotency-Key" = Option<String>, Header)),
    request_body = NewCorrection,
    responses((status = 204, description = "It is corrected")))]
async fn correct(
    req: HttpRequest,
    who: SignedIn,
    ids: web::Path<(Uuid, Uuid)>,
    body: Body<NewCorrection>,
) -> Answer {
    who.require(Role::Office)?;
    let (job_id, id) = ids.into_inner();
    let mut errors = FormErrors::default();
    let corrects = |code: &str| Kind::from_code(code).filter(|kind| kind.corrects());
    let kind = errors.choice("kind", &body.kind, corrects);
    let reason = errors.required_text("reason", &body.reason, 400);
    let now = Utc::now();
    let at = match (kind, body.at) {
        (Some(Kind::Moved), Some(at)) if in_reach(at) && at <= now => Some(at),
        (Some(Kind::Moved), _) => {
            errors.add("at", "Send the time it happened, not later than now");
            None
        }
        _ => Some(now),
    };
    let (Some(kind), Some(at), Some(reason)) = (kind, at, reason) else {
        return Err(errors.into());
    };
    let keyed = keyed(&req, &who, &body.sent)?;
    let booked = bookings::of_job(&mut who.begin().await?, job_id).await?;
    let found = booked.into_iter().find(|booking| booking.entry.id == id);
    let booking = found.ok_or(WebError::NotFound("this booking"))?;
    let correction = Correction {
        id: Uuid::now_v7(),
        kind,
        at,
        reason,
    };
    let actor = who.actor();
    book_time::correct(&actor, &booking.entry, correction, now, keyed.as_ref()).await?;
    Ok(nothing())
}
