//! A hold is decided: measured again, rework, a concession, or scrap with another casting or a new quote. What the
//! decision does to the route is [`crate::quality`]'s; here it is written, with the costs, the castings, the enquiry and
//! the call to the customer that follow.

use super::{Actor, AppError, Refusal};
use crate::db::castings_on_shelf::{self, Ownership};
use crate::db::enquiries::{self, EnquiryDetails};
use crate::db::jobs::{self, Job, JobOperation, OperationState};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, checks, holds, needs, quotes};
use crate::documents::notes;
use crate::estimating::Operation;
use crate::quality::{self, Decision, RouteChange};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// A decision to be taken.
#[derive(Debug, Clone, Copy)]
pub struct Deciding<'a> {
    /// The hold.
    pub hold_id: Uuid,
    /// The version of it that was seen.
    pub version: i32,
    /// What is decided.
    pub decision: &'a Decision,
    /// Why.
    pub note: &'a str,
}

/// Decides a hold and does what follows, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::StillFails`] when it was to be decided as measured again; [`Refusal::Job`] when
/// the route of a closed job would change; [`Refusal::Stored`] when the casting that takes the other's place is not free;
/// [`AppError::Db`], as [`DbError::Stale`] when somebody has decided since.
pub async fn decide(
    actor: &Actor,
    deciding: Deciding<'_>,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    let by = actor.person()?;
    actor
        .transact(Role::Office, async |tx| {
            decide_within(tx, by, deciding, now).await
        })
        .await
}

/// The same within a transaction, which is not to be committed after an error; `by` is who decides.
///
/// # Errors
/// As [`decide`].
pub async fn decide_within(
    tx: &mut ShopTx,
    by: Uuid,
    deciding: Deciding<'_>,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    let Deciding {
        hold_id,
        version,
        decision,
        note,
    } = deciding;
    let hold = holds::set_decision(tx, hold_id, version, by, note, decision, now).await?;
    let job = jobs::get(tx, hold.job_id).await?;
    let operations = jobs::operations(tx, job.id).await?;
    match decision {
        Decision::MeasuredAgain => {
            if !checks::passes_now(tx, hold_id).await? {
                return Err(Refusal::StillFails.into());
            }
        }
        Decision::Concession(_) => {}
        Decision::Rework(rework) => {
            let held = operations
                .iter()
                .find(|o| o.id == hold.operation_id)
                .ok_or(DbError::NotFound("this operation"))?;
            let failed = checks::failed_check(tx, hold_id, &held.planned).await?;
            let route: Vec<&Operation> = operations.iter().map(|o| &o.planned).collect();
            let change = quality::rework(rework, &held.planned, failed.as_ref(), &route);
            change_route(tx, &job, &operations, &change).await?;
        }
        Decision::Scrap {
            donor,
            again,
            requote,
        } => {
            scrap(tx, hold_id, &job, *donor, now).await?;
            if *requote {
                quote_again(tx, hold_id, &job, &hold.why).await?;
            } else {
                let route: Vec<(&Operation, bool)> = operations
                    .iter()
                    .map(|o| (&o.planned, o.state == OperationState::Done))
                    .collect();
                let change = quality::do_again(again, &route);
                change_route(tx, &job, &operations, &change).await?;
            }
            let reason = quality::call_after_scrap(*donor, *requote);
            holds::add_call(tx, job.id, reason, now).await?;
        }
    }
    checks::release_job(tx, job.id).await?;
    Ok(())
}

/// Writes a change to the route of an open job.
async fn change_route(
    tx: &mut ShopTx,
    job: &Job,
    operations: &[JobOperation],
    change: &RouteChange,
) -> Result<(), AppError> {
    job.state.must_be_open().map_err(Refusal::Job)?;
    jobs::add_operations(tx, job.id, &change.add, &change.again_for).await?;
    for (number, after) in &change.after {
        if let Some(waiting) = operations.iter().find(|o| o.planned.number == *number) {
            jobs::set_after(tx, waiting.id, after).await?;
        }
    }
    Ok(())
}

/// Writes the job's castings off, charges the job with those of the shop, and sets another aside.
async fn scrap(
    tx: &mut ShopTx,
    hold_id: Uuid,
    job: &Job,
    donor: Option<Uuid>,
    now: DateTime<Utc>,
) -> Result<(), DbError> {
    let scrapped = holds::write_off_castings(tx, job.id, now.date_naive()).await?;
    for casting in &scrapped {
        if casting.ownership == Ownership::Shop {
            holds::add_cost(tx, job.id, hold_id, casting, now).await?;
        }
    }
    if let Some(donor) = donor {
        castings_on_shelf::reserve(tx, donor, job.id).await?;
    }
    needs::replace_donor(tx, job.id, donor).await?;
    holds::set_castings(tx, hold_id, scrapped.first().map(|c| c.id), donor).await
}

/// Opens an enquiry like the one the job came from; the job stays on hold until the office closes it or releases it.
async fn quote_again(tx: &mut ShopTx, hold_id: Uuid, job: &Job, why: &str) -> Result<(), DbError> {
    let from = match job.quote_id {
        Some(quote_id) => {
            let quote = quotes::get(tx, quote_id).await?;
            Some(enquiries::get(tx, quote.enquiry_id).await?.details)
        }
        None => None,
    };
    let details = match from {
        Some(details) => EnquiryDetails {
            note: notes::quoted_again(job.number, why, &details.note),
            ..details
        },
        None => EnquiryDetails {
            caller: notes::customer_of(job.number),
            note: notes::quoted_again(job.number, why, &job.title),
            ..EnquiryDetails::default()
        },
    };
    let (enquiry_id, number) = enquiries::create(tx, &details).await?;
    holds::set_enquiry(tx, hold_id, enquiry_id).await?;
    holds::hold_job(tx, job.id, &notes::waits_for_quote(number)).await
}
