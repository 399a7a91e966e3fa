//! Whether the database answers and takes what it is given, looked at once a second over a connection of its own, so that
//! the answer waits for nobody who works.

use super::DbError;
use chrono::{DateTime, Utc};
use sqlx::postgres::PgConnection;
use sqlx::{ConnectOptions, Connection, PgPool};
use std::sync::{PoisonError, RwLock};
use std::time::Duration;
use tokio::time::{sleep, timeout};

/// How often it is looked at.
const EVERY: Duration = Duration::from_secs(1);
/// How long a look may take.
const PATIENCE: Duration = Duration::from_secs(2);
/// Every so many looks something is written; while it is not ready, at each.
const WRITE_EVERY: u32 = 10;
/// How many looks a write that somebody saw fail is remembered: the next one may be luckier and prove nothing.
const REMEMBERED: u32 = 5;

/// What is wrong with the database.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trouble {
    /// It gives no answer.
    Unreachable,
    /// It answers, and cannot write: its disk is full, or it only reads.
    CannotWrite,
}

/// What the last look found; shared by all who ask.
#[derive(Debug, Default)]
pub struct Readiness(RwLock<Found>);

#[derive(Debug, Default, Clone, Copy)]
struct Found {
    trouble: Option<(Trouble, DateTime<Utc>)>,
    /// Looks for which a failed write is still remembered.
    remembered: u32,
}

impl Readiness {
    /// What is wrong, and since when; `None` when all is well.
    #[must_use]
    pub fn trouble(&self) -> Option<(Trouble, DateTime<Utc>)> {
        self.0
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .trouble
    }

    /// Notes what somebody met with who wanted to write.
    pub fn note(&self, error: &DbError, now: DateTime<Utc>) {
        if error.is_out_of_room() {
            let mut found = self.0.write().unwrap_or_else(PoisonError::into_inner);
            found.remembered = REMEMBERED;
            found.trouble.get_or_insert((Trouble::CannotWrite, now));
        }
    }

    fn found(&self, trouble: Option<Trouble>, now: DateTime<Utc>) {
        let mut found = self.0.write().unwrap_or_else(PoisonError::into_inner);
        let trouble = match trouble {
            None if found.remembered > 0 => {
                found.remembered -= 1;
                Some(Trouble::CannotWrite)
            }
            other => other,
        };
        let before = found.trouble;
        found.trouble = trouble.map(|what| match before {
            Some((same, since)) if same == what => (what, since),
            _ => (what, now),
        });
        match (before, trouble) {
            (None, Some(what)) => tracing::error!(?what, "not ready: the database"),
            (Some(_), None) => tracing::info!("ready again: the database answers and writes"),
            _ => {}
        }
    }

    /// Looks once a second, for as long as it is waited for.
    pub async fn keep_looking(&self, pool: &PgPool) {
        let mut conn = None;
        let mut looks: u32 = 0;
        loop {
            let write = looks.is_multiple_of(WRITE_EVERY) || self.trouble().is_some();
            let trouble = match timeout(PATIENCE, look(pool, &mut conn, write)).await {
                Ok(Ok(())) => None,
                Ok(Err(error)) => {
                    tracing::debug!(%error, "a look at the database");
                    let answered = matches!(error, sqlx::Error::Database(_)) && conn.is_some();
                    Some(if answered && write {
                        Trouble::CannotWrite
                    } else {
                        Trouble::Unreachable
                    })
                }
                Err(_) => Some(Trouble::Unreachable),
            };
            if trouble.is_some() {
                conn = None;
            }
            self.found(trouble, Utc::now());
            looks = looks.wrapping_add(1);
            sleep(EVERY).await;
        }
    }
}

async fn look(
    pool: &PgPool,
    kept: &mut Option<PgConnection>,
    write: bool,
) -> Result<(), sqlx::Error> {
    if pool.is_closed() {
        return Err(sqlx::Error::PoolClosed);
    }
    let conn = match kept {
        Some(conn) => conn,
        None => kept.insert(pool.connect_options().connect().await?),
    };
    conn.ping().await?;
    if write {
        // Writes a record to the log of the database that nobody reads, and waits until it is on the disk.
        sqlx::raw_sql("select pg_logical_emit_message(true, 'borewright', 'ready')")
            .execute(&mut *conn)
            .await?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failed_write_is_remembered_for_a_few_looks_and_then_forgotten() {
        let readiness = Readiness::default();
        let now = DateTime::UNIX_EPOCH;
        readiness.note(&DbError::NotFound("a thing"), now);
        assert_eq!(readiness.trouble(), None);
        readiness.found(Some(Trouble::Unreachable), now);
        readiness.found(None, now);
        assert_eq!(readiness.trouble(), None);
        readiness.0.write().unwrap().remembered = REMEMBERED;
        for _ in 0..REMEMBERED {
            readiness.found(None, now);
            assert_eq!(readiness.trouble(), Some((Trouble::CannotWrite, now)));
        }
        readiness.found(None, now);
        assert_eq!(readiness.trouble(), None);
    }
}
