//! Sessions of signed-in browsers, and the slow-down after repeated failures to sign in.
//!
//! Failures are counted in PostgreSQL and not by a limiter in memory: the count must hold for every process of the service
//! and outlive a restart, and the wait doubles with each failure, which no limiter by rate expresses.

use super::people::{Role, role};
use super::{DbError, ShopTx};
use chrono::{DateTime, TimeDelta, Utc};
use sqlx::PgPool;
use uuid::Uuid;

/// A session ends after this long without a request: a working day, so a bench tablet is asked once in the morning.
pub const IDLE: TimeDelta = TimeDelta::hours(12);
/// A session ends this long after sign-in, however busy it was.
pub const LONGEST: TimeDelta = TimeDelta::days(7);
/// Failures by one sign-in name that cost no wait yet.
const FREE_BY_NAME: i64 = 3;
/// Failures from one address that cost no wait yet: a whole shop may sit behind one address.
const FREE_BY_ADDRESS: i64 = 15;
/// No wait is longer than this many seconds, so that a stranger cannot lock someone out for good.
const LONGEST_WAIT: i64 = 300;

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
    let mut first_two = sqlx::query_as!(
        DirectoryEntry,
        "select short_name, shop_id from shop_directory order by short_name limit 2"
    )
    .fetch_all(pool)
    .await?;
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
    Ok(sqlx::query_as!(
        DirectoryEntry,
        "select short_name, shop_id from shop_directory where short_name = lower($1)",
        short_name.trim()
    )
    .fetch_optional(pool)
    .await?)
}

/// Begins a session, and clears away sessions that have ended by themselves.
///
/// # Errors
/// [`DbError::Database`].
pub async fn start(
    tx: &mut ShopTx,
    token_hash: &[u8],
    person_id: Uuid,
    csrf_token: &str,
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
        "insert into session (shop_id, token_hash, person_id, csrf_token, created_at, last_seen_at, expires_at)
         values ($1, $2, $3, $4, $5, $5, $6)",
        shop_id,
        token_hash,
        person_id,
        csrf_token,
        now,
        now + LONGEST
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
         where s.shop_id = $1 and s.token_hash = $2 and s.expires_at > $3 and s.last_seen_at > $4 and p.active",
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

/// Whether a password may be tried now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Attempt {
    /// It may; it counts as a failure until [`forget_failures`].
    Allowed,
    /// Not for this long.
    Wait(TimeDelta),
}

/// Asks for a try at a password. It is written down as a failure before the password is looked at, so that many tries
/// at once do not slip past the count. Tries made while waiting are not counted.
///
/// # Errors
/// [`DbError::Database`].
pub async fn attempt(
    tx: &mut ShopTx,
    sign_in: &str,
    address: &str,
    now: DateTime<Utc>,
) -> Result<Attempt, DbError> {
    let shop_id = tx.shop_id();
    let sign_in = sign_in.to_lowercase();
    // One try at a time in a shop; held only for the few statements of this transaction.
    sqlx::query!(
        "select pg_advisory_xact_lock(hashtextextended($1::text, 0)) as locked",
        format!("sign-in {shop_id}")
    )
    .fetch_one(tx.conn())
    .await?;
    let hour_ago = now - TimeDelta::hours(1);
    sqlx::query!(
        "delete from sign_in_failure where shop_id = $1 and at <= $2",
        shop_id,
        hour_ago
    )
    .execute(tx.conn())
    .await?;
    let seen = sqlx::query!(
        r#"select count(*) filter (where sign_in = $2) as "by_name!", max(at) filter (where sign_in = $2) as name_last,
                  count(*) filter (where address = $3) as "by_address!", max(at) filter (where address = $3) as address_last
           from sign_in_failure where shop_id = $1"#,
        shop_id,
        sign_in,
        address
    )
    .fetch_one(tx.conn())
    .await?;
    let wait = [
        (seen.by_name - FREE_BY_NAME, seen.name_last),
        (seen.by_address - FREE_BY_ADDRESS, seen.address_last),
    ]
    .into_iter()
    .filter_map(|(beyond_free, last)| Some(last? + wait_after(beyond_free) - now))
    .max()
    .unwrap_or_default();
    if wait > TimeDelta::zero() {
        return Ok(Attempt::Wait(wait));
    }
    sqlx::query!(
        "insert into sign_in_failure (shop_id, id, sign_in, address, at) values ($1, $2, $3, $4, $5)",
        shop_id,
        Uuid::now_v7(),
        sign_in,
        address,
        now
    )
    .execute(tx.conn())
    .await?;
    Ok(Attempt::Allowed)
}

/// Forgets the failures of a name that has signed in. What its address did under other names stays.
///
/// # Errors
/// [`DbError::Database`].
pub async fn forget_failures(tx: &mut ShopTx, sign_in: &str) -> Result<(), DbError> {
    let shop_id = tx.shop_id();
    sqlx::query!(
        "delete from sign_in_failure where shop_id = $1 and sign_in = $2",
        shop_id,
        sign_in.to_lowercase()
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// The wait after a failure: none while failures are free, then two seconds, doubling.
fn wait_after(beyond_free: i64) -> TimeDelta {
    if beyond_free < 0 {
        return TimeDelta::zero();
    }
    let doublings = u32::try_from(beyond_free.min(16)).unwrap_or(16);
    TimeDelta::seconds((2_i64 << doublings).min(LONGEST_WAIT))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_and_stop_growing() {
        let seconds: Vec<i64> = (-1..10).map(|n| wait_after(n).num_seconds()).collect();
        assert_eq!(seconds, [0, 2, 4, 8, 16, 32, 64, 128, 256, 300, 300]);
        assert_eq!(wait_after(i64::MAX), TimeDelta::seconds(300));
    }
}
