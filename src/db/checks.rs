//! Checks as they were made, and the holds that failed ones open.

use super::read::{corrupt, word};
use super::{DbError, ShopTx, holds};
use crate::estimating::{Check, Operation};
use crate::quality::{DecisionKind, Found, Judged};
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use uuid::Uuid;

/// A check to be recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewResult {
    /// The key made where it was entered.
    pub id: Uuid,
    /// The operation of a job.
    pub operation_id: Uuid,
    /// Which of the operation's checks, counted from nothing.
    pub place: u32,
    /// What was found.
    pub found: Found,
    /// Anything to say of it.
    pub note: String,
    /// Who checked.
    pub person_id: Uuid,
    /// Who recorded it: the same person, or whoever enters it later for them.
    pub entered_by: Uuid,
    /// At which device; `None` when it is entered by hand.
    pub device_id: Option<Uuid>,
    /// When, by this server's clock.
    pub at: DateTime<Utc>,
    /// The same by the clock of the device.
    pub device_at: DateTime<Utc>,
    /// When it arrived.
    pub received_at: DateTime<Utc>,
}

/// A check that arrived earlier under the same key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Earlier {
    /// The operation of a job.
    pub operation_id: Uuid,
    /// Which of its checks.
    pub place: i32,
    /// What was found.
    pub found: Found,
    /// Whether it passed.
    pub passed: bool,
}

/// A check as it was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CheckResult {
    /// Key.
    pub id: Uuid,
    /// The operation.
    pub operation_id: Uuid,
    /// Which of its checks.
    pub place: i32,
    /// What was checked.
    pub what: String,
    /// Between which limits.
    pub limits: String,
    /// With what.
    pub instrument: String,
    /// The measurement, the worst of several; none when it was gauged or judged.
    pub measured: Option<Decimal>,
    /// Every reading, where there are several.
    pub readings: Vec<Reading>,
    /// Its unit.
    pub unit: Option<String>,
    /// Whether it passed.
    pub passed: bool,
    /// Anything said of it.
    pub note: String,
    /// Who checked.
    pub person: String,
    /// Who entered it for them later.
    pub entered_by: Option<String>,
    /// When.
    pub at: DateTime<Utc>,
}

/// One of several readings of a check.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reading {
    /// Where it was taken.
    pub at: String,
    /// In the unit of the limits.
    pub measured: Decimal,
}

impl Reading {
    fn list(stored: Value) -> Result<Vec<Self>, DbError> {
        serde_json::from_value(stored).map_err(|why| corrupt("list of readings", why))
    }
}

/// A job stopped by a check that failed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hold {
    /// Key: that of the check.
    pub id: Uuid,
    /// The job.
    pub job_id: Uuid,
    /// Its number.
    pub job_number: i64,
    /// The operation.
    pub operation_id: Uuid,
    /// Its number.
    pub operation_number: i32,
    /// Which check failed, and how.
    pub why: String,
    /// When.
    pub opened_at: DateTime<Utc>,
    /// By whom.
    pub opened_by: String,
    /// What was decided.
    pub decision: Option<DecisionKind>,
    /// When.
    pub decided_at: Option<DateTime<Utc>>,
    /// By whom.
    pub decided_by: Option<String>,
    /// Who allowed a concession.
    pub said_by: Option<String>,
    /// Why it was decided so.
    pub note: Option<String>,
    /// The enquiry in which the job is quoted anew.
    pub enquiry_id: Option<Uuid>,
    /// Counts edits.
    pub version: i32,
}

/// The check that arrived earlier under a key, if one did.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn earlier(tx: &mut ShopTx, id: Uuid) -> Result<Option<Earlier>, DbError> {
    let row = sqlx::query!(
        "select operation_id, place, measured, readings, passed from check_result where shop_id = $1 and id = $2",
        tx.shop_id(),
        id
    )
    .fetch_optional(tx.conn())
    .await?;
    row.map(|row| {
        let readings = Reading::list(row.readings)?;
        Ok(Earlier {
            operation_id: row.operation_id,
            place: row.place,
            found: match row.measured {
                Some(_) if !readings.is_empty() => {
                    Found::Readings(readings.iter().map(|r| r.measured).collect())
                }
                Some(measured) => Found::Measured(measured),
                None => Found::Gauged(row.passed),
            },
            passed: row.passed,
        })
    })
    .transpose()
}

