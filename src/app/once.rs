//! What a program makes under a key of its own is made once.

use super::AppError;
use crate::db::ShopTx;
use crate::db::api_requests::{self, Before, Keyed};
use uuid::Uuid;

/// Ends the transaction that made something, under a key if there is one. Returns what counts: what was made here, or what
/// the same request made before; nothing of this transaction is then kept.
///
/// # Errors
/// [`AppError::KeyUsed`] when the key came with another request; [`AppError::Db`].
pub async fn finish(mut tx: ShopTx, made: Uuid, keyed: Option<&Keyed>) -> Result<Uuid, AppError> {
    let before = match keyed {
        Some(keyed) => api_requests::enter(&mut tx, keyed, made).await?,
        None => Before::Nothing,
    };
    match before {
        Before::Nothing => {
            tx.commit().await?;
            Ok(made)
        }
        Before::Same(id) => Ok(id),
        Before::Another => Err(AppError::KeyUsed),
    }
}

/// What the same request made before under its key, if it did.
///
/// # Errors
/// [`AppError::KeyUsed`] when the key came with another request; [`AppError::Db`].
pub async fn made(tx: &mut ShopTx, keyed: Option<&Keyed>) -> Result<Option<Uuid>, AppError> {
    let Some(keyed) = keyed else {
        return Ok(None);
    };
    match api_requests::before(tx, keyed).await? {
        Before::Nothing => Ok(None),
        Before::Same(id) => Ok(Some(id)),
        Before::Another => Err(AppError::KeyUsed),
    }
}
