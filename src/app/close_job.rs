//! A job ends: done, and the castings set aside for it are used; or cancelled, and they are free again.

use crate::db::{DbError, ShopTx, castings_on_shelf, jobs};
use crate::jobs::{Ending, NotPossible};
use uuid::Uuid;

/// Why a job did not end.
#[derive(Debug, thiserror::Error)]
pub enum CloseError {
    /// It is closed already, or operations are not done.
    #[error(transparent)]
    NotPossible(#[from] NotPossible),
    /// From the database.
    #[error(transparent)]
    Db(#[from] DbError),
}

/// Ends a job; `version` is the version that was seen.
///
/// # Errors
/// [`CloseError::NotPossible`], [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Database`].
pub async fn close(tx: &mut ShopTx, id: Uuid, version: i32, how: Ending) -> Result<(), CloseError> {
    let job = jobs::get(tx, id).await?;
    let left = jobs::operations_left(tx, id).await?;
    let state = job.state.end(how, left)?;
    jobs::set_state(tx, id, version, state).await?;
    castings_on_shelf::end_reservations(tx, id, how == Ending::Done).await?;
    Ok(())
}
