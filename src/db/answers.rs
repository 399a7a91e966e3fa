//! Answers as they were read out.

use super::{DbError, ShopTx};
use chrono::{DateTime, Utc};
use serde_json::Value;
use uuid::Uuid;

/// An answer that is to be kept.
#[derive(Debug)]
pub struct NewAnswer<'a> {
    /// The enquiry.
    pub enquiry_id: Uuid,
    /// When it was computed.
    pub at: DateTime<Utc>,
    /// What the customer had said, as JSON.
    pub asked: &'a Value,
    /// The version of the floor that its dates are from.
    pub floor_version: i64,
    /// When the plan that its dates are from was made.
    pub plan_made_at: Option<DateTime<Utc>>,
    /// A hash of its figures: the same figures again are one answer.
    pub figures_hash: &'a [u8],
    /// The answer as JSON.
    pub answer: &'a Value,
}

/// An answer as it was kept.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptAnswer {
    /// Key.
    pub id: Uuid,
    /// The enquiry.
    pub enquiry_id: Uuid,
    /// When it was computed last.
    pub at: DateTime<Utc>,
    /// What the customer had said, as JSON.
    pub asked: Value,
    /// The version of the floor that its dates are from.
    pub floor_version: i64,
    /// When the plan that its dates are from was made.
    pub plan_made_at: Option<DateTime<Utc>>,
    /// The answer as JSON.
    pub answer: Value,
}

/// Keeps an answer and returns its key. When the newest one of the enquiry has the same figures, from the same plan, for the
/// same question, it is that one, computed once more.
///
/// # Errors
/// [`DbError::Database`].
pub async fn keep(tx: &mut ShopTx, new: &NewAnswer<'_>) -> Result<Uuid, DbError> {
    let same = sqlx::query_scalar!(
        "update answer set at = $3
         where shop_id = $1 and figures_hash = $4 and asked = $5 and floor_version = $6
               and plan_made_at is not distinct from $7
               and id = (select id from answer where shop_id = $1 and enquiry_id = $2 order by at desc limit 1)
         returning id",
        tx.shop_id(),
        new.enquiry_id,
        new.at,
        new.figures_hash,
        new.asked,
        new.floor_version,
        new.plan_made_at,
    )
    .fetch_optional(tx.conn())
    .await?;
    if let Some(id) = same {
        return Ok(id);
    }
    let id = Uuid::now_v7();
    sqlx::query!(
        "insert into answer (shop_id, id, enquiry_id, at, asked, floor_version, plan_made_at, figures_hash, answer)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        tx.shop_id(),
        id,
        new.enquiry_id,
        new.at,
        new.asked,
        new.floor_version,
        new.plan_made_at,
        new.figures_hash,
        new.answer,
    )
    .execute(tx.conn())
    .await?;
    Ok(id)
}

/// One answer.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, id: Uuid) -> Result<KeptAnswer, DbError> {
    sqlx::query_as!(
        KeptAnswer,
        "select id, enquiry_id, at, asked, floor_version, plan_made_at, answer
         from answer where shop_id = $1 and id = $2",
        tx.shop_id(),
        id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this answer"))
}

/// Clears away what was computed last before a moment.
///
/// # Errors
/// [`DbError::Database`].
pub async fn clear_before(tx: &mut ShopTx, at: DateTime<Utc>) -> Result<(), DbError> {
    sqlx::query!(
        "delete from answer where shop_id = $1 and at < $2",
        tx.shop_id(),
        at
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}
