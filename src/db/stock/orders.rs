//! Orders of items that have not come whole.

use super::super::{DbError, ShopTx};
use super::{For, Reason, book};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use uuid::Uuid;

/// Goods to be ordered, or on order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrderDetails {
    /// How much.
    pub quantity: Decimal,
    /// From whom.
    pub supplier: String,
    /// When it was ordered.
    pub ordered_on: NaiveDate,
    /// The day it is expected, when somebody has said.
    pub expected_on: Option<NaiveDate>,
}

/// An order of an item.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Order {
    /// Key.
    pub id: Uuid,
    /// What was ordered.
    pub details: OrderDetails,
    /// How much of it has come.
    pub come: Decimal,
    /// Whether more of it is to come.
    pub open: bool,
    /// Counts edits.
    pub version: i32,
}

impl Order {
    /// What is still to come.
    #[must_use]
    pub fn left(&self) -> Decimal {
        (self.details.quantity - self.come).max(Decimal::ZERO)
    }
}

/// The open orders of an item, the next to come first; those without a day last.
///
/// # Errors
/// [`DbError::Database`].
pub async fn orders(tx: &mut ShopTx, item_id: Uuid) -> Result<Vec<Order>, DbError> {
    read(tx, item_id, None).await
}

/// An order of an item, open or closed.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn order_of(tx: &mut ShopTx, item_id: Uuid, id: Uuid) -> Result<Order, DbError> {
    let found = read(tx, item_id, Some(id)).await?;
    let found = found.into_iter().next();
    found.ok_or(DbError::NotFound("this order"))
}

async fn read(tx: &mut ShopTx, item_id: Uuid, one: Option<Uuid>) -> Result<Vec<Order>, DbError> {
    let rows = sqlx::query!(
        r#"select s.id, s.quantity, s.supplier, s.ordered_on, s.expected_on, s.closed, s.version,
                  coalesce((select sum(m.quantity) from stock_movement m
                            where m.shop_id = s.shop_id and m.order_id = s.id), 0) as "come!"
           from stock_order s
           where s.shop_id = $1 and s.item_id = $2 and (s.id = $3 or $3 is null and not s.closed)
           order by s.expected_on nulls last, s.id"#,
        tx.shop_id(),
        item_id,
        one,
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| Order {
            id: row.id,
            details: OrderDetails {
                quantity: row.quantity.normalize(),
                supplier: row.supplier,
                ordered_on: row.ordered_on,
                expected_on: row.expected_on,
            },
            come: row.come.normalize(),
            open: !row.closed,
            version: row.version,
        })
        .collect())
}

/// Writes down an order.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn order(
    tx: &mut ShopTx,
    item_id: Uuid,
    details: &OrderDetails,
) -> Result<Uuid, DbError> {
    let id = Uuid::now_v7();
    sqlx::query!(
        "insert into stock_order (shop_id, id, item_id, quantity, supplier, ordered_on, expected_on)
         values ($1, $2, $3, $4, $5, $6, $7)",
        tx.shop_id(),
        id,
        item_id,
        details.quantity,
        details.supplier,
        details.ordered_on,
        details.expected_on,
    )
    .execute(tx.conn())
    .await
    .map_err(|error| match error.as_database_error() {
        Some(db) if db.is_foreign_key_violation() => DbError::NotFound("this item of stock"),
        _ => error.into(),
    })?;
    Ok(id)
}

/// Changes the day an open order is expected; `None` when nobody knows any more.
///
/// # Errors
/// [`DbError::Stale`], also when it is closed, [`DbError::Database`].
pub async fn expect(
    tx: &mut ShopTx,
    item_id: Uuid,
    id: Uuid,
    version: i32,
    expected_on: Option<NaiveDate>,
) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update stock_order set expected_on = $5, version = version + 1
         where shop_id = $1 and item_id = $2 and id = $3 and version = $4 and not closed",
        tx.shop_id(),
        item_id,
        id,
        version,
        expected_on,
    )
    .execute(tx.conn())
    .await?;
    changed(done.rows_affected())
}

/// Takes in goods of an open order, which closes when all of it has come, or when no more will (`last`).
///
/// # Errors
/// [`DbError::Stale`], also when it is closed, [`DbError::Database`].
pub async fn receive(
    tx: &mut ShopTx,
    item_id: Uuid,
    id: Uuid,
    version: i32,
    quantity: Decimal,
    last: bool,
) -> Result<(), DbError> {
    let whose = For {
        order_id: Some(id),
        ..For::default()
    };
    close(tx, item_id, id, version, Some((quantity, last))).await?;
    book(tx, item_id, quantity, Reason::Received, whose, "").await
}

/// Gives up what is left of an open order.
///
/// # Errors
/// [`DbError::Stale`], also when it is closed, [`DbError::Database`].
pub async fn give_up(
    tx: &mut ShopTx,
    item_id: Uuid,
    id: Uuid,
    version: i32,
) -> Result<(), DbError> {
    close(tx, item_id, id, version, None).await
}

/// Counts an edit of an open order and closes it when nothing is left to come.
async fn close(
    tx: &mut ShopTx,
    item_id: Uuid,
    id: Uuid,
    version: i32,
    coming: Option<(Decimal, bool)>,
) -> Result<(), DbError> {
    let (quantity, last) = coming.unwrap_or((Decimal::ZERO, true));
    let done = sqlx::query!(
        "update stock_order s set version = version + 1,
                closed = $6 or s.quantity <= $5 + coalesce(
                    (select sum(m.quantity) from stock_movement m where m.shop_id = s.shop_id and m.order_id = s.id), 0)
         where shop_id = $1 and item_id = $2 and id = $3 and version = $4 and not closed",
        tx.shop_id(),
        item_id,
        id,
        version,
        quantity,
        last,
    )
    .execute(tx.conn())
    .await?;
    changed(done.rows_affected())
}

fn changed(rows: u64) -> Result<(), DbError> {
    if rows == 0 {
        return Err(DbError::Stale("this order"));
    }
    Ok(())
}
