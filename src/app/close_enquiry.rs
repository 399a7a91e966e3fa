//! Closes an enquiry without a sale, or opens it again.

use super::{Actor, AppError, Refusal};
use crate::db::ShopTx;
use crate::db::enquiries;
use crate::db::people::Role;
use uuid::Uuid;

/// Closes an enquiry, or opens it again; for the office. `version` is the version of it that was seen.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::EnquiryQuoted`] when it has quotes, which are won or lost instead;
/// [`AppError::Db`], as [`crate::db::DbError::Stale`].
pub async fn close_enquiry(
    actor: &Actor,
    id: Uuid,
    version: i32,
    closed: bool,
) -> Result<(), AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    close_within(&mut tx, id, version, closed).await?;
    tx.commit().await?;
    Ok(())
}

/// The same within a transaction.
///
/// # Errors
/// As [`close_enquiry`].
pub async fn close_within(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    closed: bool,
) -> Result<(), AppError> {
    // Locked, so that no quote is given meanwhile.
    let enquiry = enquiries::lock(tx, id).await?;
    let number = enquiry.number;
    let state = enquiry
        .state
        .set_closed(closed)
        .ok_or(Refusal::EnquiryQuoted { number })?;
    enquiries::set_state(tx, id, version, state).await?;
    Ok(())
}
