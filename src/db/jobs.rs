//! Jobs and the operations of their routes.

use super::counters::{self, Counter};
use super::read::{corrupt, count, planned, word};
use super::{DbError, Refusal, ShopTx};
use crate::estimating::{Operation, Route};
pub use crate::jobs::{JobState, OperationState};
use crate::units::{Code, Minutes};
use chrono::{DateTime, NaiveDate, Utc};
use serde_json::Value;
use uuid::Uuid;

/// A job to be put into work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewJob {
    /// The quote it comes from.
    pub quote_id: Option<Uuid>,
    /// What is to be done.
    pub title: String,
    /// The day the shop works to.
    pub due_on: NaiveDate,
    /// The day the customer was promised.
    pub promised_on: Option<NaiveDate>,
}

/// A job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Job {
    /// Key.
    pub id: Uuid,
    /// Number.
    pub number: i64,
    /// The quote it comes from.
    pub quote_id: Option<Uuid>,
    /// What is to be done.
    pub title: String,
    /// Its state.
    pub state: JobState,
    /// The day the shop works to.
    pub due_on: NaiveDate,
    /// The day the customer was promised.
    pub promised_on: Option<NaiveDate>,
    /// The day it was collected.
    pub collected_on: Option<NaiveDate>,
    /// The day it was invoiced.
    pub invoiced_on: Option<NaiveDate>,
    /// When it was put into work.
    pub created_at: DateTime<Utc>,
    /// Counts edits.
    pub version: i32,
}

/// An operation of a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobOperation {
    /// Key.
    pub id: Uuid,
    /// As it was planned.
    pub planned: Operation,
    /// Its state.
    pub state: OperationState,
    /// Whether it was added to the route later: rework, or work done again.
    pub added: bool,
    /// The number of the finished operation that is done again in it, because the casting was scrap.
    pub again_for: Option<u32>,
    /// Counts edits.
    pub version: i32,
}

/// The work waiting for one kind of machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MachineLoad {
    /// The kind of machine.
    pub machine_kind: String,
    /// Operations of open jobs that are not done.
    pub operations: i64,
    /// Their setup and run as planned. An operation that was begun counts whole: what is left of it is not known.
    pub minutes: Minutes,
}

struct Row {
    id: Uuid,
    number: i64,
    quote_id: Option<Uuid>,
    title: String,
    state: String,
    due_on: NaiveDate,
    promised_on: Option<NaiveDate>,
    collected_on: Option<NaiveDate>,
    invoiced_on: Option<NaiveDate>,
    created_at: DateTime<Utc>,
    version: i32,
}

impl TryFrom<Row> for Job {
    type Error = DbError;
    fn try_from(row: Row) -> Result<Self, DbError> {
        Ok(Self {
            id: row.id,
            number: row.number,
            quote_id: row.quote_id,
            title: row.title,
            state: word("state of a job", &row.state)?,
            due_on: row.due_on,
            promised_on: row.promised_on,
            collected_on: row.collected_on,
            invoiced_on: row.invoiced_on,
            created_at: row.created_at,
            version: row.version,
        })
    }
}

/// Puts a job with its route into work and gives it its number.
///
/// # Errors
/// [`DbError::Database`].
pub async fn create(tx: &mut ShopTx, job: &NewJob, route: &Route) -> Result<(Uuid, i64), DbError> {
    let number = counters::next(tx, Counter::Job).await?;
    let id = Uuid::now_v7();
    sqlx::query!(
        "insert into job (shop_id, id, number, quote_id, title, due_on, promised_on)
         values ($1, $2, $3, $4, $5, $6, $7)",
        tx.shop_id(),
        id,
        number,
        job.quote_id,
        job.title,
        job.due_on,
        job.promised_on,
    )
    .execute(tx.conn())
    .await?;
    insert_operations(tx, id, &route.operations).await?;
    Ok((id, number))
}

/// One job.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, id: Uuid) -> Result<Job, DbError> {
    sqlx::query_as!(
        Row,
        "select id, number, quote_id, title, state, due_on, promised_on, collected_on, invoiced_on, created_at, version
         from job where shop_id = $1 and id = $2",
        tx.shop_id(),
        id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this job"))?
    .try_into()
}

