//! A past that is written afterwards, with the times at which things happened: of the demo shop. Nothing else writes so.

use super::bookings::NewBooking;
use super::casting_records::Source;
use super::castings_on_shelf::Ownership;
use super::checks::{self, NewResult};
use super::counters::{self, Counter};
use super::enquiries::EnquiryDetails;
use super::read::corrupt;
use super::{DbError, ShopTx, quotes};
use crate::enquiry::EnquiryState;
use crate::enquiry::quote::{CheckedQuote, QuoteState};
use crate::estimating::{Check, Operation};
use crate::quality::{Decision, Judged};
use crate::stock::{Outcome, ShelfState};
use crate::units::{Code, Money};
use chrono::{DateTime, NaiveDate, Utc};
use rust_decimal::Decimal;
use serde_json::Value;
use uuid::{NoContext, Timestamp, Uuid};

/// Writes a call.
///
/// # Errors
/// [`DbError::Database`].
pub async fn enquiry(
    tx: &mut ShopTx,
    details: &EnquiryDetails,
    state: EnquiryState,
    at: DateTime<Utc>,
    by: Option<Uuid>,
) -> Result<Uuid, DbError> {
    let number = counters::next(tx, Counter::Enquiry).await?;
    let id = Uuid::now_v7();
    sqlx::query!(
        "insert into enquiry (shop_id, id, number, caller, contact, wanted_variant_id, brings_variant_id, brings_note, note,
                              repairs, state, created_at, created_by)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)",
        tx.shop_id(),
        id,
        number,
        details.caller,
        details.contact,
        details.wanted_variant_id,
        details.brings_variant_id,
        details.brings_note,
        details.note,
        &details.repairs,
        state.code(),
        at,
        by,
    )
    .execute(tx.conn())
    .await?;
    Ok(id)
}

/// A quote and what became of it.
#[derive(Debug)]
pub struct PastQuote<'a> {
    /// As it was given.
    pub quote: &'a CheckedQuote,
    /// When.
    pub at: DateTime<Utc>,
    /// By whom.
    pub by: Option<Uuid>,
    /// What became of it.
    pub state: QuoteState,
    /// When; `None` while nothing was decided.
    pub decided_at: Option<DateTime<Utc>>,
    /// Why it was lost.
    pub lost_why: Option<&'a str>,
}

/// Writes a quote that was given at some time.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn quote(tx: &mut ShopTx, past: &PastQuote<'_>) -> Result<Uuid, DbError> {
    let quote = past.quote.quote();
    let route = serde_json::to_value(&quote.route).map_err(|why| corrupt("route", why))?;
    let mut lines = Vec::new();
    quotes::flatten(&quote.lines, None, &mut lines);
    let line_count = i32::try_from(lines.len()).map_err(|why| corrupt("count of lines", why))?;
    let number = counters::next(tx, Counter::Quote).await?;
    let id = Uuid::now_v7();
    let currency = quote.net.currency();
    sqlx::query!(
        "insert into quote (shop_id, id, number, enquiry_id, option_kind, title, valid_until, promised_on, currency, net, tax,
                            gross, line_count, created_at, created_by, said, reason, state, decided_at, lost_why)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20)",
        tx.shop_id(),
        id,
        number,
        quote.enquiry_id,
        quote.option_kind,
        quote.title,
        quote.valid_until,
        quote.promised_on,
        currency.code(),
        quote.net.amount(),
        quote.tax.amount(),
        quote.gross.amount(),
        line_count,
        past.at,
        past.by,
        quote.offered_on.said,
        quote.offered_on.reason,
        past.state.code(),
        past.decided_at,
        past.lost_why,
    )
    .execute(tx.conn())
    .await?;
    quotes::write_lines(tx, id, &lines).await?;
    quotes::write_basis(tx, id, &quote.answer, &route).await?;
    Ok(id)
}

