//! A press at the bench that is taken back: the wrong button, the wrong card. For a minute whoever pressed it can do so
//! themselves; later the office corrects it, with a reason.

use super::book_time::book_within;
use super::{Actor, AppError};
use crate::db::DbError;
use crate::db::ShopTx;
use crate::db::bookings::NewBooking;
use crate::db::people::Role;
use crate::db::pressed::{self, Press};
use crate::shopfloor::Kind;
use chrono::{DateTime, TimeDelta, Utc};
use uuid::Uuid;

/// How long a press can be taken back. Common practice, no source.
pub const UNDO: TimeDelta = TimeDelta::seconds(60);

/// What somebody pressed last at a device, while it can be taken back: the entries of that one press, the one that was
/// meant last. None when they pressed nothing, or something has been booked on it since.
///
/// # Errors
/// [`DbError`].
pub async fn last_press(
    tx: &mut ShopTx,
    device_id: Uuid,
    person_id: Uuid,
    now: DateTime<Utc>,
) -> Result<Vec<Press>, DbError> {
    let mut pressed = pressed::since(tx, device_id, person_id, now - UNDO).await?;
    let Some(last) = pressed.last().map(|press| press.device_at) else {
        return Ok(Vec::new());
    };
    pressed.retain(|press| press.device_at == last);
    // Something was booked on it since: taking it back would leave that hanging.
    if pressed.iter().any(|press| press.followed) {
        pressed.clear();
    }
    Ok(pressed)
}

/// Takes back what somebody pressed last at a device, with all that the press ended elsewhere; says whether it could. `entry`
/// is the one that was on the screen.
///
/// # Errors
/// [`AppError::Db`].
pub async fn undo(
    actor: &Actor,
    (device_id, person_id): (Uuid, Uuid),
    entry: Uuid,
    now: DateTime<Utc>,
) -> Result<bool, AppError> {
    actor
        .transact(Role::Machinist, async |tx| {
            let pressed = last_press(tx, device_id, person_id, now).await?;
            if pressed.iter().all(|press| press.id != entry) {
                return Ok(false);
            }
            for press in pressed {
                let struck = NewBooking {
                    id: Uuid::now_v7(),
                    kind: Kind::Struck,
                    operation_id: press.operation_id,
                    machine_id: None,
                    person_id,
                    entered_by: person_id,
                    device_id: Some(device_id),
                    at: now,
                    device_at: now,
                    received_at: now,
                    corrects: Some(press.id),
                    reason: Some("Taken back at the bench".to_owned()),
                };
                book_within(tx, &struck).await?;
            }
            Ok(true)
        })
        .await
}
