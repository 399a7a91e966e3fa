//! Work done before the shop booked its hours here, with the hours it took.

use super::read::{corrupt, count, stored_count};
use super::{DbError, ShopTx};
use crate::units::Minutes;
use chrono::NaiveDate;
use uuid::Uuid;

/// One piece of work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PastWork {
    /// Key.
    pub id: Uuid,
    /// The same for all rows of one job.
    pub job_id: Uuid,
    /// The job, as the shop called it; may be empty.
    pub job: String,
    /// For whom; may be empty.
    pub customer: String,
    /// When it was done.
    pub done_on: NaiveDate,
    /// What was done.
    pub element_id: Uuid,
    /// How many times.
    pub count: u32,
    /// How long it took in all, setup included.
    pub minutes: Minutes,
}

/// Enters past work.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn insert(tx: &mut ShopTx, all: &[PastWork]) -> Result<(), DbError> {
    for work in all {
        sqlx::query!(
            "insert into past_work (shop_id, id, job_key, job, customer, done_on, element_id, count, minutes)
             values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
            tx.shop_id(),
            work.id,
            work.job_id,
            work.job,
            work.customer,
            work.done_on,
            work.element_id,
            stored_count("count", work.count)?,
            work.minutes.0,
        )
        .execute(tx.conn())
        .await?;
    }
    Ok(())
}

/// Past work done on or after a day, in the order of the days.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn since(tx: &mut ShopTx, day: NaiveDate) -> Result<Vec<PastWork>, DbError> {
    let rows = sqlx::query!(
        "select id, job_key, job, customer, done_on, element_id, count, minutes
         from past_work where shop_id = $1 and done_on >= $2 order by done_on, id",
        tx.shop_id(),
        day,
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(PastWork {
                id: row.id,
                job_id: row.job_key,
                job: row.job,
                customer: row.customer,
                done_on: row.done_on,
                element_id: row.element_id,
                count: count("count", row.count)?,
                minutes: Minutes::new(row.minutes).map_err(|why| corrupt("minutes", why))?,
            })
        })
        .collect()
}