/// A job that is closed.
#[derive(Debug, Clone, Copy)]
pub struct PastJob<'a> {
    /// The quote it comes from.
    pub quote_id: Uuid,
    /// What was done.
    pub title: &'a str,
    /// For whom.
    pub customer: &'a str,
    /// The day the shop worked to.
    pub due_on: NaiveDate,
    /// The day promised.
    pub promised_on: Option<NaiveDate>,
    /// When it was accepted.
    pub at: DateTime<Utc>,
    /// When it was closed.
    pub closed_at: DateTime<Utc>,
    /// The day it was collected; `None` while it waits.
    pub collected_on: Option<NaiveDate>,
    /// The day it was invoiced; `None` while that is to be done.
    pub invoiced_on: Option<NaiveDate>,
    /// Who closed it.
    pub closed_by: Option<Uuid>,
}

/// Writes a job that is closed, without its operations.
///
/// # Errors
/// [`DbError::Database`].
pub async fn job(tx: &mut ShopTx, past: &PastJob<'_>) -> Result<Uuid, DbError> {
    let number = counters::next(tx, Counter::Job).await?;
    let id = Uuid::now_v7();
    sqlx::query!(
        "insert into job (shop_id, id, number, quote_id, title, customer, state, due_on, promised_on, created_at, collected_on,
                          invoiced_on)
         values ($1, $2, $3, $4, $5, $6, 'done', $7, $8, $9, $10, $11)",
        tx.shop_id(),
        id,
        number,
        past.quote_id,
        past.title,
        past.customer,
        past.due_on,
        past.promised_on,
        past.at,
        past.collected_on,
        past.invoiced_on,
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "insert into job_step (shop_id, id, job_id, at, person_id, kind) values ($1, $2, $3, $4, $5, 'closed')",
        tx.shop_id(),
        Uuid::now_v7(),
        id,
        past.closed_at,
        past.closed_by,
    )
    .execute(tx.conn())
    .await?;
    Ok(id)
}

/// An operation that is done.
#[derive(Debug, Clone)]
pub struct PastOperation<'a> {
    /// Key.
    pub id: Uuid,
    /// As it was planned.
    pub planned: &'a Operation,
    /// Whether it was added later.
    pub added: bool,
    /// The number of the operation that is done again in it.
    pub again_for: Option<u32>,
    /// When it was begun.
    pub started_at: Option<DateTime<Utc>>,
    /// At which machine.
    pub machine_id: Option<Uuid>,
    /// By whom.
    pub person_id: Option<Uuid>,
}

