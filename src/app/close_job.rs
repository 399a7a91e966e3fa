//! A job ends: done, and the castings set aside for it are used; or cancelled, and they are free again.

use super::{Actor, AppError, Refusal};
use crate::db::people::Role;
use crate::db::{ShopTx, castings_on_shelf, jobs};
use crate::jobs::Ending;
use uuid::Uuid;

/// Ends a job, for the office; `version` is the version that was seen.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::Job`] when it is closed already or operations are not done; [`AppError::Db`], as
/// [`crate::db::DbError::Stale`].
pub async fn close(actor: &Actor, id: Uuid, version: i32, how: Ending) -> Result<(), AppError> {
    actor
        .transact(Role::Office, async |tx| {
            close_within(tx, id, version, how).await
        })
        .await
}

/// The same within a transaction.
///
/// # Errors
/// As [`close`].
pub async fn close_within(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    how: Ending,
) -> Result<(), AppError> {
    let job = jobs::get(tx, id).await?;
    let left = jobs::operations_left(tx, id).await?;
    let state = job.state.end(how, left).map_err(Refusal::Job)?;
    jobs::set_state(tx, id, version, state).await?;
    castings_on_shelf::end_reservations(tx, id, how == Ending::Done).await?;
    Ok(())
}
