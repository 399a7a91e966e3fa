//! Which patterns have castings that can be donors for which others, and what a job makes of one.

use super::read::{corrupt, stored_count};
use super::rows::{Touched, broken, changed};
use super::{DbError, ShopTx, castings, quotes};
use crate::castings::{Correspondence, Pattern, Variant};
use crate::enquiry::{RelatedDonor, RelatedPattern};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use uuid::Uuid;

const WHAT: &str = "related pattern";

/// Which of them are read.
#[derive(Debug, Clone, Copy, Default)]
pub struct Which {
    /// Those for this wanted pattern only.
    pub wanted: Option<Uuid>,
    /// Those with donors of this pattern only.
    pub donor: Option<Uuid>,
}

/// All of them that are asked for, in the order they were entered.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn list(tx: &mut ShopTx, which: Which) -> Result<Vec<RelatedPattern>, DbError> {
    read(tx, None, which).await
}

/// One of them.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, id: Uuid) -> Result<RelatedPattern, DbError> {
    let found = read(tx, Some(id), Which::default()).await?;
    let first = found.into_iter().next();
    first.ok_or(DbError::NotFound("the related pattern"))
}

async fn read(
    tx: &mut ShopTx,
    only: Option<Uuid>,
    which: Which,
) -> Result<Vec<RelatedPattern>, DbError> {
    let rows = sqlx::query!(
        "select id, wanted_pattern_id, donor_pattern_id, shifts, labels, lasting, note, version from related_pattern
         where shop_id = $1 and ($2::uuid is null or id = $2) and ($3::uuid is null or wanted_pattern_id = $3)
               and ($4::uuid is null or donor_pattern_id = $4)
         order by id",
        tx.shop_id(),
        only,
        which.wanted,
        which.donor,
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(RelatedPattern {
                id: row.id,
                wanted: row.wanted_pattern_id,
                donor: row.donor_pattern_id,
                places: Correspondence {
                    shifts: understood(row.shifts)?,
                    labels: understood(row.labels)?,
                },
                lasting: understood(row.lasting)?,
                note: row.note,
                version: row.version,
            })
        })
        .collect()
}

fn understood<T: DeserializeOwned>(stored: Value) -> Result<T, DbError> {
    serde_json::from_value(stored).map_err(|why| corrupt(WHAT, why))
}

fn stored(value: &impl Serialize) -> Result<Value, DbError> {
    serde_json::to_value(value).map_err(|why| corrupt(WHAT, why))
}

/// Adds one; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::Duplicate`] when the two are related already, [`DbError::NotFound`] when one of them is not there,
/// [`DbError::Database`].
pub async fn insert(tx: &mut ShopTx, related: &RelatedPattern) -> Result<(), DbError> {
    sqlx::query!(
        "insert into related_pattern (shop_id, id, wanted_pattern_id, donor_pattern_id, shifts, labels, lasting, note)
         values ($1, $2, $3, $4, $5, $6, $7, $8)",
        tx.shop_id(),
        related.id,
        related.wanted,
        related.donor,
        stored(&related.places.shifts)?,
        stored(&related.places.labels)?,
        stored(&related.lasting)?,
        related.note,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(())
}

/// Changes one; `related.version` is the version the editor saw. The pattern that is wanted stays.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Duplicate`], [`DbError::Database`].
pub async fn update(tx: &mut ShopTx, related: &RelatedPattern) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update related_pattern set donor_pattern_id = $3, shifts = $4, labels = $5, lasting = $6, note = $7,
                version = version + 1
         where shop_id = $1 and id = $2 and version = $8",
        tx.shop_id(),
        related.id,
        related.donor,
        stored(&related.places.shifts)?,
        stored(&related.places.labels)?,
        stored(&related.lasting)?,
        related.note,
        related.version,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    changed(done, "the related pattern", get(tx, related.id)).await
}

/// Removes one.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::Database`].
pub async fn delete(tx: &mut ShopTx, id: Uuid, version: i32) -> Result<(), DbError> {
    sqlx::query!(
        "delete from related_pattern where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
    )
    .execute(tx.conn())
    .await?
    .or_stale("the related pattern")
}

/// A pattern by name, for choosing from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PatternName {
    /// Key.
    pub id: Uuid,
    /// Name.
    pub name: String,
}

/// The other patterns with as many cylinders and main bearings as this one, by name.
///
/// # Errors
/// [`DbError::Database`].
pub async fn of_the_same_engine(
    tx: &mut ShopTx,
    pattern: &Pattern,
) -> Result<Vec<PatternName>, DbError> {
    Ok(sqlx::query_as!(
        PatternName,
        "select id, name from pattern where shop_id = $1 and id <> $2 and cylinders = $3 and mains = $4 order by lower(name)",
        tx.shop_id(),
        pattern.id,
        stored_count("cylinders", pattern.cylinders)?,
        stored_count("mains", pattern.mains)?,
    )
    .fetch_all(tx.conn())
    .await?)
}

/// What a job makes that comes from a quote.
#[derive(Debug, Clone)]
pub struct WantedOfJob {
    /// The wanted variant.
    pub variant: Variant,
    /// Its pattern.
    pub pattern: Pattern,
    /// The donor that was quoted, when it is of another pattern.
    pub related: Option<RelatedDonor>,
}

/// What the caller wanted whose quote a job comes from; `None` where that is no variant.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn wanted_of_job(tx: &mut ShopTx, job_id: Uuid) -> Result<Option<WantedOfJob>, DbError> {
    let wanted = sqlx::query!(
        r#"select e.wanted_variant_id as "id!", q.related from job j
           join quote q on q.shop_id = j.shop_id and q.id = j.quote_id
           join enquiry e on e.shop_id = q.shop_id and e.id = q.enquiry_id
           where j.shop_id = $1 and j.id = $2 and e.wanted_variant_id is not null"#,
        tx.shop_id(),
        job_id,
    )
    .fetch_optional(tx.conn())
    .await?;
    let Some(wanted) = wanted else {
        return Ok(None);
    };
    let variant = castings::variant(tx, wanted.id).await?;
    Ok(Some(WantedOfJob {
        pattern: castings::pattern(tx, variant.pattern_id).await?,
        variant,
        related: wanted.related.map(quotes::related_donor).transpose()?,
    }))
}
