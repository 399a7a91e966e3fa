//! Quick work: a call for work without a variant, saved as it is typed. It is answered and quoted as any other.

use super::{Actor, AppError, once};
use crate::db::api_requests::Keyed;
use crate::db::enquiries::{self, EnquiryDetails};
use crate::db::people::Role;
use crate::db::quick_work::{self, QuickWork};
use crate::db::{DbError, ShopTx, standards};
use crate::estimating::Element;
use chrono::NaiveDate;
use uuid::Uuid;

/// What a caller says of quick work.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct QuickCall {
    /// Who is calling.
    pub caller: String,
    /// How to reach them.
    pub contact: String,
    /// By when.
    pub wanted_by: Option<NaiveDate>,
    /// Anything else.
    pub note: String,
    /// What is to be done.
    pub work: QuickWork,
}

impl QuickCall {
    /// What a call says once this is said in it.
    fn over(&self, stored: EnquiryDetails) -> EnquiryDetails {
        EnquiryDetails {
            caller: self.caller.clone(),
            contact: self.contact.clone(),
            wanted_by: self.wanted_by,
            note: self.note.clone(),
            ..stored
        }
    }
}

/// Opens a call for quick work with what has been said by now, for the office; under a key that opened one before, it is that
/// one. Returns it by its own key.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::KeyUsed`], [`AppError::Db`].
pub async fn open_quick(
    actor: &Actor,
    call: &QuickCall,
    keyed: Option<&Keyed>,
) -> Result<Uuid, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let details = call.over(EnquiryDetails::default());
    let (made, _) = enquiries::create(&mut tx, &details).await?;
    quick_work::save(&mut tx, made, &call.work).await?;
    once::finish(tx, made, keyed).await
}

/// The standard times that a call for quick work is picked from, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`].
pub async fn work_to_pick(actor: &Actor) -> Result<Vec<Element>, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    Ok(standards::list(&mut tx).await?)
}

/// Saves what the caller has said by now, for the office. Nobody is stale against themselves.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`DbError::Stale`] when somebody else changed it after `version`; [`AppError::Db`].
pub async fn save_quick(
    actor: &Actor,
    id: Uuid,
    version: i32,
    call: &QuickCall,
) -> Result<(), AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let stored = enquiries::lock(&mut tx, id).await?.details;
    work_of(&mut tx, id).await?;
    enquiries::save(&mut tx, id, version, &call.over(stored)).await?;
    quick_work::save(&mut tx, id, &call.work).await?;
    tx.commit().await?;
    Ok(())
}

async fn work_of(tx: &mut ShopTx, id: Uuid) -> Result<QuickWork, DbError> {
    let work = quick_work::get(tx, id).await?;
    work.ok_or(DbError::NotFound("quick work in this enquiry"))
}
