//! Reusable tooling: sets of temporary bolts, mandrels. A set is out with one job at a time and comes back.

use super::rows::{broken, changed};
use super::{DbError, Refusal, ShopTx, jobs};
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

/// What is written down about a set of tooling.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToolDetails {
    /// What it is.
    pub name: String,
    /// Where it is kept.
    pub kept_at: String,
    /// What is worth knowing.
    pub note: String,
    /// Whether it is still in use.
    pub active: bool,
}

/// The job that has a set out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Out {
    /// The job.
    pub job_id: Uuid,
    /// Its number.
    pub job_number: i64,
    /// Whether that job is still open; one that is closed should have given it back.
    pub job_open: bool,
    /// The day that job is worked to.
    pub due_on: NaiveDate,
    /// The day somebody said it comes back.
    pub expected_on: Option<NaiveDate>,
    /// Since when.
    pub since: DateTime<Utc>,
    /// Who took it.
    pub by: Option<String>,
}

impl Out {
    /// The day it can be counted on again: the one somebody named, or else that on which its job is due. A job that is
    /// closed and has not given it back says nothing.
    #[must_use]
    pub fn back_on(&self) -> Option<NaiveDate> {
        self.expected_on
            .or_else(|| self.job_open.then_some(self.due_on))
    }

    /// Whether it should have been back by now.
    #[must_use]
    pub fn is_overdue(&self, today: NaiveDate) -> bool {
        self.back_on().is_none_or(|day| day < today)
    }
}

/// A set of tooling.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tool {
    /// Key.
    pub id: Uuid,
    /// What is written down about it.
    pub details: ToolDetails,
    /// Who has it; `None` when it is in the shop.
    pub out: Option<Out>,
    /// Counts edits.
    pub version: i32,
}

struct Row {
    id: Uuid,
    name: String,
    kept_at: String,
    note: String,
    active: bool,
    version: i32,
    job_id: Option<Uuid>,
    job_number: Option<i64>,
    job_state: Option<String>,
    due_on: Option<NaiveDate>,
    expected_on: Option<NaiveDate>,
    since: Option<DateTime<Utc>>,
    by: Option<String>,
}

impl From<Row> for Tool {
    fn from(row: Row) -> Self {
        let out = match (row.job_id, row.job_number, row.due_on, row.since) {
            (Some(job_id), Some(job_number), Some(due_on), Some(since)) => Some(Out {
                job_id,
                job_number,
                job_open: row.job_state.as_deref() == Some("open"),
                due_on,
                expected_on: row.expected_on,
                since,
                by: row.by,
            }),
            _ => None,
        };
        Self {
            id: row.id,
            details: ToolDetails {
                name: row.name,
                kept_at: row.kept_at,
                note: row.note,
                active: row.active,
            },
            out,
            version: row.version,
        }
    }
}

/// Sets by name; those no longer in use too when `all`.
///
/// # Errors
/// [`DbError::Database`].
pub async fn list(tx: &mut ShopTx, all: bool) -> Result<Vec<Tool>, DbError> {
    read(tx, all, None).await
}

/// One set.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, id: Uuid) -> Result<Tool, DbError> {
    let found = read(tx, true, Some(&[id])).await?.pop();
    found.ok_or(DbError::NotFound("this tooling"))
}

/// The sets of these keys.
///
/// # Errors
/// [`DbError::Database`].
pub(super) async fn these(tx: &mut ShopTx, keys: &[Uuid]) -> Result<Vec<Tool>, DbError> {
    read(tx, true, Some(keys)).await
}

