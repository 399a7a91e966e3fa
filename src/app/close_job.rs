//! A job ends: done, and the castings set aside for it are used; or cancelled, and they are free again. Either way its
//! slot is free, and what was decided about its place in the plan is gone. Booked hours stay.

use super::{Actor, AppError, Refusal};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, bookings, castings_on_shelf, checks, job_changes, jobs};
use crate::jobs::{ChangeRefusal, Ending, StepKind, Unsettled};
use crate::shopfloor::{self, Entry};
use uuid::Uuid;

/// How a job is to end.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobEnd {
    /// The job.
    pub id: Uuid,
    /// The version of it that was seen.
    pub version: i32,
    /// How.
    pub how: Ending,
    /// Why it is cancelled.
    pub reason: String,
}

/// Ends a job and notes who did it and why, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::JobChange`] when it is cancelled without a reason; [`Refusal::Job`] when it is
/// closed or not settled; [`AppError::Db`], as [`DbError::Stale`].
pub async fn close_job(actor: &Actor, end: &JobEnd) -> Result<(), AppError> {
    actor
        .transact(Role::Office, async |tx| {
            let reason = end.reason.trim();
            let kind = match end.how {
                Ending::Done => StepKind::Closed,
                Ending::Cancelled if reason.is_empty() => {
                    return Err(Refusal::JobChange(ChangeRefusal::ReasonMissing).into());
                }
                Ending::Cancelled => StepKind::Cancelled,
            };
            close_within(tx, end.id, end.version, end.how).await?;
            Ok(job_changes::note(tx, end.id, kind, reason).await?)
        })
        .await
}

/// The same within a transaction, without a note of who did it and why.
///
/// # Errors
/// As [`close_job`].
pub async fn close_within(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    how: Ending,
) -> Result<(), AppError> {
    let (job, _) = job_changes::lock(tx, id).await?;
    let unsettled = unsettled(tx, id).await?;
    let state = job.state.end(how, unsettled).map_err(Refusal::Job)?;
    jobs::set_state(tx, id, version, state).await?;
    castings_on_shelf::end_reservations(tx, id, how == Ending::Done).await?;
    job_changes::drop_decisions(tx, id).await?;
    Ok(())
}

/// What of a job is not settled.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn unsettled(tx: &mut ShopTx, id: Uuid) -> Result<Unsettled, DbError> {
    let booked = bookings::of_job(tx, id).await?;
    let entries: Vec<Entry> = booked.iter().map(|b| b.entry).collect();
    let holds = checks::holds(tx, Some(id)).await?;
    Ok(Unsettled {
        operations: jobs::operations_left(tx, id).await?,
        holds: holds.iter().filter(|hold| hold.decision.is_none()).count(),
        clocks: shopfloor::clocks(&entries)
            .iter()
            .filter(|clock| clock.until.is_none())
            .count(),
    })
}
