//! Batches of parts that jobs make.

use super::super::read::{corrupt, count, word};
use super::super::rows::Touched;
use super::super::{DbError, ShopTx};
use super::{For, Reason, book};
use crate::estimating::Operation;
use crate::jobs::{JobState, OperationState};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use uuid::Uuid;

/// Pieces of a part that a job makes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Batch {
    /// Key.
    pub id: Uuid,
    /// The item of stock.
    pub item_id: Uuid,
    /// Its name.
    pub item: String,
    /// What it is counted in.
    pub unit: String,
    /// The job.
    pub job_id: Uuid,
    /// Number of the job.
    pub job_number: i64,
    /// Its state.
    pub job_state: JobState,
    /// The day it is due.
    pub due_on: NaiveDate,
    /// How many pieces.
    pub pieces: u32,
    /// What the job itself still waits for of them.
    pub for_job: Decimal,
    /// The operation that finishes them: number and state; `None` once it was left out of the route.
    pub finished_by: Option<(u32, OperationState)>,
    /// Good pieces that came out; `None` until somebody has counted.
    pub came: Option<Decimal>,
    /// Counts edits.
    pub version: i32,
}

struct Row {
    id: Uuid,
    item_id: Uuid,
    item: String,
    unit: String,
    job_id: Uuid,
    job_number: i64,
    job_state: String,
    due_on: NaiveDate,
    pieces: i32,
    for_job: Decimal,
    number: Option<i32>,
    state: Option<String>,
    came: Option<Decimal>,
    version: i32,
}

impl TryFrom<Row> for Batch {
    type Error = DbError;

    fn try_from(row: Row) -> Result<Self, DbError> {
        let finished_by = match row.number.zip(row.state) {
            Some((number, state)) => Some((
                count("number of an operation", number)?,
                word("state of an operation", &state)?,
            )),
            None => None,
        };
        Ok(Self {
            id: row.id,
            item_id: row.item_id,
            item: row.item,
            unit: row.unit,
            job_id: row.job_id,
            job_number: row.job_number,
            job_state: word("state of a job", &row.job_state)?,
            due_on: row.due_on,
            pieces: count("pieces", row.pieces)?,
            for_job: row.for_job.normalize(),
            finished_by,
            came: row.came.map(|came| came.normalize()),
            version: row.version,
        })
    }
}

/// The batches of a job, in the order in which they were added.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn batches_of_job(tx: &mut ShopTx, job_id: Uuid) -> Result<Vec<Batch>, DbError> {
    read(tx, Some(job_id), None).await
}

/// The batches of an item that nobody has counted and no job was cancelled with, the first to come first.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn batches_of_item(tx: &mut ShopTx, item_id: Uuid) -> Result<Vec<Batch>, DbError> {
    let mut batches = read(tx, None, Some(item_id)).await?;
    batches.retain(|batch| batch.job_state != JobState::Cancelled);
    batches.sort_by_key(|batch| (batch.due_on, batch.job_number));
    Ok(batches)
}

/// One batch of a job.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn batch(tx: &mut ShopTx, job_id: Uuid, id: Uuid) -> Result<Batch, DbError> {
    let mut batches = batches_of_job(tx, job_id).await?.into_iter();
    let found = batches.find(|batch| batch.id == id);
    found.ok_or(DbError::NotFound("this batch"))
}

async fn read(
    tx: &mut ShopTx,
    job_id: Option<Uuid>,
    item_id: Option<Uuid>,
) -> Result<Vec<Batch>, DbError> {
    sqlx::query_as!(
        Row,
        r#"select b.id, b.item_id, i.name as item, i.unit, b.job_id, j.number as job_number, j.state as job_state, j.due_on,
                  b.pieces,
                  coalesce((select sum(n.quantity) from need n
                            where n.shop_id = b.shop_id and n.batch_id = b.id and n.state = 'wanted'), 0) as "for_job!",
                  o.number as "number?", o.state as "state?", b.came, b.version
           from made_batch b
           join stock_item i on i.shop_id = b.shop_id and i.id = b.item_id
           join job j on j.shop_id = b.shop_id and j.id = b.job_id
           left join job_operation o on o.shop_id = b.shop_id and o.id = b.operation_id
           where b.shop_id = $1 and (b.job_id = $2 or b.item_id = $3 and b.being_made)
           order by b.id"#,
        tx.shop_id(),
        job_id,
        item_id,
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(Batch::try_from)
    .collect()
}

/// Writes down the batches that operations of a job make: one for each operation that finishes pieces. Gives each with its
/// item.
///
/// # Errors
/// [`DbError::Corrupt`] for an operation number out of range, [`DbError::Database`].
pub async fn start_batches(
    tx: &mut ShopTx,
    job_id: Uuid,
    operations: &[Operation],
) -> Result<Vec<(Uuid, Uuid)>, DbError> {
    let mut started = Vec::new();
    for operation in operations {
        let Some(makes) = operation.makes.as_ref().filter(|makes| makes.last) else {
            continue;
        };
        let number =
            i32::try_from(operation.number).map_err(|why| corrupt("operation number", why))?;
        let pieces = i32::try_from(makes.pieces).map_err(|why| corrupt("pieces", why))?;
        let id = Uuid::now_v7();
        let done = sqlx::query!(
            "insert into made_batch (shop_id, id, item_id, job_id, operation_id, pieces)
             select $1, $2, i.id, $3, o.id, $6
             from stock_item i
             join job_operation o on o.shop_id = i.shop_id and o.job_id = $3 and o.number = $5
             where i.shop_id = $1 and i.id = $4",
            tx.shop_id(),
            id,
            job_id,
            makes.item_id,
            number,
            pieces,
        )
        .execute(tx.conn())
        .await?;
        if done.rows_affected() == 1 {
            started.push((makes.item_id, id));
        }
    }
    Ok(started)
}

/// Books the good pieces that came out of a batch into stock; `batch` is as its counter saw it.
///
/// # Errors
/// [`DbError::Stale`], also when it was counted already, [`DbError::Database`].
pub async fn book_batch(tx: &mut ShopTx, batch: &Batch, came: Decimal) -> Result<(), DbError> {
    sqlx::query!(
        "update made_batch set came = $4, version = version + 1
         where shop_id = $1 and id = $2 and version = $3 and came is null",
        tx.shop_id(),
        batch.id,
        batch.version,
        came,
    )
    .execute(tx.conn())
    .await?
    .or_stale("this batch")?;
    if came.is_zero() {
        return Ok(());
    }
    let whose = For {
        batch_id: Some(batch.id),
        ..For::default()
    };
    book(tx, batch.item_id, came, Reason::Made, whose, "").await
}

/// The needs that wait for a batch, by operation: key, version and quantity.
///
/// # Errors
/// [`DbError::Database`].
pub async fn waiting_for_batch(
    tx: &mut ShopTx,
    batch_id: Uuid,
) -> Result<Vec<(Uuid, i32, Decimal)>, DbError> {
    let rows = sqlx::query!(
        r#"select n.id, n.version, n.quantity from need n
           left join job_operation o on o.shop_id = n.shop_id and o.id = n.operation_id
           where n.shop_id = $1 and n.batch_id = $2 and n.state = 'wanted'
           order by o.number nulls first, n.id"#,
        tx.shop_id(),
        batch_id
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.id, row.version, row.quantity))
        .collect())
}
