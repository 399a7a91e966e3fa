//! What goes out with jobs for whoever fits them, and the calls that come back.

use super::read::{money, word};
use super::rows::{Touched, broken, changed};
use super::{DbError, ShopTx};
use crate::jobs::{Aftercare, FittingText};
use crate::units::{Code, Currency, Money};
use chrono::NaiveDate;
use uuid::Uuid;

/// The texts for fitting sheets, those for every job first.
///
/// # Errors
/// [`DbError::Database`].
pub async fn fitting_texts(tx: &mut ShopTx) -> Result<Vec<FittingText>, DbError> {
    read_texts(tx, None).await
}

/// One text.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn fitting_text(tx: &mut ShopTx, id: Uuid) -> Result<FittingText, DbError> {
    let found = read_texts(tx, Some(id)).await?.into_iter().next();
    found.ok_or(DbError::NotFound("this text"))
}

async fn read_texts(tx: &mut ShopTx, only: Option<Uuid>) -> Result<Vec<FittingText>, DbError> {
    Ok(sqlx::query_as!(
        FittingText,
        "select id, code, heading, fit, first_run, version from fitting_text
         where shop_id = $1 and ($2::uuid is null or id = $2) order by code",
        tx.shop_id(),
        only
    )
    .fetch_all(tx.conn())
    .await?)
}

/// Adds a text; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::Duplicate`] when there is one for its element, [`DbError::Database`].
pub async fn insert_text(tx: &mut ShopTx, text: &FittingText) -> Result<(), DbError> {
    sqlx::query!(
        "insert into fitting_text (shop_id, id, code, heading, fit, first_run) values ($1, $2, $3, $4, $5, $6)",
        tx.shop_id(),
        text.id,
        text.code,
        text.heading,
        text.fit,
        text.first_run,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(())
}

/// Changes a text; `text.version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Duplicate`], [`DbError::Database`].
pub async fn update_text(tx: &mut ShopTx, text: &FittingText) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update fitting_text set code = $3, heading = $4, fit = $5, first_run = $6, version = version + 1
         where shop_id = $1 and id = $2 and version = $7",
        tx.shop_id(),
        text.id,
        text.code,
        text.heading,
        text.fit,
        text.first_run,
        text.version,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    changed(done, "this text", fitting_text(tx, text.id)).await
}

/// Removes a text.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::Database`].
pub async fn delete_text(tx: &mut ShopTx, id: Uuid, version: i32) -> Result<(), DbError> {
    sqlx::query!(
        "delete from fitting_text where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
    )
    .execute(tx.conn())
    .await?
    .or_stale("this text")
}

/// The calls about a job, newest first.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn of_job(tx: &mut ShopTx, job_id: Uuid) -> Result<Vec<Aftercare>, DbError> {
    read(tx, job_id, None).await
}

/// One call about a job.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, job_id: Uuid, id: Uuid) -> Result<Aftercare, DbError> {
    let found = read(tx, job_id, Some(id)).await?.into_iter().next();
    found.ok_or(DbError::NotFound("this call"))
}

async fn read(
    tx: &mut ShopTx,
    job_id: Uuid,
    only: Option<Uuid>,
) -> Result<Vec<Aftercare>, DbError> {
    let rows = sqlx::query!(
        "select id, kind, came_on, said, code, cause, done, paid_by, cost, currency, settled_on, version from aftercare
         where shop_id = $1 and job_id = $2 and ($3::uuid is null or id = $3) order by came_on desc, id desc",
        tx.shop_id(),
        job_id,
        only
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Aftercare {
                id: row.id,
                job_id,
                kind: word("kind of call", &row.kind)?,
                came_on: row.came_on,
                said: row.said,
                code: row.code,
                cause: word("cause of a call", &row.cause)?,
                done: row.done,
                paid_by: word("who paid", &row.paid_by)?,
                cost: money("cost of a call", row.cost, &row.currency)?,
                settled_on: row.settled_on,
                version: row.version,
            })
        })
        .collect()
}

/// Adds a call; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::NotFound`] when there is no such job, [`DbError::Database`].
pub async fn insert(tx: &mut ShopTx, call: &Aftercare) -> Result<(), DbError> {
    let currency = call.cost.currency();
    sqlx::query!(
        "insert into aftercare (shop_id, id, job_id, kind, came_on, said, code, cause, done, paid_by, cost, currency, settled_on)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)",
        tx.shop_id(),
        call.id,
        call.job_id,
        call.kind.code(),
        call.came_on,
        call.said,
        call.code,
        call.cause.code(),
        call.done,
        call.paid_by.code(),
        call.cost.amount(),
        currency.code(),
        call.settled_on,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(())
}

/// Changes a call; `call.version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Database`].
pub async fn update(tx: &mut ShopTx, call: &Aftercare) -> Result<(), DbError> {
    let currency = call.cost.currency();
    let done = sqlx::query!(
        "update aftercare set kind = $4, came_on = $5, said = $6, code = $7, cause = $8, done = $9, paid_by = $10, cost = $11,
                currency = $12, settled_on = $13, version = version + 1
         where shop_id = $1 and job_id = $2 and id = $3 and version = $14",
        tx.shop_id(),
        call.job_id,
        call.id,
        call.kind.code(),
        call.came_on,
        call.said,
        call.code,
        call.cause.code(),
        call.done,
        call.paid_by.code(),
        call.cost.amount(),
        currency.code(),
        call.settled_on,
        call.version,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    changed(done, "this call", get(tx, call.job_id, call.id)).await
}

/// What calls cost the shop, by the kind of the option their job was quoted as: empty for jobs without a quote.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Borne {
    /// The kind of the quoted option.
    pub kind: String,
    /// How many calls, whoever paid.
    pub calls: i64,
    /// What the shop paid.
    pub cost: Money,
}

/// What the calls that came in some days, both included, cost the shop.
///
/// # Errors
/// [`DbError::Database`].
pub async fn borne(
    tx: &mut ShopTx,
    (from, until): (NaiveDate, NaiveDate),
    currency: Currency,
) -> Result<Vec<Borne>, DbError> {
    let rows = sqlx::query!(
        r#"select coalesce(q.option_kind, '') as "kind!", count(*) as "calls!",
                  coalesce(sum(a.cost) filter (where a.paid_by = 'shop' and a.currency = $4), 0) as "cost!"
           from aftercare a
           join job j on j.shop_id = a.shop_id and j.id = a.job_id
           left join quote q on q.shop_id = j.shop_id and q.id = j.quote_id
           where a.shop_id = $1 and a.came_on between $2 and $3 group by 1 order by 1"#,
        tx.shop_id(),
        from,
        until,
        currency.code(),
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| Borne {
            kind: row.kind,
            calls: row.calls,
            cost: Money::new(row.cost, currency),
        })
        .collect())
}
