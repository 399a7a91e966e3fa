//! Records of what was measured on castings, and the sizes of their patterns.

use super::read::{corrupt, word};
use super::rows::broken;
use super::{DbError, ShopTx};
use crate::castings::measured::{Purpose, Readings, Sizes, Verdict};
use crate::units::Code;
use chrono::{DateTime, Utc};
use serde_json::Value;
use uuid::Uuid;

/// The sizes of a pattern; empty ones at version nought where none were entered.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn sizes(tx: &mut ShopTx, pattern_id: Uuid) -> Result<Sizes, DbError> {
    let row = sqlx::query!(
        "select sizes, version from pattern_sizes where shop_id = $1 and id = $2",
        tx.shop_id(),
        pattern_id
    )
    .fetch_optional(tx.conn())
    .await?;
    let (read, version) = match row {
        None => (Sizes::default(), 0),
        Some(row) => (read_sizes(row.sizes)?, row.version),
    };
    Ok(Sizes {
        pattern_id,
        version,
        ..read
    })
}

/// The sizes of the pattern that a casting was cast from.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn sizes_for_casting(tx: &mut ShopTx, casting_id: Uuid) -> Result<Sizes, DbError> {
    let pattern_id = sqlx::query_scalar!(
        "select v.pattern_id from casting c join variant v on v.shop_id = c.shop_id and v.id = c.variant_id
         where c.shop_id = $1 and c.id = $2",
        tx.shop_id(),
        casting_id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this casting"))?;
    sizes(tx, pattern_id).await
}

pub(super) fn read_sizes(stored: Value) -> Result<Sizes, DbError> {
    serde_json::from_value(stored).map_err(|why| corrupt("sizes of a pattern", why))
}

fn stored(what: &'static str, value: &impl serde::Serialize) -> Result<Value, DbError> {
    serde_json::to_value(value).map_err(|why| corrupt(what, why))
}

/// Stores the sizes of a pattern; `sizes.version` is the version the editor saw, nought where there were none.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Database`].
pub async fn set_sizes(tx: &mut ShopTx, sizes: &Sizes) -> Result<(), DbError> {
    let json = stored("sizes of a pattern", sizes)?;
    let shop = tx.shop_id();
    let done = if sizes.version == 0 {
        sqlx::query!(
            "insert into pattern_sizes (shop_id, id, sizes) values ($1, $2, $3) on conflict do nothing",
            shop,
            sizes.pattern_id,
            json
        )
        .execute(tx.conn())
        .await
    } else {
        sqlx::query!(
            "update pattern_sizes set sizes = $3, version = version + 1 where shop_id = $1 and id = $2 and version = $4",
            shop,
            sizes.pattern_id,
            json,
            sizes.version
        )
        .execute(tx.conn())
        .await
    };
    match done.map_err(broken)?.rows_affected() {
        0 => Err(DbError::Stale("the sizes")),
        _ => Ok(()),
    }
}

/// A record to be kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewRecord {
    /// The key made with the form.
    pub id: Uuid,
    /// The casting.
    pub casting_id: Uuid,
    /// The job whose work it checks.
    pub job_id: Option<Uuid>,
    /// When in its life.
    pub purpose: Purpose,
    /// What was read.
    pub readings: Readings,
    /// With what.
    pub instrument: String,
    /// Anything to say of it.
    pub note: String,
    /// When.
    pub at: DateTime<Utc>,
}

/// A record as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MeasuredRecord {
    /// What was recorded.
    pub record: NewRecord,
    /// The number of its job.
    pub job_number: Option<i64>,
    /// The sizes it was held against.
    pub sizes: Sizes,
    /// What it said.
    pub verdict: Verdict,
    /// Who measured.
    pub person: Option<String>,
}

/// Keeps a record on behalf of the transaction's person. False when it was kept before under the same key.
///
/// # Errors
/// [`DbError::NotFound`] when there is no such casting or job, [`DbError::Database`].
pub async fn insert(
    tx: &mut ShopTx,
    new: &NewRecord,
    sizes: &Sizes,
    verdict: Verdict,
) -> Result<bool, DbError> {
    let readings = stored("readings", &new.readings)?;
    let limits = stored("sizes of a pattern", sizes)?;
    let done = sqlx::query!(
        "insert into measured_record (shop_id, id, casting_id, job_id, purpose, readings, sizes, verdict, instrument, note,
                                      at, person_id)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12) on conflict (shop_id, id) do nothing",
        tx.shop_id(),
        new.id,
        new.casting_id,
        new.job_id,
        new.purpose.code(),
        readings,
        limits,
        verdict.code(),
        new.instrument,
        new.note,
        new.at,
        tx.person_id(),
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(done.rows_affected() > 0)
}

/// The records of a casting, newest first.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn of_casting(tx: &mut ShopTx, casting_id: Uuid) -> Result<Vec<MeasuredRecord>, DbError> {
    read(tx, casting_id, None).await
}

/// One record of a casting.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, casting_id: Uuid, id: Uuid) -> Result<MeasuredRecord, DbError> {
    let found = read(tx, casting_id, Some(id)).await?.into_iter().next();
    found.ok_or(DbError::NotFound("this record"))
}

async fn read(
    tx: &mut ShopTx,
    casting_id: Uuid,
    only: Option<Uuid>,
) -> Result<Vec<MeasuredRecord>, DbError> {
    sqlx::query!(
        r#"select r.id, r.job_id, j.number as "job_number?", r.purpose, r.readings, r.sizes, r.verdict, r.instrument, r.note,
                  r.at, p.name as "person?"
           from measured_record r
           left join job j on j.shop_id = r.shop_id and j.id = r.job_id
           left join person p on p.shop_id = r.shop_id and p.id = r.person_id
           where r.shop_id = $1 and r.casting_id = $2 and ($3::uuid is null or r.id = $3)
           order by r.at desc, r.id desc"#,
        tx.shop_id(),
        casting_id,
        only
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| {
        Ok(MeasuredRecord {
            record: NewRecord {
                id: row.id,
                casting_id,
                job_id: row.job_id,
                purpose: word("purpose of a record", &row.purpose)?,
                readings: serde_json::from_value(row.readings)
                    .map_err(|why| corrupt("readings", why))?,
                instrument: row.instrument,
                note: row.note,
                at: row.at,
            },
            job_number: row.job_number,
            sizes: read_sizes(row.sizes)?,
            verdict: word("verdict of a record", &row.verdict)?,
            person: row.person,
        })
    })
    .collect()
}
