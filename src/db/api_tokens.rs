//! Tokens of programs: whose, what they may do, until when.

use super::people::{Role, role};
use super::read::word;
use super::rows::Touched;
use super::sessions::Session;
use super::{DbError, ShopTx};
use crate::units::Code;
use chrono::{DateTime, TimeDelta, Utc};
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// What a token is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum TokenScope {
    /// Looking.
    Read,
    /// Looking and changing.
    Write,
}

/// A token, without its secret.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ApiToken {
    /// Key.
    pub id: Uuid,
    /// In whose name it acts.
    pub person: String,
    /// The most it may do.
    pub role: Role,
    /// What it is for.
    pub scope: TokenScope,
    /// The program that uses it.
    pub note: String,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// When it ends by itself.
    pub expires_at: DateTime<Utc>,
    /// When it was last used, give or take a few minutes.
    pub used_at: Option<DateTime<Utc>>,
}

/// A token to make.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewToken {
    /// The most it may do.
    pub role: Role,
    /// What it is for.
    pub scope: TokenScope,
    /// The program that uses it.
    pub note: String,
    /// When it ends by itself.
    pub expires_at: DateTime<Utc>,
}

/// Tokens that are neither revoked nor expired, the newest first.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn list(tx: &mut ShopTx, now: DateTime<Utc>) -> Result<Vec<ApiToken>, DbError> {
    let rows = sqlx::query!(
        "select t.id, p.name, t.role, t.scope, t.note, t.made_at, t.expires_at, t.used_at
         from api_token t join person p on p.shop_id = t.shop_id and p.id = t.person_id
         where t.shop_id = $1 and t.revoked_at is null and t.expires_at > $2 order by t.id desc limit 200",
        tx.shop_id(),
        now
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(ApiToken {
                id: row.id,
                person: row.name,
                role: role(&row.role)?,
                scope: word("scope of a token", &row.scope)?,
                note: row.note,
                made_at: row.made_at,
                expires_at: row.expires_at,
                used_at: row.used_at,
            })
        })
        .collect()
}

/// Makes a token that acts in a person's name; only the hash of its secret is kept.
///
/// # Errors
/// [`DbError::Database`].
pub async fn make(
    tx: &mut ShopTx,
    person_id: Uuid,
    token_hash: &[u8; 32],
    token: &NewToken,
) -> Result<(), DbError> {
    sqlx::query!(
        "insert into api_token (shop_id, id, token_hash, person_id, role, scope, note, expires_at)
         values ($1, $2, $3, $4, $5, $6, $7, $8)",
        tx.shop_id(),
        Uuid::now_v7(),
        &token_hash[..],
        person_id,
        token.role.code(),
        token.scope.code(),
        token.note,
        token.expires_at,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Ends a token for good.
///
/// # Errors
/// [`DbError::NotFound`] when there is none that is not revoked, [`DbError::Database`].
pub async fn revoke(tx: &mut ShopTx, id: Uuid) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update api_token set revoked_at = now(), revoked_by = $3
         where shop_id = $1 and id = $2 and revoked_at is null",
        tx.shop_id(),
        id,
        tx.person_id(),
    )
    .execute(tx.conn())
    .await?;
    done.or_missing("this token")
}

/// Who comes in with a token, with the lesser of what they and it may do, and what it is for; `None` when it opens nothing,
/// or no longer, or its person may not sign in any more.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn find(
    tx: &mut ShopTx,
    token_hash: &[u8; 32],
    now: DateTime<Utc>,
) -> Result<Option<(Session, TokenScope)>, DbError> {
    let Some(row) = sqlx::query!(
        r#"select t.id, t.role as token_role, t.scope, t.used_at, p.id as person_id, p.name, p.role, s.name as shop_name,
                  s.currency, s.time_zone, s.length_unit
           from api_token t
           join person p on p.shop_id = t.shop_id and p.id = t.person_id
           join shop s on s.shop_id = t.shop_id
           where t.shop_id = $1 and t.token_hash = $2 and t.revoked_at is null and t.expires_at > $3 and p.active"#,
        tx.shop_id(),
        &token_hash[..],
        now,
    )
    .fetch_optional(tx.conn())
    .await?
    else {
        return Ok(None);
    };
    if row
        .used_at
        .is_none_or(|at| at < now - TimeDelta::minutes(10))
    {
        sqlx::query!(
            "update api_token set used_at = $3 where shop_id = $1 and id = $2",
            tx.shop_id(),
            row.id,
            now,
        )
        .execute(tx.conn())
        .await?;
    }
    let session = Session {
        person_id: row.person_id,
        name: row.name,
        role: role(&row.role)?.min(role(&row.token_role)?),
        // A token sends no forms.
        csrf_token: String::new(),
        shop_name: row.shop_name,
        currency: row.currency,
        time_zone: row.time_zone,
        length_unit: row.length_unit,
    };
    Ok(Some((session, word("scope of a token", &row.scope)?)))
}
