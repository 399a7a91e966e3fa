//! Sessions of signed-in browsers, and the directory that leads to a shop.

use super::people::{Role, role};
use super::rows::Touched;
use super::{DbError, ShopTx};
use chrono::{DateTime, TimeDelta, Utc};
use sqlx::PgPool;
use uuid::Uuid;

/// A session ends after this long without a request: a working day, so a bench tablet is asked once in the morning.
pub const IDLE: TimeDelta = TimeDelta::hours(12);
/// A session ends this long after sign-in, however busy it was.
pub const LONGEST: TimeDelta = TimeDelta::days(7);
/// A session with the person and shop it belongs to.
#[derive(Debug, Clone)]
pub struct Session {
    /// Who.
    pub person_id: Uuid,
    /// Their name.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// What every form of this session must carry.
    pub csrf_token: String,
    /// The shop's name.
    pub shop_name: String,
    /// The shop's ISO 4217 currency code.
    pub currency: String,
    /// The shop's IANA time zone name.
    pub time_zone: String,
    /// `mm` or `inch`.
    pub length_unit: String,
}

/// A shop by its short name: the one thing that is known before a shop is set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DirectoryEntry {
    /// As typed at sign-in.
    pub short_name: String,
    /// Key.
    pub shop_id: Uuid,
}

/// The one shop of this installation; `None` when there are several (or none), and sign-in must ask for a short name.
///
/// # Errors
/// [`DbError::Database`].
pub async fn only_shop(pool: &PgPool) -> Result<Option<DirectoryEntry>, DbError> {
    let mut tx = pool.begin().await?;
    let mut first_two = sqlx::query_as!(
        DirectoryEntry,
        "select short_name, shop_id from shop_directory order by short_name limit 2"
    )
    .fetch_all(&mut *tx)
    .await?;
    tx.commit().await?;
    Ok(if first_two.len() == 1 {
        first_two.pop()
    } else {
        None
    })
}

/// A shop by its short name, in any case.
///
/// # Errors
/// [`DbError::Database`].
pub async fn shop_named(
    pool: &PgPool,
    short_name: &str,
) -> Result<Option<DirectoryEntry>, DbError> {
    let mut tx = pool.begin().await?;
    let found = sqlx::query_as!(
        DirectoryEntry,
        "select short_name, shop_id from shop_directory where short_name = lower($1)",
        short_name.trim()
    )
    .fetch_optional(&mut *tx)
    .await?;
    tx.commit().await?;
    Ok(found)
}

/// A session to begin.
#[derive(Debug, Clone, Copy)]
pub struct NewSession<'a> {
    /// SHA-256 of its token.
    pub token_hash: &'a [u8],
    /// Whose.
    pub person_id: Uuid,
    /// What every form of it must carry.
    pub csrf_token: &'a str,
    /// Where from.
    pub address: &'a str,
    /// What the browser calls itself.
    pub browser: &'a str,
    /// Whether it opens nothing until a code of the second factor has come.
    pub awaits_code: bool,
}

/// How long a code is waited for.
const CODE: TimeDelta = TimeDelta::minutes(10);

/// Whose session waits for a code behind a token.
///
/// # Errors
/// [`DbError::Database`].
pub async fn awaiting(
    tx: &mut ShopTx,
    token_hash: &[u8],
    now: DateTime<Utc>,
) -> Result<Option<Uuid>, DbError> {
    Ok(sqlx::query_scalar!(
        "select s.person_id from session s join person p on p.shop_id = s.shop_id and p.id = s.person_id
         where s.shop_id = $1 and s.token_hash = $2 and s.expires_at > $3 and s.awaits_code and p.active",
        tx.shop_id(),
        token_hash,
        now
    )
    .fetch_optional(tx.conn())
    .await?)
}

/// A session that runs, as the owner sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Running {
    /// Key.
    pub id: Uuid,
    /// Whose.
    pub person_id: Uuid,
    /// Their name.
    pub name: String,
    /// When it began.
    pub created_at: DateTime<Utc>,
    /// When it was last seen, to the minute.
    pub last_seen_at: DateTime<Utc>,
    /// Where from.
    pub address: String,
    /// What the browser calls itself.
    pub browser: String,
    /// Whether it is the one asked about.
    pub own: bool,
}

