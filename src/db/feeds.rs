//! Calendar feeds: whose week they show, under which secret, and how often each entry has changed.

use super::read::corrupt;
use super::rows::Touched;
use super::{DbError, ShopTx};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use std::collections::HashMap;
use uuid::Uuid;

/// Whose week a feed shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Whose {
    /// A machine's.
    Machine(Uuid),
    /// A person's.
    Person(Uuid),
}

impl Whose {
    fn machine_id(self) -> Option<Uuid> {
        match self {
            Self::Machine(id) => Some(id),
            Self::Person(_) => None,
        }
    }

    fn person_id(self) -> Option<Uuid> {
        match self {
            Self::Person(id) => Some(id),
            Self::Machine(_) => None,
        }
    }

    fn from_columns(machine_id: Option<Uuid>, person_id: Option<Uuid>) -> Result<Self, DbError> {
        match (machine_id, person_id) {
            (Some(id), None) => Ok(Self::Machine(id)),
            (None, Some(id)) => Ok(Self::Person(id)),
            _ => Err(corrupt("feed", "it is of no one, or of two")),
        }
    }
}

/// A feed, without its secret.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Feed {
    /// Key.
    pub id: Uuid,
    /// Whose week it shows.
    pub whose: Whose,
    /// Name of the machine or person.
    pub name: String,
    /// Who or what reads it.
    pub note: String,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// By whom.
    pub made_by: Option<Uuid>,
    /// When it was last read, give or take a few minutes.
    pub read_at: Option<DateTime<Utc>>,
}

/// Feeds that are not revoked, by name and age.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn list(tx: &mut ShopTx) -> Result<Vec<Feed>, DbError> {
    sqlx::query!(
        r#"select f.id, f.machine_id, f.person_id, coalesce(m.name, p.name) as "name!", f.note, f.made_at, f.made_by,
                  f.read_at
           from feed f
           left join machine m on m.shop_id = f.shop_id and m.id = f.machine_id
           left join person p on p.shop_id = f.shop_id and p.id = f.person_id
           where f.shop_id = $1 and f.revoked_at is null
           order by lower(coalesce(m.name, p.name)), f.id"#,
        tx.shop_id()
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| {
        Ok(Feed {
            id: row.id,
            whose: Whose::from_columns(row.machine_id, row.person_id)?,
            name: row.name,
            note: row.note,
            made_at: row.made_at,
            made_by: row.made_by,
            read_at: row.read_at,
        })
    })
    .collect()
}

/// Makes a feed on behalf of the transaction's person; only the hash of its secret is kept.
///
/// # Errors
/// [`DbError::NotFound`] when there is no such machine or person, [`DbError::Database`].
pub async fn make(
    tx: &mut ShopTx,
    whose: Whose,
    note: &str,
    token_hash: &[u8; 32],
) -> Result<Uuid, DbError> {
    let id = Uuid::now_v7();
    sqlx::query!(
        "insert into feed (shop_id, id, token_hash, machine_id, person_id, note, made_by)
         values ($1, $2, $3, $4, $5, $6, $7)",
        tx.shop_id(),
        id,
        &token_hash[..],
        whose.machine_id(),
        whose.person_id(),
        note,
        tx.person_id(),
    )
    .execute(tx.conn())
    .await
    .map_err(|error| match error.as_database_error() {
        Some(db) if db.is_foreign_key_violation() => DbError::NotFound("whose week it is"),
        _ => error.into(),
    })?;
    Ok(id)
}

/// Ends a feed for good: its address answers nothing from then on.
///
/// # Errors
/// [`DbError::NotFound`] when there is none that is not revoked, [`DbError::Database`].
pub async fn revoke(tx: &mut ShopTx, id: Uuid) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update feed set revoked_at = now(), revoked_by = $3
         where shop_id = $1 and id = $2 and revoked_at is null",
        tx.shop_id(),
        id,
        tx.person_id(),
    )
    .execute(tx.conn())
    .await?;
    done.or_missing("this feed")
}

/// A feed that was asked for by its secret.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Opened {
    /// Key.
    pub id: Uuid,
    /// Whose week it shows.
    pub whose: Whose,
    /// Name of the machine or person.
    pub name: String,
    /// The hash that was found, for a comparison that takes the same time whatever differs.
    pub token_hash: Vec<u8>,
}

/// The feed of a hashed secret, if it is not revoked and its machine or person is still there.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn find(tx: &mut ShopTx, token_hash: &[u8; 32]) -> Result<Option<Opened>, DbError> {
    sqlx::query!(
        r#"select f.id, f.machine_id, f.person_id, coalesce(m.name, p.name) as "name!", f.token_hash
           from feed f
           left join machine m on m.shop_id = f.shop_id and m.id = f.machine_id
           left join person p on p.shop_id = f.shop_id and p.id = f.person_id
           where f.shop_id = $1 and f.token_hash = $2 and f.revoked_at is null and coalesce(m.active, p.active)"#,
        tx.shop_id(),
        &token_hash[..],
    )
    .fetch_optional(tx.conn())
    .await?
    .map(|row| {
        Ok(Opened {
            id: row.id,
            whose: Whose::from_columns(row.machine_id, row.person_id)?,
            name: row.name,
            token_hash: row.token_hash,
        })
    })
    .transpose()
}

