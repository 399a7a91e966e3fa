//! Rows that came in together from a table, and taking them out again.

use super::{DbError, ShopTx};
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use uuid::Uuid;

/// An import that can be undone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Import {
    /// Key.
    pub id: Uuid,
    /// When.
    pub at: DateTime<Utc>,
    /// How many rows came.
    pub count: i64,
}

/// Notes that rows of a kind came together.
///
/// # Errors
/// [`DbError::Database`].
pub async fn insert(tx: &mut ShopTx, id: Uuid, kind: &str, keys: &[Uuid]) -> Result<(), DbError> {
    sqlx::query!(
        "insert into table_import (shop_id, id, person_id, kind, keys) values ($1, $2, $3, $4, $5)",
        tx.shop_id(),
        id,
        tx.person_id(),
        kind,
        keys,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// The import of a kind made last, unless it is undone.
///
/// # Errors
/// [`DbError::Database`].
pub async fn newest(tx: &mut ShopTx, kind: &str) -> Result<Option<Import>, DbError> {
    Ok(sqlx::query_as!(
        Import,
        r#"select id, at, cardinality(keys)::bigint as "count!" from (
               select id, at, keys, undone_at from table_import where shop_id = $1 and kind = $2
               order by at desc, id desc limit 1
           ) as last where undone_at is null"#,
        tx.shop_id(),
        kind,
    )
    .fetch_optional(tx.conn())
    .await?)
}

/// Marks an import as undone and gives the keys of its rows, and when it was made.
///
/// # Errors
/// [`DbError::NotFound`] when it is undone already, [`DbError::Database`].
pub async fn mark_undone(
    tx: &mut ShopTx,
    kind: &str,
    id: Uuid,
) -> Result<(Vec<Uuid>, DateTime<Utc>), DbError> {
    let row = sqlx::query!(
        "update table_import set undone_at = now()
         where shop_id = $1 and id = $2 and kind = $3 and undone_at is null returning keys, at",
        tx.shop_id(),
        id,
        kind,
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this import"))?;
    Ok((row.keys, row.at))
}

/// Deletes those of these customers that nothing has to do with and nobody has changed since; returns how many.
///
/// # Errors
/// [`DbError::Database`].
pub async fn remove_customers(tx: &mut ShopTx, keys: &[Uuid]) -> Result<i64, DbError> {
    let done = sqlx::query!(
        "delete from customer c where c.shop_id = $1 and c.id = any ($2) and c.version = 1
         and not exists (select from enquiry e where e.shop_id = $1 and e.customer_id = c.id)
         and not exists (select from job j where j.shop_id = $1 and j.customer_id = c.id)
         and not exists (select from casting k where k.shop_id = $1 and k.customer_id = c.id)
         and not exists (select from customer_merge m where m.shop_id = $1 and c.id in (m.kept_id, m.gone_id))",
        tx.shop_id(),
        keys,
    )
    .execute(tx.conn())
    .await?;
    Ok(rows(done.rows_affected()))
}

/// Deletes those of these castings that no job, quote or hold names and nobody has changed since: one that came with its
/// inspection has been written twice.
///
/// # Errors
/// [`DbError::Database`].
pub async fn remove_castings(tx: &mut ShopTx, keys: &[Uuid]) -> Result<i64, DbError> {
    let done = sqlx::query!(
        "delete from casting c where c.shop_id = $1 and c.id = any ($2) and c.job_id is null
         and c.version = case when c.outcome is null then 1 else 2 end
         and not exists (select from need n where n.shop_id = $1 and n.casting_id = c.id)
         and not exists (select from quote q where q.shop_id = $1 and q.casting_id = c.id)
         and not exists (select from quality_hold h where h.shop_id = $1 and c.id in (h.scrapped_casting_id, h.new_casting_id))
         and not exists (select from casting_mark m where m.shop_id = $1 and m.casting_id = c.id)
         and not exists (select from casting_measurement m where m.shop_id = $1 and m.casting_id = c.id)
         and not exists (select from casting_photo p where p.shop_id = $1 and p.casting_id = c.id)",
        tx.shop_id(),
        keys,
    )
    .execute(tx.conn())
    .await?;
    Ok(rows(done.rows_affected()))
}

/// Of these items of stock, those that nothing has happened to since the import: key and what is on hand.
///
/// # Errors
/// [`DbError::Database`].
pub async fn untouched_stock(
    tx: &mut ShopTx,
    keys: &[Uuid],
    since: DateTime<Utc>,
) -> Result<Vec<(Uuid, Decimal)>, DbError> {
    let rows = sqlx::query!(
        "select i.id, i.on_hand from stock_item i where i.shop_id = $1 and i.id = any ($2)
         and not exists (select from history h where h.shop_id = $1 and h.table_name = 'stock_item' and h.row_id = i.id
                         and h.at > $3)
         and not exists (select from stock_order o where o.shop_id = $1 and o.item_id = i.id and not o.closed)
         and not exists (select from need n where n.shop_id = $1 and n.item_id = i.id)",
        tx.shop_id(),
        keys,
        since,
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.on_hand)).collect())
}