/// Sessions that run, those seen last first; at most 500.
///
/// # Errors
/// [`DbError::Database`].
pub async fn running(
    tx: &mut ShopTx,
    own: Option<&[u8]>,
    now: DateTime<Utc>,
) -> Result<Vec<Running>, DbError> {
    Ok(sqlx::query_as!(
        Running,
        r#"select s.id, s.person_id, p.name, s.created_at, s.last_seen_at, s.address, s.browser,
                  coalesce(s.token_hash = $2, false) as "own!"
           from session s join person p on p.shop_id = s.shop_id and p.id = s.person_id
           where s.shop_id = $1 and s.expires_at > $3 and s.last_seen_at > $4 and not s.awaits_code
           order by s.last_seen_at desc, s.id limit 500"#,
        tx.shop_id(),
        own,
        now,
        now - IDLE
    )
    .fetch_all(tx.conn())
    .await?)
}

/// Ends a session by its key.
///
/// # Errors
/// [`DbError::NotFound`] when it has ended already, [`DbError::Database`].
pub async fn end_by_key(tx: &mut ShopTx, id: Uuid) -> Result<(), DbError> {
    sqlx::query!(
        "delete from session where shop_id = $1 and id = $2",
        tx.shop_id(),
        id
    )
    .execute(tx.conn())
    .await?
    .or_missing("this session")
}

/// Begins a session, and clears away sessions that have ended by themselves.
///
/// # Errors
/// [`DbError::Database`].
pub async fn start(
    tx: &mut ShopTx,
    session: &NewSession<'_>,
    now: DateTime<Utc>,
) -> Result<(), DbError> {
    let shop_id = tx.shop_id();
    sqlx::query!(
        "delete from session where shop_id = $1 and (expires_at <= $2 or last_seen_at <= $3)",
        shop_id,
        now,
        now - IDLE
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "insert into session (shop_id, token_hash, person_id, csrf_token, created_at, last_seen_at, expires_at, id, address, browser, awaits_code)
         values ($1, $2, $3, $4, $5, $5, $6, $7, $8, $9, $10)",
        shop_id,
        session.token_hash,
        session.person_id,
        session.csrf_token,
        now,
        now + if session.awaits_code { CODE } else { LONGEST },
        Uuid::now_v7(),
        session.address,
        session.browser,
        session.awaits_code,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// The session behind a token, if it still runs. Notes at most once a minute that it was seen.
///
/// # Errors
/// [`DbError::Database`], [`DbError::Corrupt`].
pub async fn find(
    tx: &mut ShopTx,
    token_hash: &[u8],
    now: DateTime<Utc>,
) -> Result<Option<Session>, DbError> {
    let shop_id = tx.shop_id();
    let Some(row) = sqlx::query!(
        "select s.person_id, s.csrf_token, s.last_seen_at, p.name, p.role,
                shop.name as shop_name, shop.currency, shop.time_zone, shop.length_unit
         from session s
         join person p on p.shop_id = s.shop_id and p.id = s.person_id
         join shop on shop.shop_id = s.shop_id
         where s.shop_id = $1 and s.token_hash = $2 and s.expires_at > $3 and s.last_seen_at > $4 and p.active and not s.awaits_code",
        shop_id,
        token_hash,
        now,
        now - IDLE
    )
    .fetch_optional(tx.conn())
    .await?
    else {
        return Ok(None);
    };
    if now - row.last_seen_at > TimeDelta::minutes(1) {
        sqlx::query!(
            "update session set last_seen_at = $3 where shop_id = $1 and token_hash = $2",
            shop_id,
            token_hash,
            now
        )
        .execute(tx.conn())
        .await?;
    }
    Ok(Some(Session {
        person_id: row.person_id,
        name: row.name,
        role: role(&row.role)?,
        csrf_token: row.csrf_token,
        shop_name: row.shop_name,
        currency: row.currency,
        time_zone: row.time_zone,
        length_unit: row.length_unit,
    }))
}

/// Ends one session.
///
/// # Errors
/// [`DbError::Database`].
pub async fn end(tx: &mut ShopTx, token_hash: &[u8]) -> Result<(), DbError> {
    let shop_id = tx.shop_id();
    sqlx::query!(
        "delete from session where shop_id = $1 and token_hash = $2",
        shop_id,
        token_hash
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Ends every session of a person but the one kept.
///
/// # Errors
/// [`DbError::Database`].
pub async fn end_all(tx: &mut ShopTx, person_id: Uuid, keep: Option<&[u8]>) -> Result<(), DbError> {
    let shop_id = tx.shop_id();
    sqlx::query!(
        "delete from session where shop_id = $1 and person_id = $2 and ($3::bytea is null or token_hash <> $3)",
        shop_id,
        person_id,
        keep
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}