/// Notes that a feed was read. Seldom: a telephone asks every few minutes.
///
/// # Errors
/// [`DbError::Database`].
pub async fn note_reading(tx: &mut ShopTx, id: Uuid, now: DateTime<Utc>) -> Result<(), DbError> {
    sqlx::query!(
        "update feed set read_at = $3 where shop_id = $1 and id = $2 and (read_at is null or read_at < $4)",
        tx.shop_id(),
        id,
        now,
        now - TimeDelta::minutes(10),
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// A planned stretch of work, as a feed tells it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Slot {
    /// The operation.
    pub operation_id: Uuid,
    /// Number of the operation.
    pub operation_number: i32,
    /// Its title.
    pub operation_title: String,
    /// What must be on the table.
    pub setup_key: String,
    /// Number of the job.
    pub job_number: i64,
    /// What the job makes.
    pub job_title: String,
    /// The day the customer was promised.
    pub promised_on: Option<NaiveDate>,
    /// The machine's name.
    pub machine: Option<String>,
    /// The person's name.
    pub person: Option<String>,
    /// From.
    pub starts_at: DateTime<Utc>,
    /// Until when somebody attends.
    pub attended_until: DateTime<Utc>,
    /// Until.
    pub ends_at: DateTime<Utc>,
    /// Whether it is begun or pinned, so that it does not move.
    pub certain: bool,
}

/// The plan's slots of a machine or person that end after `from`, in order.
///
/// # Errors
/// [`DbError::Database`].
pub async fn slots(
    tx: &mut ShopTx,
    whose: Whose,
    from: DateTime<Utc>,
) -> Result<Vec<Slot>, DbError> {
    Ok(sqlx::query_as!(
        Slot,
        r#"select s.operation_id, o.number as operation_number, coalesce(o.planned ->> 'title', '') as "operation_title!",
                  coalesce(o.setup_key, '') as "setup_key!", j.number as job_number, j.title as job_title, j.promised_on,
                  m.name as "machine?", p.name as "person?", s.starts_at, s.attended_until, s.ends_at,
                  s.state <> 'planned' as "certain!"
           from plan_slot s
           join job_operation o on o.shop_id = s.shop_id and o.id = s.operation_id and o.state <> 'done'
           join job j on j.shop_id = o.shop_id and j.id = o.job_id and j.state = 'open'
           left join machine m on m.shop_id = s.shop_id and m.id = s.machine_id
           left join person p on p.shop_id = s.shop_id and p.id = s.person_id
           where s.shop_id = $1 and s.ends_at > $4 and (s.machine_id = $2 or s.person_id = $3)
           order by s.starts_at, s.operation_id"#,
        tx.shop_id(),
        whose.machine_id(),
        whose.person_id(),
        from,
    )
    .fetch_all(tx.conn())
    .await?)
}

/// How often an entry has changed, and when it last did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Revision {
    /// Counts changes, from none.
    pub sequence: u32,
    /// When it last changed, or was first told.
    pub revised_at: DateTime<Utc>,
}

/// How long what was said of an entry is kept after it last changed.
const KEPT_FOR: TimeDelta = TimeDelta::days(400);

/// Compares what is to be said of entries with what was said last, counts what differs and gives back how often each
/// has changed, by its UID.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn revisions(
    tx: &mut ShopTx,
    entries: &[(String, [u8; 32])],
    now: DateTime<Utc>,
) -> Result<HashMap<String, Revision>, DbError> {
    let uids: Vec<String> = entries.iter().map(|(uid, _)| uid.clone()).collect();
    let digests: Vec<Vec<u8>> = entries.iter().map(|(_, digest)| digest.to_vec()).collect();
    // Whole seconds: iCalendar knows no fractions. Sorted, so that two readers do not wait for each other crosswise.
    sqlx::query!(
        "insert into feed_entry as e (shop_id, uid, digest, revised_at)
         select $1, uid, digest, date_trunc('second', $4::timestamptz)
         from unnest($2::text[], $3::bytea[]) as line (uid, digest) order by uid
         on conflict (shop_id, uid) do update
         set digest = excluded.digest, sequence = e.sequence + 1, revised_at = excluded.revised_at
         where e.digest <> excluded.digest",
        tx.shop_id(),
        &uids,
        &digests,
        now,
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "delete from feed_entry where shop_id = $1 and revised_at < $2 and uid <> all ($3)",
        tx.shop_id(),
        now - KEPT_FOR,
        &uids,
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "select uid, sequence, revised_at from feed_entry where shop_id = $1 and uid = any ($2)",
        tx.shop_id(),
        &uids,
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| {
        let revision = Revision {
            sequence: super::read::count("sequence of an entry", row.sequence)?,
            revised_at: row.revised_at,
        };
        Ok((row.uid, revision))
    })
    .collect()
}
