//! What a job needs before it, or one of its operations, can start: a donor, parts, materials, reusable tooling.
//!
//! A need that names a casting, an item of stock or a tool stands as that stands; who gets what there is of an item is
//! [`crate::stock::Supply`]'s. Any other says itself whether its goods are here, on order, or nobody knows.

mod route;
mod supply;

use super::read::{corrupt, word};
use super::{DbError, Refusal, ShopTx};

use crate::stock::Supply;
pub use crate::stock::{Arrival, Availability, Cover, Loan, NeedKind, Reserved, Source};
use crate::units::Code;
use chrono::NaiveDate;
pub use route::*;
use rust_decimal::Decimal;
use std::collections::HashMap;
use uuid::Uuid;

/// What stands behind a need.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Behind {
    /// Nothing that is kept in the program: the need says itself how it stands.
    Itself,
    /// A casting of the shelf.
    Casting(Uuid),
    /// An item of stock.
    Item(Uuid),
    /// A set of reusable tooling.
    Tool(Uuid),
}

/// What is written down about a need.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NeedDetails {
    /// The operation it must be here for; `None`: before the job can start.
    pub operation_id: Option<Uuid>,
    /// What kind of thing.
    pub kind: NeedKind,
    /// What, in words.
    pub what: String,
    /// How much.
    pub quantity: Decimal,
    /// Of what: each, kg, m.
    pub unit: String,
    /// What stands behind it.
    pub behind: Behind,
    /// What was last said of it.
    pub arrival: Arrival,
    /// The day it is expected, when it is on order and somebody has said.
    pub expected_on: Option<NaiveDate>,
}

/// A need of a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Need {
    /// Key.
    pub id: Uuid,
    /// The job.
    pub job_id: Uuid,
    /// Number of the job.
    pub job_number: i64,
    /// What is written down about it.
    pub details: NeedDetails,
    /// Number of the operation it must be here for.
    pub operation_number: Option<i32>,
    /// Whether that operation is still to be begun; true for a need of the whole job.
    pub ahead: bool,
    /// The status of what it draws on.
    pub source: Source,
    /// Whether the shop has said how the item it draws on is made here.
    pub made_here: bool,
    /// Counts edits.
    pub version: i32,
}

impl Need {
    /// Its status on a day. Goods that should have come before it are overdue, not here.
    #[must_use]
    pub fn availability(&self, today: NaiveDate) -> Availability {
        self.source.availability(today)
    }
}

struct Row {
    id: Uuid,
    job_id: Uuid,
    job_number: i64,
    operation_id: Option<Uuid>,
    operation_number: Option<i32>,
    operation_state: Option<String>,
    kind: String,
    what: String,
    quantity: Decimal,
    unit: String,
    casting_id: Option<Uuid>,
    casting_number: Option<i64>,
    casting_state: Option<String>,
    casting_job_id: Option<Uuid>,
    item_id: Option<Uuid>,
    item_name: Option<String>,
    made_here: bool,
    being_made: bool,
    tool_id: Option<Uuid>,
    tool_name: Option<String>,
    loan_job_id: Option<Uuid>,
    loan_job_number: Option<i64>,
    loan_back_on: Option<NaiveDate>,
    state: String,
    expected_on: Option<NaiveDate>,
    version: i32,
}

impl Need {
    /// A need with what its turn gives it, if it draws on stock and has one.
    fn of(row: Row, turn: Option<Cover>) -> Result<Self, DbError> {
        let arrival = word("state of a need", &row.state)?;
        let missing = |what| corrupt(what, "what it names is gone");
        let (behind, source) = match (row.casting_id, row.item_id, row.tool_id) {
            (Some(id), ..) => {
                let state = row.casting_state.ok_or_else(|| missing("casting"))?;
                let state = word("state of a casting", &state)?;
                let number = row.casting_number.ok_or_else(|| missing("casting"))?;
                let is_the_jobs = row.casting_job_id == Some(row.job_id);
                let reserved = Reserved::of(id, number, state, is_the_jobs);
                (Behind::Casting(id), Source::Casting(reserved))
            }
            (None, Some(id), _) => {
                let cover = Cover::of(arrival, row.being_made, turn);
                let name = row.item_name.ok_or_else(|| missing("item"))?;
                (Behind::Item(id), Source::Stock { id, name, cover })
            }
            (None, None, Some(id)) => {
                let loan = match (row.loan_job_id, row.loan_job_number) {
                    (Some(job_id), Some(job_number)) => Some(Loan {
                        job_id,
                        job_number,
                        back_on: row.loan_back_on,
                        ours: job_id == row.job_id,
                    }),
                    _ => None,
                };
                let name = row.tool_name.ok_or_else(|| missing("tool"))?;
                (Behind::Tool(id), Source::Tool { id, name, loan })
            }
            (None, None, None) => (
                Behind::Itself,
                Source::Itself {
                    arrival,
                    expected_on: row.expected_on,
                },
            ),
        };
        Ok(Self {
            id: row.id,
            job_id: row.job_id,
            job_number: row.job_number,
            details: NeedDetails {
                operation_id: row.operation_id,
                kind: word("kind of need", &row.kind)?,
                what: row.what,
                quantity: row.quantity.normalize(),
                unit: row.unit,
                behind,
                arrival,
                expected_on: row.expected_on,
            },
            operation_number: row.operation_number,
            ahead: row.operation_state.is_none_or(|state| state == "queued"),
            source,
            made_here: row.made_here,
            version: row.version,
        })
    }
}

