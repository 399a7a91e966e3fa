//! What there is of items of stock, and what open jobs want of them.

use super::super::{DbError, ShopTx};
use crate::stock::{Delivery, Demand, Supply};
use rust_decimal::Decimal;
use std::collections::HashMap;
use uuid::Uuid;

/// What there is of these items and what is wanted of them, by item. Wanted is what an open job has not taken yet and
/// does not make itself, for an operation that is not done.
///
/// # Errors
/// [`DbError::Database`].
pub(super) async fn supply(
    tx: &mut ShopTx,
    items: &[Uuid],
) -> Result<HashMap<Uuid, Supply>, DbError> {
    let mut supply: HashMap<Uuid, Supply> = HashMap::new();
    if items.is_empty() {
        return Ok(supply);
    }
    let stocked = sqlx::query!(
        "select id, on_hand from stock_item where shop_id = $1 and id = any ($2)",
        tx.shop_id(),
        items
    )
    .fetch_all(tx.conn())
    .await?;
    for row in stocked {
        supply.entry(row.id).or_default().on_hand = row.on_hand;
    }
    let wanted = sqlx::query!(
        r#"select n.id, n.item_id as "item_id!", n.quantity, j.due_on, j.number
           from need n
           join job j on j.shop_id = n.shop_id and j.id = n.job_id
           left join job_operation o on o.shop_id = n.shop_id and o.id = n.operation_id
           left join made_batch b on b.shop_id = n.shop_id and b.id = n.batch_id
           where n.shop_id = $1 and n.state = 'wanted' and n.item_id = any ($2)
             and j.state = 'open' and o.state is distinct from 'done' and b.being_made is not true"#,
        tx.shop_id(),
        items
    )
    .fetch_all(tx.conn())
    .await?;
    for row in wanted {
        supply.entry(row.item_id).or_default().demands.push(Demand {
            need_id: row.id,
            quantity: row.quantity,
            due_on: row.due_on,
            job_number: row.number,
        });
    }
    let coming = sqlx::query!(
        r#"select s.item_id, s.expected_on as "expected_on!",
                  s.quantity - coalesce((select sum(m.quantity) from stock_movement m
                                         where m.shop_id = s.shop_id and m.order_id = s.id), 0) as "quantity!"
           from stock_order s
           where s.shop_id = $1 and s.item_id = any ($2) and not s.closed and s.expected_on is not null"#,
        tx.shop_id(),
        items
    )
    .fetch_all(tx.conn())
    .await?;
    for row in coming
        .into_iter()
        .filter(|row| row.quantity.is_sign_positive())
    {
        supply
            .entry(row.item_id)
            .or_default()
            .deliveries
            .push(Delivery {
                expected_on: row.expected_on,
                quantity: row.quantity,
            });
    }
    for (item_id, delivery) in being_made(tx, items).await? {
        supply.entry(item_id).or_default().deliveries.push(delivery);
    }
    Ok(supply)
}

/// What jobs make of these items for the shelf: there when the job is due.
async fn being_made(tx: &mut ShopTx, items: &[Uuid]) -> Result<Vec<(Uuid, Delivery)>, DbError> {
    let made = sqlx::query!(
        r#"select b.item_id, j.due_on,
                  b.pieces - coalesce((select sum(n.quantity) from need n
                                       where n.shop_id = b.shop_id and n.batch_id = b.id and n.state = 'wanted'), 0)
                      as "quantity!"
           from made_batch b
           join job j on j.shop_id = b.shop_id and j.id = b.job_id
           where b.shop_id = $1 and b.item_id = any ($2) and b.being_made and j.state = 'open'"#,
        tx.shop_id(),
        items
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(made
        .into_iter()
        .filter(|row| row.quantity > Decimal::ZERO)
        .map(|row| {
            let delivery = Delivery {
                expected_on: row.due_on,
                quantity: row.quantity,
            };
            (row.item_id, delivery)
        })
        .collect())
}
