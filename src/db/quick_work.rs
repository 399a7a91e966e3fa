//! Work that callers want without a variant: the list behind an enquiry for quick work.

use super::read::{count, stored_count};
use super::{DbError, ShopTx};
use crate::estimating::WorkList;
use chrono::NaiveDate;
use serde::Serialize;
use std::collections::HashMap;
use uuid::Uuid;

/// What an enquiry for quick work asks for, beside its caller and its day.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct QuickWork {
    /// The work.
    pub list: WorkList,
    /// The day on which the customer brings the part; `None` when it is here.
    pub arrives_on: Option<NaiveDate>,
}

/// The quick work of those of these enquiries that ask for some.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn of(tx: &mut ShopTx, enquiries: &[Uuid]) -> Result<HashMap<Uuid, QuickWork>, DbError> {
    let rows = sqlx::query!(
        "select id, part, codes, counts, cylinders, mains, arrives_on from quick_work
         where shop_id = $1 and id = any ($2)",
        tx.shop_id(),
        enquiries
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            let lines = row
                .codes
                .into_iter()
                .zip(row.counts)
                .map(|(code, times)| Ok((code, count("count of work", times)?)))
                .collect::<Result<_, DbError>>()?;
            let number = |what, stored: Option<i32>| stored.map(|n| count(what, n)).transpose();
            let list = WorkList {
                part: row.part,
                lines,
                cylinders: number("cylinders", row.cylinders)?,
                mains: number("main bearings", row.mains)?,
            };
            let arrives_on = row.arrives_on;
            Ok((row.id, QuickWork { list, arrives_on }))
        })
        .collect()
}

/// The quick work of an enquiry, if it asks for some.
///
/// # Errors
/// As [`of`].
pub async fn get(tx: &mut ShopTx, enquiry_id: Uuid) -> Result<Option<QuickWork>, DbError> {
    Ok(of(tx, &[enquiry_id]).await?.remove(&enquiry_id))
}

/// Writes the quick work of an enquiry down, over what it had. The enquiry's own version says who may.
///
/// # Errors
/// [`DbError::Corrupt`] for a count beyond what can be kept, [`DbError::Database`].
pub async fn save(tx: &mut ShopTx, enquiry_id: Uuid, work: &QuickWork) -> Result<(), DbError> {
    let list = &work.list;
    let codes: Vec<String> = list.lines.iter().map(|(code, _)| code.clone()).collect();
    let counts = list
        .lines
        .iter()
        .map(|(_, n)| stored_count("count of work", *n))
        .collect::<Result<Vec<i32>, DbError>>()?;
    sqlx::query!(
        "insert into quick_work (shop_id, id, part, codes, counts, cylinders, mains, arrives_on)
         values ($1, $2, $3, $4, $5, $6, $7, $8)
         on conflict (shop_id, id) do update
         set part = $3, codes = $4, counts = $5, cylinders = $6, mains = $7, arrives_on = $8,
             version = quick_work.version + 1",
        tx.shop_id(),
        enquiry_id,
        list.part,
        &codes,
        &counts,
        list.cylinders
            .map(|n| stored_count("cylinders", n))
            .transpose()?,
        list.mains
            .map(|n| stored_count("main bearings", n))
            .transpose()?,
        work.arrives_on,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}
