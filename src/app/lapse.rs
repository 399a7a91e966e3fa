//! Lets lapse what the calendar ends: quotes past their last day and slots past the day they were reserved until.

use super::{Actor, AppError};
use crate::db::{DbError, ShopTx, decisions, quotes};
use chrono::NaiveDate;

/// Lets lapse what was good until before `today`, the shop's calendar day. Anyone's look at quotes may bring it about.
///
/// # Errors
/// [`AppError::Db`].
pub async fn lapse(actor: &Actor, today: NaiveDate) -> Result<(), AppError> {
    let mut tx = actor.begin().await?;
    lapse_within(&mut tx, today).await?;
    tx.commit().await?;
    Ok(())
}

/// The same within a transaction.
///
/// # Errors
/// [`DbError::Database`].
pub async fn lapse_within(tx: &mut ShopTx, today: NaiveDate) -> Result<(), DbError> {
    quotes::lapse(tx, today).await?;
    decisions::lapse_slots(tx, today).await?;
    Ok(())
}
