//! Bookings: what people entered at the bench. Rows are only ever added; the state of an operation follows from them.

use super::jobs::JobState;
use super::read::word;
use super::{DbError, ShopTx};
use crate::shopfloor::{Conflict, Course, Entry, Kind, Situation, Standards};
use crate::units::Code;
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// A booking as the hours are worked out from it.
pub(super) struct EntryRow {
    pub(super) id: Uuid,
    pub(super) kind: String,
    pub(super) operation_id: Uuid,
    pub(super) person_id: Uuid,
    pub(super) machine_id: Option<Uuid>,
    pub(super) at: DateTime<Utc>,
    pub(super) sequence: i64,
    pub(super) corrects: Option<Uuid>,
}

impl EntryRow {
    pub(super) fn read(self) -> Result<Entry, DbError> {
        Ok(Entry {
            id: self.id,
            kind: word("kind of a booking", &self.kind)?,
            operation: self.operation_id,
            person: self.person_id,
            machine: self.machine_id,
            at: self.at,
            sequence: self.sequence,
            corrects: self.corrects,
        })
    }
}

/// An entry to be booked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewBooking {
    /// The key made where it was entered.
    pub id: Uuid,
    /// What it says.
    pub kind: Kind,
    /// The operation of a job.
    pub operation_id: Uuid,
    /// At which machine.
    pub machine_id: Option<Uuid>,
    /// Whose time it is.
    pub person_id: Uuid,
    /// Who enters it.
    pub entered_by: Uuid,
    /// At which device; none when it is entered away from the bench.
    pub device_id: Option<Uuid>,
    /// When it happened, by this server's clock.
    pub at: DateTime<Utc>,
    /// The same by the clock of the device.
    pub device_at: DateTime<Utc>,
    /// When it arrived.
    pub received_at: DateTime<Utc>,
    /// The entry it corrects, confirms or answers.
    pub corrects: Option<Uuid>,
    /// Why, for a correction.
    pub reason: Option<String>,
}

/// An entry that arrived earlier under the same key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Earlier {
    /// What it says.
    pub kind: Kind,
    /// The operation of a job.
    pub operation_id: Uuid,
    /// Whose time it is.
    pub person_id: Uuid,
    /// When it happened by the clock of the device.
    pub device_at: DateTime<Utc>,
    /// What it was in conflict with.
    pub conflict: Option<Conflict>,
}

/// An entry as people read it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Booking {
    /// The entry.
    pub entry: Entry,
    /// The job.
    pub job_id: Uuid,
    /// Its number.
    pub job_number: i64,
    /// Number of the operation.
    pub operation_number: i32,
    /// Its title.
    pub operation_title: String,
    /// Name of the person whose time it is.
    pub person: String,
    /// Name of who entered it.
    pub entered_by: String,
    /// Name of the machine.
    pub machine: Option<String>,
    /// Name of the device.
    pub device: Option<String>,
    /// When it arrived.
    pub received_at: DateTime<Utc>,
    /// Why, for a correction.
    pub reason: Option<String>,
    /// What it was in conflict with when it arrived.
    pub conflict: Option<Conflict>,
    /// Whether somebody has looked at that conflict since.
    pub settled: bool,
}

/// The operation of an entry as the entry finds it. Its job stays locked until the transaction ends, so that entries of
/// one job are taken one after another.
///
/// # Errors
/// [`DbError::NotFound`] when there is no such operation, [`DbError::Corrupt`], [`DbError::Database`].
pub async fn situation(tx: &mut ShopTx, operation_id: Uuid) -> Result<Situation, DbError> {
    let row = sqlx::query!(
        r#"select o.number, o.state, o.job_id, j.state as job_state,
                  exists (select from job_operation b where b.shop_id = o.shop_id and b.job_id = o.job_id
                          and b.state <> 'done' and o.planned -> 'after' @> to_jsonb(b.number)) as "waits!",
                  exists (select from job_hold h where h.shop_id = o.shop_id and h.id = o.job_id) as "held!"
           from job_operation o join job j on j.shop_id = o.shop_id and j.id = o.job_id
           where o.shop_id = $1 and o.id = $2 for update of j"#,
        tx.shop_id(),
        operation_id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this operation"))?;
    Ok(Situation {
        job_is_open: row.job_state == JobState::Open.code(),
        state: word("state of an operation", &row.state)?,
        on_hold: row.held,
        waits: row.waits,
    })
}

/// The entry that arrived earlier under a key, if one did.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn earlier(tx: &mut ShopTx, id: Uuid) -> Result<Option<Earlier>, DbError> {
    let row = sqlx::query!(
        "select kind, operation_id, person_id, device_at, conflict from booking where shop_id = $1 and id = $2",
        tx.shop_id(),
        id
    )
    .fetch_optional(tx.conn())
    .await?;
    row.map(|row| {
        Ok(Earlier {
            kind: word("kind of a booking", &row.kind)?,
            operation_id: row.operation_id,
            person_id: row.person_id,
            device_at: row.device_at,
            conflict: conflict(row.conflict)?,
        })
    })
    .transpose()
}

