//! A set of tooling goes out with a job and comes back. Whoever fetches or brings it may say so.

use super::{Actor, AppError};
use crate::db::people::Role;
use crate::db::tools;
use chrono::NaiveDate;
use uuid::Uuid;

/// A set goes out with an open job.
///
/// # Errors
/// [`super::Refusal::Stored`] when it is out with another or the job is closed; [`AppError::Db`], as
/// [`crate::db::DbError::NotFound`].
pub async fn take_out(actor: &Actor, tool_id: Uuid, job_id: Uuid) -> Result<(), AppError> {
    actor
        .transact(Role::Machinist, async |tx| {
            Ok(tools::take_out(tx, tool_id, job_id).await?)
        })
        .await
}

/// Sets the day a set is back; `None` for the day its job is due.
///
/// # Errors
/// [`super::Refusal::Stored`] when it is not out with that job; [`AppError::Db`].
pub async fn expect_back(
    actor: &Actor,
    tool_id: Uuid,
    job_id: Uuid,
    expected_on: Option<NaiveDate>,
) -> Result<(), AppError> {
    actor
        .transact(Role::Machinist, async |tx| {
            Ok(tools::expect_back(tx, tool_id, job_id, expected_on).await?)
        })
        .await
}

/// A set is back from a job.
///
/// # Errors
/// [`super::Refusal::Stored`] when it is not out with that job; [`AppError::Db`].
pub async fn bring_back(actor: &Actor, tool_id: Uuid, job_id: Uuid) -> Result<(), AppError> {
    actor
        .transact(Role::Machinist, async |tx| {
            Ok(tools::bring_back(tx, tool_id, job_id).await?)
        })
        .await
}
