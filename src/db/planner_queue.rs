//! The queue of the planner's runs, which is the worker library's.

use super::{DbError, ShopTx};
use sqlx::PgPool;

/// Asks for a run of the planner, though the floor has not changed: for a plan that time has overtaken.
///
/// # Errors
/// [`DbError::Database`].
pub async fn ask(tx: &mut ShopTx) -> Result<(), DbError> {
    sqlx::query!("select ask_for_a_plan($1)", tx.shop_id())
        .fetch_one(tx.conn())
        .await?;
    Ok(())
}

/// Asks for a run that makes the usable plan better once no shop waits for one; where promises are late, before others.
///
/// # Errors
/// [`DbError::Database`].
pub async fn ask_for_better(tx: &mut ShopTx, late: bool) -> Result<(), DbError> {
    sqlx::query!("select ask_for_a_better_plan($1, $2)", tx.shop_id(), late)
        .fetch_one(tx.conn())
        .await?;
    Ok(())
}

/// Whether a run that another shop waits for has not begun.
///
/// # Errors
/// [`DbError::Database`].
pub async fn others_wait(tx: &mut ShopTx) -> Result<bool, DbError> {
    // The table is the library's, as in `queue`.
    Ok(sqlx::query_scalar(
        "select exists (select from graphile_worker._private_jobs
                        where priority = 0 and is_available and run_at <= now()
                              and key like 'replan %' and key <> 'replan ' || $1::text)",
    )
    .bind(tx.shop_id())
    .fetch_one(tx.conn())
    .await?)
}

/// The queue of planning runs, of all shops together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Queue {
    /// Runs that are due and that nobody has taken.
    pub waiting: i64,
    /// Runs under way.
    pub running: i64,
    /// Runs that have failed as often as they may.
    pub failed: i64,
    /// For how long the one that has waited longest is due, in seconds.
    pub oldest_wait_seconds: f64,
}

/// The queue as it is now; `None` when every connection of the pool is taken, which is worth knowing by itself.
///
/// # Errors
/// [`DbError::Database`].
pub async fn queue(pool: &PgPool) -> Result<Option<Queue>, DbError> {
    let Some(mut tx) = pool.try_begin().await? else {
        return Ok(None);
    };
    // The tables are the library's, which makes them when the service starts, so this is not checked when it is compiled.
    let (waiting, running, failed, oldest_wait_seconds) = sqlx::query_as(
        "select count(*) filter (where locked_at is null and run_at <= now() and attempts < max_attempts),
                count(*) filter (where locked_at is not null),
                count(*) filter (where locked_at is null and attempts >= max_attempts),
                coalesce(extract(epoch from now() - min(run_at)
                                 filter (where locked_at is null and run_at <= now() and attempts < max_attempts)),
                         0)::float8
         from graphile_worker._private_jobs",
    )
    .fetch_one(&mut *tx)
    .await?;
    tx.commit().await?;
    Ok(Some(Queue {
        waiting,
        running,
        failed,
        oldest_wait_seconds,
    }))
}
