//! Shops and the directory of their short names.

use super::{DbError, Refusal, Scope, ShopTx, Unique};
use crate::units::Currency;
use chrono_tz::Tz;
use rust_decimal::Decimal;
use sqlx::PgPool;
use uuid::Uuid;

/// A shop as it is first set up. Percentages are whole numbers of per cent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewShop {
    /// Its name.
    pub name: String,
    /// What people type to say which shop they sign in to: small letters, digits and hyphens.
    pub short_name: String,
    /// Its money.
    pub currency: Currency,
    /// Its clock.
    pub time_zone: Tz,
    /// The length unit its screens show: `mm` or `inch`.
    pub length_unit: String,
    /// Overhead on cost.
    pub overhead_percent: Decimal,
    /// Margin on the selling price before tax.
    pub margin_percent: Decimal,
    /// Tax, the shop's own setting.
    pub tax_percent: Decimal,
    /// What the tax is called.
    pub tax_name: String,
    /// The chance with which a quoted price and day should hold.
    pub confidence_percent: u8,
    /// Days a quote holds.
    pub quote_valid_days: u16,
}

/// Makes a shop with its directory entry. Its first person is added with the shop's own transaction.
///
/// # Errors
/// [`DbError::Duplicate`] when the short name is taken or is not one.
pub async fn create(pool: &PgPool, shop: &NewShop) -> Result<Uuid, DbError> {
    let tx = found(pool, shop).await?;
    let shop_id = tx.shop_id();
    tx.commit().await?;
    Ok(shop_id)
}

/// The same, with the transaction still open, so that whatever belongs to the new shop comes with it or not at all.
///
/// # Errors
/// As [`create`].
pub async fn found(pool: &PgPool, shop: &NewShop) -> Result<ShopTx, DbError> {
    let mut tx = begin(pool).await?;
    write(&mut tx, shop).await?;
    Ok(tx)
}

/// The same for the first shop of a database: of several that try at once, the others wait and are refused.
///
/// # Errors
/// As [`create`]; [`Refusal::ShopStands`] when there is a shop already.
pub async fn found_first(pool: &PgPool, shop: &NewShop) -> Result<ShopTx, DbError> {
    let mut tx = begin(pool).await?;
    sqlx::query!(
        r#"select pg_advisory_xact_lock(hashtextextended('first shop', 0)) as "locked?: ()""#
    )
    .fetch_one(tx.conn())
    .await?;
    let stands = sqlx::query_scalar!(r#"select exists (select from shop_directory) as "stands!""#)
        .fetch_one(tx.conn())
        .await?;
    if stands {
        return Err(Refusal::ShopStands.into());
    }
    write(&mut tx, shop).await?;
    Ok(tx)
}

/// Whether there is a shop.
///
/// # Errors
/// [`DbError::Database`].
pub async fn any(pool: &PgPool) -> Result<bool, DbError> {
    let mut tx = pool.begin().await?;
    let stands = sqlx::query_scalar!(r#"select exists (select from shop_directory) as "stands!""#)
        .fetch_one(&mut *tx)
        .await?;
    tx.commit().await?;
    Ok(stands)
}

/// Keeps the transaction's shop for itself until it ends: others that ask for the same wait.
///
/// # Errors
/// [`DbError::Database`].
pub async fn lock(tx: &mut ShopTx) -> Result<(), DbError> {
    sqlx::query!(
        "select from shop where shop_id = $1 for update",
        tx.shop_id()
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(())
}

async fn begin(pool: &PgPool) -> Result<ShopTx, DbError> {
    let scope = Scope {
        shop_id: Uuid::now_v7(),
        person_id: None,
    };
    ShopTx::begin(pool, scope).await
}

async fn write(tx: &mut ShopTx, shop: &NewShop) -> Result<(), DbError> {
    let shop_id = tx.shop_id();
    let listed = sqlx::query!(
        "insert into shop_directory (short_name, shop_id) values ($1, $2)",
        shop.short_name,
        shop_id,
    )
    .execute(tx.conn())
    .await;
    if let Err(sqlx::Error::Database(e)) = &listed {
        if e.is_unique_violation() {
            return Err(DbError::Duplicate(Unique::ShopShortName));
        }
        if e.is_check_violation() {
            return Err(Refusal::ShortName.into());
        }
    }
    listed?;
    sqlx::query!(
        "insert into shop (shop_id, name, currency, time_zone, length_unit, overhead_percent, margin_percent,
                           tax_percent, tax_name, confidence_percent, quote_valid_days)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
        shop_id,
        shop.name,
        shop.currency.code(),
        shop.time_zone.name(),
        shop.length_unit,
        shop.overhead_percent,
        shop.margin_percent,
        shop.tax_percent,
        shop.tax_name,
        i32::from(shop.confidence_percent),
        i32::from(shop.quote_valid_days),
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// The shop of a short name.
///
/// # Errors
/// [`DbError::Database`].
pub async fn find(pool: &PgPool, short_name: &str) -> Result<Option<Uuid>, DbError> {
    let mut tx = pool.begin().await?;
    let found = sqlx::query_scalar!(
        "select shop_id from shop_directory where short_name = $1",
        short_name
    )
    .fetch_optional(&mut *tx)
    .await?;
    tx.commit().await?;
    Ok(found)
}

/// Every shop that lies in this database by short name.
///
/// # Errors
/// [`DbError::Database`].
pub async fn list(pool: &PgPool) -> Result<Vec<(String, Uuid)>, DbError> {
    let mut tx = pool.begin().await?;
    let rows = sqlx::query!(
        "select short_name, shop_id from shop_directory where cluster = '' order by short_name"
    )
    .fetch_all(&mut *tx)
    .await?;
    tx.commit().await?;
    Ok(rows
        .into_iter()
        .map(|r| (r.short_name, r.shop_id))
        .collect())
}
