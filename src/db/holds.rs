//! Holds once they are decided: what was decided, what scrap costs a job, and the customers to be called.

use super::castings_on_shelf::Ownership;
use super::read::{money, word};
use super::{DbError, ShopTx};
use crate::quality::{CallReason, Decision};
use crate::units::{Code, Money};
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

/// The hold a decision was written to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Decided {
    /// The job.
    pub job_id: Uuid,
    /// The operation whose check failed.
    pub operation_id: Uuid,
    /// Which check failed, and how.
    pub why: String,
}

/// A casting that was written off.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WrittenOff {
    /// Key.
    pub id: Uuid,
    /// The number on its tag.
    pub number: i64,
    /// Whose it was.
    pub ownership: Ownership,
    /// What it stood in the books for.
    pub cost: Money,
}

/// A cost a job bears beyond its hours: a casting of the shop’s that was scrapped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobCost {
    /// The number of the casting that was scrapped.
    pub casting: i64,
    /// How much.
    pub amount: Money,
    /// When.
    pub at: DateTime<Utc>,
}

/// A call to be made: a customer who must be told something.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Call {
    /// Key.
    pub id: Uuid,
    /// The job.
    pub job_id: Uuid,
    /// Its number.
    pub job_number: i64,
    /// What is to be done in it.
    pub job_title: String,
    /// What they must be told.
    pub reason: CallReason,
    /// Since when.
    pub since: DateTime<Utc>,
    /// Who called, when the job came from a call.
    pub caller: Option<String>,
    /// Their phone number or email.
    pub contact: Option<String>,
}

/// Writes a decision to a hold. `version` is the version whoever decides saw.
///
/// # Errors
/// [`DbError::Stale`] when somebody has decided since, [`DbError::Database`].
pub async fn set_decision(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    by: Uuid,
    note: &str,
    decision: &Decision,
    now: DateTime<Utc>,
) -> Result<Decided, DbError> {
    sqlx::query_as!(
        Decided,
        "update quality_hold set decision = $4, decided_at = $5, decided_by = $6, said_by = $7, note = $8,
                version = version + 1
         where shop_id = $1 and id = $2 and version = $3 and decision is null returning job_id, operation_id, why",
        tx.shop_id(),
        id,
        version,
        decision.kind().code(),
        now,
        by,
        decision.allowed_by(),
        note,
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::Stale("this hold"))
}

/// Writes off the castings that are set aside for a job: they failed their inspection on that day, unless another day
/// was noted before.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn write_off_castings(
    tx: &mut ShopTx,
    job_id: Uuid,
    on: NaiveDate,
) -> Result<Vec<WrittenOff>, DbError> {
    let rows = sqlx::query!(
        "update casting set state = 'scrapped', outcome = 'failed', inspected_on = coalesce(inspected_on, $3),
                version = version + 1
         where shop_id = $1 and job_id = $2 and state = 'reserved'
         returning id, number, ownership, cost, currency",
        tx.shop_id(),
        job_id,
        on,
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(WrittenOff {
                id: row.id,
                number: row.number,
                ownership: word("ownership", &row.ownership)?,
                cost: money("cost of a casting", row.cost, &row.currency)?,
            })
        })
        .collect()
}