/// At most `limit` jobs in any of these states, newest first; those numbered below `before` when it is given.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn list(
    tx: &mut ShopTx,
    states: &[JobState],
    before: Option<i64>,
    limit: u16,
) -> Result<Vec<Job>, DbError> {
    let states: Vec<String> = states.iter().map(|s| s.code().to_owned()).collect();
    sqlx::query_as!(
        Row,
        "select id, number, quote_id, title, state, due_on, promised_on, collected_on, invoiced_on, created_at, version
         from job where shop_id = $1 and state = any ($2) and ($3::bigint is null or number < $3)
         order by number desc limit $4",
        tx.shop_id(),
        &states,
        before,
        i64::from(limit)
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(Job::try_from)
    .collect()
}

/// The job a quote became, if it was won.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn of_quote(tx: &mut ShopTx, quote_id: Uuid) -> Result<Option<Job>, DbError> {
    sqlx::query_as!(
        Row,
        "select id, number, quote_id, title, state, due_on, promised_on, collected_on, invoiced_on, created_at, version
         from job where shop_id = $1 and quote_id = $2",
        tx.shop_id(),
        quote_id
    )
    .fetch_optional(tx.conn())
    .await?
    .map(Job::try_from)
    .transpose()
}

/// The operations of a job in route order.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn operations(tx: &mut ShopTx, job_id: Uuid) -> Result<Vec<JobOperation>, DbError> {
    let rows = sqlx::query!(
        r#"select id, planned::text as "planned!", state, added, again_for, version from job_operation
         where shop_id = $1 and job_id = $2 order by number"#,
        tx.shop_id(),
        job_id
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(JobOperation {
                id: row.id,
                planned: planned(&row.planned)?,
                state: word("state of an operation", &row.state)?,
                added: row.added,
                again_for: row
                    .again_for
                    .map(|number| count("number of an operation", number))
                    .transpose()?,
                version: row.version,
            })
        })
        .collect()
}

/// An operation with its job, which stays locked until the transaction ends.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn operation(tx: &mut ShopTx, id: Uuid) -> Result<(Job, JobOperation), DbError> {
    let job_id = sqlx::query_scalar!(
        "select j.id from job_operation o join job j on j.shop_id = o.shop_id and j.id = o.job_id
         where o.shop_id = $1 and o.id = $2 for update of j",
        tx.shop_id(),
        id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this operation"))?;
    let job = get(tx, job_id).await?;
    let operations = operations(tx, job_id).await?;
    let operation = operations.into_iter().find(|o| o.id == id);
    Ok((job, operation.ok_or(DbError::NotFound("this operation"))?))
}

