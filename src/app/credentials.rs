//! Passwords of people and their PINs at the bench: set by the owner, and one's own password by oneself.

use super::password::Hashing;
use super::token::Token;
use super::{Actor, AppError};
use crate::db::people::{self, Person, Role};
use crate::db::{DbError, access, devices, second_factor};
use chrono::{DateTime, Utc};
use std::collections::HashSet;
use uuid::Uuid;

/// Why a PIN may not be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PinFault {
    /// It is not four to eight digits.
    Digits,
    /// All digits the same, or counting up or down.
    TooEasy,
}

/// Gives somebody a new password and ends all they can come in with, for the owner.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`], [`AppError::Failed`].
pub async fn reset_password(
    actor: &Actor,
    hashing: &Hashing,
    person_id: Uuid,
    password: &str,
) -> Result<Person, AppError> {
    actor.require(Role::Owner)?;
    let mut tx = actor.begin().await?;
    let person = people::get(&mut tx, person_id).await?;
    drop(tx);
    let hash = hashing.hash(password).await?;
    let mut tx = actor.begin().await?;
    people::set_password(&mut tx, person.id, &hash, None).await?;
    // Whoever has lost the telephone is helped by another owner; one's own goes with the password alone.
    if person.id != actor.person()? {
        second_factor::remove(&mut tx, person.id).await?;
    }
    tx.commit().await?;
    Ok(person)
}

/// Whether a password is the actor's own.
///
/// # Errors
/// [`AppError::Db`], [`AppError::Failed`].
pub async fn is_own_password(
    actor: &Actor,
    hashing: &Hashing,
    typed: &str,
) -> Result<bool, AppError> {
    let mut tx = actor.begin().await?;
    let person = people::get(&mut tx, actor.person()?).await?;
    let credentials = people::credentials(&mut tx, &person.sign_in)
        .await?
        .ok_or(DbError::NotFound("your password"))?;
    drop(tx);
    hashing.verify(typed, &credentials.password_hash).await
}

/// Changes the actor's own password and ends all they can come in with but the session `keep`.
///
/// # Errors
/// [`AppError::Db`], [`AppError::Failed`].
pub async fn change_own_password(
    actor: &Actor,
    hashing: &Hashing,
    password: &str,
    keep: Option<&Token>,
) -> Result<(), AppError> {
    let person_id = actor.person()?;
    let hash = hashing.hash(password).await?;
    let keep = keep.map(Token::hash);
    let mut tx = actor.begin().await?;
    people::set_password(
        &mut tx,
        person_id,
        &hash,
        keep.as_ref().map(<[u8; 32]>::as_slice),
    )
    .await?;
    tx.commit().await?;
    Ok(())
}

/// Gives somebody a new PIN for the bench, for the owner. Ends their sign-ons and feeds.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`], [`AppError::Failed`].
pub async fn set_pin(
    actor: &Actor,
    hashing: &Hashing,
    person_id: Uuid,
    pin: &str,
    now: DateTime<Utc>,
) -> Result<Person, AppError> {
    actor.require(Role::Owner)?;
    let hash = hashing.hash(pin).await?;
    let mut tx = actor.begin().await?;
    let person = people::get(&mut tx, person_id).await?;
    devices::set_pin(&mut tx, person.id, &hash, now).await?;
    access::end_bench(&mut tx, person.id).await?;
    tx.commit().await?;
    Ok(person)
}

/// Whether a PIN may be used.
///
/// # Errors
/// [`PinFault`].
pub fn check_pin(pin: &str) -> Result<(), PinFault> {
    let digits: Vec<i16> = pin
        .bytes()
        .map(|b| i16::from(b) - i16::from(b'0'))
        .collect();
    if !(4..=8).contains(&digits.len()) || digits.iter().any(|d| !(0..=9).contains(d)) {
        return Err(PinFault::Digits);
    }
    let steps: HashSet<i16> = digits
        .iter()
        .zip(digits.iter().skip(1))
        .map(|(a, b)| b - a)
        .collect();
    if [0, 1, -1]
        .map(|step| HashSet::from([step]))
        .contains(&steps)
    {
        return Err(PinFault::TooEasy);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::check_pin;

    #[test]
    fn a_pin_is_short_but_not_the_first_guess() {
        for pin in ["4071", "90210", "1357", "11223344"] {
            assert_eq!(check_pin(pin), Ok(()), "{pin}");
        }
        for pin in [
            "",
            "123",
            "1111",
            "1234",
            "98765",
            "12a4",
            "123456789",
            "٤٠٧١",
        ] {
            assert!(check_pin(pin).is_err(), "{pin}");
        }
    }
}