/// Deletes an item of stock, or where it has movements, which stay on record, no longer keeps it.
///
/// # Errors
/// [`DbError::Database`].
pub async fn drop_stock(tx: &mut ShopTx, id: Uuid) -> Result<(), DbError> {
    let moved = sqlx::query_scalar!(
        r#"select exists (select from stock_movement where shop_id = $1 and item_id = $2) as "moved!""#,
        tx.shop_id(),
        id,
    )
    .fetch_one(tx.conn())
    .await?;
    if moved {
        sqlx::query!(
            "update stock_item set active = false, version = version + 1 where shop_id = $1 and id = $2",
            tx.shop_id(),
            id,
        )
        .execute(tx.conn())
        .await?;
    } else {
        sqlx::query!(
            "delete from stock_item where shop_id = $1 and id = $2",
            tx.shop_id(),
            id,
        )
        .execute(tx.conn())
        .await?;
    }
    Ok(())
}

/// The item of stock of a name that is no longer kept: its key, version and what is on hand.
///
/// # Errors
/// [`DbError::Database`].
pub async fn dropped_stock(
    tx: &mut ShopTx,
    name: &str,
) -> Result<Option<(Uuid, i32, Decimal)>, DbError> {
    let row = sqlx::query!(
        "select id, version, on_hand from stock_item where shop_id = $1 and lower(name) = lower($2) and not active",
        tx.shop_id(),
        name,
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(row.map(|row| (row.id, row.version, row.on_hand)))
}

/// Deletes those of these sightings that nobody has changed and nothing was bought after; returns how many.
///
/// # Errors
/// [`DbError::Database`].
pub async fn remove_sightings(tx: &mut ShopTx, keys: &[Uuid]) -> Result<i64, DbError> {
    let done = sqlx::query!(
        "delete from sighting s where s.shop_id = $1 and s.id = any ($2) and s.version = 1
         and not exists (select from casting c where c.shop_id = $1 and c.sighting_id = s.id)",
        tx.shop_id(),
        keys,
    )
    .execute(tx.conn())
    .await?;
    Ok(rows(done.rows_affected()))
}

/// Deletes past work; returns how many rows.
///
/// # Errors
/// [`DbError::Database`].
pub async fn remove_past_work(tx: &mut ShopTx, keys: &[Uuid]) -> Result<i64, DbError> {
    let done = sqlx::query!(
        "delete from past_work where shop_id = $1 and id = any ($2)",
        tx.shop_id(),
        keys,
    )
    .execute(tx.conn())
    .await?;
    Ok(rows(done.rows_affected()))
}

/// Which of these names, as they are compared, a customer goes by already.
///
/// # Errors
/// [`DbError::Database`].
pub async fn known_customers(tx: &mut ShopTx, names: &[String]) -> Result<Vec<bool>, DbError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select from customer_name n where n.shop_id = $1 and n.key = name_key(said.name)) as "taken!"
           from unnest($2::text[]) with ordinality as said (name, place) order by said.place"#,
        tx.shop_id(),
        names,
    )
    .fetch_all(tx.conn())
    .await?)
}

/// Which of these names an item of stock that is kept has already.
///
/// # Errors
/// [`DbError::Database`].
pub async fn known_stock(tx: &mut ShopTx, names: &[String]) -> Result<Vec<bool>, DbError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select from stock_item i where i.shop_id = $1 and lower(i.name) = lower(said.name) and i.active) as "taken!"
           from unnest($2::text[]) with ordinality as said (name, place) order by said.place"#,
        tx.shop_id(),
        names,
    )
    .fetch_all(tx.conn())
    .await?)
}

fn rows(count: u64) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}