/// Writes operations of a job that are done.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn operations(
    tx: &mut ShopTx,
    job_id: Uuid,
    past: &[PastOperation<'_>],
) -> Result<(), DbError> {
    let planned = past
        .iter()
        .map(|o| serde_json::to_value(o.planned))
        .collect::<Result<Vec<Value>, _>>()
        .map_err(|why| corrupt("route", why))?;
    let again: Vec<Option<i32>> = past
        .iter()
        .map(|o| o.again_for.and_then(|number| i32::try_from(number).ok()))
        .collect();
    sqlx::query!(
        "insert into job_operation (shop_id, id, job_id, number, planned, state, added, again_for, started_at, machine_id,
                                    person_id)
         select $1, id, $2, (planned ->> 'number')::int, planned, 'done', added, again_for, started_at, machine_id, person_id
         from unnest($3::uuid[], $4::jsonb[], $5::boolean[], $6::int[], $7::timestamptz[], $8::uuid[], $9::uuid[])
              as operation (id, planned, added, again_for, started_at, machine_id, person_id)",
        tx.shop_id(),
        job_id,
        &past.iter().map(|o| o.id).collect::<Vec<_>>(),
        &planned,
        &past.iter().map(|o| o.added).collect::<Vec<_>>(),
        &again as &[Option<i32>],
        &past.iter().map(|o| o.started_at).collect::<Vec<_>>() as &[Option<DateTime<Utc>>],
        &past.iter().map(|o| o.machine_id).collect::<Vec<_>>() as &[Option<Uuid>],
        &past.iter().map(|o| o.person_id).collect::<Vec<_>>() as &[Option<Uuid>],
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Writes entries of the bench that contradict nothing.
///
/// # Errors
/// [`DbError::Database`].
pub async fn bookings(tx: &mut ShopTx, past: &[NewBooking]) -> Result<(), DbError> {
    for some in past.chunks(2_000) {
        let kinds: Vec<String> = some.iter().map(|b| b.kind.code().to_owned()).collect();
        sqlx::query!(
            "insert into booking (shop_id, id, kind, operation_id, machine_id, person_id, entered_by, at, device_at, received_at)
             select $1, id, kind, operation_id, machine_id, person_id, person_id, at, at, at
             from unnest($2::uuid[], $3::text[], $4::uuid[], $5::uuid[], $6::uuid[], $7::timestamptz[])
                  with ordinality as entry (id, kind, operation_id, machine_id, person_id, at, place)
             order by place",
            tx.shop_id(),
            &some.iter().map(|b| b.id).collect::<Vec<_>>(),
            &kinds,
            &some.iter().map(|b| b.operation_id).collect::<Vec<_>>(),
            &some.iter().map(|b| b.machine_id).collect::<Vec<_>>() as &[Option<Uuid>],
            &some.iter().map(|b| b.person_id).collect::<Vec<_>>(),
            &some.iter().map(|b| b.at).collect::<Vec<_>>(),
        )
        .execute(tx.conn())
        .await?;
    }
    Ok(())
}

/// A check as it was made.
#[derive(Debug)]
pub struct PastCheck<'a> {
    /// What was recorded.
    pub new: NewResult,
    /// What was checked.
    pub check: &'a Check,
    /// The verdict.
    pub judged: &'a Judged,
}

/// Writes checks.
///
/// # Errors
/// [`DbError::Database`].
pub async fn checks(tx: &mut ShopTx, past: &[PastCheck<'_>]) -> Result<(), DbError> {
    for made in past {
        checks::insert(tx, &made.new, made.check, made.judged).await?;
    }
    Ok(())
}

/// A hold that was decided.
#[derive(Debug)]
pub struct PastHold<'a> {
    /// That of the check that failed.
    pub id: Uuid,
    /// The job.
    pub job_id: Uuid,
    /// The operation.
    pub operation_id: Uuid,
    /// Which check failed, and how.
    pub why: &'a str,
    /// When.
    pub opened_at: DateTime<Utc>,
    /// By whom.
    pub opened_by: Uuid,
    /// What was decided.
    pub decision: &'a Decision,
    /// When.
    pub decided_at: DateTime<Utc>,
    /// By whom.
    pub decided_by: Uuid,
    /// Why.
    pub note: &'a str,
    /// The casting that was scrapped, its number and what it cost.
    pub scrapped: Option<(Uuid, i64, Money)>,
}

