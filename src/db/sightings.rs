//! Scarce castings seen for sale, and the watch kept on a variant.

use super::read::{corrupt, count, money, stored_count, word};
use super::rows::{Touched, broken, changed};
use super::{DbError, ShopTx};
use crate::sourcing::{Sighting, Watch};
use crate::units::{Code, Currency, Money};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use uuid::Uuid;

/// One variant with what is known of its market, for the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Watched {
    /// The variant.
    pub variant_id: Uuid,
    /// Its name.
    pub name: String,
    /// The name of its pattern.
    pub pattern: String,
    /// Whether a watch is kept on it.
    pub watched: bool,
    /// Sightings in all.
    pub sightings: i64,
    /// Those worth having and still for sale.
    pub open: i64,
    /// The last day one was seen.
    pub last_seen: Option<NaiveDate>,
}

struct Row {
    id: Uuid,
    variant_id: Uuid,
    seen_on: NaiveDate,
    place: String,
    asked: Option<Decimal>,
    currency: Option<String>,
    condition: String,
    acceptable: bool,
    fate: String,
    version: i32,
}

impl Row {
    fn read(self) -> Result<Sighting, DbError> {
        let asked = match (self.asked, self.currency) {
            (Some(amount), Some(currency)) => Some(money("asked price", amount, &currency)?),
            _ => None,
        };
        Ok(Sighting {
            id: self.id,
            variant_id: self.variant_id,
            seen_on: self.seen_on,
            place: self.place,
            asked,
            condition: self.condition,
            acceptable: self.acceptable,
            fate: word("fate of a sighting", &self.fate)?,
            version: self.version,
        })
    }
}

/// The sightings of a variant in the order they were seen.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn of_variant(tx: &mut ShopTx, variant_id: Uuid) -> Result<Vec<Sighting>, DbError> {
    of_variants(tx, &[variant_id]).await
}

/// The sightings of some variants in the order they were seen.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn of_variants(tx: &mut ShopTx, variants: &[Uuid]) -> Result<Vec<Sighting>, DbError> {
    sqlx::query_as!(
        Row,
        "select id, variant_id, seen_on, place, asked, currency, condition, acceptable, fate, version
         from sighting where shop_id = $1 and variant_id = any ($2) order by seen_on, id",
        tx.shop_id(),
        variants,
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(Row::read)
    .collect()
}

/// Sightings of all variants or of one, the latest first, `limit` of them after the first `offset`.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn latest(
    tx: &mut ShopTx,
    variant_id: Option<Uuid>,
    limit: u32,
    offset: u32,
) -> Result<Vec<Sighting>, DbError> {
    sqlx::query_as!(
        Row,
        "select id, variant_id, seen_on, place, asked, currency, condition, acceptable, fate, version
         from sighting where shop_id = $1 and ($2::uuid is null or variant_id = $2)
         order by seen_on desc, id desc limit $3 offset $4",
        tx.shop_id(),
        variant_id,
        i64::from(limit),
        i64::from(offset),
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(Row::read)
    .collect()
}

/// The sightings of these keys.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub(super) async fn these(tx: &mut ShopTx, keys: &[Uuid]) -> Result<Vec<Sighting>, DbError> {
    sqlx::query_as!(
        Row,
        "select id, variant_id, seen_on, place, asked, currency, condition, acceptable, fate, version
         from sighting where shop_id = $1 and id = any ($2)",
        tx.shop_id(),
        keys,
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(Row::read)
    .collect()
}

/// One sighting.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, id: Uuid) -> Result<Sighting, DbError> {
    sqlx::query_as!(
        Row,
        "select id, variant_id, seen_on, place, asked, currency, condition, acceptable, fate, version
         from sighting where shop_id = $1 and id = $2",
        tx.shop_id(),
        id,
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("the sighting"))?
    .read()
}

/// Records a sighting; its version starts at one whatever it says.
///
/// # Errors
/// [`DbError::NotFound`] when there is no such variant, [`DbError::Database`].
pub async fn insert(tx: &mut ShopTx, sighting: &Sighting) -> Result<(), DbError> {
    sqlx::query!(
        "insert into sighting (shop_id, id, variant_id, seen_on, place, asked, currency, condition, acceptable, fate)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        tx.shop_id(),
        sighting.id,
        sighting.variant_id,
        sighting.seen_on,
        sighting.place,
        sighting.asked.map(|money| money.amount()),
        sighting.asked.map(|money| money.currency().code().to_owned()),
        sighting.condition,
        sighting.acceptable,
        sighting.fate.code(),
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    Ok(())
}

/// Corrects a sighting, or says what became of it; `sighting.version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Database`].
pub async fn update(tx: &mut ShopTx, sighting: &Sighting) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update sighting set variant_id = $4, seen_on = $5, place = $6, asked = $7, currency = $8, condition = $9,
                acceptable = $10, fate = $11, version = version + 1
         where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        sighting.id,
        sighting.version,
        sighting.variant_id,
        sighting.seen_on,
        sighting.place,
        sighting.asked.map(|money| money.amount()),
        sighting.asked.map(|money| money.currency().code().to_owned()),
        sighting.condition,
        sighting.acceptable,
        sighting.fate.code(),
    )
    .execute(tx.conn())
    .await
    .map_err(broken)?;
    changed(done, "the sighting", get(tx, sighting.id)).await
}

