//! Takes a call down: a new enquiry, and what the caller says as they say it.

use super::{Actor, AppError};
use crate::db::enquiries::{self, Enquiry, EnquiryDetails};
use crate::db::people::Role;
use uuid::Uuid;

/// Opens an enquiry, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`].
pub async fn open_enquiry(actor: &Actor, details: &EnquiryDetails) -> Result<Enquiry, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let (id, _) = enquiries::create(&mut tx, details).await?;
    let enquiry = enquiries::get(&mut tx, id).await?;
    tx.commit().await?;
    Ok(enquiry)
}

/// Saves what the caller has said by now, for the office. Nobody is stale against themselves: a screen that saves as it is
/// typed into may overtake itself.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`crate::db::DbError::Stale`] when somebody else changed it after `version`;
/// [`AppError::Db`].
pub async fn save_enquiry(
    actor: &Actor,
    id: Uuid,
    version: i32,
    details: &EnquiryDetails,
) -> Result<(), AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    enquiries::save(&mut tx, id, version, details).await?;
    tx.commit().await?;
    Ok(())
}
