//! Opens a job again that was closed or cancelled: the castings it had come back to it, as far as they are still there,
//! and its work is planned again.

use super::{Actor, AppError, Refusal};
use crate::db::needs::{self, Source};
use crate::db::people::Role;
use crate::db::{DbError, castings_on_shelf, job_changes};
use crate::jobs::{ChangeRefusal, JobState, StepKind};
use uuid::Uuid;

/// Opens a job again for a reason, for the office; `version` is the version that was seen. Returns the numbers of the
/// castings it had and that are gone elsewhere since.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::JobChange`] without a reason; [`Refusal::Job`] when it is open;
/// [`DbError::Stale`], [`AppError::Db`].
pub async fn reopen_job(
    actor: &Actor,
    id: Uuid,
    version: i32,
    reason: &str,
) -> Result<Vec<i64>, AppError> {
    actor.require(Role::Office)?;
    if reason.trim().is_empty() {
        return Err(Refusal::JobChange(ChangeRefusal::ReasonMissing).into());
    }
    let mut tx = actor.begin().await?;
    let (job, _) = job_changes::lock(&mut tx, id).await?;
    if job.version != version {
        return Err(DbError::Stale("this job").into());
    }
    let open = job.state.reopen().map_err(Refusal::Job)?;
    job_changes::set_state(&mut tx, id, open).await?;
    if job.state == JobState::Done {
        job_changes::take_used_again(&mut tx, id).await?;
    }
    let mut gone = Vec::new();
    for need in needs::of_job(&mut tx, id).await? {
        if let Source::Casting(casting) = need.source
            && !casting.ours
        {
            match castings_on_shelf::reserve(&mut tx, casting.id, id).await {
                Ok(()) => {}
                Err(DbError::Refused(_)) => gone.push(casting.number),
                Err(error) => return Err(error.into()),
            }
        }
    }
    job_changes::note(&mut tx, id, StepKind::Reopened, reason.trim()).await?;
    tx.commit().await?;
    Ok(gone)
}
