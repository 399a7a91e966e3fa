//! Parts and materials: what is kept, how much is on hand and on order, and every movement that made it so.

mod batches;
mod making;
mod orders;

use super::read::word;
use super::rows::broken;
use super::{DbError, Refusal, ShopTx};
use crate::stock::{Level, Transfer};
use crate::units::Code;
use chrono::{DateTime, NaiveDate, Utc};
use rust_decimal::Decimal;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

pub use batches::*;
pub use making::*;
pub use orders::*;

/// Why what is on hand changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Reason {
    /// Goods came in.
    Received,
    /// Taken for a job.
    Issued,
    /// Put back by a job.
    Returned,
    /// A count found another figure.
    Counted,
    /// Spoilt, lost, used up without a job.
    WrittenOff,
    /// Made in the shop.
    Made,
}

/// What is written down about an item.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ItemDetails {
    /// What it is. A material of an element under this name draws on it.
    pub name: String,
    /// What it is counted in: each, kg, m, litre.
    pub unit: String,
    /// Where it lies.
    pub kept_at: String,
    /// Who it is bought from.
    pub supplier: String,
    /// Below this it is to be ordered; `None`: bought when a job asks.
    pub minimum: Option<Decimal>,
    /// Whether it is still kept.
    pub active: bool,
}

/// An item of stock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Item {
    /// Key.
    pub id: Uuid,
    /// What is written down about it.
    pub details: ItemDetails,
    /// What lies there, by its movements.
    pub on_hand: Decimal,
    /// What open jobs still want of it.
    pub wanted: Decimal,
    /// What is on order and has not come.
    pub on_order: Decimal,
    /// The first day some of that is expected.
    pub next_on: Option<NaiveDate>,
    /// Whether somebody has said how it is made here.
    pub made_here: bool,
    /// What open jobs are making of it for the shelf.
    pub being_made: Decimal,
    /// Counts edits.
    pub version: i32,
}

impl Item {
    /// Its quantities, for the rules of stock.
    #[must_use]
    pub fn level(&self) -> Level {
        Level {
            on_hand: self.on_hand,
            wanted: self.wanted,
            on_order: self.on_order + self.being_made,
            minimum: self.details.minimum,
        }
    }
}

struct Row {
    id: Uuid,
    name: String,
    unit: String,
    kept_at: String,
    supplier: String,
    minimum: Option<Decimal>,
    active: bool,
    on_hand: Decimal,
    wanted: Decimal,
    on_order: Decimal,
    next_on: Option<NaiveDate>,
    made_here: bool,
    being_made: Decimal,
    version: i32,
}

impl From<Row> for Item {
    fn from(row: Row) -> Self {
        Self {
            id: row.id,
            details: ItemDetails {
                name: row.name,
                unit: row.unit,
                kept_at: row.kept_at,
                supplier: row.supplier,
                minimum: row.minimum.map(|minimum| minimum.normalize()),
                active: row.active,
            },
            on_hand: row.on_hand.normalize(),
            wanted: row.wanted.normalize(),
            on_order: row.on_order.normalize(),
            next_on: row.next_on,
            made_here: row.made_here,
            being_made: row.being_made.normalize(),
            version: row.version,
        }
    }
}

/// Items by name; those no longer kept too when `all`.
///
/// # Errors
/// [`DbError::Database`].
pub async fn items(tx: &mut ShopTx, all: bool) -> Result<Vec<Item>, DbError> {
    read(tx, all, None).await
}

/// One item.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn item(tx: &mut ShopTx, id: Uuid) -> Result<Item, DbError> {
    let found = read(tx, true, Some(&[id])).await?.pop();
    found.ok_or(DbError::NotFound("this item of stock"))
}

/// The items of these keys.
///
/// # Errors
/// [`DbError::Database`].
pub(super) async fn these(tx: &mut ShopTx, keys: &[Uuid]) -> Result<Vec<Item>, DbError> {
    read(tx, true, Some(keys)).await
}