/// Whether an entry is one of an operation's.
///
/// # Errors
/// [`DbError::Database`].
pub async fn is_of_operation(
    tx: &mut ShopTx,
    id: Uuid,
    operation_id: Uuid,
) -> Result<bool, DbError> {
    let there = sqlx::query_scalar!(
        r#"select count(*) as "there!" from booking where shop_id = $1 and id = $2 and operation_id = $3"#,
        tx.shop_id(),
        id,
        operation_id
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(there > 0)
}

/// Adds an entry with what it is in conflict with.
///
/// # Errors
/// [`DbError::NotFound`] when there is no such machine, [`DbError::Database`].
pub async fn insert(
    tx: &mut ShopTx,
    new: &NewBooking,
    conflict: Option<Conflict>,
) -> Result<(), DbError> {
    sqlx::query!(
        "insert into booking (shop_id, id, kind, operation_id, machine_id, person_id, entered_by, device_id, at, device_at,
                              received_at, corrects, reason, conflict)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)",
        tx.shop_id(),
        new.id,
        new.kind.code(),
        new.operation_id,
        new.machine_id,
        new.person_id,
        new.entered_by,
        new.device_id,
        new.at,
        new.device_at,
        new.received_at,
        new.corrects,
        new.reason,
        conflict.map(Conflict::code),
    )
    .execute(tx.conn())
    .await
    .map_err(|error| match error.as_database_error() {
        Some(db) if db.constraint() == Some("booking_shop_id_machine_id_fkey") => {
            DbError::NotFound("this machine")
        }
        _ => error.into(),
    })?;
    Ok(())
}

/// Sets what the entries of an operation say of it; nothing is written when it says so already.
///
/// # Errors
/// [`DbError::Database`].
pub async fn set_course(
    tx: &mut ShopTx,
    operation_id: Uuid,
    course: &Course,
) -> Result<(), DbError> {
    sqlx::query!(
        "update job_operation set state = $3, started_at = $4, machine_id = $5, person_id = $6, version = version + 1
         where shop_id = $1 and id = $2
           and (state, started_at, machine_id, person_id) is distinct from ($3, $4::timestamptz, $5::uuid, $6::uuid)",
        tx.shop_id(),
        operation_id,
        course.state.code(),
        course.started_at,
        course.machine,
        course.person,
    )
    .execute(tx.conn())
    .await?;
    // Whoever it was handed over to has begun, or it is done: the bookings say who is at it.
    sqlx::query!(
        "delete from hand_over where shop_id = $1 and id = $2 and ($3 <> 'started' or person_id = $4)",
        tx.shop_id(),
        operation_id,
        course.state.code(),
        course.person,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

fn conflict(stored: Option<String>) -> Result<Option<Conflict>, DbError> {
    stored
        .map(|code| word("conflict of a booking", &code))
        .transpose()
}

/// All entries of some operations, in the order of arrival.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn of_operations(tx: &mut ShopTx, operations: &[Uuid]) -> Result<Vec<Booking>, DbError> {
    let rows = sqlx::query!(
        r#"select b.id, b.kind, b.operation_id, b.person_id, b.machine_id, b.at, b.sequence, b.corrects, b.received_at,
                  b.reason, b.conflict, o.job_id, j.number as job_number, o.number as operation_number,
                  coalesce(o.planned ->> 'title', '') as "operation_title!",
                  p.name as person, e.name as entered_by, m.name as "machine?", d.name as "device?",
                  exists (select from booking s where s.shop_id = b.shop_id and s.corrects = b.id
                          and s.kind in ('struck', 'stands')) as "settled!"
           from booking b
           join job_operation o on o.shop_id = b.shop_id and o.id = b.operation_id
           join job j on j.shop_id = o.shop_id and j.id = o.job_id
           join person p on p.shop_id = b.shop_id and p.id = b.person_id
           join person e on e.shop_id = b.shop_id and e.id = b.entered_by
           left join machine m on m.shop_id = b.shop_id and m.id = b.machine_id
           left join device d on d.shop_id = b.shop_id and d.id = b.device_id
           where b.shop_id = $1 and b.operation_id = any ($2)
           order by b.sequence"#,
        tx.shop_id(),
        operations
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Booking {
                entry: Entry {
                    id: row.id,
                    kind: word("kind of a booking", &row.kind)?,
                    operation: row.operation_id,
                    person: row.person_id,
                    machine: row.machine_id,
                    at: row.at,
                    sequence: row.sequence,
                    corrects: row.corrects,
                },
                job_id: row.job_id,
                job_number: row.job_number,
                operation_number: row.operation_number,
                operation_title: row.operation_title,
                person: row.person,
                entered_by: row.entered_by,
                machine: row.machine,
                device: row.device,
                received_at: row.received_at,
                reason: row.reason,
                conflict: conflict(row.conflict)?,
                settled: row.settled,
            })
        })
        .collect()
}

