//! Reserves the slot of a quote in the plan, as if it were a job, or releases it.

use super::{Actor, AppError, Refusal};
use crate::db::people::Role;
use crate::db::{ShopTx, decisions, quotes};
use chrono::NaiveDate;
use uuid::Uuid;

/// Reserves a quote's slot until the end of a day, or releases it when no day is named; for the office. `today` is the
/// shop's calendar day.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::Quote`] when the quote is decided, or is not good until that day;
/// [`AppError::Db`].
pub async fn reserve_slot(
    actor: &Actor,
    quote_id: Uuid,
    until: Option<NaiveDate>,
    today: NaiveDate,
) -> Result<(), AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    match until {
        Some(until) => reserve_within(&mut tx, quote_id, until, today).await?,
        None => decisions::drop_slot(&mut tx, quote_id).await?,
    }
    tx.commit().await?;
    Ok(())
}

async fn reserve_within(
    tx: &mut ShopTx,
    quote_id: Uuid,
    until: NaiveDate,
    today: NaiveDate,
) -> Result<(), AppError> {
    let quote = quotes::lock(tx, quote_id).await?;
    let number = quote.number;
    quote
        .check_slot(until, today)
        .map_err(|why| Refusal::Quote { number, why })?;
    decisions::hold_slot(tx, quote_id, until).await?;
    Ok(())
}
