//! What waits for somebody in the office: failed checks, customers to be called, entries that could not be booked or do not
//! agree with others, clocks that were forgotten.

use super::body::Body;
use super::nothing;
use crate::app::settle;
use crate::db::people::Role;
use crate::units::Code;
use crate::web::ui::{Answer, FormErrors, SignedIn};
use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// `/api/v1/attention` and what settles it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/attention").get(show))
        .service(web::resource("/api/v1/attention/calls/{id}").post(called))
        .service(web::resource("/api/v1/attention/set-aside/{id}").post(settled));
}

#[derive(OpenApi)]
#[openapi(paths(show, called, settled))]
pub(super) struct Doc;

/// What waits.
#[derive(Debug, Serialize, ToSchema)]
struct Attention {
    /// Jobs on hold after a failed check; they are decided under the job.
    holds: Vec<HoldWaiting>,
    calls: Vec<CallWaiting>,
    set_aside: Vec<EntrySetAside>,
    /// Entries in conflict with others; each is moved, struck, or stands, under its job.
    conflicts: Vec<EntryInDoubt>,
    /// Clocks that ran past the end of a shift, by the entry that began them.
    forgotten: Vec<EntryInDoubt>,
}

/// A job on hold.
#[derive(Debug, Serialize, ToSchema)]
struct HoldWaiting {
    id: Uuid,
    job_id: Uuid,
    job_number: i64,
    why: String,
    since: DateTime<Utc>,
}

/// A customer to be called.
#[derive(Debug, Serialize, ToSchema)]
struct CallWaiting {
    id: Uuid,
    job_id: Uuid,
    job_number: i64,
    /// What they must be told, as a code.
    reason: &'static str,
    since: DateTime<Utc>,
    caller: Option<String>,
    contact: Option<String>,
}

/// What a device sent that could not be booked.
#[derive(Debug, Serialize, ToSchema)]
struct EntrySetAside {
    id: Uuid,
    device: String,
    /// Word for word.
    #[schema(value_type = Object)]
    body: serde_json::Value,
    why: String,
    received_at: DateTime<Utc>,
}

/// An entry that somebody has to look at.
#[derive(Debug, Serialize, ToSchema)]
struct EntryInDoubt {
    id: Uuid,
    job_id: Uuid,
    job_number: i64,
    operation_number: i32,
    person: String,
    at: DateTime<Utc>,
}

impl From<&crate::db::bookings::Booking> for EntryInDoubt {
    fn from(booking: &crate::db::bookings::Booking) -> Self {
        Self {
            id: booking.entry.id,
            job_id: booking.job_id,
            job_number: booking.job_number,
            operation_number: booking.operation_number,
            person: booking.person.clone(),
            at: booking.entry.at,
        }
    }
}

/// What waits for somebody in the office.
#[utoipa::path(get, path = "/api/v1/attention", operation_id = "list_attention", tag = "Jobs",
    responses((status = 200, description = "All of it", body = Attention)))]
async fn show(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    let open = settle::open(&who.actor(), Utc::now()).await?;
    let holds = open.holds.into_iter().map(|hold| HoldWaiting {
        id: hold.id,
        job_id: hold.job_id,
        job_number: hold.job_number,
        why: hold.why,
        since: hold.opened_at,
    });
    let calls = open.calls.into_iter().map(|call| CallWaiting {
        id: call.id,
        job_id: call.job_id,
        job_number: call.job_number,
        reason: call.reason.code(),
        since: call.since,
        caller: call.caller,
        contact: call.contact,
    });
    let set_aside = open.aside.into_iter().map(|entry| EntrySetAside {
        id: entry.id,
        device: entry.device,
        body: entry.body,
        why: entry.why,
        received_at: entry.received_at,
    });
    let forgotten = open.questions.iter().map(|question| &question.start);
    let attention = Attention {
        holds: holds.collect(),
        calls: calls.collect(),
        set_aside: set_aside.collect(),
        conflicts: open.conflicts.iter().map(EntryInDoubt::from).collect(),
        forgotten: forgotten.map(EntryInDoubt::from).collect(),
    };
    Ok(HttpResponse::Ok().json(attention).into())
}

/// What was said to a customer.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct CallMade {
    said: String,
}

/// Notes that a customer was called.
#[utoipa::path(post, path = "/api/v1/attention/calls/{id}", operation_id = "note_call", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The call to be made")),
    request_body = CallMade,
    responses((status = 204, description = "It is noted")))]
async fn called(who: SignedIn, id: web::Path<Uuid>, body: Body<CallMade>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let Some(said) = errors.required_text("said", &body.said, 400) else {
        return Err(errors.into());
    };
    settle::call_made(&who.actor(), *id, &said, Utc::now()).await?;
    Ok(nothing())
}

/// What was done about an entry that could not be booked.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct EntrySettled {
    note: String,
}

/// Notes what was done about an entry that could not be booked.
#[utoipa::path(post, path = "/api/v1/attention/set-aside/{id}", operation_id = "settle_entry", tag = "Bench",
    params(("id" = Uuid, Path, description = "The entry")),
    request_body = EntrySettled,
    responses((status = 204, description = "It is noted")))]
async fn settled(who: SignedIn, id: web::Path<Uuid>, body: Body<EntrySettled>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let Some(note) = errors.required_text("note", &body.note, 400) else {
        return Err(errors.into());
    };
    settle::settle_set_aside(&who.actor(), *id, &note, Utc::now()).await?;
    Ok(nothing())
}
