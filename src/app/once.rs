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
