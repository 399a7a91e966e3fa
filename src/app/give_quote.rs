//! Gives a quote: answers the enquiry as it was read out, outside any transaction, and writes one option of it down,
//! provided that the enquiry still says the same.

use super::answer_enquiry::{Question, Simulator};
use super::catalogue::Catalogue;
use super::{Actor, AppError, Refusal};
use crate::db::people::Role;
use crate::db::{DbError, decisions, enquiries, quotes, settings};
use crate::enquiry::quote::{NewQuote, Quote, Terms, answered_at};
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

/// Which quote is asked for.
#[derive(Debug, Clone)]
pub struct QuoteRequest {
    /// The enquiry.
    pub enquiry_id: Uuid,
    /// The option's key in the answer.
    pub option: String,
    /// When the answer that was read out was computed; the quote is of that answer while it is recent, else of now.
    pub read_out_at: Option<DateTime<Utc>>,
    /// Until when its slot in the plan is reserved, at most until the quote expires; `None`: not at all.
    pub reserve_until: Option<NaiveDate>,
}

/// Quotes one option of an enquiry, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::Unanswerable`], [`Refusal::OptionGone`], [`Refusal::Unbalanced`];
/// [`DbError::Stale`] when the enquiry was changed meanwhile; [`AppError::Db`], [`AppError::Failed`].
pub async fn give_quote(
    actor: &Actor,
    simulator: &Simulator,
    request: &QuoteRequest,
    now: DateTime<Utc>,
) -> Result<Quote, AppError> {
    actor.require(Role::Office)?;
    let at = answered_at(request.read_out_at, now);
    let mut tx = actor.begin().await?;
    let enquiry = enquiries::get(&mut tx, request.enquiry_id).await?;
    let settings = settings::get(&mut tx).await?;
    let catalogue = Catalogue::read(&mut tx).await?;
    let question = Question::read(&mut tx, &catalogue, &enquiry, at).await?;
    drop(tx);

    let question = question.map_err(Refusal::Unanswerable)?;
    let answer = simulator.answer(actor, question).await?;
    let answer = answer.map_err(Refusal::Unanswerable)?;
    let terms = Terms {
        today: now.with_timezone(&settings.time_zone).date_naive(),
        valid_days: settings.quote_valid_days,
        zone: settings.time_zone,
    };
    let snapshot =
        serde_json::to_value(&answer).map_err(|why| AppError::failed("keeping the answer", why))?;
    let new = NewQuote::of_option(&answer, &request.option, enquiry.id, terms, snapshot);
    let new = new.ok_or_else(|| Refusal::OptionGone {
        key: request.option.clone(),
    })?;
    let valid_until = new.valid_until;
    let new = new.checked().map_err(Refusal::Unbalanced)?;

    let mut tx = actor.begin().await?;
    // Another quote given meanwhile changes its version, but nothing this one rests on.
    if enquiries::lock(&mut tx, enquiry.id).await?.details != enquiry.details {
        return Err(DbError::Stale("this enquiry").into());
    }
    let (id, _) = quotes::create(&mut tx, &new).await?;
    if let Some(until) = request.reserve_until {
        decisions::hold_slot(&mut tx, id, until.min(valid_until)).await?;
    }
    let quote = quotes::get(&mut tx, id).await?;
    tx.commit().await?;
    Ok(quote)
}