/// Needs by their keys: by job, operation and name.
///
/// The keys are looked up first, by a statement for each way to ask. One statement for all of them would be planned anew each
/// time, and planning so many tables takes longer than reading a job's few needs.
async fn read(tx: &mut ShopTx, keys: &[Uuid]) -> Result<Vec<Need>, DbError> {
    if keys.is_empty() {
        return Ok(Vec::new());
    }
    let rows = sqlx::query_as!(
        Row,
        r#"select n.id, n.job_id, j.number as job_number, n.operation_id, o.number as "operation_number?",
                  o.state as "operation_state?", n.kind, n.what, n.quantity, n.unit,
                  n.casting_id, c.number as "casting_number?", c.state as "casting_state?", c.job_id as casting_job_id,
                  n.item_id, i.name as "item_name?", h.id is not null as "made_here!",
                  b.being_made is true as "being_made!",
                  n.tool_id, t.name as "tool_name?", l.job_id as "loan_job_id?", lj.number as "loan_job_number?",
                  coalesce(l.expected_on, case when lj.state = 'open' then lj.due_on end) as loan_back_on, n.state, n.expected_on, n.version
           from need n
           join job j on j.shop_id = n.shop_id and j.id = n.job_id
           left join job_operation o on o.shop_id = n.shop_id and o.id = n.operation_id
           left join casting c on c.shop_id = n.shop_id and c.id = n.casting_id
           left join stock_item i on i.shop_id = n.shop_id and i.id = n.item_id
           left join making h on h.shop_id = n.shop_id and h.id = n.item_id
           left join made_batch b on b.shop_id = n.shop_id and b.id = n.batch_id
           left join tool t on t.shop_id = n.shop_id and t.id = n.tool_id
           left join tool_loan l on l.shop_id = n.shop_id and l.tool_id = n.tool_id and l.back_at is null
           left join job lj on lj.shop_id = l.shop_id and lj.id = l.job_id
           where n.shop_id = $1 and n.id = any ($2)
           order by j.number, o.number nulls first, n.kind, n.what, n.id"#,
        tx.shop_id(),
        keys,
    )
    .fetch_all(tx.conn())
    .await?;
    let mut items: Vec<Uuid> = rows.iter().filter_map(|row| row.item_id).collect();
    items.sort_unstable();
    items.dedup();
    let turns: HashMap<Uuid, Cover> = supply::supply(tx, &items)
        .await?
        .into_values()
        .flat_map(Supply::serve)
        .collect();
    rows.into_iter()
        .map(|row| {
            let turn = turns.get(&row.id).copied();
            Need::of(row, turn)
        })
        .collect()
}

/// The needs of a job: those of the whole job first, then by operation.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn of_job(tx: &mut ShopTx, job_id: Uuid) -> Result<Vec<Need>, DbError> {
    let keys = sqlx::query_scalar!(
        "select id from need where shop_id = $1 and job_id = $2",
        tx.shop_id(),
        job_id,
    )
    .fetch_all(tx.conn())
    .await?;
    read(tx, &keys).await
}

/// One need of a job.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, job_id: Uuid, id: Uuid) -> Result<Need, DbError> {
    of_job(tx, job_id)
        .await?
        .into_iter()
        .find(|need| need.id == id)
        .ok_or(DbError::NotFound("this need"))
}

/// What holds the start of work that is still to be begun: every need of an open job that is not met on a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gate {
    /// The need.
    pub need_id: Uuid,
    /// The job it holds.
    pub job_id: Uuid,
    /// Number of the job.
    pub job_number: i64,
    /// The operation it holds; `None`: the whole job.
    pub operation_id: Option<Uuid>,
    /// What kind of thing.
    pub kind: NeedKind,
    /// What, in words.
    pub what: String,
    /// Its status; never [`Availability::Here`]. Only [`Availability::Expected`] is a day to plan on; work that waits for
    /// anything else has no day, and the plan must say so.
    pub standing: Availability,
}

impl Gate {
    /// The first day on which the work may start; `None` when nobody knows.
    #[must_use]
    pub fn not_before(&self) -> Option<NaiveDate> {
        match self.standing {
            Availability::Expected(day) => Some(day),
            _ => None,
        }
    }
}

