//! Lets lapse what the calendar ends: quotes past their last day and slots past the day they were reserved until.

use crate::db::{DbError, ShopTx, decisions, quotes};
use chrono::NaiveDate;

/// Lets lapse what was good until before `today`, the shop's calendar day. The planner does it once a minute.
///
/// # Errors
/// [`DbError::Database`].
pub async fn lapse(tx: &mut ShopTx, today: NaiveDate) -> Result<(), DbError> {
    quotes::lapse(tx, today).await?;
    decisions::lapse_slots(tx, today).await?;
    Ok(())
}