/// Adds operations to the route of a job: rework, or with `again_for` those that do finished ones of these numbers
/// again. Their numbers must be free.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn add_operations(
    tx: &mut ShopTx,
    job_id: Uuid,
    operations: &[Operation],
    again_for: &[u32],
) -> Result<(), DbError> {
    insert_operations(tx, job_id, operations).await?;
    let numbers = operations.iter().map(|o| o.number);
    let numbers: Vec<i32> = numbers.filter_map(|n| i32::try_from(n).ok()).collect();
    let again_for: Vec<Option<i32>> = again_for
        .iter()
        .map(|n| i32::try_from(*n).ok())
        .chain(std::iter::repeat(None))
        .take(numbers.len())
        .collect();
    sqlx::query!(
        "update job_operation o set added = true, again_for = new.again_for
         from unnest($3::int[], $4::int[]) as new (number, again_for)
         where o.shop_id = $1 and o.job_id = $2 and o.number = new.number",
        tx.shop_id(),
        job_id,
        &numbers,
        &again_for as &[Option<i32>],
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

async fn insert_operations(
    tx: &mut ShopTx,
    job_id: Uuid,
    operations: &[Operation],
) -> Result<(), DbError> {
    let planned = operations
        .iter()
        .map(serde_json::to_value)
        .collect::<Result<Vec<Value>, _>>()
        .map_err(|why| corrupt("route", why))?;
    let ids: Vec<Uuid> = planned.iter().map(|_| Uuid::now_v7()).collect();
    sqlx::query!(
        "insert into job_operation (shop_id, id, job_id, number, planned)
         select $1, id, $2, (planned ->> 'number')::int, planned
         from unnest($3::uuid[], $4::jsonb[]) as operation (id, planned)",
        tx.shop_id(),
        job_id,
        &ids,
        &planned,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Sets which operations of its job an operation waits for, by their numbers.
///
/// # Errors
/// [`DbError::Database`].
pub async fn set_after(tx: &mut ShopTx, id: Uuid, after: &[u32]) -> Result<(), DbError> {
    sqlx::query!(
        "update job_operation set planned = jsonb_set(planned, '{after}', $3), version = version + 1
         where shop_id = $1 and id = $2",
        tx.shop_id(),
        id,
        serde_json::json!(after),
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Changes the title and the days of an open job; `job.version` is the version the editor saw. Returns the new one.
///
/// # Errors
/// [`DbError::Refused`] when it is closed, [`DbError::Stale`], [`DbError::NotFound`],
/// [`DbError::Database`].
pub async fn update(tx: &mut ShopTx, job: &Job) -> Result<i32, DbError> {
    let version = sqlx::query_scalar!(
        "update job set title = $4, due_on = $5, promised_on = $6, version = version + 1
         where shop_id = $1 and id = $2 and version = $3 and state = 'open' returning version",
        tx.shop_id(),
        job.id,
        job.version,
        job.title,
        job.due_on,
        job.promised_on,
    )
    .fetch_optional(tx.conn())
    .await?;
    match version {
        Some(version) => Ok(version),
        None => Err(closed_or_stale(tx, job.id).await),
    }
}

/// Sets the state of an open job; `version` is the version the editor saw. Nothing is said of its castings.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Refused`] when it is closed, [`DbError::Database`].
pub async fn set_state(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    state: JobState,
) -> Result<(), DbError> {
    let closed = sqlx::query!(
        "update job set state = $4, version = version + 1
         where shop_id = $1 and id = $2 and version = $3 and state = 'open'",
        tx.shop_id(),
        id,
        version,
        state.code(),
    )
    .execute(tx.conn())
    .await?;
    if closed.rows_affected() == 0 {
        return Err(closed_or_stale(tx, id).await);
    }
    Ok(())
}

/// How many operations of a job are not done.
///
/// # Errors
/// [`DbError::Database`].
pub async fn operations_left(tx: &mut ShopTx, id: Uuid) -> Result<usize, DbError> {
    let left = sqlx::query_scalar!(
            r#"select count(*) as "left!" from job_operation where shop_id = $1 and job_id = $2 and state <> 'done'"#,
            tx.shop_id(),
            id
        )
        .fetch_one(tx.conn())
        .await?;
    Ok(usize::try_from(left).unwrap_or(0))
}

/// Sets the state of an operation of an open job.
///
/// # Errors
/// [`DbError::Refused`] when the job is closed, [`DbError::Stale`], [`DbError::NotFound`],
/// [`DbError::Database`].
pub async fn set_operation_state(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    state: OperationState,
) -> Result<(), DbError> {
    let now = sqlx::query!(
        "select o.version, j.state, j.number
         from job_operation o join job j on j.shop_id = o.shop_id and j.id = o.job_id
         where o.shop_id = $1 and o.id = $2 for update",
        tx.shop_id(),
        id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this operation"))?;
    if now.state != JobState::Open.code() {
        return Err(Refusal::JobClosed {
            number: now.number,
            state: word("state of a job", &now.state)?,
        }
        .into());
    }
    if now.version != version {
        return Err(DbError::Stale("this operation"));
    }
    sqlx::query!(
        "update job_operation
         set state = $3, version = version + 1,
             started_at = case $3 when 'queued' then null when 'started' then coalesce(started_at, now()) else started_at end
         where shop_id = $1 and id = $2",
        tx.shop_id(),
        id,
        state.code(),
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// The work waiting for each kind of machine, by name.
///
/// # Errors
/// [`DbError::Database`].
pub async fn machine_load(tx: &mut ShopTx) -> Result<Vec<MachineLoad>, DbError> {
    let rows = sqlx::query!(
        r#"select o.machine_kind as "machine_kind!", count(*) as "operations!",
                  sum(o.setup_minutes + o.run_minutes) as "minutes!"
           from job_operation o join job j on j.shop_id = o.shop_id and j.id = o.job_id
           where o.shop_id = $1 and o.state <> 'done' and j.state = 'open'
           group by o.machine_kind order by o.machine_kind"#,
        tx.shop_id()
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| MachineLoad {
            machine_kind: row.machine_kind,
            operations: row.operations,
            minutes: Minutes(row.minutes),
        })
        .collect())
}

/// Why an update of an open job found no row.
async fn closed_or_stale(tx: &mut ShopTx, id: Uuid) -> DbError {
    match get(tx, id).await {
        Err(error) => error,
        Ok(job) if job.state != JobState::Open => Refusal::JobClosed {
            number: job.number,
            state: job.state,
        }
        .into(),
        Ok(_) => DbError::Stale("this job"),
    }
}

/// Refuses a job that is closed, and keeps others from closing it until this transaction ends.
///
/// # Errors
/// [`DbError::Refused`] when it is closed, [`DbError::NotFound`], [`DbError::Database`].
pub async fn open(tx: &mut ShopTx, job_id: Uuid) -> Result<(), DbError> {
    let job = sqlx::query!(
        "select number, state from job where shop_id = $1 and id = $2 for share",
        tx.shop_id(),
        job_id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this job"))?;
    if job.state == "open" {
        Ok(())
    } else {
        Err(Refusal::JobClosed {
            number: job.number,
            state: word("state of a job", &job.state)?,
        }
        .into())
    }
}
