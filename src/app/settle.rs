//! Everything on the floor that waits for the office: forgotten clocks, conflicting bookings, holds, calls to customers,
//! and what a device sent that could not be booked; and settling it.

use super::booked_hours::{self, Question};
use super::{Actor, AppError};
use crate::db::bookings::{self, Booking, SetAside};
use crate::db::checks::{self, Hold};
use crate::db::holds::{self, Call};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// What waits for the office.
#[derive(Debug, Clone, PartialEq)]
pub struct Open {
    /// Clocks that ran past the end of a shift.
    pub questions: Vec<Question>,
    /// Bookings with a conflict that nobody has looked at.
    pub conflicts: Vec<Booking>,
    /// What a device sent that could not be booked.
    pub aside: Vec<SetAside>,
    /// Holds to be decided.
    pub holds: Vec<Hold>,
    /// Customers to be called.
    pub calls: Vec<Call>,
}

impl Open {
    /// How many things wait.
    #[must_use]
    pub fn count(&self) -> usize {
        self.questions.len()
            + self.conflicts.len()
            + self.aside.len()
            + self.holds.len()
            + self.calls.len()
    }
}

/// Everything that waits for the office now; anybody may look.
///
/// # Errors
/// [`AppError::Db`].
pub async fn open(actor: &Actor, now: DateTime<Utc>) -> Result<Open, AppError> {
    Ok(open_now(&mut actor.begin().await?, now).await?)
}

/// The same in a transaction that is open.
///
/// # Errors
/// [`DbError`].
pub async fn open_now(tx: &mut ShopTx, now: DateTime<Utc>) -> Result<Open, DbError> {
    let mut live = bookings::live(tx).await?;
    let questions = booked_hours::questions(tx, &live, now).await?;
    live.retain(|b| b.conflict.is_some() && !b.settled);
    Ok(Open {
        questions,
        conflicts: live,
        aside: bookings::set_aside_open(tx).await?,
        holds: checks::holds(tx, None).await?,
        calls: holds::calls(tx, None).await?,
    })
}

/// What a device sent that cannot be booked.
#[derive(Debug, Clone, PartialEq)]
pub struct Unbookable<'a> {
    /// The key of the entry, or a new one.
    pub id: Uuid,
    /// The device.
    pub device_id: Uuid,
    /// The entry, word for word.
    pub body: &'a serde_json::Value,
    /// Why, in words for the office.
    pub why: &'a str,
    /// When it arrived.
    pub received_at: DateTime<Utc>,
}

/// Sets aside what cannot be booked, once however often it arrives, so that the device need not keep it.
///
/// # Errors
/// [`AppError::Db`].
pub async fn set_aside(actor: &Actor, entry: &Unbookable<'_>) -> Result<(), AppError> {
    let Unbookable {
        id,
        device_id,
        body,
        why,
        received_at,
    } = *entry;
    actor
        .transact(Role::Machinist, async |tx| {
            Ok(bookings::set_aside(tx, id, device_id, body, why, received_at).await?)
        })
        .await
}

/// Notes what was done about something that was set aside, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], as [`crate::db::DbError::NotFound`] when it is settled already.
pub async fn settle_set_aside(
    actor: &Actor,
    id: Uuid,
    note: &str,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    let by = actor.person()?;
    actor
        .transact(Role::Office, async |tx| {
            Ok(bookings::settle_set_aside(tx, id, by, note, now).await?)
        })
        .await
}

/// Notes that a customer was called, and what was said; for the office.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], as [`crate::db::DbError::NotFound`] when it is not on the list any more.
pub async fn call_made(
    actor: &Actor,
    call_id: Uuid,
    said: &str,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    let by = actor.person()?;
    actor
        .transact(Role::Office, async |tx| {
            Ok(holds::call_made(tx, call_id, by, said, now).await?)
        })
        .await
}
