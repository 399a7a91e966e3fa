//! What a person can come in with, ended all at once: sessions, browsers that are known, sign-ons at the bench, calendar feeds,
//! and telephones of their own that are bench devices.

use super::{DbError, ShopTx, sessions};
use uuid::Uuid;

/// Ends what opens something for a person, because what proves who they are has changed: their sessions but the one kept,
/// the browsers they are known on, the tokens of their programs, their sign-ons and their feeds.
///
/// # Errors
/// [`DbError::Database`].
pub async fn end(tx: &mut ShopTx, person_id: Uuid, keep: Option<&[u8]>) -> Result<(), DbError> {
    sessions::end_all(tx, person_id, keep).await?;
    sqlx::query!(
        "delete from known_browser where shop_id = $1 and person_id = $2",
        tx.shop_id(),
        person_id
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "update api_token set revoked_at = now(), revoked_by = $3
         where shop_id = $1 and person_id = $2 and revoked_at is null",
        tx.shop_id(),
        person_id,
        tx.person_id()
    )
    .execute(tx.conn())
    .await?;
    end_bench(tx, person_id).await
}

/// Ends a person's sign-ons and feeds, because their PIN has changed.
///
/// # Errors
/// [`DbError::Database`].
pub async fn end_bench(tx: &mut ShopTx, person_id: Uuid) -> Result<(), DbError> {
    let (shop_id, by) = (tx.shop_id(), tx.person_id());
    sqlx::query!(
        "update sign_on set ended_at = now()
         where shop_id = $1 and person_id = $2 and ended_at is null and until > now() and at < now()",
        shop_id,
        person_id
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "update feed set revoked_at = now(), revoked_by = $3
         where shop_id = $1 and person_id = $2 and revoked_at is null",
        shop_id,
        person_id,
        by
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Ends everything of a person who no longer works here: all of [`end`], the feeds they made for machines, and the devices
/// at which nobody else has ever signed on, which are their own telephones.
///
/// # Errors
/// [`DbError::Database`].
pub async fn end_for_good(tx: &mut ShopTx, person_id: Uuid) -> Result<(), DbError> {
    end(tx, person_id, None).await?;
    let (shop_id, by) = (tx.shop_id(), tx.person_id());
    sqlx::query!(
        "update feed set revoked_at = now(), revoked_by = $3
         where shop_id = $1 and made_by = $2 and revoked_at is null",
        shop_id,
        person_id,
        by
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "update device d set revoked_at = now()
         where d.shop_id = $1 and d.revoked_at is null
           and exists (select from sign_on s where s.shop_id = $1 and s.device_id = d.id and s.person_id = $2)
           and not exists (select from sign_on s where s.shop_id = $1 and s.device_id = d.id and s.person_id <> $2)",
        shop_id,
        person_id
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}
