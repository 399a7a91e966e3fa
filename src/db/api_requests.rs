//! What programs made under keys of their own, so that a request sent again makes nothing twice.

use super::{DbError, ShopTx};
use chrono::TimeDelta;
use uuid::Uuid;

/// For how long a key is remembered.
const REMEMBERED: TimeDelta = TimeDelta::days(30);

/// A request under a key of its sender's, or a form under the key it was shown with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Keyed {
    /// Who sent it; keys are each person's own.
    pub person_id: Uuid,
    /// SHA-256 of the key.
    pub key_hash: [u8; 32],
    /// SHA-256 of what is asked.
    pub digest: [u8; 32],
}

/// What a key was used for before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Before {
    /// Nothing: what was made in this transaction counts.
    Nothing,
    /// The same request, which made this.
    Same(Uuid),
    /// Another request.
    Another,
}

/// Enters that this transaction made something under a key. When another one did so before, or does so now, waits for it and
/// says what it made; this transaction must then write nothing else.
///
/// # Errors
/// [`DbError::Database`].
pub async fn enter(tx: &mut ShopTx, keyed: &Keyed, made: Uuid) -> Result<Before, DbError> {
    let done = sqlx::query!(
        "insert into api_request (shop_id, person_id, key_hash, digest, made_id) values ($1, $2, $3, $4, $5)
         on conflict (shop_id, person_id, key_hash) do nothing",
        tx.shop_id(),
        keyed.person_id,
        &keyed.key_hash[..],
        &keyed.digest[..],
        made,
    )
    .execute(tx.conn())
    .await?;
    if done.rows_affected() == 1 {
        sqlx::query!(
            "delete from api_request where shop_id = $1 and made_at < now() - make_interval(days => $2)",
            tx.shop_id(),
            i32::try_from(REMEMBERED.num_days()).unwrap_or(30),
        )
        .execute(tx.conn())
        .await?;
        return Ok(Before::Nothing);
    }
    before(tx, keyed).await
}

/// What a key was used for before.
///
/// # Errors
/// [`DbError::Database`].
pub async fn before(tx: &mut ShopTx, keyed: &Keyed) -> Result<Before, DbError> {
    let row = sqlx::query!(
        "select digest, made_id from api_request where shop_id = $1 and person_id = $2 and key_hash = $3",
        tx.shop_id(),
        keyed.person_id,
        &keyed.key_hash[..],
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(match row {
        None => Before::Nothing,
        Some(row) if row.digest == keyed.digest => Before::Same(row.made_id),
        Some(_) => Before::Another,
    })
}
