//! `/api/v1/hours`: hours somebody worked, booked by the office after the fact.

use super::idempotency::{self, keyed};
use crate::app::book_hours::{HoursByHand, book_hours};
use crate::app::once;
use crate::db::jobs;
use crate::db::people::Role;
use crate::web::ui::{Answer, FormErrors, SignedIn};
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// The most that are booked at once.
const MOST: usize = 50;
/// The longest that somebody works in one piece.
const LONGEST: TimeDelta = TimeDelta::hours(24);

/// `/api/v1/hours`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/hours").post(book));
}

#[derive(OpenApi)]
#[openapi(paths(book))]
pub(super) struct Doc;

/// Hours to book, all of them or none.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct HoursWorked {
    /// Why they were not booked at the bench.
    reason: String,
    /// One to fifty.
    rows: Vec<HoursRow>,
}

/// Hours of somebody on an operation.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct HoursRow {
    operation_id: Uuid,
    person_id: Uuid,
    /// At which machine, if that is known.
    #[serde(default)]
    machine_id: Option<Uuid>,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
    /// Whether the operation is done with that.
    #[serde(default)]
    done: bool,
}

/// How many rows are booked.
#[derive(Debug, Serialize, ToSchema)]
struct HoursBooked {
    booked: usize,
}

impl HoursWorked {
    fn check(&self, now: DateTime<Utc>) -> Result<String, FormErrors> {
        let mut errors = FormErrors::default();
        let reason = errors.required_text("reason", &self.reason, 400);
        if !(1..=MOST).contains(&self.rows.len()) {
            errors.add("rows", format!("Send 1 to {MOST} rows"));
        }
        for (at, row) in self.rows.iter().enumerate() {
            let until = format!("rows.{at}.until");
            if row.until <= row.from {
                errors.add(&until, "This must be later than the beginning");
            } else if row.until - row.from > LONGEST {
                errors.add(&until, "Nobody works for more than 24 hours in one piece");
            }
            if row.until > now {
                errors.add(&until, "This ends later than now");
            }
            let before = self.rows.iter().take(at);
            let together = |other: &HoursRow| {
                other.person_id == row.person_id && other.from < row.until && row.from < other.until
            };
            if before.into_iter().any(together) {
                errors.add(
                    &format!("rows.{at}.from"),
                    "The same person is in an earlier row at the same time",
                );
            }
        }
        reason.filter(|_| errors.is_empty()).ok_or(errors)
    }
}

/// Books hours after the fact.
#[utoipa::path(post, path = "/api/v1/hours", operation_id = "book_hours", tag = "Hours",
    params(("Idempotency-Key" = Option<String>, Header)),
    request_body = HoursWorked,
    responses((status = 201, description = "They are booked", body = HoursBooked)))]
async fn book(req: HttpRequest, who: SignedIn, body: web::Json<HoursWorked>) -> Answer {
    who.require(Role::Office)?;
    let now = Utc::now();
    let reason = body.check(now)?;
    let keyed = keyed(&req, &who, &*body)?;
    let mut tx = who.begin().await?;
    let mut errors = FormErrors::default();
    for (at, row) in body.rows.iter().enumerate() {
        let (job, _) = jobs::operation(&mut tx, row.operation_id).await?;
        if job.state.must_be_open().is_err() {
            errors.add(
                &format!("rows.{at}.operation_id"),
                format!("Job {} is closed: reopen it first", job.number),
            );
        }
    }
    drop(tx);
    if !errors.is_empty() {
        return Err(errors.into());
    }
    let rows: Vec<HoursByHand> = body
        .rows
        .iter()
        .map(|row| HoursByHand {
            operation_id: row.operation_id,
            person_id: row.person_id,
            machine_id: row.machine_id,
            from: row.from,
            until: row.until,
            done: row.done,
        })
        .collect();
    // Rows sent again under a key are the same bookings again, which are kept once.
    let key = keyed
        .as_ref()
        .map_or_else(Uuid::now_v7, idempotency::as_uuid);
    if keyed.is_some() {
        once::finish(who.begin().await?, key, keyed.as_ref()).await?;
    }
    book_hours(&who.actor(), key, &rows, &reason, now).await?;
    Ok(HttpResponse::Created()
        .json(HoursBooked { booked: rows.len() })
        .into())
}
