//! What is learned from: finished operations with their bookings; and what was decided about proposed standards.

use super::bookings::EntryRow;
use super::read::{corrupt, planned, stored_count, word};
use super::{DbError, ShopTx};
use crate::estimating::Operation;
use crate::review::proposals::Decided;
use crate::review::ratios::Interval;
use crate::shopfloor::Entry;
use crate::units::Code;
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use rust_decimal::prelude::{FromPrimitive, ToPrimitive};
use uuid::Uuid;

/// What the evidence and the standards are, in a few figures: as long as these are the same, so is what is learned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fingerprint {
    /// Finished operations, decisions on holds and castings, and work of the past.
    pub counts: [i64; 4],
    /// The newest booking; they are only ever appended.
    pub newest: Option<i64>,
    /// Versions of the elements and of the settings.
    pub versions: [i64; 2],
}

/// The figures for now.
///
/// # Errors
/// [`DbError::Database`].
pub async fn fingerprint(tx: &mut ShopTx) -> Result<Fingerprint, DbError> {
    let row = sqlx::query!(
        r#"select (select max(sequence) from booking where shop_id = $1) as newest,
                  (select count(*) from job_operation where shop_id = $1 and state = 'done') as "done!",
                  (select count(*) from quality_hold where shop_id = $1) as "holds!",
                  (select count(*) from casting where shop_id = $1 and outcome is not null) as "castings!",
                  (select count(*) from past_work where shop_id = $1) as "past!",
                  (select coalesce(sum(version), 0) + 1000000 * count(*) from element where shop_id = $1) as "elements!",
                  (select version::bigint from shop where shop_id = $1) as "settings!""#,
        tx.shop_id()
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(Fingerprint {
        counts: [row.done, row.holds, row.castings, row.past],
        newest: row.newest,
        versions: [row.elements, row.settings],
    })
}

/// A finished operation.
#[derive(Debug, Clone, PartialEq)]
pub struct Finished {
    /// The operation.
    pub id: Uuid,
    /// Its job.
    pub job_id: Uuid,
    /// The job's number.
    pub job_number: i64,
    /// As it was planned.
    pub planned: Operation,
}

/// Finished operations of which something was booked since a moment; those that were added for rework and work sent out are
/// left out.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn finished(tx: &mut ShopTx, since: DateTime<Utc>) -> Result<Vec<Finished>, DbError> {
    let rows = sqlx::query!(
        r#"select o.id, o.job_id, j.number, o.planned::text as "planned!"
         from job_operation o join job j on j.shop_id = o.shop_id and j.id = o.job_id
         where o.shop_id = $1 and o.state = 'done' and not o.added and o.machine_kind <> 'outside'
           and exists (select from booking b where b.shop_id = o.shop_id and b.operation_id = o.id and b.at >= $2)
         order by o.id"#,
        tx.shop_id(),
        since
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Finished {
                id: row.id,
                job_id: row.job_id,
                job_number: row.number,
                planned: planned(&row.planned)?,
            })
        })
        .collect()
}

/// Everything booked since a moment, in the order of arrival.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn entries(tx: &mut ShopTx, since: DateTime<Utc>) -> Result<Vec<Entry>, DbError> {
    let rows = sqlx::query_as!(
        EntryRow,
        "select id, kind, operation_id, person_id, machine_id, at, sequence, corrects from booking
         where shop_id = $1 and at >= $2 order by sequence",
        tx.shop_id(),
        since
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter().map(EntryRow::read).collect()
}

/// How often work was done again and donors failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Mishaps {
    /// Finished operations as first planned.
    pub operations: i64,
    /// Those of them that were reworked or done again.
    pub again: i64,
    /// Castings inspected.
    pub inspected: i64,
    /// Those that failed.
    pub failed: i64,
}

