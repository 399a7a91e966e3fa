//! Reads a calendar feed by the hash of its secret address. Nobody is signed in: the secret opens one week, and nothing
//! else.

use super::{Actor, AppError};
use crate::db::calendars::{self, WorkingTime};
use crate::db::feeds::{self, Revision, Slot, Whose};
use chrono::{DateTime, TimeDelta, Utc};
use std::collections::HashMap;
use subtle::ConstantTimeEq;

/// How far back a feed reaches: what was done this week can still be seen.
const BACK: TimeDelta = TimeDelta::days(7);

/// How far ahead it looks for holidays and stops.
const AHEAD: TimeDelta = TimeDelta::days(180);

/// What a feed shows.
#[derive(Debug, Clone)]
pub struct FeedContents {
    /// Name of the machine or person.
    pub name: String,
    /// Whose week it is.
    pub whose: Whose,
    /// From when.
    pub from: DateTime<Utc>,
    /// Until when.
    pub until: DateTime<Utc>,
    /// Planned work.
    pub slots: Vec<Slot>,
    /// Hours, stops and holidays of the shop.
    pub time: WorkingTime,
}

/// What the feed with this hash shows at a moment, and notes that it was read; `None` when there is no such feed in the
/// actor's shop, or no longer.
///
/// # Errors
/// [`AppError::Db`].
pub async fn open_feed(
    actor: &Actor,
    token_hash: &[u8; 32],
    now: DateTime<Utc>,
) -> Result<Option<FeedContents>, AppError> {
    let mut tx = actor.begin().await?;
    let found = feeds::find(&mut tx, token_hash).await?;
    let Some(feed) = found.filter(|feed| bool::from(feed.token_hash.ct_eq(token_hash))) else {
        return Ok(None);
    };
    let (from, until) = (now - BACK, now + AHEAD);
    let contents = FeedContents {
        slots: feeds::slots(&mut tx, feed.whose, from).await?,
        time: calendars::read(&mut tx).await?,
        name: feed.name,
        whose: feed.whose,
        from,
        until,
    };
    feeds::note_reading(&mut tx, feed.id, now).await?;
    tx.commit().await?;
    Ok(Some(contents))
}

/// How often each entry of a feed has changed, by its UID, from the digests of what the entries say now.
///
/// # Errors
/// [`AppError::Db`].
pub async fn count_revisions(
    actor: &Actor,
    digests: &[(String, [u8; 32])],
    now: DateTime<Utc>,
) -> Result<HashMap<String, Revision>, AppError> {
    let mut tx = actor.begin().await?;
    let revisions = feeds::revisions(&mut tx, digests, now).await?;
    tx.commit().await?;
    Ok(revisions)
}