async fn read(tx: &mut ShopTx, all: bool, keys: Option<&[Uuid]>) -> Result<Vec<Item>, DbError> {
    let rows = sqlx::query_as!(
        Row,
        r#"select i.id, i.name, i.unit, i.kept_at, i.supplier, i.minimum, i.active, i.on_hand,
                  coalesce(w.quantity, 0) as "wanted!", coalesce(o.quantity, 0) as "on_order!", o.next_on as "next_on?",
                  exists (select from making h where h.shop_id = i.shop_id and h.id = i.id) as "made_here!",
                  coalesce(k.quantity, 0) as "being_made!", i.version
           from stock_item i
           left join (select n.item_id, sum(n.quantity) as quantity
                      from need n
                      join job j on j.shop_id = n.shop_id and j.id = n.job_id
                      left join job_operation p on p.shop_id = n.shop_id and p.id = n.operation_id
                      left join made_batch b on b.shop_id = n.shop_id and b.id = n.batch_id
                      where n.shop_id = $1 and n.state = 'wanted' and j.state = 'open' and p.state is distinct from 'done'
                        and b.being_made is not true
                      group by n.item_id) w on w.item_id = i.id
           left join (select s.item_id, sum(greatest(s.quantity - s.come, 0)) as quantity,
                             min(s.expected_on) filter (where s.quantity > s.come) as next_on
                      from (select e.item_id, e.expected_on, e.quantity,
                                   coalesce((select sum(m.quantity) from stock_movement m
                                             where m.shop_id = e.shop_id and m.order_id = e.id), 0) as come
                            from stock_order e where e.shop_id = $1 and not e.closed) s
                      group by s.item_id) o on o.item_id = i.id
           left join (select b.item_id, sum(greatest(b.pieces - coalesce(
                                 (select sum(n.quantity) from need n
                                  where n.shop_id = b.shop_id and n.batch_id = b.id and n.state = 'wanted'), 0), 0)) as quantity
                      from made_batch b
                      join job j on j.shop_id = b.shop_id and j.id = b.job_id
                      where b.shop_id = $1 and b.being_made and j.state = 'open'
                      group by b.item_id) k on k.item_id = i.id
           where i.shop_id = $1 and (i.active or $2) and ($3::uuid[] is null or i.id = any ($3))
           order by lower(i.name)"#,
        tx.shop_id(),
        all,
        keys,
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().map(Item::from).collect())
}

/// Adds an item, with nothing on hand.
///
/// # Errors
/// [`DbError::Duplicate`] when there is one of that name, [`DbError::Database`].
pub async fn insert(tx: &mut ShopTx, details: &ItemDetails) -> Result<Uuid, DbError> {
    let id = Uuid::now_v7();
    sqlx::query!(
        "insert into stock_item (shop_id, id, name, unit, kept_at, supplier, minimum, active)
         values ($1, $2, $3, $4, $5, $6, $7, $8)",
        tx.shop_id(),
        id,
        details.name,
        details.unit,
        details.kept_at,
        details.supplier,
        details.minimum,
        details.active,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(id)
}

/// Changes what is written down about an item; `version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Duplicate`], [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Database`].
pub async fn update(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    details: &ItemDetails,
) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update stock_item set name = $4, unit = $5, kept_at = $6, supplier = $7, minimum = $8, active = $9,
                version = version + 1
         where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
        details.name,
        details.unit,
        details.kept_at,
        details.supplier,
        details.minimum,
        details.active,
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    if done.rows_affected() == 0 {
        item(tx, id).await?;
        return Err(DbError::Stale("this item of stock"));
    }
    Ok(())
}

/// A movement of stock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Movement {
    /// Key.
    pub id: Uuid,
    /// By how much what is on hand changed.
    pub quantity: Decimal,
    /// Why.
    pub reason: Reason,
    /// In words, where a figure alone would not do.
    pub note: String,
    /// The job it went to or came from.
    pub job: Option<(Uuid, i64)>,
    /// When.
    pub at: DateTime<Utc>,
    /// By whom; `None` for the program itself.
    pub person: Option<String>,
}

