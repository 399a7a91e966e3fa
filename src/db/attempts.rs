//! The slow-down after repeated failures to sign in, and browsers that were signed in from before, which pass it.
//!
//! Failures are counted in PostgreSQL and not by a limiter in memory: the count must hold for every process of the service
//! and outlive a restart, and the wait doubles with each failure, which no limiter by rate expresses.

use super::{DbError, ShopTx};
use chrono::{DateTime, TimeDelta, Utc};
use uuid::Uuid;

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

/// Whether anybody of the shop has signed in from this browser before, not too long ago.
///
/// # Errors
/// [`DbError::Database`].
pub async fn is_known_at_all(
    tx: &mut ShopTx,
    browser: &[u8; 32],
    now: DateTime<Utc>,
) -> Result<bool, DbError> {
    Ok(sqlx::query_scalar!(
        r#"select exists(select from known_browser where shop_id = $1 and token_hash = $2 and used_at > $3) as "known!""#,
        tx.shop_id(),
        browser,
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
