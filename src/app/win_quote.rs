//! The customer accepts a quote: it becomes a job with its operations, its donor is set aside, and the job takes the slot
//! that was reserved for it; all of it or nothing.

use super::{Actor, AppError, Refusal, due_day, make_part, meet_need, once};
use crate::db::api_requests::Keyed;
use crate::db::jobs::{self, NewJob};
use crate::db::people::Role;
use crate::db::{ShopTx, castings_on_shelf, decisions, plans, quick_work, quotes};
use crate::enquiry::quote::{DonorSource, QuoteState};
use chrono::NaiveDate;
use uuid::Uuid;

/// Which quote is won.
#[derive(Debug, Clone, Copy)]
pub struct Won {
    /// The quote.
    pub quote_id: Uuid,
    /// The version of it that was seen.
    pub version: i32,
    /// The day its job is due.
    pub due_on: NaiveDate,
    /// Whether a due date that is questioned is meant.
    pub confirmed: bool,
}

/// Why the alternatives on one paper are lost when one of them is won.
const OTHER_TAKEN: &str = "The other option of the quote was taken.";

/// Turns an accepted quote into a job, for the office; once under a key. `today` is the shop's calendar day. Returns the job's
/// key and number.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::KeyUsed`]; [`Refusal::Quote`] when it was decided already or has expired; [`Refusal::DueDate`] unless
/// confirmed; [`Refusal::Work`] when a part that is made here cannot be made as the shop says;
/// [`crate::db::DbError::Refused`] when its donor is gone, [`crate::db::DbError::Stale`], [`AppError::Db`].
pub async fn win_quote(
    actor: &Actor,
    won: Won,
    today: NaiveDate,
    keyed: Option<&Keyed>,
) -> Result<(Uuid, i64), AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    if let Some(job) = won_before(&mut tx, keyed).await? {
        return Ok(job);
    }
    match win_within(&mut tx, won, today).await {
        Ok((id, number)) => {
            once::finish(tx, id, keyed).await?;
            Ok((id, number))
        }
        Err(why) => {
            drop(tx);
            // The same request may have won it since.
            let before = won_before(&mut actor.begin().await?, keyed).await?;
            before.ok_or(why)
        }
    }
}

/// The job that the same request made before.
async fn won_before(
    tx: &mut ShopTx,
    keyed: Option<&Keyed>,
) -> Result<Option<(Uuid, i64)>, AppError> {
    let Some(id) = once::made(tx, keyed).await? else {
        return Ok(None);
    };
    let job = jobs::get(tx, id).await?;
    Ok(Some((job.id, job.number)))
}

/// The same within a transaction, which is not to be committed after an error.
///
/// # Errors
/// As [`win_quote`].
pub async fn win_within(
    tx: &mut ShopTx,
    won: Won,
    today: NaiveDate,
) -> Result<(Uuid, i64), AppError> {
    let quote = quotes::lock(tx, won.quote_id).await?;
    let number = quote.number;
    quote
        .check_may_be_won(today)
        .map_err(|why| Refusal::Quote { number, why })?;
    if !won.confirmed {
        let doubts = due_day::doubts(tx, won.due_on, quote.promised_on, today).await?;
        if !doubts.is_empty() {
            return Err(Refusal::DueDate(doubts).into());
        }
    }
    quotes::decide(tx, &quote, won.version, QuoteState::Won, None).await?;
    let route = quotes::basis(tx, quote.id).await?.route;
    let donor = quote.donor();
    let job = NewJob {
        quote_id: Some(quote.id),
        title: quote.title.clone(),
        due_on: won.due_on,
        promised_on: quote.promised_on,
    };
    let (job_id, job_number) = jobs::create(tx, &job, &route).await?;
    for other in quotes::beside(tx, &quote).await? {
        let other = quotes::lock(tx, other.id).await?;
        if other.state == QuoteState::Sent {
            quotes::decide(
                tx,
                &other,
                other.version,
                QuoteState::Lost,
                Some(OTHER_TAKEN),
            )
            .await?;
            decisions::drop_slot(tx, other.id).await?;
        }
    }
    quotes::enquiry_is_won(tx, quote.enquiry_id).await?;
    quotes::caller_is_customer(tx, quote.enquiry_id, job_id).await?;
    if let Some(DonorSource::Shelf(casting_id)) = donor {
        castings_on_shelf::reserve(tx, casting_id, job_id).await?;
    }
    meet_need::of_route(tx, job_id, &route, donor).await?;
    // What was on the shelf when it was quoted may be gone.
    make_part::for_short_needs(tx, job_id).await?;
    if let Some(work) = quick_work::get(tx, quote.enquiry_id).await?
        && let Some(day) = work.arrives_on
    {
        meet_need::customers_part(tx, job_id, &work.list.part, day).await?;
    }
    plans::take_slot(tx, quote.id, job_id).await?;
    Ok((job_id, job_number))
}
