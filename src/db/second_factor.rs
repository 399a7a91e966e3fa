//! The second factor of a person: the secret that codes by the clock are made from, and recovery codes.

use super::rows::Touched;
use super::{DbError, ShopTx};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// A second factor.
#[derive(Clone)]
pub struct Factor {
    /// What codes are made from, 20 bytes.
    pub secret: Vec<u8>,
    /// Since when a code is asked for at sign-in; `None` while it is being set up.
    pub confirmed_at: Option<DateTime<Utc>>,
    /// The newest time step a code was taken for.
    pub last_step: i64,
}

/// A person's second factor, if there is one.
///
/// # Errors
/// [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, person_id: Uuid) -> Result<Option<Factor>, DbError> {
    Ok(sqlx::query_as!(
        Factor,
        "select secret, confirmed_at, last_step from second_factor where shop_id = $1 and person_id = $2",
        tx.shop_id(),
        person_id
    )
    .fetch_optional(tx.conn())
    .await?)
}

/// Whether a code is asked of a person at sign-in.
///
/// # Errors
/// [`DbError::Database`].
pub async fn is_on(tx: &mut ShopTx, person_id: Uuid) -> Result<bool, DbError> {
    let found = get(tx, person_id).await?;
    Ok(found.is_some_and(|factor| factor.confirmed_at.is_some()))
}

/// Keeps a secret that is not asked for yet, in place of one that was never confirmed.
///
/// # Errors
/// [`DbError::Database`].
pub async fn begin(tx: &mut ShopTx, person_id: Uuid, secret: &[u8]) -> Result<(), DbError> {
    sqlx::query!(
        "insert into second_factor (shop_id, person_id, secret) values ($1, $2, $3)
         on conflict (shop_id, person_id) do update set secret = excluded.secret
             where second_factor.confirmed_at is null",
        tx.shop_id(),
        person_id,
        secret
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Asks for codes from now on, and keeps the hashes of new recovery codes.
///
/// # Errors
/// [`DbError::NotFound`] when none is being set up, [`DbError::Database`].
pub async fn confirm(
    tx: &mut ShopTx,
    person_id: Uuid,
    step: i64,
    recovery: &[[u8; 32]],
    now: DateTime<Utc>,
) -> Result<(), DbError> {
    let shop_id = tx.shop_id();
    sqlx::query!(
        "update second_factor set confirmed_at = $3, last_step = $4
         where shop_id = $1 and person_id = $2 and confirmed_at is null",
        shop_id,
        person_id,
        now,
        step
    )
    .execute(tx.conn())
    .await?
    .or_missing("the second factor that was being set up")?;
    for hash in recovery {
        sqlx::query!(
            "insert into recovery_code (shop_id, id, person_id, code_hash) values ($1, $2, $3, $4)",
            shop_id,
            Uuid::now_v7(),
            person_id,
            &hash[..]
        )
        .execute(tx.conn())
        .await?;
    }
    Ok(())
}

/// Takes a time step, which can be taken once and only after those before it; says whether it could.
///
/// # Errors
/// [`DbError::Database`].
pub async fn take_step(tx: &mut ShopTx, person_id: Uuid, step: i64) -> Result<bool, DbError> {
    let done = sqlx::query!(
        "update second_factor set last_step = $3 where shop_id = $1 and person_id = $2 and last_step < $3",
        tx.shop_id(),
        person_id,
        step
    )
    .execute(tx.conn())
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Spends a recovery code; says whether there was one that was not spent.
///
/// # Errors
/// [`DbError::Database`].
pub async fn spend(
    tx: &mut ShopTx,
    person_id: Uuid,
    code_hash: &[u8; 32],
    now: DateTime<Utc>,
) -> Result<bool, DbError> {
    let done = sqlx::query!(
        "update recovery_code set spent_at = $4
         where shop_id = $1 and person_id = $2 and code_hash = $3 and spent_at is null",
        tx.shop_id(),
        person_id,
        &code_hash[..],
        now
    )
    .execute(tx.conn())
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Recovery codes that are not spent.
///
/// # Errors
/// [`DbError::Database`].
pub async fn codes_left(tx: &mut ShopTx, person_id: Uuid) -> Result<i64, DbError> {
    Ok(sqlx::query_scalar!(
        r#"select count(*) as "left!" from recovery_code
           where shop_id = $1 and person_id = $2 and spent_at is null"#,
        tx.shop_id(),
        person_id
    )
    .fetch_one(tx.conn())
    .await?)
}

/// Removes a person's second factor and recovery codes, if there are any.
///
/// # Errors
/// [`DbError::Database`].
pub async fn remove(tx: &mut ShopTx, person_id: Uuid) -> Result<(), DbError> {
    let shop_id = tx.shop_id();
    sqlx::query!(
        "delete from recovery_code where shop_id = $1 and person_id = $2",
        shop_id,
        person_id
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "delete from second_factor where shop_id = $1 and person_id = $2",
        shop_id,
        person_id
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}
