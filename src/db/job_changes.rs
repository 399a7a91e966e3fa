//! Jobs as they are entered, changed, ended and opened again by hand, with why.

use super::casting_records::another_customers;
use super::read::{money, word};
use super::{DbError, ShopTx, jobs};
use crate::jobs::{JobDetails, JobState, StepKind};
use crate::units::{Code, Money};
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

/// Something that was done to a job by hand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobStep {
    /// When.
    pub at: DateTime<Utc>,
    /// By whom; `None` for the program itself.
    pub person: Option<String>,
    /// What.
    pub kind: StepKind,
    /// Why; empty where no reason was asked for.
    pub reason: String,
}

/// What was agreed to be paid for a job before tax, where no quote says it.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn value(tx: &mut ShopTx, job_id: Uuid) -> Result<Option<Money>, DbError> {
    Ok(besides(tx, job_id).await?.value)
}

/// What a page shows of a job besides the job itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Besides {
    /// What was agreed to be paid for it, where no quote says it.
    pub value: Option<Money>,
    /// The customer it is for; empty when none is named.
    pub customer: String,
    /// That customer, when they are on record.
    pub customer_id: Option<Uuid>,
}

/// What a page shows of a job besides the job itself.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn besides(tx: &mut ShopTx, job_id: Uuid) -> Result<Besides, DbError> {
    let row = sqlx::query!(
        "select value, value_currency, customer, customer_id from job where shop_id = $1 and id = $2",
        tx.shop_id(),
        job_id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this job"))?;
    let value = row.value.zip(row.value_currency);
    Ok(Besides {
        value: value
            .map(|(amount, currency)| money("value of a job", amount, &currency))
            .transpose()?,
        customer: row.customer,
        customer_id: row.customer_id,
    })
}

/// A job's state and details, which nobody else changes before this transaction ends.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn lock(tx: &mut ShopTx, job_id: Uuid) -> Result<(jobs::Job, JobDetails), DbError> {
    let customer = sqlx::query_scalar!(
        "select customer from job where shop_id = $1 and id = $2 for update",
        tx.shop_id(),
        job_id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this job"))?;
    let value = value(tx, job_id).await?;
    let job = jobs::get(tx, job_id).await?;
    let details = JobDetails {
        title: job.title.clone(),
        customer,
        due_on: job.due_on,
        promised_on: job.promised_on,
        value,
    };
    Ok((job, details))
}

/// Writes the details of a job read with [`lock`] down.
///
/// # Errors
/// [`DbError::Refused`] while it has a casting of another customer, [`DbError::Database`].
pub async fn set_details(
    tx: &mut ShopTx,
    job_id: Uuid,
    details: &JobDetails,
) -> Result<(), DbError> {
    let currency = details.value.map(|value| value.currency());
    sqlx::query!(
        "update job set title = $3, customer = $4, due_on = $5, promised_on = $6, value = $7, value_currency = $8,
                version = version + 1
         where shop_id = $1 and id = $2",
        tx.shop_id(),
        job_id,
        details.title,
        details.customer,
        details.due_on,
        details.promised_on,
        details.value.map(|value| value.amount()),
        currency.as_ref().map(|currency| currency.code()),
    )
    .execute(tx.conn())
    .await
    .map_err(another_customers)?;
    Ok(())
}

/// Sets the state of a job read with [`lock`].
///
/// # Errors
/// [`DbError::Database`].
pub async fn set_state(tx: &mut ShopTx, job_id: Uuid, state: JobState) -> Result<(), DbError> {
    sqlx::query!(
        "update job set state = $3, collected_on = null, invoiced_on = null, version = version + 1
         where shop_id = $1 and id = $2",
        tx.shop_id(),
        job_id,
        state.code(),
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Gives the castings that were used in a job back to it.
///
/// # Errors
/// [`DbError::Database`].
pub async fn take_used_again(tx: &mut ShopTx, job_id: Uuid) -> Result<(), DbError> {
    sqlx::query!(
        "update casting set state = 'reserved', version = version + 1
         where shop_id = $1 and job_id = $2 and state = 'used'",
        tx.shop_id(),
        job_id,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Takes out what people decided about the plan of a job: its place before others, its hold, its pins, and the orders
/// its operations stand in.
///
/// # Errors
/// [`DbError::Database`].
pub async fn drop_decisions(tx: &mut ShopTx, job_id: Uuid) -> Result<(), DbError> {
    let shop = tx.shop_id();
    sqlx::query!(
        "delete from job_first where shop_id = $1 and id = $2",
        shop,
        job_id
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "delete from job_hold where shop_id = $1 and id = $2",
        shop,
        job_id
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "delete from pin p using job_operation o
         where p.shop_id = $1 and o.shop_id = $1 and o.job_id = $2 and p.id = o.id",
        shop,
        job_id
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "delete from put_behind b using job_operation o
         where b.shop_id = $1 and o.shop_id = $1 and o.job_id = $2 and (b.id = o.id or b.behind_id = o.id)",
        shop,
        job_id
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Notes the day on which a done job was collected or invoiced, as `what` says, once.
///
/// # Errors
/// [`DbError::Stale`] when it is not done, has such a day, or has another version; [`DbError::Database`].
pub async fn hand_over(
    tx: &mut ShopTx,
    job_id: Uuid,
    version: i32,
    what: StepKind,
    day: NaiveDate,
) -> Result<(), DbError> {
    let collected = what == StepKind::Collected;
    let done = sqlx::query!(
        "update job set collected_on = case when $4 then $5 else collected_on end,
                invoiced_on = case when $4 then invoiced_on else $5 end, version = version + 1
         where shop_id = $1 and id = $2 and version = $3 and state = 'done'
           and (case when $4 then collected_on else invoiced_on end) is null",
        tx.shop_id(),
        job_id,
        version,
        collected,
        day,
    )
    .execute(tx.conn())
    .await?;
    match done.rows_affected() {
        0 => Err(DbError::Stale("this job")),
        _ => Ok(()),
    }
}

/// Notes what the transaction's person did to a job, and why.
///
/// # Errors
/// [`DbError::Database`].
pub async fn note(
    tx: &mut ShopTx,
    job_id: Uuid,
    kind: StepKind,
    reason: &str,
) -> Result<(), DbError> {
    sqlx::query!(
        "insert into job_step (shop_id, id, job_id, person_id, kind, reason) values ($1, $2, $3, $4, $5, $6)",
        tx.shop_id(),
        Uuid::now_v7(),
        job_id,
        tx.person_id(),
        kind.code(),
        reason,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// What was done to a job by hand, newest first.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn steps(tx: &mut ShopTx, job_id: Uuid) -> Result<Vec<JobStep>, DbError> {
    let rows = sqlx::query!(
        r#"select s.at, s.kind, s.reason, p.name as "person?"
           from job_step s left join person p on p.shop_id = s.shop_id and p.id = s.person_id
           where s.shop_id = $1 and s.job_id = $2 order by s.id desc"#,
        tx.shop_id(),
        job_id
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(JobStep {
                at: row.at,
                person: row.person,
                kind: word("step of a job", &row.kind)?,
                reason: row.reason,
            })
        })
        .collect()
}

/// The key of the job with a number.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn numbered(tx: &mut ShopTx, number: i64) -> Result<Uuid, DbError> {
    sqlx::query_scalar!(
        "select id from job where shop_id = $1 and number = $2",
        tx.shop_id(),
        number
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("a job with this number"))
}