/// Takes out a sighting entered by mistake; the history keeps it.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::NotFound`], [`DbError::Database`].
pub async fn delete(tx: &mut ShopTx, id: Uuid, version: i32) -> Result<(), DbError> {
    let done = sqlx::query!(
        "delete from sighting where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        id,
        version,
    )
    .execute(tx.conn())
    .await?;
    changed(done, "the sighting", get(tx, id)).await
}

/// The watch kept on a variant, if one is.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn watch(tx: &mut ShopTx, variant_id: Uuid) -> Result<Option<Watch>, DbError> {
    Ok(watches(tx, &[variant_id]).await?.pop())
}

/// The watches kept on some variants.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn watches(tx: &mut ShopTx, variants: &[Uuid]) -> Result<Vec<Watch>, DbError> {
    let rows = sqlx::query!(
        "select w.variant_id, w.since, w.likely_wait_days, w.likely_price, w.price_factor, w.good_percent,
                w.search_hours_a_week, w.carriage, w.carriage_days, w.offer_days, w.version, s.currency
         from watch w join shop s on s.shop_id = $1 where w.shop_id = $1 and w.variant_id = any ($2)",
        tx.shop_id(),
        variants,
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            let currency =
                Currency::from_code(&row.currency).map_err(|why| corrupt("currency", why))?;
            Ok(Watch {
                variant_id: row.variant_id,
                since: row.since,
                likely_wait_days: count("likely wait", row.likely_wait_days)?,
                likely_price: row.likely_price.map(|amount| Money::new(amount, currency)),
                price_factor: row.price_factor,
                good_percent: count("share of good ones", row.good_percent)?,
                search_hours_a_week: row.search_hours_a_week,
                carriage: Money::new(row.carriage, currency),
                carriage_days: count("carriage days", row.carriage_days)?,
                offer_days: count("offer days", row.offer_days)?,
                version: row.version,
            })
        })
        .collect()
}

/// Begins or changes the watch on a variant. `seen` is the version the editor saw, or `None` when there was no watch.
///
/// # Errors
/// [`DbError::Stale`] when someone else began or changed it meanwhile, [`DbError::NotFound`] when there is no
/// such variant, [`DbError::Database`].
pub async fn keep_watch(tx: &mut ShopTx, watch: &Watch, seen: Option<i32>) -> Result<(), DbError> {
    let done = match seen {
        None => {
            sqlx::query!(
                "insert into watch (shop_id, id, variant_id, since, likely_wait_days, likely_price, price_factor,
                                    good_percent, search_hours_a_week, carriage, carriage_days, offer_days)
                 values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)
                 on conflict (shop_id, variant_id) do nothing",
                tx.shop_id(),
                Uuid::now_v7(),
                watch.variant_id,
                watch.since,
                stored_count("likely wait", watch.likely_wait_days)?,
                watch.likely_price.map(|money| money.amount()),
                watch.price_factor,
                stored_count("share of good ones", watch.good_percent)?,
                watch.search_hours_a_week,
                watch.carriage.amount(),
                stored_count("carriage days", watch.carriage_days)?,
                stored_count("offer days", watch.offer_days)?,
            )
            .execute(tx.conn())
            .await
        }
        Some(version) => {
            sqlx::query!(
                "update watch set since = $4, likely_wait_days = $5, likely_price = $6, price_factor = $7,
                        good_percent = $8, search_hours_a_week = $9, carriage = $10, carriage_days = $11,
                        offer_days = $12, version = version + 1
                 where shop_id = $1 and variant_id = $2 and version = $3",
                tx.shop_id(),
                watch.variant_id,
                version,
                watch.since,
                stored_count("likely wait", watch.likely_wait_days)?,
                watch.likely_price.map(|money| money.amount()),
                watch.price_factor,
                stored_count("share of good ones", watch.good_percent)?,
                watch.search_hours_a_week,
                watch.carriage.amount(),
                stored_count("carriage days", watch.carriage_days)?,
                stored_count("offer days", watch.offer_days)?,
            )
            .execute(tx.conn())
            .await
        }
    }
    .map_err(broken)?;
    done.or_stale("the watch")
}
