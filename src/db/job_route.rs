//! The route of a job under way, written after it was changed by hand.

use super::read::corrupt;
use super::{DbError, Refusal, ShopTx, needs};
use crate::jobs::{OperationState, Routed};
use uuid::Uuid;

/// Writes what differs between a route and what it has become. The job must be locked, and `before` what is stored.
///
/// # Errors
/// [`DbError::Refused`] when something was booked on an operation that is left out, [`DbError::Corrupt`],
/// [`DbError::Database`].
pub async fn replace(
    tx: &mut ShopTx,
    job_id: Uuid,
    before: &[Routed],
    after: &[Routed],
) -> Result<(), DbError> {
    let kept = |id: Uuid| after.iter().any(|o| o.id == id);
    for gone in before.iter().filter(|o| !kept(o.id)) {
        needs::drop_of_operation(tx, job_id, gone.id).await?;
        leave_out(tx, gone.id).await?;
    }
    let changed: Vec<&Routed> = after
        .iter()
        .filter(|o| before.iter().any(|was| was.id == o.id && was != *o))
        .collect();
    // Two that change numbers would meet: each is out of the way first.
    for operation in &changed {
        let was = before.iter().find(|was| was.id == operation.id);
        if was.is_some_and(|was| was.planned.number != operation.planned.number) {
            set_aside(tx, operation.id).await?;
        }
    }
    for operation in changed {
        write(tx, operation).await?;
    }
    for new in after {
        if before.iter().all(|was| was.id != new.id) {
            insert(tx, job_id, new).await?;
        }
    }
    Ok(())
}

/// Leaves an operation that waits out of the route.
async fn leave_out(tx: &mut ShopTx, id: Uuid) -> Result<(), DbError> {
    let gone = sqlx::query!(
        "delete from job_operation where shop_id = $1 and id = $2 and state = 'queued'",
        tx.shop_id(),
        id
    )
    .execute(tx.conn())
    .await
    .map_err(|error| match error.as_database_error() {
        Some(db) if db.is_foreign_key_violation() => Refusal::OperationWasBooked.into(),
        _ => DbError::from(error),
    })?;
    match gone.rows_affected() {
        0 => Err(DbError::Stale("this job")),
        _ => Ok(()),
    }
}

/// Gives an operation a number that no other has for the moment.
async fn set_aside(tx: &mut ShopTx, id: Uuid) -> Result<(), DbError> {
    sqlx::query!(
        "update job_operation set number = -number, planned = jsonb_set(planned, '{number}', to_jsonb(-number))
         where shop_id = $1 and id = $2",
        tx.shop_id(),
        id
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

async fn write(tx: &mut ShopTx, operation: &Routed) -> Result<(), DbError> {
    let planned = serde_json::to_value(&operation.planned)
        .map_err(|why| corrupt("planned operation", why))?;
    sqlx::query!(
        "update job_operation set number = ($3::jsonb ->> 'number')::int, planned = $3, version = version + 1
         where shop_id = $1 and id = $2",
        tx.shop_id(),
        operation.id,
        planned,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

async fn insert(tx: &mut ShopTx, job_id: Uuid, operation: &Routed) -> Result<(), DbError> {
    debug_assert_eq!(operation.state, OperationState::Queued);
    let planned = serde_json::to_value(&operation.planned)
        .map_err(|why| corrupt("planned operation", why))?;
    sqlx::query!(
        "insert into job_operation (shop_id, id, job_id, number, planned, added)
         values ($1, $2, $3, ($4::jsonb ->> 'number')::int, $4, $5)",
        tx.shop_id(),
        operation.id,
        job_id,
        planned,
        operation.added,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Counts a change to a job that was locked.
///
/// # Errors
/// [`DbError::Database`].
pub async fn count(tx: &mut ShopTx, job_id: Uuid) -> Result<(), DbError> {
    sqlx::query!(
        "update job set version = version + 1 where shop_id = $1 and id = $2",
        tx.shop_id(),
        job_id
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}
