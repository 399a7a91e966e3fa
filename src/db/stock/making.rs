//! How items of stock are made in the shop.

use super::super::read::corrupt;
use super::super::rows::{self, Touched, broken};
use super::super::{DbError, ShopTx};
use crate::estimating::{MadePart, Making};
use rust_decimal::Decimal;
use serde::de::DeserializeOwned;
use serde_json::Value;
use uuid::Uuid;

/// How an item is made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ItemMaking {
    /// The item.
    pub item_id: Uuid,
    /// How it is made.
    pub making: Making,
    /// Counts edits; 0 while nobody has said how.
    pub version: i32,
}

fn document<T: DeserializeOwned>(what: &'static str, value: Value) -> Result<T, DbError> {
    serde_json::from_value(value).map_err(|why| corrupt(what, why))
}

fn as_document(what: &'static str, value: &impl serde::Serialize) -> Result<Value, DbError> {
    serde_json::to_value(value).map_err(|why| corrupt(what, why))
}

fn making(steps: Value, materials: Value) -> Result<Making, DbError> {
    Ok(Making {
        steps: document("steps of a making", steps)?,
        materials: document("materials of a making", materials)?,
    })
}

/// How an item is made, if somebody has said.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn making_of(tx: &mut ShopTx, item_id: Uuid) -> Result<Option<ItemMaking>, DbError> {
    let row = sqlx::query!(
        "select steps, materials, version from making where shop_id = $1 and id = $2",
        tx.shop_id(),
        item_id
    )
    .fetch_optional(tx.conn())
    .await?;
    row.map(|row| {
        Ok(ItemMaking {
            item_id,
            making: making(row.steps, row.materials)?,
            version: row.version,
        })
    })
    .transpose()
}

/// Says how an item is made; `making.version` is the version the editor saw, 0 when nobody had said.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`] when there is no such item, [`DbError::Database`].
pub async fn keep_making(tx: &mut ShopTx, making: &ItemMaking) -> Result<(), DbError> {
    let steps = as_document("steps of a making", &making.making.steps)?;
    let materials = as_document("materials of a making", &making.making.materials)?;
    let done = if making.version == 0 {
        sqlx::query!(
            "insert into making (shop_id, id, steps, materials) values ($1, $2, $3, $4)
             on conflict (shop_id, id) do nothing",
            tx.shop_id(),
            making.item_id,
            steps,
            materials,
        )
        .execute(tx.conn())
        .await
        .map_err(broken)?
    } else {
        sqlx::query!(
            "update making set steps = $4, materials = $5, version = version + 1
             where shop_id = $1 and id = $2 and version = $3",
            tx.shop_id(),
            making.item_id,
            making.version,
            steps,
            materials,
        )
        .execute(tx.conn())
        .await?
    };
    done.or_stale("how it is made")
}

/// Takes back that an item is made here; batches that jobs make of it go on.
///
/// # Errors
/// [`DbError::Stale`]; [`DbError::NotFound`] when it is not made here any more; [`DbError::Database`].
pub async fn drop_making(tx: &mut ShopTx, item_id: Uuid, version: i32) -> Result<(), DbError> {
    let done = sqlx::query!(
        "delete from making where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        item_id,
        version,
    )
    .execute(tx.conn())
    .await?;
    rows::changed(done, "how it is made", async {
        making_of(tx, item_id)
            .await?
            .ok_or(DbError::NotFound("how it is made"))
    })
    .await
}

struct Row {
    id: Uuid,
    name: String,
    free: Decimal,
    steps: Value,
    materials: Value,
}

/// Every part that is made here and still stocked, by name, with what is free of it: on hand, less what open jobs want of it
/// and do not make themselves.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn made_parts(tx: &mut ShopTx) -> Result<Vec<MadePart>, DbError> {
    read(tx, None).await
}

/// One of them.
///
/// # Errors
/// [`DbError::NotFound`] when it is not made here or no longer stocked, [`DbError::Corrupt`], [`DbError::Database`].
pub async fn made_part(tx: &mut ShopTx, item_id: Uuid) -> Result<MadePart, DbError> {
    let found = read(tx, Some(item_id)).await?.pop();
    found.ok_or(DbError::NotFound("how it is made"))
}

async fn read(tx: &mut ShopTx, only: Option<Uuid>) -> Result<Vec<MadePart>, DbError> {
    let rows = sqlx::query_as!(
        Row,
        r#"select i.id, i.name, h.steps, h.materials,
                  i.on_hand - coalesce(
                      (select sum(n.quantity) from need n
                       join job j on j.shop_id = n.shop_id and j.id = n.job_id
                       left join job_operation p on p.shop_id = n.shop_id and p.id = n.operation_id
                       left join made_batch b on b.shop_id = n.shop_id and b.id = n.batch_id
                       where n.shop_id = i.shop_id and n.item_id = i.id and n.state = 'wanted' and j.state = 'open'
                         and p.state is distinct from 'done' and b.being_made is not true), 0) as "free!"
           from making h
           join stock_item i on i.shop_id = h.shop_id and i.id = h.id
           where h.shop_id = $1 and i.active and ($2::uuid is null or h.id = $2)
           order by lower(i.name)"#,
        tx.shop_id(),
        only,
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(MadePart {
                item_id: row.id,
                name: row.name,
                free: row.free,
                making: making(row.steps, row.materials)?,
            })
        })
        .collect()
}
