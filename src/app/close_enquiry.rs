//! Closes an enquiry without a sale, or opens it again.

use super::{Actor, AppError, Refusal};
use crate::db::enquiries::{self, EnquiryState};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use uuid::Uuid;

/// Closes an enquiry, or opens it again; for the office. `version` is the version of it that was seen.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::EnquiryQuoted`] when it has quotes, which are won or lost instead;
/// [`DbError::Stale`], [`AppError::Db`].
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
    let enquiry = enquiries::get(tx, id).await?;
    if matches!(enquiry.state, EnquiryState::Quoted | EnquiryState::Won) {
        let number = enquiry.number;
        return Err(Refusal::EnquiryQuoted { number }.into());
    }
    if !enquiries::set_closed(tx, id, version, closed).await? {
        return Err(DbError::Stale("this enquiry").into());
    }
    Ok(())
}
