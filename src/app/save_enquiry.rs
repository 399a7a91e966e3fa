//! Takes a call down: a new enquiry, and what the caller says as they say it.

use super::{Actor, AppError, once};
use crate::db::DbError;
use crate::db::api_requests::Keyed;
use crate::db::enquiries::{self, EnquiryDetails};
use crate::db::people::Role;
use uuid::Uuid;

/// Opens an enquiry, for the office; under a key that opened one before, it is that one. Returns it by its own key.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::KeyUsed`], [`AppError::Db`].
pub async fn open_enquiry(
    actor: &Actor,
    details: &EnquiryDetails,
    keyed: Option<&Keyed>,
) -> Result<Uuid, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let (made, _) = enquiries::create(&mut tx, details).await?;
    once::finish(tx, made, keyed).await
}

/// Saves what is said in an enquiry, for the office, only over the version that was seen, whoever made the later ones.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`crate::db::DbError::Stale`] when it was changed after `version`; [`AppError::Db`].
pub async fn save_enquiry_seen(
    actor: &Actor,
    id: Uuid,
    version: i32,
    details: &EnquiryDetails,
) -> Result<(), AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    if enquiries::lock(&mut tx, id).await?.version != version {
        return Err(DbError::Stale("the enquiry").into());
    }
    enquiries::save(&mut tx, id, version, details).await?;
    tx.commit().await?;
    Ok(())
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
