//! Everyday work under a name: lists of standard times that quotes start from.

use super::read::{count, stored_count};
use super::rows::{Touched, broken, changed};
use super::{DbError, ShopTx};
use crate::estimating::{WorkList, WorkTemplate};
use uuid::Uuid;

/// All of them, by name.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn list(tx: &mut ShopTx) -> Result<Vec<WorkTemplate>, DbError> {
    read(tx, None).await
}

/// One of them.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, id: Uuid) -> Result<WorkTemplate, DbError> {
    let found = read(tx, Some(id)).await?.into_iter().next();
    found.ok_or(DbError::NotFound("this everyday work"))
}

async fn read(tx: &mut ShopTx, only: Option<Uuid>) -> Result<Vec<WorkTemplate>, DbError> {
    let rows = sqlx::query!(
        "select id, name, part, codes, counts, cylinders, mains, ask, version from work_template
         where shop_id = $1 and ($2::uuid is null or id = $2) order by lower(name)",
        tx.shop_id(),
        only
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
            Ok(WorkTemplate {
                id: row.id,
                name: row.name,
                list: WorkList {
                    part: row.part,
                    lines,
                    cylinders: number("cylinders", row.cylinders)?,
                    mains: number("main bearings", row.mains)?,
                },
                ask: row.ask,
                version: row.version,
            })
        })
        .collect()
}

/// A list as its columns.
struct Columns {
    codes: Vec<String>,
    counts: Vec<i32>,
    cylinders: Option<i32>,
    mains: Option<i32>,
}

impl Columns {
    fn of(list: &WorkList) -> Result<Self, DbError> {
        let number = |what, n: Option<u32>| n.map(|n| stored_count(what, n)).transpose();
        Ok(Self {
            codes: list.lines.iter().map(|(code, _)| code.clone()).collect(),
            counts: list
                .lines
                .iter()
                .map(|(_, n)| stored_count("count of work", *n))
                .collect::<Result<_, _>>()?,
            cylinders: number("cylinders", list.cylinders)?,
            mains: number("main bearings", list.mains)?,
        })
    }
}

/// Adds one; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::Duplicate`], [`DbError::Database`].
pub async fn insert(tx: &mut ShopTx, template: &WorkTemplate) -> Result<(), DbError> {
    let columns = Columns::of(&template.list)?;
    sqlx::query!(
        "insert into work_template (shop_id, id, name, part, codes, counts, cylinders, mains, ask)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        tx.shop_id(),
        template.id,
        template.name,
        template.list.part,
        &columns.codes,
        &columns.counts,
        columns.cylinders,
        columns.mains,
        template.ask,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(())
}

/// Changes one; `template.version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Duplicate`], [`DbError::Database`].
pub async fn update(tx: &mut ShopTx, template: &WorkTemplate) -> Result<(), DbError> {
    let columns = Columns::of(&template.list)?;
    let done = sqlx::query!(
        "update work_template set name = $3, part = $4, codes = $5, counts = $6, cylinders = $7, mains = $8, ask = $9,
                version = version + 1
         where shop_id = $1 and id = $2 and version = $10",
        tx.shop_id(),
        template.id,
        template.name,
        template.list.part,
        &columns.codes,
        &columns.counts,
        columns.cylinders,
        columns.mains,
        template.ask,
        template.version,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    changed(done, "this everyday work", get(tx, template.id)).await
}

/// Removes one.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::Database`].
pub async fn delete(tx: &mut ShopTx, id: Uuid, version: i32) -> Result<(), DbError> {
    sqlx::query!(
        "delete from work_template where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
    )
    .execute(tx.conn())
    .await?
    .or_stale("this everyday work")
}
