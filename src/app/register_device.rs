//! Bench devices: a browser becomes one, and stops being one.

use super::token::Token;
use super::{Actor, AppError};
use crate::db::devices;
use crate::db::people::Role;
use crate::db::sessions;
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// Makes a browser a bench device of the shop, for the owner, and gives its token. The owner's session there ends, so that
/// none is left lying at a machine.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`crate::db::DbError::Duplicate`] on `name`; [`AppError::Db`], [`AppError::Failed`].
pub async fn register_device(
    actor: &Actor,
    name: &str,
    machine_id: Option<Uuid>,
    session: Option<&Token>,
    now: DateTime<Utc>,
) -> Result<Token, AppError> {
    let token = Token::new(actor.shop_id())?;
    actor
        .transact(Role::Owner, async |tx| {
            devices::register(tx, name, machine_id, &token.hash(), now).await?;
            if let Some(session) = session {
                sessions::end(tx, &session.hash()).await?;
            }
            Ok(())
        })
        .await?;
    Ok(token)
}

/// Stops knowing a device, for the owner.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`].
pub async fn revoke_device(actor: &Actor, id: Uuid, now: DateTime<Utc>) -> Result<(), AppError> {
    actor
        .transact(Role::Owner, async |tx| {
            Ok(devices::revoke(tx, id, now).await?)
        })
        .await
}

/// Unlocks a device on which too many PINs were wrong, for the owner.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`].
pub async fn unlock_device(actor: &Actor, id: Uuid) -> Result<(), AppError> {
    actor
        .transact(Role::Owner, async |tx| Ok(devices::unlock(tx, id).await?))
        .await
}