/// The mishaps of work booked, and castings inspected, since a moment.
///
/// # Errors
/// [`DbError::Database`].
pub async fn mishaps(tx: &mut ShopTx, since: DateTime<Utc>) -> Result<Mishaps, DbError> {
    let row = sqlx::query!(
        r#"select (select count(*) from job_operation o where o.shop_id = $1 and o.state = 'done' and not o.added
                   and exists (select from booking b where b.shop_id = o.shop_id and b.operation_id = o.id and b.at >= $2))
                      as "operations!",
                  (select count(*) from job_operation o where o.shop_id = $1 and o.state = 'done' and o.added
                   and exists (select from booking b where b.shop_id = o.shop_id and b.operation_id = o.id and b.at >= $2))
                      as "again!",
                  (select count(*) from casting where shop_id = $1 and inspected_on >= $2::timestamptz::date)
                      as "inspected!",
                  (select count(*) from casting where shop_id = $1 and inspected_on >= $2::timestamptz::date
                   and outcome = 'failed') as "failed!""#,
        tx.shop_id(),
        since
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(Mishaps {
        operations: row.operations,
        again: row.again,
        inspected: row.inspected,
        failed: row.failed,
    })
}

fn float(what: &'static str, stored: Decimal) -> Result<f64, DbError> {
    stored.to_f64().ok_or_else(|| corrupt(what, "no number"))
}

fn stored(what: &'static str, figure: f64) -> Result<Decimal, DbError> {
    let decimal = Decimal::from_f64(figure).map(|d| d.round_dp(6));
    decimal.ok_or_else(|| corrupt(what, "no number"))
}

/// What was decided about proposed standards, newest first, at most so many.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn decisions(tx: &mut ShopTx, limit: i64) -> Result<Vec<Decided>, DbError> {
    let rows = sqlx::query!(
        "select d.id, d.element_id, e.code, e.name, d.part, d.decision, d.reason, d.measure, d.before, d.proposed, d.after,
                d.ratio_low, d.ratio, d.ratio_high, d.operations, d.decided_at, p.name as decided_by
         from standard_decision d
         join element e on e.shop_id = d.shop_id and e.id = d.element_id
         join person p on p.shop_id = d.shop_id and p.id = d.decided_by
         where d.shop_id = $1 order by d.decided_at desc, d.id limit $2",
        tx.shop_id(),
        limit
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Decided {
                id: row.id,
                element: row.element_id,
                code: row.code,
                name: row.name,
                part: word("part of an operation", &row.part)?,
                decision: word("decision", &row.decision)?,
                reason: row.reason,
                measure: word("measure of a standard", &row.measure)?,
                before: row.before,
                proposed: row.proposed,
                after: row.after,
                ratio: Interval {
                    low: float("ratio", row.ratio_low)?,
                    likely: float("ratio", row.ratio)?,
                    high: float("ratio", row.ratio_high)?,
                },
                operations: usize::try_from(row.operations)
                    .map_err(|why| corrupt("count of operations", why))?,
                at: row.decided_at,
                by: row.decided_by,
            })
        })
        .collect()
}

/// Adds a decision of the transaction's person.
///
/// # Errors
/// [`DbError::Database`].
pub async fn decide(tx: &mut ShopTx, decided: &Decided, by: Uuid) -> Result<(), DbError> {
    let operations = u32::try_from(decided.operations).unwrap_or(u32::MAX);
    sqlx::query!(
        "insert into standard_decision (shop_id, id, element_id, part, decision, reason, measure, before, proposed, after,
                                        ratio_low, ratio, ratio_high, operations, decided_at, decided_by)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)",
        tx.shop_id(),
        decided.id,
        decided.element,
        decided.part.code(),
        decided.decision.code(),
        decided.reason,
        decided.measure.code(),
        decided.before,
        decided.proposed,
        decided.after,
        stored("ratio", decided.ratio.low)?,
        stored("ratio", decided.ratio.likely)?,
        stored("ratio", decided.ratio.high)?,
        stored_count("count of operations", operations)?,
        decided.at,
        by,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}
