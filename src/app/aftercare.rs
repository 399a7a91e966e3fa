//! What goes out with a job: the texts for whoever fits it, and what was measured when it left.

use super::{Actor, AppError};
use crate::db::people::Role;
use crate::db::{ShopTx, aftercare as db, casting_records, checks, jobs, needs};
use crate::documents::FittingJob;
use crate::jobs::{FittingText, aftercare, fitting_for};
use uuid::Uuid;

/// The fitting sheet of a job, and the texts on it.
///
/// # Errors
/// [`AppError::Db`], as [`crate::db::DbError::NotFound`].
pub async fn fitting(
    actor: &Actor,
    job_id: Uuid,
    shop: String,
) -> Result<(FittingJob, Vec<FittingText>), AppError> {
    let mut tx = actor.begin().await?;
    let job = jobs::get(&mut tx, job_id).await?;
    let operations = jobs::operations(&mut tx, job_id).await?;
    let keys: Vec<Uuid> = operations.iter().map(|operation| operation.id).collect();
    let made = checks::of_operations(&mut tx, &keys).await?;
    let needs = needs::of_job(&mut tx, job_id).await?;
    let texts = db::fitting_texts(&mut tx).await?;
    let steps = operations
        .iter()
        .flat_map(|operation| &operation.planned.steps);
    let codes: Vec<&str> = steps.map(|step| step.code.as_str()).collect();
    let castings = needs.iter().filter_map(|need| need.source.our_casting());
    // The latest of each check counts.
    let measured = made.iter().enumerate().filter_map(|(at, result)| {
        let same = |later: &checks::CheckResult| {
            later.operation_id == result.operation_id && later.place == result.place
        };
        let last = !made.iter().skip(at + 1).any(same);
        let value = result.measured.filter(|_| last && result.passed)?;
        let unit = result.unit.as_deref().unwrap_or_default();
        Some(format!(
            "{}: {value} {unit} ({})",
            result.what, result.limits
        ))
    });
    let sheet = FittingJob {
        shop,
        number: job.number,
        title: job.title,
        customer: casting_records::customer_of_job(&mut tx, job_id).await?,
        castings: castings.collect(),
        measured: measured.collect(),
    };
    let chosen = fitting_for(&texts, &codes).into_iter().cloned().collect();
    Ok((sheet, chosen))
}

/// Adds the usual texts for fitting sheets, for the owner; gives how many. Nothing happens where the shop has some.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`]; [`AppError::Failed`] when the set does not read.
pub async fn take_usual(actor: &Actor) -> Result<usize, AppError> {
    actor
        .transact(Role::Owner, async |tx| take_usual_within(tx).await)
        .await
}

/// The same within a transaction.
///
/// # Errors
/// [`AppError::Db`]; [`AppError::Failed`] when the set does not read.
pub async fn take_usual_within(tx: &mut ShopTx) -> Result<usize, AppError> {
    if !db::fitting_texts(tx).await?.is_empty() {
        return Ok(0);
    }
    let set = aftercare::starting(Uuid::now_v7)
        .map_err(|why| AppError::failed("reading the starting set", why))?;
    for text in &set {
        db::insert_text(tx, text).await?;
    }
    Ok(set.len())
}