/// All entries of a job, in the order of arrival.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn of_job(tx: &mut ShopTx, job_id: Uuid) -> Result<Vec<Booking>, DbError> {
    let operations = sqlx::query_scalar!(
        "select id from job_operation where shop_id = $1 and job_id = $2",
        tx.shop_id(),
        job_id
    )
    .fetch_all(tx.conn())
    .await?;
    of_operations(tx, &operations).await
}

/// All entries of the operations somebody may be at: those begun and not done, and those with a conflict that nobody
/// has looked at.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn live(tx: &mut ShopTx) -> Result<Vec<Booking>, DbError> {
    let operations = sqlx::query_scalar!(
        r#"select o.id as "id!" from job_operation o
           join job j on j.shop_id = o.shop_id and j.id = o.job_id
           where o.shop_id = $1 and o.state = 'started' and j.state = 'open'
           union
           select b.operation_id from booking b
           where b.shop_id = $1 and b.conflict is not null
             and not exists (select from booking s where s.shop_id = b.shop_id and s.corrects = b.id
                             and s.kind in ('struck', 'stands'))"#,
        tx.shop_id()
    )
    .fetch_all(tx.conn())
    .await?;
    of_operations(tx, &operations).await
}

/// The operations on which something was booked between two moments, both included.
///
/// # Errors
/// [`DbError::Database`].
pub async fn operations_between(
    tx: &mut ShopTx,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Result<Vec<Uuid>, DbError> {
    Ok(sqlx::query_scalar!(
        "select distinct operation_id from booking where shop_id = $1 and at between $2 and $3",
        tx.shop_id(),
        from,
        until
    )
    .fetch_all(tx.conn())
    .await?)
}

/// The standard setup minutes of some operations.
///
/// # Errors
/// [`DbError::Database`].
pub async fn setup_standards(tx: &mut ShopTx, operations: &[Uuid]) -> Result<Standards, DbError> {
    let rows = sqlx::query!(
        r#"select id, setup_minutes as "setup!" from job_operation where shop_id = $1 and id = any ($2)"#,
        tx.shop_id(),
        operations
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.setup)).collect())
}

/// Something a device sent that could not be booked.
#[derive(Debug, Clone, PartialEq)]
pub struct SetAside {
    /// Its key.
    pub id: Uuid,
    /// The device's name.
    pub device: String,
    /// Word for word.
    pub body: serde_json::Value,
    /// Why it could not be booked.
    pub why: String,
    /// When it arrived.
    pub received_at: DateTime<Utc>,
}

/// Keeps what could not be booked, once however often it arrives.
///
/// # Errors
/// [`DbError::Database`].
pub async fn set_aside(
    tx: &mut ShopTx,
    id: Uuid,
    device_id: Uuid,
    body: &serde_json::Value,
    why: &str,
    now: DateTime<Utc>,
) -> Result<(), DbError> {
    sqlx::query!(
        "insert into set_aside (shop_id, id, device_id, body, why, received_at) values ($1, $2, $3, $4, $5, $6)
         on conflict (shop_id, id) do nothing",
        tx.shop_id(),
        id,
        device_id,
        body,
        why,
        now,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// What was set aside and nobody has looked at, oldest first.
///
/// # Errors
/// [`DbError::Database`].
pub async fn set_aside_open(tx: &mut ShopTx) -> Result<Vec<SetAside>, DbError> {
    Ok(sqlx::query_as!(
        SetAside,
        "select s.id, d.name as device, s.body, s.why, s.received_at
         from set_aside s join device d on d.shop_id = s.shop_id and d.id = s.device_id
         where s.shop_id = $1 and s.settled_at is null order by s.received_at, s.id",
        tx.shop_id()
    )
    .fetch_all(tx.conn())
    .await?)
}

/// Notes that somebody has looked at what was set aside, and what they did.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn settle_set_aside(
    tx: &mut ShopTx,
    id: Uuid,
    by: Uuid,
    note: &str,
    now: DateTime<Utc>,
) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update set_aside set settled_at = $3, settled_by = $4, settled_note = $5
         where shop_id = $1 and id = $2 and settled_at is null",
        tx.shop_id(),
        id,
        now,
        by,
        note,
    )
    .execute(tx.conn())
    .await?;
    match done.rows_affected() {
        0 => Err(DbError::NotFound("what was set aside")),
        _ => Ok(()),
    }
}
