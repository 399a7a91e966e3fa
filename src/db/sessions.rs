//! Sessions of signed-in browsers, and the slow-down after repeated failures to sign in.
//!
//! Failures are counted in PostgreSQL and not by a limiter in memory: the count must hold for every process of the service
//! and outlive a restart, and the wait doubles with each failure, which no limiter by rate expresses.

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
/// Failures by one sign-in name from one address that cost no wait yet.
const FREE_BY_BOTH: i64 = 3;
/// Failures from one address that cost no wait yet: a whole shop may sit behind one address.
const FREE_BY_ADDRESS: i64 = 15;
/// Failures by one sign-in name, wherever from, that cost no wait yet.
const FREE_BY_NAME: i64 = 60;
/// No wait is longer than this many seconds.
const LONGEST_WAIT: i64 = 300;
/// The same for what others may have tried by this name elsewhere: it slows a crowd that guesses at one name, and hardly
/// holds up the person it belongs to.
const LONGEST_WAIT_BY_NAME: i64 = 8;
/// A browser is known for this long after it was last signed in from.
pub const KNOWN_FOR: TimeDelta = TimeDelta::days(180);

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
           where s.shop_id = $1 and s.expires_at > $3 and s.last_seen_at > $4
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
        "insert into session (shop_id, token_hash, person_id, csrf_token, created_at, last_seen_at, expires_at, id, address, browser)
         values ($1, $2, $3, $4, $5, $5, $6, $7, $8, $9)",
        shop_id,
        session.token_hash,
        session.person_id,
        session.csrf_token,
        now,
        now + LONGEST,
        Uuid::now_v7(),
        session.address,
        session.browser,
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

/// A try at a password.
#[derive(Debug, Clone, Copy)]
pub struct Try<'a> {
    /// By which name, in any case.
    pub sign_in: &'a str,
    /// Where from.
    pub from: From<'a>,
}

/// Where a try comes from.
#[derive(Debug, Clone, Copy)]
pub enum From<'a> {
    /// An address.
    Address(&'a str),
    /// A browser that the same person has signed in from before, by the SHA-256 of its token: what others try, wherever
    /// from, holds it up not at all.
    Known(&'a [u8; 32]),
}

impl From<'_> {
    fn text(self) -> String {
        match self {
            Self::Address(address) => address.to_owned(),
            Self::Known(hash) => {
                let hex: String = hash
                    .iter()
                    .take(8)
                    .map(|byte| format!("{byte:02x}"))
                    .collect();
                format!("browser {hex}")
            }
        }
    }
}

/// Asks for a try at a password. It is written down as a failure before the password is looked at, so that many tries
/// at once do not slip past the count. Tries made while waiting are not counted. A clock that was set back makes no wait
/// longer than its length: what lies in the future is taken for now.
///
/// # Errors
/// [`DbError::Database`].
pub async fn attempt(
    tx: &mut ShopTx,
    tried: Try<'_>,
    now: DateTime<Utc>,
) -> Result<Attempt, DbError> {
    let shop_id = tx.shop_id();
    let sign_in = tried.sign_in.to_lowercase();
    let from = tried.from.text();
    // One try at a time in a shop; held only for the few statements of this transaction.
    sqlx::query!(
        "select pg_advisory_xact_lock(hashtextextended($1::text, 0)) as locked",
        format!("sign-in {shop_id}")
    )
    .fetch_one(tx.conn())
    .await?;
    sqlx::query!(
        "delete from sign_in_failure where shop_id = $1 and (at <= $2 or at > $3)",
        shop_id,
        now - TimeDelta::hours(1),
        now + TimeDelta::minutes(5),
    )
    .execute(tx.conn())
    .await?;
    let seen = sqlx::query!(
        r#"select count(*) filter (where sign_in = $2 and address = $3) as "by_both!",
                  max(at) filter (where sign_in = $2 and address = $3) as both_last,
                  count(*) filter (where address = $3) as "by_address!", max(at) filter (where address = $3) as address_last,
                  count(*) filter (where sign_in = $2) as "by_name!", max(at) filter (where sign_in = $2) as name_last
           from sign_in_failure where shop_id = $1"#,
        shop_id,
        sign_in,
        from
    )
    .fetch_one(tx.conn())
    .await?;
    let by_name = match tried.from {
        From::Address(_) => seen.by_name - FREE_BY_NAME,
        From::Known(_) => -1,
    };
    let wait = [
        (seen.by_both - FREE_BY_BOTH, seen.both_last, LONGEST_WAIT),
        (
            seen.by_address - FREE_BY_ADDRESS,
            seen.address_last,
            LONGEST_WAIT,
        ),
        (by_name, seen.name_last, LONGEST_WAIT_BY_NAME),
    ]
    .into_iter()
    .filter_map(|(beyond_free, last, longest)| {
        let wait = wait_after(beyond_free).min(TimeDelta::seconds(longest));
        Some(last?.min(now) + wait - now)
    })
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
        from,
        now
    )
    .execute(tx.conn())
    .await?;
    Ok(Attempt::Allowed)
}

/// Forgets the failures of a name that has signed in, where it has. What was tried elsewhere stays.
///
/// # Errors
/// [`DbError::Database`].
pub async fn forget_failures(tx: &mut ShopTx, tried: Try<'_>) -> Result<(), DbError> {
    sqlx::query!(
        "delete from sign_in_failure where shop_id = $1 and sign_in = $2 and address = $3",
        tx.shop_id(),
        tried.sign_in.to_lowercase(),
        tried.from.text()
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Whether the person who signs in by this name has done so from this browser before, not too long ago.
///
/// # Errors
/// [`DbError::Database`].
pub async fn is_known(
    tx: &mut ShopTx,
    browser: &[u8; 32],
    sign_in: &str,
    now: DateTime<Utc>,
) -> Result<bool, DbError> {
    Ok(sqlx::query_scalar!(
        r#"select exists(
               select from known_browser b join person p on p.shop_id = b.shop_id and p.id = b.person_id
               where b.shop_id = $1 and b.token_hash = $2 and b.used_at > $4 and lower(p.sign_in) = lower($3)) as "known!""#,
        tx.shop_id(),
        browser,
        sign_in,
        now - KNOWN_FOR
    )
    .fetch_one(tx.conn())
    .await?)
}

/// Notes that a person has signed in from a browser, and forgets theirs that have not been used for long.
///
/// # Errors
/// [`DbError::Database`].
pub async fn know(
    tx: &mut ShopTx,
    browser: &[u8; 32],
    person_id: Uuid,
    now: DateTime<Utc>,
) -> Result<(), DbError> {
    let shop_id = tx.shop_id();
    sqlx::query!(
        "delete from known_browser where shop_id = $1 and person_id = $2 and used_at <= $3",
        shop_id,
        person_id,
        now - KNOWN_FOR
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "insert into known_browser (shop_id, token_hash, person_id, used_at) values ($1, $2, $3, $4)
         on conflict (shop_id, token_hash, person_id) do update set used_at = excluded.used_at",
        shop_id,
        browser,
        person_id,
        now
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
