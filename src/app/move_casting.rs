//! A casting is inspected, or moved by hand: written off, given back, or put back on the shelf.

use crate::db::castings_on_shelf;
use crate::db::{DbError, ShopTx};
use crate::stock::{NotMovable, Outcome, ShelfState};
use chrono::NaiveDate;
use uuid::Uuid;

/// Why a casting was not inspected or moved.
#[derive(Debug, thiserror::Error)]
pub enum MoveError {
    /// It is not in the shop any more, so that it cannot be inspected; the number on its tag.
    #[error("casting {0} is not in the shop")]
    NotInShop(i64),
    /// The move is not allowed; the number on its tag.
    #[error("casting {0}: {1}")]
    NotMovable(i64, NotMovable),
    /// From the database.
    #[error(transparent)]
    Db(#[from] DbError),
}

/// Records what crack test and measuring found on a day. One that failed is scrap, or goes back when it is a customer's.
/// `version` is the version that was seen.
///
/// # Errors
/// [`MoveError::NotInShop`], [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Database`].
pub async fn inspect(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    outcome: Outcome,
    on: NaiveDate,
) -> Result<(), MoveError> {
    let now = castings_on_shelf::get(tx, id).await?;
    if now.version != version {
        return Err(DbError::Stale("this casting").into());
    }
    if !now.state.is_in_shop() {
        return Err(MoveError::NotInShop(now.number));
    }
    let state = now.state.after_inspection(outcome, now.details.ownership);
    castings_on_shelf::set_inspection(tx, id, version, (outcome, on), state).await?;
    Ok(())
}

/// Takes a casting that no job has off the shelf (scrapped, returned) or puts it back. `version` is the version that was
/// seen.
///
/// # Errors
/// [`MoveError::NotMovable`], [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Database`].
pub async fn move_to(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    state: ShelfState,
) -> Result<(), MoveError> {
    let now = castings_on_shelf::get(tx, id).await?;
    now.state
        .may_move(state, now.details.ownership)
        .map_err(|why| MoveError::NotMovable(now.number, why))?;
    castings_on_shelf::set_state(tx, id, version, state).await?;
    Ok(())
}
