//! What is known of a casting: its details for the office, marks and measurements for whoever has it in hand; and whose
//! castings a job may use.

use super::{Actor, AppError, once};
use crate::castings::identify::Mark;
use crate::db::api_requests::Keyed;
use crate::db::casting_records::{self, Measurement, Origin};
use crate::db::castings_on_shelf::{self, CastingDetails};
use crate::db::people::Role;
use uuid::Uuid;

/// Changes a casting and where it came from, for the office; `version` is the version that was seen.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`super::Refusal::Stored`] when a job of somebody else has it that would become a customer's;
/// [`AppError::Db`], as [`crate::db::DbError::Stale`].
pub async fn change(
    actor: &Actor,
    id: Uuid,
    version: i32,
    details: &CastingDetails,
    origin: &Origin,
) -> Result<(), AppError> {
    actor
        .transact(Role::Office, async |tx| {
            castings_on_shelf::update(tx, id, version, details, origin).await?;
            Ok(())
        })
        .await
}

/// Adds a mark; once under a key.
///
/// # Errors
/// [`AppError::KeyUsed`]; [`AppError::Db`], as [`crate::db::DbError::NotFound`].
pub async fn add_mark(
    actor: &Actor,
    casting_id: Uuid,
    mark: &Mark,
    keyed: Option<&Keyed>,
) -> Result<(), AppError> {
    let mut tx = actor.begin().await?;
    casting_records::add_mark(&mut tx, casting_id, mark).await?;
    once::finish(tx, casting_id, keyed).await.map(|_| ())
}

/// Removes a mark.
///
/// # Errors
/// [`AppError::Db`], as [`crate::db::DbError::NotFound`].
pub async fn remove_mark(actor: &Actor, casting_id: Uuid, mark_id: Uuid) -> Result<(), AppError> {
    actor
        .transact(Role::Machinist, async |tx| {
            Ok(casting_records::remove_mark(tx, casting_id, mark_id).await?)
        })
        .await
}

/// Adds a measurement; once under a key.
///
/// # Errors
/// [`AppError::KeyUsed`]; [`AppError::Db`], as [`crate::db::DbError::NotFound`].
pub async fn add_measurement(
    actor: &Actor,
    casting_id: Uuid,
    measurement: &Measurement,
    keyed: Option<&Keyed>,
) -> Result<(), AppError> {
    let mut tx = actor.begin().await?;
    casting_records::add_measurement(&mut tx, casting_id, measurement).await?;
    once::finish(tx, casting_id, keyed).await.map(|_| ())
}

/// Names the customer of a job, for the office: a customer's own casting goes into that customer's jobs and no other.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`super::Refusal::Stored`] while the job has a casting of another customer;
/// [`AppError::Db`], as [`crate::db::DbError::NotFound`].
pub async fn set_customer_of_job(
    actor: &Actor,
    job_id: Uuid,
    customer: &str,
) -> Result<(), AppError> {
    actor
        .transact(Role::Office, async |tx| {
            Ok(casting_records::set_customer_of_job(tx, job_id, customer).await?)
        })
        .await
}
