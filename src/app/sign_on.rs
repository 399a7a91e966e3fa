//! Signs a person on at a bench device with a PIN, and off. Wrong PINs are slowed down, and lock the device in the end.

use super::password::Hashing;
use super::{Actor, AppError};
use crate::db::attempts::{self, Attempt, From, Try};
use crate::db::devices::{self, BenchPerson};
use chrono::{DateTime, TimeDelta, Utc};
use uuid::Uuid;

/// What came of a PIN.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SignedOn {
    /// Signed on.
    Begun,
    /// It is no PIN at all: four to eight digits.
    NoPin,
    /// It is the wrong one.
    Wrong,
    /// Tried too often: to be tried again after this time.
    TooSoon(TimeDelta),
    /// The device is locked until the owner unlocks it.
    Locked,
}

/// Signs a person on at a device. `actor` is the device, with nobody signed on.
///
/// # Errors
/// [`AppError::Db`], [`AppError::Failed`].
pub async fn sign_on(
    actor: &Actor,
    hashing: &Hashing,
    (device_id, person): (Uuid, &BenchPerson),
    pin: &str,
    now: DateTime<Utc>,
) -> Result<SignedOn, AppError> {
    if !(4..=8).contains(&pin.len()) || !pin.bytes().all(|b| b.is_ascii_digit()) {
        return Ok(SignedOn::NoPin);
    }
    let name = format!("bench {device_id} {}", person.id);
    let address = format!("device {device_id}");
    let mut tx = actor.begin().await?;
    let tried = Try {
        sign_in: &name,
        from: From::Address(&address),
    };
    if let Attempt::Wait(wait) = attempts::attempt(&mut tx, tried, now).await? {
        return Ok(SignedOn::TooSoon(wait));
    }
    let open = devices::count_try(&mut tx, device_id, now).await?;
    tx.commit().await?;
    if !open {
        return Ok(SignedOn::Locked);
    }
    if !hashing.verify(pin, &person.pin_hash).await? {
        return Ok(SignedOn::Wrong);
    }
    let mut tx = actor.on_behalf_of(person.id).begin().await?;
    attempts::forget_failures(&mut tx, tried).await?;
    devices::sign_on(&mut tx, device_id, person.id, now).await?;
    tx.commit().await?;
    Ok(SignedOn::Begun)
}

/// Ends whatever sign-on there is at a device.
///
/// # Errors
/// [`AppError::Db`].
pub async fn sign_off(actor: &Actor, device_id: Uuid, now: DateTime<Utc>) -> Result<(), AppError> {
    let mut tx = actor.begin().await?;
    devices::end_sign_ons(&mut tx, device_id, now).await?;
    tx.commit().await?;
    Ok(())
}
