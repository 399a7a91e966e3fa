//! What a program makes under a key of its own is made once.

use super::{Actor, AppError};
use crate::db::ShopTx;
use crate::db::api_requests::{self, Before, Keyed};
use uuid::Uuid;

/// Ends the transaction that made something, under a key if there is one. Returns what counts: what was made here, or what
/// the same request made before; nothing of this transaction is then kept.
///
/// # Errors
/// [`AppError::KeyUsed`] when the key came with another request; [`AppError::Db`].
pub async fn finish(mut tx: ShopTx, made: Uuid, keyed: Option<&Keyed>) -> Result<Uuid, AppError> {
    match claim(&mut tx, made, keyed).await? {
        None => {
            tx.commit().await?;
            Ok(made)
        }
        Some(before) => Ok(before),
    }
}

/// Takes a key, if there is one, for what this transaction is to make; nobody else makes it under the key until the
/// transaction ends. Returns what the same request made before, if it did; there is nothing to be made then.
///
/// # Errors
/// [`AppError::KeyUsed`] when the key came with another request; [`AppError::Db`].
pub async fn claim(
    tx: &mut ShopTx,
    made: Uuid,
    keyed: Option<&Keyed>,
) -> Result<Option<Uuid>, AppError> {
    match keyed {
        Some(keyed) => of(api_requests::enter(tx, keyed, made).await?),
        None => Ok(None),
    }
}

/// What the same request made before, or has made since it was looked for; else why it cannot be made.
///
/// # Errors
/// The same reason; [`AppError::KeyUsed`], [`AppError::Db`].
pub async fn or_before(
    actor: &Actor,
    keyed: Option<&Keyed>,
    why: AppError,
) -> Result<Uuid, AppError> {
    let before = made(&mut actor.begin().await?, keyed).await?;
    before.ok_or(why)
}

fn of(before: Before) -> Result<Option<Uuid>, AppError> {
    match before {
        Before::Nothing => Ok(None),
        Before::Same(id) => Ok(Some(id)),
        Before::Another => Err(AppError::KeyUsed),
    }
}

/// What the same request made before under its key, if it did.
///
/// # Errors
/// [`AppError::KeyUsed`] when the key came with another request; [`AppError::Db`].
pub async fn made(tx: &mut ShopTx, keyed: Option<&Keyed>) -> Result<Option<Uuid>, AppError> {
    match keyed {
        Some(keyed) => of(api_requests::before(tx, keyed).await?),
        None => Ok(None),
    }
}
