//! Checks as they were made, and the holds that failed ones open.

use super::read::word;
use super::{DbError, ShopTx, jobs};
use crate::estimating::{Check, Operation};
use crate::quality::{Limits, Verdict, limit_gauge};
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// A check to be written down.
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
    /// Who wrote it down: the same person, or whoever enters it later for them.
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

/// What a check found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Found {
    /// A measurement, in the unit of the limits.
    Measured(Decimal),
    /// Gauged or judged: whether it goes.
    Gauged(bool),
}

/// What became of a check that arrived.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Checked {
    /// Whether it passed.
    pub passed: bool,
    /// Whether it had arrived before.
    pub again: bool,
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
    /// The measurement; none when it was gauged or judged.
    pub measured: Option<Decimal>,
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

/// What was decided about a hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum DecisionKind {
    /// It was measured again and is within its limits.
    MeasuredAgain,
    /// It is put right by more work.
    Rework,
    /// Somebody who may say so accepts it as it is.
    Concession,
    /// The casting is scrap.
    Scrap,
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

/// How a check is made: measured between limits, or gauged and judged.
#[must_use]
pub fn limits_of(check: &Check) -> Option<Limits> {
    Limits::read(&check.limits)
}

/// Writes a check down, once however often it arrives. One that fails stops the job: it is on hold until somebody decides.
///
/// # Errors
/// [`DbError::NotFound`] when there is no such operation, [`DbError::Refused`] when it has no such check, a
/// measurement was given for what is gauged or the other way round, or the key was used for something else;
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn record(tx: &mut ShopTx, new: &NewResult) -> Result<Checked, DbError> {
    let (job, operation) = jobs::operation(tx, new.operation_id).await?;
    let earlier = sqlx::query!(
        "select operation_id, place, measured, passed from check_result where shop_id = $1 and id = $2",
        tx.shop_id(),
        new.id
    )
    .fetch_optional(tx.conn())
    .await?;
    let refused = |why: &str| DbError::Refused(why.to_owned());
    let place = i32::try_from(new.place).map_err(|_| refused("It has no such check"))?;
    if let Some(earlier) = earlier {
        let same_found = match new.found {
            Found::Measured(measured) => earlier.measured == Some(measured),
            Found::Gauged(goes) => earlier.measured.is_none() && earlier.passed == goes,
        };
        if earlier.operation_id != new.operation_id || earlier.place != place || !same_found {
            return Err(refused("Its key was used for another check"));
        }
        return Ok(Checked {
            passed: earlier.passed,
            again: true,
        });
    }
    let check = usize::try_from(new.place)
        .ok()
        .and_then(|place| operation.planned.checks.get(place))
        .ok_or_else(|| refused("It has no such check"))?;
    let limits = limits_of(check);
    let (measured, passed, found) = match (&limits, new.found) {
        (Some(limits), Found::Measured(measured)) => {
            let words = match limits.verdict(measured) {
                Verdict::Pass => "within",
                Verdict::Small => "too small",
                Verdict::Large => "too large",
            };
            let passed = limits.verdict(measured) == Verdict::Pass;
            let unit = &limits.unit;
            (
                Some(measured),
                passed,
                format!("{measured} {unit} is {words}"),
            )
        }
        (None, Found::Gauged(goes)) => (None, goes, "does not pass".to_owned()),
        (Some(_), Found::Gauged(goes)) if limit_gauge(check).is_some() => {
            (None, goes, "does not pass its gauge".to_owned())
        }
        (Some(_), Found::Gauged(_)) => {
            return Err(refused("This check has limits: it wants a measurement"));
        }
        (None, Found::Measured(_)) => {
            return Err(refused("This check is gauged: it wants go or no-go"));
        }
    };
    sqlx::query!(
        "insert into check_result (shop_id, id, operation_id, place, what, limits, instrument, lower, upper, unit, measured,
                                   passed, note, person_id, entered_by, device_id, at, device_at, received_at)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19)",
        tx.shop_id(),
        new.id,
        new.operation_id,
        place,
        check.what,
        check.limits,
        check.instrument,
        limits.as_ref().and_then(|l| l.lower),
        limits.as_ref().and_then(|l| l.upper),
        limits.as_ref().map(|l| l.unit.clone()),
        measured,
        passed,
        new.note,
        new.person_id,
        new.entered_by,
        new.device_id,
        new.at,
        new.device_at,
        new.received_at,
    )
    .execute(tx.conn())
    .await?;
    if !passed {
        let why = format!(
            "operation {}: {} {found} ({})",
            operation.planned.number, check.what, check.limits
        );
        open(tx, new, job.id, &why).await?;
    }
    Ok(Checked {
        passed,
        again: false,
    })
}

