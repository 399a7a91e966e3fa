//! A casting is inspected, or moved by hand: written off, given back, or put back on the shelf.

use super::{Actor, AppError, Refusal};
use crate::db::castings_on_shelf;
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use crate::stock::{Outcome, ShelfState};
use chrono::NaiveDate;
use uuid::Uuid;

/// Records what crack test and measuring found on a day. One that failed is scrap, or goes back when it is a customer's.
/// Whoever is at the bench may say what they found. `version` is the version that was seen.
///
/// # Errors
/// [`Refusal::CastingNotInShop`]; [`AppError::Db`], as [`DbError::Stale`].
pub async fn inspect(
    actor: &Actor,
    id: Uuid,
    version: i32,
    outcome: Outcome,
    on: NaiveDate,
) -> Result<(), AppError> {
    actor
        .transact(Role::Machinist, async |tx| {
            inspect_within(tx, id, version, outcome, on).await
        })
        .await
}

/// The same within a transaction, which is not to be committed after an error.
///
/// # Errors
/// As [`inspect`].
pub async fn inspect_within(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    outcome: Outcome,
    on: NaiveDate,
) -> Result<(), AppError> {
    let now = castings_on_shelf::get(tx, id).await?;
    if now.version != version {
        return Err(DbError::Stale("this casting").into());
    }
    if !now.state.is_in_shop() {
        let number = now.number;
        return Err(Refusal::CastingNotInShop { number }.into());
    }
    let state = now.state.after_inspection(outcome, now.details.ownership);
    castings_on_shelf::set_inspection(tx, id, version, (outcome, on), state).await?;
    Ok(())
}

/// Takes a casting that no job has off the shelf (scrapped, returned) or puts it back, for the office. `version` is the
/// version that was seen.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::CastingNotMovable`]; [`AppError::Db`], as [`DbError::Stale`].
pub async fn move_to(
    actor: &Actor,
    id: Uuid,
    version: i32,
    state: ShelfState,
) -> Result<(), AppError> {
    actor
        .transact(Role::Office, async |tx| {
            move_to_within(tx, id, version, state).await
        })
        .await
}

/// The same within a transaction, which is not to be committed after an error.
///
/// # Errors
/// As [`move_to`].
pub async fn move_to_within(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    state: ShelfState,
) -> Result<(), AppError> {
    let now = castings_on_shelf::get(tx, id).await?;
    let number = now.number;
    now.state
        .may_move(state, now.details.ownership)
        .map_err(|why| Refusal::CastingNotMovable { number, why })?;
    castings_on_shelf::set_state(tx, id, version, state).await?;
    Ok(())
}
