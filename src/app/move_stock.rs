//! Stock of the shop: ordered, received, counted, written off. What goes to a job is [`super::meet_need`]'s.

use super::{Actor, AppError, once};
use crate::db::api_requests::Keyed;
use crate::db::people::Role;
use crate::db::stock::{self, OrderDetails};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use uuid::Uuid;

/// An open order of an item as its editor saw it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SeenOrder {
    /// The item.
    pub item_id: Uuid,
    /// The order.
    pub id: Uuid,
    /// The version that was seen.
    pub version: i32,
}

/// Writes down an order, for the office; once under a key. Returns the key of the order.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::KeyUsed`]; [`AppError::Db`], as [`crate::db::DbError::NotFound`].
pub async fn order(
    actor: &Actor,
    item_id: Uuid,
    details: &OrderDetails,
    keyed: Option<&Keyed>,
) -> Result<Uuid, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let id = stock::order(&mut tx, item_id, details).await?;
    once::finish(tx, id, keyed).await
}

/// Changes the day an open order is expected, for the office; `None` when nobody knows any more.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], as [`crate::db::DbError::Stale`], also when it is closed.
pub async fn expect(
    actor: &Actor,
    seen: SeenOrder,
    expected_on: Option<NaiveDate>,
) -> Result<(), AppError> {
    actor
        .transact(Role::Office, async |tx| {
            Ok(stock::expect(tx, seen.item_id, seen.id, seen.version, expected_on).await?)
        })
        .await
}

/// Takes in goods of an open order, which closes when all of it has come, or when no more will (`last`). Whoever opens
/// the parcel may.
///
/// # Errors
/// [`AppError::Db`], as [`crate::db::DbError::Stale`], also when it is closed.
pub async fn receive(
    actor: &Actor,
    seen: SeenOrder,
    quantity: Decimal,
    last: bool,
) -> Result<(), AppError> {
    actor
        .transact(Role::Machinist, async |tx| {
            Ok(stock::receive(tx, seen.item_id, seen.id, seen.version, quantity, last).await?)
        })
        .await
}

/// Gives up what is left of an open order, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], as [`crate::db::DbError::Stale`], also when it is closed.
pub async fn give_up(actor: &Actor, seen: SeenOrder) -> Result<(), AppError> {
    actor
        .transact(Role::Office, async |tx| {
            Ok(stock::give_up(tx, seen.item_id, seen.id, seen.version).await?)
        })
        .await
}

/// Sets what is on hand after a count; `seen` is the figure the counter saw before. Returns whether it differed. Whoever
/// stands at the shelf may count.
///
/// # Errors
/// [`AppError::Db`], as [`crate::db::DbError::Stale`] when stock moved meanwhile.
pub async fn count(
    actor: &Actor,
    item_id: Uuid,
    seen: Decimal,
    counted: Decimal,
    why: &str,
) -> Result<bool, AppError> {
    actor
        .transact(Role::Machinist, async |tx| {
            Ok(stock::count(tx, item_id, seen, counted, why).await?)
        })
        .await
}

/// Writes off goods that are spoilt, lost or were used up without a job; once under a key. Whoever finds them may.
///
/// # Errors
/// [`super::Refusal::Stored`] when there is not so much on hand; [`AppError::KeyUsed`]; [`AppError::Db`], as
/// [`crate::db::DbError::NotFound`].
pub async fn write_off(
    actor: &Actor,
    item_id: Uuid,
    (quantity, why): (Decimal, &str),
    keyed: Option<&Keyed>,
) -> Result<(), AppError> {
    actor
        .transact(Role::Machinist, async |tx| {
            if once::claim(tx, item_id, keyed).await?.is_none() {
                stock::write_off(tx, item_id, quantity, why).await?;
            }
            Ok(())
        })
        .await
}