/// Writes a hold that was decided, with what the job was charged for a casting that was scrap.
///
/// # Errors
/// [`DbError::Database`].
pub async fn hold(tx: &mut ShopTx, past: &PastHold<'_>) -> Result<(), DbError> {
    let new_casting = match past.decision {
        Decision::Scrap { donor, .. } => *donor,
        _ => None,
    };
    sqlx::query!(
        "insert into quality_hold (shop_id, id, job_id, operation_id, why, opened_at, opened_by, decision, decided_at,
                                   decided_by, said_by, note, scrapped_casting_id, new_casting_id)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)",
        tx.shop_id(),
        past.id,
        past.job_id,
        past.operation_id,
        past.why,
        past.opened_at,
        past.opened_by,
        past.decision.kind().code(),
        past.decided_at,
        past.decided_by,
        past.decision.allowed_by(),
        past.note,
        past.scrapped.map(|(id, ..)| id),
        new_casting,
    )
    .execute(tx.conn())
    .await?;
    let Some((_, number, cost)) = past.scrapped else {
        return Ok(());
    };
    let currency = cost.currency();
    sqlx::query!(
        "insert into job_cost (shop_id, id, job_id, hold_id, casting_number, amount, currency, at, person_id)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        tx.shop_id(),
        Uuid::now_v7(),
        past.job_id,
        past.id,
        number,
        cost.amount(),
        currency.code(),
        past.decided_at,
        past.decided_by,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// A casting that came in at some time.
#[derive(Debug, Clone, Copy)]
pub struct PastCasting<'a> {
    /// When it came.
    pub at: DateTime<Utc>,
    /// How it was machined.
    pub variant_id: Uuid,
    /// The customer who brought it and owns it; the shop's own was bought.
    pub owner: Option<&'a str>,
    /// What it cost.
    pub cost: Money,
    /// Its condition in words.
    pub condition: &'a str,
    /// What the inspection found, and when.
    pub inspection: Option<(Outcome, NaiveDate)>,
    /// What became of it.
    pub state: ShelfState,
    /// The job it was used or scrapped for.
    pub job_id: Option<Uuid>,
    /// From whom.
    pub came_from: &'a str,
}

/// Writes a casting and gives its key and number.
///
/// # Errors
/// [`DbError::Database`].
pub async fn casting(tx: &mut ShopTx, past: &PastCasting<'_>) -> Result<(Uuid, i64), DbError> {
    let number = counters::next(tx, Counter::Casting).await?;
    // What came in lately is found by the time in the key.
    let seconds = u64::try_from(past.at.timestamp()).unwrap_or(0);
    let id = Uuid::new_v7(Timestamp::from_unix(NoContext, seconds, 0));
    let currency = past.cost.currency();
    let (ownership, source) = match past.owner {
        Some(_) => (Ownership::Customer, Source::Customer),
        None => (Ownership::Shop, Source::Bought),
    };
    sqlx::query!(
        "insert into casting (shop_id, id, number, variant_id, ownership, cost, currency, condition, outcome, inspected_on,
                              state, job_id, source, came_from, owner)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)",
        tx.shop_id(),
        id,
        number,
        past.variant_id,
        ownership.code(),
        past.cost.amount(),
        currency.code(),
        past.condition,
        past.inspection.map(|(outcome, _)| outcome.code()),
        past.inspection.map(|(_, on)| on),
        past.state.code(),
        past.job_id,
        source.code(),
        past.came_from,
        past.owner.unwrap_or(""),
    )
    .execute(tx.conn())
    .await?;
    Ok((id, number))
}

/// Writes to the history that the rate of a skill was another until a moment.
///
/// # Errors
/// [`DbError::Database`].
pub async fn labour_rate_was(
    tx: &mut ShopTx,
    skill: &str,
    hourly: Decimal,
    until: DateTime<Utc>,
) -> Result<(), DbError> {
    sqlx::query!(
        "select enter_earlier_history('labour_rate', r.id, $4, to_jsonb(r) || jsonb_build_object('hourly', $3::numeric), to_jsonb(r))::text
         from labour_rate r where r.shop_id = $1 and r.skill = $2",
        tx.shop_id(),
        skill,
        hourly,
        until,
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(())
}

/// Writes to the history that every machine's power had another price until a moment.
///
/// # Errors
/// [`DbError::Database`].
pub async fn power_price_was(
    tx: &mut ShopTx,
    price: Decimal,
    until: DateTime<Utc>,
) -> Result<(), DbError> {
    sqlx::query!(
        "select enter_earlier_history('machine', m.id, $3, to_jsonb(m) || jsonb_build_object('power_price', $2::numeric), to_jsonb(m))::text
         from machine m where m.shop_id = $1",
        tx.shop_id(),
        price,
        until,
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(())
}