/// The last `limit` movements of an item, newest first.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn movements(
    tx: &mut ShopTx,
    item_id: Uuid,
    limit: u16,
) -> Result<Vec<Movement>, DbError> {
    let rows = sqlx::query!(
        r#"select m.id, m.quantity, m.reason, m.note, j.id as "job_id?", j.number as "job_number?", m.at,
                  p.name as "person?"
           from stock_movement m
           left join need n on n.shop_id = m.shop_id and n.id = m.need_id
           left join made_batch b on b.shop_id = m.shop_id and b.id = m.batch_id
           left join job j on j.shop_id = m.shop_id and j.id = coalesce(n.job_id, b.job_id)
           left join person p on p.shop_id = m.shop_id and p.id = m.person_id
           where m.shop_id = $1 and m.item_id = $2 order by m.id desc limit $3"#,
        tx.shop_id(),
        item_id,
        i64::from(limit),
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Movement {
                id: row.id,
                quantity: row.quantity.normalize(),
                reason: word("reason of a movement", &row.reason)?,
                note: row.note,
                job: row.job_id.zip(row.job_number),
                at: row.at,
                person: row.person,
            })
        })
        .collect()
}

/// What a movement of stock belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct For {
    order_id: Option<Uuid>,
    need_id: Option<Uuid>,
    batch_id: Option<Uuid>,
}

async fn book(
    tx: &mut ShopTx,
    item_id: Uuid,
    quantity: Decimal,
    reason: Reason,
    whose: For,
    note: &str,
) -> Result<(), DbError> {
    sqlx::query!(
        "insert into stock_movement (shop_id, id, item_id, quantity, reason, order_id, need_id, batch_id, note, person_id)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        tx.shop_id(),
        Uuid::now_v7(),
        item_id,
        quantity,
        reason.code(),
        whose.order_id,
        whose.need_id,
        whose.batch_id,
        note,
        tx.person_id(),
    )
    .execute(tx.conn())
    .await
    .map_err(|error| match error.as_database_error() {
        Some(db) if db.constraint() == Some("stock_not_below_nothing") => {
            DbError::Refused(Refusal::NotOnHand)
        }
        Some(db) if db.is_foreign_key_violation() => DbError::NotFound("this item of stock"),
        _ => error.into(),
    })?;
    Ok(())
}

/// Writes off goods that are spoilt, lost or were used up without a job.
///
/// # Errors
/// [`DbError::Refused`] when there is not so much on hand, [`DbError::NotFound`], [`DbError::Database`].
pub async fn write_off(
    tx: &mut ShopTx,
    item_id: Uuid,
    quantity: Decimal,
    why: &str,
) -> Result<(), DbError> {
    let whose = For::default();
    book(tx, item_id, -quantity, Reason::WrittenOff, whose, why).await
}

/// Sets what is on hand right after a count; `seen` is the figure the counter saw before. Returns whether it differed.
///
/// # Errors
/// [`DbError::Stale`] when stock moved meanwhile, [`DbError::NotFound`], [`DbError::Database`].
pub async fn count(
    tx: &mut ShopTx,
    item_id: Uuid,
    seen: Decimal,
    counted: Decimal,
    why: &str,
) -> Result<bool, DbError> {
    let on_hand = sqlx::query_scalar!(
        "select on_hand from stock_item where shop_id = $1 and id = $2 for update",
        tx.shop_id(),
        item_id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this item of stock"))?;
    if on_hand != seen {
        return Err(DbError::Stale("what is on hand"));
    }
    if on_hand == counted {
        return Ok(false);
    }
    let whose = For::default();
    book(tx, item_id, counted - on_hand, Reason::Counted, whose, why).await?;
    Ok(true)
}

/// Books what goes from stock to the job of a need, or comes back.
///
/// # Errors
/// [`DbError::Refused`] when there is not so much on hand, [`DbError::NotFound`], [`DbError::Database`].
pub async fn book_for_need(
    tx: &mut ShopTx,
    item_id: Uuid,
    need_id: Uuid,
    quantity: Decimal,
    transfer: Transfer,
) -> Result<(), DbError> {
    let whose = For {
        need_id: Some(need_id),
        ..For::default()
    };
    let (quantity, reason) = match transfer {
        Transfer::ToJob => (-quantity, Reason::Issued),
        Transfer::Back => (quantity, Reason::Returned),
    };
    book(tx, item_id, quantity, reason, whose, "").await
}