async fn read(tx: &mut ShopTx, all: bool, keys: Option<&[Uuid]>) -> Result<Vec<Tool>, DbError> {
    let rows = sqlx::query_as!(
        Row,
        r#"select t.id, t.name, t.kept_at, t.note, t.active, t.version, j.id as "job_id?", j.number as "job_number?",
                  j.state as "job_state?", j.due_on as "due_on?", l.expected_on as "expected_on?", l.out_at as "since?", p.name as "by?"
           from tool t
           left join tool_loan l on l.shop_id = t.shop_id and l.tool_id = t.id and l.back_at is null
           left join job j on j.shop_id = l.shop_id and j.id = l.job_id
           left join person p on p.shop_id = l.shop_id and p.id = l.out_by
           where t.shop_id = $1 and (t.active or $2) and ($3::uuid[] is null or t.id = any ($3))
           order by lower(t.name)"#,
        tx.shop_id(),
        all,
        keys,
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().map(Tool::from).collect())
}

/// Adds a set.
///
/// # Errors
/// [`DbError::Duplicate`] when there is one of that name, [`DbError::Database`].
pub async fn insert(tx: &mut ShopTx, details: &ToolDetails) -> Result<Uuid, DbError> {
    let id = Uuid::now_v7();
    sqlx::query!(
        "insert into tool (shop_id, id, name, kept_at, note, active) values ($1, $2, $3, $4, $5, $6)",
        tx.shop_id(),
        id,
        details.name,
        details.kept_at,
        details.note,
        details.active,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(id)
}

/// Changes what is written down about a set; `version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Duplicate`], [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Database`].
pub async fn update(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    details: &ToolDetails,
) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update tool set name = $4, kept_at = $5, note = $6, active = $7, version = version + 1
         where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
        details.name,
        details.kept_at,
        details.note,
        details.active,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    changed(done, "this tooling", get(tx, id)).await
}

/// A set goes out with an open job.
///
/// # Errors
/// [`DbError::Refused`] when it is out with another or the job is closed, [`DbError::NotFound`],
/// [`DbError::Database`].
pub async fn take_out(tx: &mut ShopTx, id: Uuid, job_id: Uuid) -> Result<(), DbError> {
    jobs::open(tx, job_id).await?;
    if let Some(out) = get(tx, id).await?.out {
        return Err(out_already(Some(out.job_number)));
    }
    sqlx::query!(
        "insert into tool_loan (shop_id, id, tool_id, job_id, out_by) values ($1, $2, $3, $4, $5)",
        tx.shop_id(),
        Uuid::now_v7(),
        id,
        job_id,
        tx.person_id(),
    )
    .execute(tx.conn())
    .await
    .map_err(
        |error| match error.as_database_error().and_then(|db| db.constraint()) {
            Some("tool_out_once") => out_already(None),
            _ => error.into(),
        },
    )?;
    Ok(())
}

fn out_already(job: Option<i64>) -> DbError {
    Refusal::ToolIsOut { with: job }.into()
}

/// Says on which day a set that is out comes back; `None`: when its job is due.
///
/// # Errors
/// [`DbError::Refused`] when it is not out with that job, [`DbError::Database`].
pub async fn expect_back(
    tx: &mut ShopTx,
    id: Uuid,
    job_id: Uuid,
    expected_on: Option<NaiveDate>,
) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update tool_loan set expected_on = $4
         where shop_id = $1 and tool_id = $2 and job_id = $3 and back_at is null",
        tx.shop_id(),
        id,
        job_id,
        expected_on,
    )
    .execute(tx.conn())
    .await?;
    with_that_job(done.rows_affected())
}

fn with_that_job(rows: u64) -> Result<(), DbError> {
    if rows == 0 {
        return Err(Refusal::ToolNotWithJob.into());
    }
    Ok(())
}

/// A set comes back from a job.
///
/// # Errors
/// [`DbError::Refused`] when it is not out with that job, [`DbError::Database`].
pub async fn bring_back(tx: &mut ShopTx, id: Uuid, job_id: Uuid) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update tool_loan set back_at = now(), back_by = $4
         where shop_id = $1 and tool_id = $2 and job_id = $3 and back_at is null",
        tx.shop_id(),
        id,
        job_id,
        tx.person_id(),
    )
    .execute(tx.conn())
    .await?;
    with_that_job(done.rows_affected())
}
