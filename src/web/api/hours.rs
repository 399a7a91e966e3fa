//! `/api/v1/hours`: hours somebody worked, booked by the office after the fact.

use super::body::Body;
use super::idempotency::keyed;
use crate::app::book_hours::{HoursByHand, book_hours};
use crate::app::{AppError, Refusal};
use crate::db::people::Role;
use crate::planning::in_reach;
use crate::shopfloor::{RowFault, fits};
use crate::web::ui::{Answer, FormErrors, SignedIn, words};
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
            if !in_reach(row.from) {
                let from = format!("rows.{at}.from");
                errors.add(&from, "Enter a time in the years 1970 to 2199");
            } else if row.until <= row.from {
                errors.add(&until, "Enter an end after the start");
            } else if row.until - row.from > LONGEST {
                errors.add(&until, "Enter at most 24 hours in one row");
            }
            let before = self.rows.iter().take(at).enumerate();
            let before = before.filter(|(_, other)| other.person_id == row.person_id);
            let before = before.map(|(at, other)| (at, (other.from, other.until)));
            match fits((row.from, row.until), before, now) {
                Err(RowFault::Overlaps(_)) => errors.add(
                    &format!("rows.{at}.from"),
                    "The same person is in an earlier row at the same time",
                ),
                Err(RowFault::ToCome) => errors.add(&until, "This ends later than now"),
                Err(RowFault::NoStart) | Ok(()) => {}
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
async fn book(req: HttpRequest, who: SignedIn, body: Body<HoursWorked>) -> Answer {
    who.require(Role::Office)?;
    let now = Utc::now();
    let reason = body.check(now)?;
    let keyed = keyed(&req, &who, &body.sent)?;
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
    let key = Uuid::now_v7();
    match book_hours(&who.actor(), key, &rows, &reason, now, keyed.as_ref()).await {
        Err(AppError::Refused(why @ Refusal::HoursOfClosedJob { row, .. })) => {
            let mut errors = FormErrors::default();
            let field = format!("rows.{row}.operation_id");
            errors.add(&field, words::refusal(&why, who.today()));
            return Err(errors.into());
        }
        booked => booked?,
    }
    Ok(HttpResponse::Created()
        .json(HoursBooked { booked: rows.len() })
        .into())
}
