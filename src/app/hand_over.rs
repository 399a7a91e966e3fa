//! What happens to a job after it is done: the customer collects it, and it is invoiced.

use super::{Actor, AppError};
use crate::db::job_changes;
use crate::db::people::Role;
use crate::db::settings;
use crate::jobs::StepKind;
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// What has happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HandedOver {
    /// The customer has it.
    Collected,
    /// It is invoiced.
    Invoiced,
}

/// Notes that a done job was collected or invoiced today, for the office; `version` is the version of it that was seen.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], as [`crate::db::DbError::Stale`] when the job is not done, has been handed over
/// that way already, or was changed meanwhile.
pub async fn hand_over(
    actor: &Actor,
    id: Uuid,
    version: i32,
    what: HandedOver,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    actor
        .transact(Role::Office, async |tx| {
            let zone = settings::get(tx).await?.time_zone;
            let today = now.with_timezone(&zone).date_naive();
            let kind = match what {
                HandedOver::Collected => StepKind::Collected,
                HandedOver::Invoiced => StepKind::Invoiced,
            };
            job_changes::hand_over(tx, id, version, kind, today).await?;
            Ok(job_changes::note(tx, id, kind, "").await?)
        })
        .await
}
