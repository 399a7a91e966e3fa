//! The customer declines a quote: why is written down, and its slot in the plan is released.

use super::{Actor, AppError, Refusal};
use crate::db::people::Role;
use crate::db::{ShopTx, decisions, quotes};
use crate::enquiry::quote::QuoteState;
use uuid::Uuid;

/// Marks a quote as lost, for the office; `version` is the version of it that was seen.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::Quote`] when it was decided already; [`crate::db::DbError::Stale`],
/// [`AppError::Db`].
pub async fn lose_quote(
    actor: &Actor,
    quote_id: Uuid,
    version: i32,
    why: &str,
) -> Result<(), AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    lose_within(&mut tx, quote_id, version, why).await?;
    tx.commit().await?;
    Ok(())
}

/// The same within a transaction, which is not to be committed after an error.
///
/// # Errors
/// As [`lose_quote`].
pub async fn lose_within(
    tx: &mut ShopTx,
    quote_id: Uuid,
    version: i32,
    lost_why: &str,
) -> Result<(), AppError> {
    let quote = quotes::lock(tx, quote_id).await?;
    let number = quote.number;
    quote
        .check_undecided()
        .map_err(|why| Refusal::Quote { number, why })?;
    quotes::decide(tx, &quote, version, QuoteState::Lost, Some(lost_why)).await?;
    decisions::drop_slot(tx, quote_id).await?;
    Ok(())
}
