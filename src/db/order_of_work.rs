//! The shop's order of work: its own rules of what comes before what, or the usual ones.

use super::read::corrupt;
use super::{DbError, ShopTx};
use crate::estimating::order::usual;
use crate::estimating::{OrderOfWork, Precedence};

/// The rules, and the order they make. Rows that make none are corrupt: none are stored that do not.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx) -> Result<(Vec<Precedence>, OrderOfWork), DbError> {
    let stored = sqlx::query_scalar!(
        "select order_of_work from shop where shop_id = $1",
        tx.shop_id()
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("the shop"))?;
    let rules: Vec<Precedence> = match stored {
        Some(rules) => {
            serde_json::from_value(rules).map_err(|why| corrupt("order of work", why))?
        }
        None => usual(),
    };
    let order = OrderOfWork::new(&rules).map_err(|why| corrupt("order of work", why))?;
    Ok((rules, order))
}

/// Keeps the shop's own rules; `None` goes back to the usual ones. The row stays locked until the transaction ends.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn set(tx: &mut ShopTx, rules: Option<&[Precedence]>) -> Result<(), DbError> {
    let rules = rules
        .map(serde_json::to_value)
        .transpose()
        .map_err(|why| corrupt("order of work", why))?;
    sqlx::query!(
        "update shop set order_of_work = $2 where shop_id = $1",
        tx.shop_id(),
        rules
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Locks the shop's rules until the transaction ends, so that two who change them do so one after the other.
///
/// # Errors
/// [`DbError::Database`].
pub async fn lock(tx: &mut ShopTx) -> Result<(), DbError> {
    sqlx::query!(
        "select version from shop where shop_id = $1 for update",
        tx.shop_id()
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(())
}
