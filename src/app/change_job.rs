//! Changes what is written down about an open job: title, customer, value, and its days.

use super::{Actor, AppError, Refusal, due_day};
use crate::db::people::Role;
use crate::db::{DbError, job_changes};
use crate::jobs::JobDetails;
use chrono::NaiveDate;
use uuid::Uuid;

/// What is to be changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobChange {
    /// The job.
    pub id: Uuid,
    /// The version of it that was seen.
    pub version: i32,
    /// What it should say.
    pub to: JobDetails,
    /// Why.
    pub reason: String,
    /// Whether the due date is meant although it is in doubt.
    pub due_confirmed: bool,
}

/// Changes an open job and notes why, for the office; `today` is the shop's calendar day.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::Job`] when it is closed; [`Refusal::JobChange`] when a reason is missing or
/// nothing changes; [`Refusal::DueDate`] when a new due date is in doubt and not confirmed; [`DbError::Refused`] when it
/// has a casting of another customer; [`DbError::Stale`], [`AppError::Db`].
pub async fn change_job(
    actor: &Actor,
    change: &JobChange,
    today: NaiveDate,
) -> Result<(), AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let (job, now) = job_changes::lock(&mut tx, change.id).await?;
    job.state.must_be_open().map_err(Refusal::Job)?;
    if job.version != change.version {
        return Err(DbError::Stale("this job").into());
    }
    let to = &change.to;
    let kind = now
        .change(to, &change.reason, job.quote_id.is_some())
        .map_err(Refusal::JobChange)?;
    if (now.due_on, now.promised_on) != (to.due_on, to.promised_on) && !change.due_confirmed {
        let doubts = due_day::doubts(&mut tx, to.due_on, to.promised_on, today).await?;
        if !doubts.is_empty() {
            return Err(Refusal::DueDate(doubts).into());
        }
    }
    job_changes::set_details(&mut tx, change.id, to).await?;
    job_changes::note(&mut tx, change.id, kind, change.reason.trim()).await?;
    tx.commit().await?;
    Ok(())
}