/// Adds a check with its verdict.
///
/// # Errors
/// [`DbError::Database`].
pub async fn insert(
    tx: &mut ShopTx,
    new: &NewResult,
    check: &Check,
    judged: &Judged,
) -> Result<(), DbError> {
    let limits = judged.limits.as_ref();
    let readings: Vec<Reading> = (check.places.iter().zip(&judged.readings))
        .map(|(at, measured)| Reading {
            at: at.clone(),
            measured: *measured,
        })
        .collect();
    sqlx::query!(
        "insert into check_result (shop_id, id, operation_id, place, what, limits, instrument, lower, upper, unit, measured,
                                   passed, note, person_id, entered_by, device_id, at, device_at, received_at, readings)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20)",
        tx.shop_id(),
        new.id,
        new.operation_id,
        stored_place(new.place),
        check.what,
        check.limits_in_words(),
        check.instrument,
        limits.and_then(|l| l.lower),
        limits.and_then(|l| l.upper),
        limits.map(|l| l.unit.clone()),
        judged.measured,
        judged.passed(),
        new.note,
        new.person_id,
        new.entered_by,
        new.device_id,
        new.at,
        new.device_at,
        new.received_at,
        serde_json::to_value(readings).map_err(|why| corrupt("list of readings", why))?,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// The place of a check as it is stored; no operation has so many that it matters.
fn stored_place(place: u32) -> i32 {
    i32::try_from(place).unwrap_or(i32::MAX)
}

/// Whether a check of an operation holds its job: one at the same place failed and nobody has decided yet.
///
/// # Errors
/// [`DbError::Database`].
pub async fn holds_job(tx: &mut ShopTx, operation_id: Uuid, place: u32) -> Result<bool, DbError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select from quality_hold h
                          join check_result r on r.shop_id = h.shop_id and r.id = h.id
                          where h.shop_id = $1 and h.operation_id = $2 and r.place = $3 and h.decision is null) as "held!""#,
        tx.shop_id(),
        operation_id,
        stored_place(place),
    )
    .fetch_one(tx.conn())
    .await?)
}

/// Opens a hold for a check that failed, and puts its job on hold. A reason the job is on hold for already is kept.
///
/// # Errors
/// [`DbError::Database`].
pub async fn open_hold(
    tx: &mut ShopTx,
    new: &NewResult,
    job_id: Uuid,
    why: &str,
) -> Result<(), DbError> {
    sqlx::query!(
        "insert into quality_hold (shop_id, id, job_id, operation_id, why, opened_at, opened_by)
         values ($1, $2, $3, $4, $5, $6, $7)",
        tx.shop_id(),
        new.id,
        job_id,
        new.operation_id,
        why,
        new.at,
        new.person_id,
    )
    .execute(tx.conn())
    .await?;
    holds::hold_unless_held(tx, job_id, why).await
}

/// Takes a job off hold when none of its failed checks waits for a decision. A reason somebody gave by hand stays.
///
/// # Errors
/// [`DbError::Database`].
pub async fn release_job(tx: &mut ShopTx, job_id: Uuid) -> Result<(), DbError> {
    sqlx::query!(
        "delete from job_hold h where h.shop_id = $1 and h.id = $2
           and not exists (select from quality_hold q where q.shop_id = $1 and q.job_id = $2 and q.decision is null)
           and exists (select from quality_hold q where q.shop_id = $1 and q.job_id = $2 and q.why = h.reason)",
        tx.shop_id(),
        job_id,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// The checks made in some operations, in the order they were made; the latest of each place counts.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn of_operations(
    tx: &mut ShopTx,
    operations: &[Uuid],
) -> Result<Vec<CheckResult>, DbError> {
    let rows = sqlx::query!(
        r#"select r.id, r.operation_id, r.place, r.what, r.limits, r.instrument, r.measured, r.readings, r.unit, r.passed,
                  r.note, p.name as person, e.name as "entered_by?", r.at
           from check_result r
           join person p on p.shop_id = r.shop_id and p.id = r.person_id
           left join person e on e.shop_id = r.shop_id and e.id = r.entered_by and e.id <> r.person_id
           where r.shop_id = $1 and r.operation_id = any ($2) order by r.sequence"#,
        tx.shop_id(),
        operations
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(CheckResult {
                id: row.id,
                operation_id: row.operation_id,
                place: row.place,
                what: row.what,
                limits: row.limits,
                instrument: row.instrument,
                measured: row.measured,
                readings: Reading::list(row.readings)?,
                unit: row.unit,
                passed: row.passed,
                note: row.note,
                person: row.person,
                entered_by: row.entered_by,
                at: row.at,
            })
        })
        .collect()
}