/// The gates of every open job on a day of the shop's calendar, by job and operation. Operations that are begun or done
/// have none.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn gates(tx: &mut ShopTx, today: NaiveDate) -> Result<Vec<Gate>, DbError> {
    let keys = sqlx::query_scalar!(
        "select n.id from need n join job j on j.shop_id = n.shop_id and j.id = n.job_id and j.state = 'open'
         where n.shop_id = $1 and n.state <> 'here'",
        tx.shop_id(),
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(read(tx, &keys)
        .await?
        .into_iter()
        .filter(|need| need.ahead)
        .filter_map(|need| {
            let standing = need.availability(today);
            (standing != Availability::Here).then_some(Gate {
                need_id: need.id,
                job_id: need.job_id,
                job_number: need.job_number,
                operation_id: need.details.operation_id,
                kind: need.details.kind,
                what: need.details.what,
                standing,
            })
        })
        .collect())
}

struct Columns {
    casting_id: Option<Uuid>,
    item_id: Option<Uuid>,
    tool_id: Option<Uuid>,
}

impl From<Behind> for Columns {
    fn from(behind: Behind) -> Self {
        let (mut casting_id, mut item_id, mut tool_id) = (None, None, None);
        match behind {
            Behind::Itself => {}
            Behind::Casting(id) => casting_id = Some(id),
            Behind::Item(id) => item_id = Some(id),
            Behind::Tool(id) => tool_id = Some(id),
        }
        Self {
            casting_id,
            item_id,
            tool_id,
        }
    }
}

/// Adds a need to a job, whatever stands behind it.
///
/// # Errors
/// [`DbError::NotFound`] when what it names is not there, [`DbError::Database`].
pub async fn insert(tx: &mut ShopTx, job_id: Uuid, details: &NeedDetails) -> Result<Uuid, DbError> {
    let id = Uuid::now_v7();
    let columns = Columns::from(details.behind);
    sqlx::query!(
        "insert into need (shop_id, id, job_id, operation_id, kind, what, quantity, unit, casting_id, item_id, tool_id,
                           state, expected_on)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)",
        tx.shop_id(),
        id,
        job_id,
        details.operation_id,
        details.kind.code(),
        details.what,
        details.quantity,
        details.unit,
        columns.casting_id,
        columns.item_id,
        columns.tool_id,
        details.arrival.code(),
        details.expected_on,
    )
    .execute(tx.conn())
    .await
    .map_err(named_something)?;
    Ok(id)
}

/// Changes a need of a job; `version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`] when what it names is not there, [`DbError::Database`].
pub async fn update(
    tx: &mut ShopTx,
    job_id: Uuid,
    id: Uuid,
    version: i32,
    details: &NeedDetails,
) -> Result<(), DbError> {
    let columns = Columns::from(details.behind);
    let done = sqlx::query!(
        "update need set operation_id = $5, kind = $6, what = $7, quantity = $8, unit = $9, casting_id = $10,
                item_id = $11, tool_id = $12, state = $13, expected_on = $14, version = version + 1
         where shop_id = $1 and job_id = $2 and id = $3 and version = $4",
        tx.shop_id(),
        job_id,
        id,
        version,
        details.operation_id,
        details.kind.code(),
        details.what,
        details.quantity,
        details.unit,
        columns.casting_id,
        columns.item_id,
        columns.tool_id,
        details.arrival.code(),
        details.expected_on,
    )
    .execute(tx.conn())
    .await
    .map_err(named_something)?;
    one(done.rows_affected())
}

/// Removes a need of a job; `version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Refused`] when stock was ever booked for it, [`DbError::Stale`], [`DbError::Database`].
pub async fn remove(tx: &mut ShopTx, job_id: Uuid, id: Uuid, version: i32) -> Result<(), DbError> {
    let done = sqlx::query!(
        "delete from need where shop_id = $1 and job_id = $2 and id = $3 and version = $4",
        tx.shop_id(),
        job_id,
        id,
        version,
    )
    .execute(tx.conn())
    .await
    .map_err(|error| match error.as_database_error() {
        // Taken once and put back: the movements still name it.
        Some(db) if db.is_foreign_key_violation() => DbError::Refused(Refusal::StockWasBooked),
        _ => error.into(),
    })?;
    one(done.rows_affected())
}

/// Sets what was last said of the goods of a need; `version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::Database`].
pub async fn set_state(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    state: Arrival,
) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update need set state = $4, expected_on = null, version = version + 1
         where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
        state.code(),
    )
    .execute(tx.conn())
    .await?;
    one(done.rows_affected())
}

/// Lets a need wait for what a batch of its job makes; `version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`] when there is no such batch, [`DbError::Database`].
pub async fn set_batch(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    batch_id: Uuid,
) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update need set batch_id = $4, version = version + 1 where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
        batch_id,
    )
    .execute(tx.conn())
    .await
    .map_err(named_something)?;
    one(done.rows_affected())
}

fn one(rows: u64) -> Result<(), DbError> {
    if rows == 0 {
        return Err(DbError::Stale("this need"));
    }
    Ok(())
}

fn named_something(error: sqlx::Error) -> DbError {
    match error.as_database_error() {
        Some(db) if db.is_foreign_key_violation() => DbError::NotFound("what it names"),
        _ => error.into(),
    }
}
