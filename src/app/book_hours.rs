//! Hours that the office writes down for people, several at once: all of them are booked, or none.

use super::book_time::book_within;
use super::{Actor, AppError, Refusal, once};
use crate::db::api_requests::Keyed;
use crate::db::bookings::{self, NewBooking};
use crate::db::people::Role;
use crate::db::work_list::{self, NumberedOperation};
use crate::db::{calendars, jobs, people};
use crate::shopfloor::Kind;
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// Hours of somebody on an operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HoursByHand {
    /// The operation.
    pub operation_id: Uuid,
    /// Whose time it is.
    pub person_id: Uuid,
    /// At which machine, if that is known.
    pub machine_id: Option<Uuid>,
    /// When it began.
    pub from: DateTime<Utc>,
    /// When it ended.
    pub until: DateTime<Utc>,
    /// Whether the operation is done with that.
    pub done: bool,
}

/// What rows of hours are read against.
#[derive(Debug)]
pub struct HoursBasis {
    /// The operations of the jobs that are named, in the order of their numbers.
    pub operations: Vec<NumberedOperation>,
    /// When everybody works.
    pub working: calendars::WorkingTime,
}

/// Reads what rows that name these jobs are about.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`].
pub async fn basis(actor: &Actor, jobs: &[i64]) -> Result<HoursBasis, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    Ok(HoursBasis {
        operations: work_list::numbered(&mut tx, jobs).await?,
        working: calendars::read(&mut tx).await?,
    })
}

/// Books hours, all in one transaction. `key` is made with the form: sent again, the same rows are booked once; so are those
/// that a program sends again under its own.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::KeyUsed`]; [`Refusal::HoursOfClosedJob`]; as [`super::book_time::book`]; [`crate::db::DbError::NotFound`] when there is no such person.
pub async fn book_hours(
    actor: &Actor,
    key: Uuid,
    rows: &[HoursByHand],
    reason: &str,
    now: DateTime<Utc>,
    keyed: Option<&Keyed>,
) -> Result<(), AppError> {
    let entered_by = actor.person()?;
    actor
        .transact(Role::Office, async |tx| {
            if once::claim(tx, key, keyed).await?.is_some() {
                return Ok(());
            }
            let entry = |half: u128| Uuid::from_u128(key.as_u128().wrapping_add(half));
            for (place, row) in rows.iter().enumerate() {
                // What was booked before the job was closed may be sent again.
                if bookings::earlier(tx, entry(2 * place as u128))
                    .await?
                    .is_some()
                {
                    continue;
                }
                let (job, _) = jobs::operation(tx, row.operation_id).await?;
                let closed = |_| Refusal::HoursOfClosedJob {
                    row: place,
                    number: job.number,
                };
                job.state.must_be_open().map_err(closed)?;
            }
            for (place, row) in (0_u128..).zip(rows) {
                let person = people::get(tx, row.person_id).await?;
                let end = if row.done { Kind::Done } else { Kind::Pause };
                for (half, kind, at) in [(0, Kind::Run, row.from), (1, end, row.until)] {
                    let new = NewBooking {
                        id: entry(2 * place + half),
                        kind,
                        operation_id: row.operation_id,
                        machine_id: row.machine_id,
                        person_id: person.id,
                        entered_by,
                        device_id: None,
                        at,
                        device_at: at,
                        received_at: now,
                        corrects: None,
                        reason: Some(reason.to_owned()),
                    };
                    book_within(tx, &new).await?;
                }
            }
            Ok(())
        })
        .await
}