/// The holds of a job, or every one that waits for a decision; oldest first.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn holds(tx: &mut ShopTx, job_id: Option<Uuid>) -> Result<Vec<Hold>, DbError> {
    let shop = tx.shop_id();
    // Each way to ask is a statement of its own, so that it need not be planned anew each time.
    let keys = match job_id {
        Some(job_id) => {
            sqlx::query_scalar!(
                "select id from quality_hold where shop_id = $1 and job_id = $2",
                shop,
                job_id
            )
            .fetch_all(tx.conn())
            .await?
        }
        None => {
            sqlx::query_scalar!(
                "select id from quality_hold where shop_id = $1 and decision is null",
                shop
            )
            .fetch_all(tx.conn())
            .await?
        }
    };
    if keys.is_empty() {
        return Ok(Vec::new());
    }
    let rows = sqlx::query!(
        r#"select h.id, h.job_id, j.number as job_number, h.operation_id, o.number as operation_number, h.why, h.opened_at,
                  p.name as opened_by, h.decision, h.decided_at, d.name as "decided_by?", h.said_by, h.note, h.enquiry_id,
                  h.version
           from quality_hold h
           join job j on j.shop_id = h.shop_id and j.id = h.job_id
           join job_operation o on o.shop_id = h.shop_id and o.id = h.operation_id
           join person p on p.shop_id = h.shop_id and p.id = h.opened_by
           left join person d on d.shop_id = h.shop_id and d.id = h.decided_by
           where h.shop_id = $1 and h.id = any ($2)
           order by h.opened_at, h.id"#,
        shop,
        &keys
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Hold {
                id: row.id,
                job_id: row.job_id,
                job_number: row.job_number,
                operation_id: row.operation_id,
                operation_number: row.operation_number,
                why: row.why,
                opened_at: row.opened_at,
                opened_by: row.opened_by,
                decision: row
                    .decision
                    .map(|code| word("decision", &code))
                    .transpose()?,
                decided_at: row.decided_at,
                decided_by: row.decided_by,
                said_by: row.said_by,
                note: row.note,
                enquiry_id: row.enquiry_id,
                version: row.version,
            })
        })
        .collect()
}

/// Whether the latest result of the check behind a hold passes.
///
/// # Errors
/// [`DbError::Database`].
pub async fn passes_now(tx: &mut ShopTx, hold_id: Uuid) -> Result<bool, DbError> {
    let latest = sqlx::query_scalar!(
        "select l.passed from check_result r
         join check_result l on l.shop_id = r.shop_id and l.operation_id = r.operation_id and l.place = r.place
         where r.shop_id = $1 and r.id = $2 order by l.sequence desc limit 1",
        tx.shop_id(),
        hold_id
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(latest == Some(true))
}

/// The check of an operation that a hold is about.
///
/// # Errors
/// [`DbError::Database`].
pub async fn failed_check(
    tx: &mut ShopTx,
    hold_id: Uuid,
    operation: &Operation,
) -> Result<Option<Check>, DbError> {
    let place = sqlx::query_scalar!(
        "select place from check_result where shop_id = $1 and id = $2",
        tx.shop_id(),
        hold_id
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(place
        .and_then(|place| usize::try_from(place).ok())
        .and_then(|place| operation.checks.get(place))
        .cloned())
}