/// Charges a job with a casting that was scrapped after a hold.
///
/// # Errors
/// [`DbError::Database`].
pub async fn add_cost(
    tx: &mut ShopTx,
    job_id: Uuid,
    hold_id: Uuid,
    casting: &WrittenOff,
    now: DateTime<Utc>,
) -> Result<(), DbError> {
    let currency = casting.cost.currency();
    sqlx::query!(
        "insert into job_cost (shop_id, id, job_id, hold_id, casting_number, amount, currency, at, person_id)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        tx.shop_id(),
        Uuid::now_v7(),
        job_id,
        hold_id,
        casting.number,
        casting.cost.amount(),
        currency.code(),
        now,
        tx.person_id(),
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Notes on a hold which casting was scrapped and which takes its place.
///
/// # Errors
/// [`DbError::Database`].
pub async fn set_castings(
    tx: &mut ShopTx,
    id: Uuid,
    scrapped: Option<Uuid>,
    donor: Option<Uuid>,
) -> Result<(), DbError> {
    sqlx::query!(
        "update quality_hold set scrapped_casting_id = $3, new_casting_id = $4 where shop_id = $1 and id = $2",
        tx.shop_id(),
        id,
        scrapped,
        donor,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Notes on a hold the enquiry in which its job is quoted again.
///
/// # Errors
/// [`DbError::Database`].
pub async fn set_enquiry(tx: &mut ShopTx, id: Uuid, enquiry_id: Uuid) -> Result<(), DbError> {
    sqlx::query!(
        "update quality_hold set enquiry_id = $3 where shop_id = $1 and id = $2",
        tx.shop_id(),
        id,
        enquiry_id,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Puts a job on hold for a reason, in place of whatever reason there was.
///
/// # Errors
/// [`DbError::Database`].
pub async fn hold_job(tx: &mut ShopTx, job_id: Uuid, reason: &str) -> Result<(), DbError> {
    sqlx::query!(
        "insert into job_hold (shop_id, id, reason) values ($1, $2, $3)
         on conflict (shop_id, id) do update set reason = excluded.reason, version = job_hold.version + 1",
        tx.shop_id(),
        job_id,
        reason,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Puts a job on hold for a reason, unless it is on hold already.
///
/// # Errors
/// [`DbError::Database`].
pub async fn hold_unless_held(tx: &mut ShopTx, job_id: Uuid, reason: &str) -> Result<(), DbError> {
    sqlx::query!(
        "insert into job_hold (shop_id, id, reason) values ($1, $2, $3) on conflict (shop_id, id) do nothing",
        tx.shop_id(),
        job_id,
        reason,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Lists a job's customer to be called.
///
/// # Errors
/// [`DbError::Database`].
pub async fn add_call(
    tx: &mut ShopTx,
    job_id: Uuid,
    reason: CallReason,
    now: DateTime<Utc>,
) -> Result<(), DbError> {
    sqlx::query!(
        "insert into to_tell (shop_id, id, job_id, why, since) values ($1, $2, $3, $4, $5)",
        tx.shop_id(),
        Uuid::now_v7(),
        job_id,
        reason.code(),
        now,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// The calls to be made, the longest waiting first; of one job when one is named.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn calls(tx: &mut ShopTx, job_id: Option<Uuid>) -> Result<Vec<Call>, DbError> {
    let rows = sqlx::query!(
        r#"select t.id, t.job_id, j.number as job_number, j.title as job_title, t.why, t.since, e.caller as "caller?",
                  e.contact as "contact?"
           from to_tell t
           join job j on j.shop_id = t.shop_id and j.id = t.job_id
           left join quote q on q.shop_id = j.shop_id and q.id = j.quote_id
           left join enquiry e on e.shop_id = q.shop_id and e.id = q.enquiry_id
           where t.shop_id = $1 and t.told_at is null and ($2::uuid is null or t.job_id = $2)
           order by t.since, t.id"#,
        tx.shop_id(),
        job_id
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Call {
                id: row.id,
                job_id: row.job_id,
                job_number: row.job_number,
                job_title: row.job_title,
                reason: word("reason of a call", &row.why)?,
                since: row.since,
                caller: row.caller,
                contact: row.contact,
            })
        })
        .collect()
}

/// Notes that a call was made, and what was said.
///
/// # Errors
/// [`DbError::NotFound`] when it is not on the list any more, [`DbError::Database`].
pub async fn call_made(
    tx: &mut ShopTx,
    id: Uuid,
    by: Uuid,
    said: &str,
    now: DateTime<Utc>,
) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update to_tell set told_at = $3, told_by = $4, said = $5 where shop_id = $1 and id = $2 and told_at is null",
        tx.shop_id(),
        id,
        now,
        by,
        said,
    )
    .execute(tx.conn())
    .await?;
    match done.rows_affected() {
        0 => Err(DbError::NotFound("this call to be made")),
        _ => Ok(()),
    }
}

/// What a job has borne beyond its hours, oldest first.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn costs(tx: &mut ShopTx, job_id: Uuid) -> Result<Vec<JobCost>, DbError> {
    let rows = sqlx::query!(
        "select casting_number, amount, currency, at from job_cost where shop_id = $1 and job_id = $2 order by at, id",
        tx.shop_id(),
        job_id
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(JobCost {
                amount: money("cost of a job", row.amount, &row.currency)?,
                casting: row.casting_number,
                at: row.at,
            })
        })
        .collect()
}
