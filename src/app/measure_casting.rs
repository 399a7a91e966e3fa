//! A record of what was measured on a casting is kept with the sizes it was held against. One of finished work that is
//! outside its limits puts its job on hold.

use super::{Actor, AppError, once};
use crate::castings::measured::{Purpose, Sizes, Verdict};
use crate::db::api_requests::Keyed;
use crate::db::measured_records::{self as db, NewRecord};
use crate::db::people::Role;
use crate::db::{DbError, castings_on_shelf, holds, jobs};
use crate::documents::notes;
use crate::jobs::JobState;
use uuid::Uuid;

/// What became of a record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Recorded {
    /// What it says.
    pub verdict: Verdict,
    /// Whether its job is on hold now.
    pub held: bool,
}

/// Keeps a record, for whoever has the casting in hand. One that arrives twice under its key is kept once, and so is one that
/// a program sends again under its own. Returns the key of the record with what became of it.
///
/// # Errors
/// [`AppError::KeyUsed`]; [`AppError::Db`], as [`DbError::NotFound`] when there is no such casting, or the casting is not that job's.
pub async fn record(
    actor: &Actor,
    new: &NewRecord,
    keyed: Option<&Keyed>,
) -> Result<(Uuid, Recorded), AppError> {
    actor
        .transact(Role::Machinist, async |tx| {
            let before = once::claim(tx, new.id, keyed).await?;
            let id = before.unwrap_or(new.id);
            let casting = castings_on_shelf::get(tx, new.casting_id).await?;
            if new.job_id.is_some() && new.job_id != casting.job_id {
                return Err(DbError::NotFound("this casting in this job").into());
            }
            let sizes = db::sizes_for_casting(tx, new.casting_id).await?;
            let judged = new.readings.judgement(&sizes, new.purpose);
            let verdict = judged.verdict();
            let kept = before.is_none() && db::insert(tx, new, &sizes, verdict).await?;
            let bad = new.purpose == Purpose::Finished && verdict == Verdict::Outside;
            let mut held = false;
            if let Some(job_id) = new.job_id.filter(|_| bad) {
                held = jobs::get(tx, job_id).await?.state == JobState::Open;
                if held && kept {
                    let kind = new.readings.kind();
                    let why = notes::outside_when_measured(kind, casting.number, &judged);
                    holds::hold_unless_held(tx, job_id, &why).await?;
                }
            }
            Ok((id, Recorded { verdict, held }))
        })
        .await
}

/// A record that was kept before, and what became of it.
///
/// # Errors
/// [`AppError::Db`], as [`DbError::NotFound`].
pub async fn kept(actor: &Actor, casting_id: Uuid, id: Uuid) -> Result<Recorded, AppError> {
    let mut tx = actor.begin().await?;
    let kept = db::get(&mut tx, casting_id, id).await?;
    let bad = kept.record.purpose == Purpose::Finished && kept.verdict == Verdict::Outside;
    let held = match kept.record.job_id.filter(|_| bad) {
        Some(job_id) => jobs::get(&mut tx, job_id).await?.state == JobState::Open,
        None => false,
    };
    Ok(Recorded {
        verdict: kept.verdict,
        held,
    })
}

/// Stores the sizes of a pattern, for the office; `sizes.version` is the version that was seen.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], as [`DbError::Stale`] or [`DbError::NotFound`].
pub async fn set_sizes(actor: &Actor, sizes: &Sizes) -> Result<(), AppError> {
    actor
        .transact(Role::Office, async |tx| Ok(db::set_sizes(tx, sizes).await?))
        .await
}

/// The sizes a casting's readings are held against.
///
/// # Errors
/// [`AppError::Db`], as [`DbError::NotFound`].
pub async fn sizes_for(actor: &Actor, casting_id: Uuid) -> Result<Sizes, AppError> {
    let mut tx = actor.begin().await?;
    Ok(db::sizes_for_casting(&mut tx, casting_id).await?)
}