/// Opens a hold for a check that failed, unless the same check of the operation holds the job already.
async fn open(tx: &mut ShopTx, new: &NewResult, job_id: Uuid, why: &str) -> Result<(), DbError> {
    let place = i32::try_from(new.place).unwrap_or(i32::MAX);
    let held = sqlx::query_scalar!(
        r#"select exists (select from quality_hold h
                          join check_result r on r.shop_id = h.shop_id and r.id = h.id
                          where h.shop_id = $1 and h.operation_id = $2 and r.place = $3 and h.decision is null) as "held!""#,
        tx.shop_id(),
        new.operation_id,
        place,
    )
    .fetch_one(tx.conn())
    .await?;
    if held {
        return Ok(());
    }
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
    // A reason that stands already is left; the job is held either way.
    sqlx::query!(
        "insert into job_hold (shop_id, id, reason) values ($1, $2, $3) on conflict (shop_id, id) do nothing",
        tx.shop_id(),
        job_id,
        why,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Lets a job go on after its last open hold was decided. A reason somebody gave by hand stays.
pub(super) async fn let_go_on(tx: &mut ShopTx, job_id: Uuid) -> Result<(), DbError> {
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
/// [`DbError::Database`].
pub async fn of_operations(
    tx: &mut ShopTx,
    operations: &[Uuid],
) -> Result<Vec<CheckResult>, DbError> {
    Ok(sqlx::query_as!(
        CheckResult,
        r#"select r.id, r.operation_id, r.place, r.what, r.limits, r.instrument, r.measured, r.unit, r.passed, r.note,
                  p.name as person, e.name as "entered_by?", r.at
           from check_result r
           join person p on p.shop_id = r.shop_id and p.id = r.person_id
           left join person e on e.shop_id = r.shop_id and e.id = r.entered_by and e.id <> r.person_id
           where r.shop_id = $1 and r.operation_id = any ($2) order by r.sequence"#,
        tx.shop_id(),
        operations
    )
    .fetch_all(tx.conn())
    .await?)
}

/// The holds of a job, or every one that waits for a decision; oldest first.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn holds(tx: &mut ShopTx, job_id: Option<Uuid>) -> Result<Vec<Hold>, DbError> {
    let rows = sqlx::query!(
        r#"select h.id, h.job_id, j.number as job_number, h.operation_id, o.number as operation_number, h.why, h.opened_at,
                  p.name as opened_by, h.decision, h.decided_at, d.name as "decided_by?", h.said_by, h.note, h.enquiry_id,
                  h.version
           from quality_hold h
           join job j on j.shop_id = h.shop_id and j.id = h.job_id
           join job_operation o on o.shop_id = h.shop_id and o.id = h.operation_id
           join person p on p.shop_id = h.shop_id and p.id = h.opened_by
           left join person d on d.shop_id = h.shop_id and d.id = h.decided_by
           where h.shop_id = $1 and (h.job_id = $2 or $2::uuid is null and h.decision is null)
           order by h.opened_at, h.id"#,
        tx.shop_id(),
        job_id
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
pub(super) async fn failed_check(
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
