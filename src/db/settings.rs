//! The shop's own settings: its pricing policy, its money, its clock and the units its screens show.

use super::read::{corrupt, count, stored_count, word};
use super::{DbError, ShopTx};
use crate::enquiry::Selling;
use crate::estimating::{Policy, Recalibration, Variation};
use crate::units::{Code, Currency, LengthUnit, Money};
use chrono_tz::Tz;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use strum::{EnumString, IntoStaticStr, VariantArray};

/// What a shop has decided once for all its work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settings {
    /// Its name.
    pub name: String,
    /// Its money. Set when the shop is set up: every stored amount is in it.
    pub currency: Currency,
    /// Its clock.
    pub time_zone: Tz,
    /// The length unit its screens show.
    pub length_unit: LengthUnit,
    /// Its pricing policy.
    pub policy: Policy,
    /// Its terms of sale.
    pub selling: Selling,
    /// What the tax is called.
    pub tax_name: String,
    /// Days a quote holds.
    pub quote_valid_days: u32,
    /// Whether days follow the record of promises kept.
    pub days_follow_record: bool,
    /// Whether prices follow the record of what jobs cost.
    pub prices_follow_record: bool,
    /// How sure days have proved to be; nothing while they do not follow the record.
    pub days: Recalibration,
    /// How much work varies.
    pub variation: Variation,
    /// Grows by one with every edit.
    pub version: i32,
}

/// The shop's money, which never changes: asked once in a transaction.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn currency(tx: &mut ShopTx) -> Result<Currency, DbError> {
    if let Some(known) = tx.currency {
        return Ok(known);
    }
    let shop = tx.shop_id();
    let code = sqlx::query_scalar!("select currency from shop where shop_id = $1", shop)
        .fetch_optional(tx.conn())
        .await?
        .ok_or(DbError::NotFound("the shop"))?;
    let currency = Currency::from_code(&code).map_err(|why| corrupt("currency", why))?;
    tx.currency = Some(currency);
    Ok(currency)
}

/// The settings.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx) -> Result<Settings, DbError> {
    let row = sqlx::query!(
        r#"select name, currency, time_zone, length_unit, overhead_percent, margin_percent, tax_percent, tax_name,
                shop.confidence_percent, quote_valid_days, week_of_waiting, search_fee, handling_percent,
                least_margin_percent, overtime_percent, answer_keeps_minutes, carriage_base, carriage_per_kg, version, level_percent, shop_percent, person_percent,
                element_percent, job_percent, outside_percent, absence_percent, breakdown_hours, repair_hours,
                rework_percent, rework_share_percent, days_follow_record, prices_follow_record,
                d.share as "day_share?", d.confidence_percent as "day_at?", c.share as "cost_share?", c.confidence_percent as "cost_at?"
         from shop
         left join record_share d on d.shop_id = shop.shop_id and d.kind = 'day'
         left join record_share c on c.shop_id = shop.shop_id and c.kind = 'cost'
         where shop.shop_id = $1"#,
        tx.shop_id()
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("the shop"))?;
    let currency = Currency::from_code(&row.currency).map_err(|why| corrupt("currency", why))?;
    Ok(Settings {
        name: row.name,
        currency,
        time_zone: row
            .time_zone
            .parse()
            .map_err(|why: chrono_tz::ParseError| corrupt("time zone", why))?,
        length_unit: word("length unit", &row.length_unit)?,
        policy: Policy {
            overhead_percent: row.overhead_percent,
            margin_percent: row.margin_percent,
            tax_percent: row.tax_percent,
            confidence_percent: count("confidence", row.confidence_percent)?,
            costs: learned(
                row.cost_share.zip(row.cost_at),
                row.prices_follow_record,
                row.confidence_percent,
            ),
        },
        selling: Selling {
            week_of_waiting: Money::new(row.week_of_waiting, currency),
            search_fee: Money::new(row.search_fee, currency),
            handling_percent: row.handling_percent,
            least_margin_percent: row.least_margin_percent,
            overtime_percent: row.overtime_percent,
            answer_keeps_minutes: count("age of an answer", row.answer_keeps_minutes)?,
            carriage_base: row.carriage_base.map(|amount| Money::new(amount, currency)),
            carriage_per_kg: row
                .carriage_per_kg
                .map(|amount| Money::new(amount, currency)),
        },
        tax_name: row.tax_name,
        quote_valid_days: count("validity of quotes", row.quote_valid_days)?,
        days: learned(
            row.day_share.zip(row.day_at),
            row.days_follow_record,
            row.confidence_percent,
        ),
        days_follow_record: row.days_follow_record,
        prices_follow_record: row.prices_follow_record,
        variation: Variation {
            level_percent: row.level_percent,
            shop_percent: row.shop_percent,
            person_percent: row.person_percent,
            element_percent: row.element_percent,
            job_percent: row.job_percent,
            outside_percent: row.outside_percent,
            absence_percent: row.absence_percent,
            breakdown_hours: row.breakdown_hours,
            repair_hours: row.repair_hours,
            rework_percent: row.rework_percent,
            rework_share_percent: row.rework_share_percent,
        },
        version: row.version,
    })
}

/// The map of a stored share, while what it is of follows the record and the confidence is the one it was learned at.
fn learned(share: Option<(Decimal, i32)>, follow: bool, confidence: i32) -> Recalibration {
    share
        .filter(|(_, stated)| follow && *stated == confidence)
        .and_then(|(share, stated)| {
            Some(Recalibration::new(
                f64::from(stated) / 100.0,
                share.to_f64()?,
            ))
        })
        .unwrap_or(Recalibration::none())
}

/// What is promised.
#[derive(Debug, Clone, Copy, PartialEq, Eq, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Promised {
    /// The day a job is ready.
    Day,
    /// What it costs.
    Cost,
}

/// Says whether days, or prices, follow the record; `version` is the version of the settings that the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::Database`].
pub async fn follow_record(
    tx: &mut ShopTx,
    what: Promised,
    follow: bool,
    version: i32,
) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update shop set days_follow_record = case when $4 = 'day' then $2 else days_follow_record end,
                prices_follow_record = case when $4 = 'cost' then $2 else prices_follow_record end, version = version + 1
         where shop_id = $1 and version = $3",
        tx.shop_id(),
        follow,
        version,
        what.code(),
    )
    .execute(tx.conn())
    .await?;
    match done.rows_affected() {
        0 => Err(DbError::Stale("the shop's settings")),
        _ => Ok(()),
    }
}

/// Keeps the share of futures (from 0 to 1, to three places) that the record asks for at a confidence in per cent, with how many
/// outcomes there were.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn keep_share(
    tx: &mut ShopTx,
    what: Promised,
    (share, stated): (Decimal, u32),
    outcomes: i64,
) -> Result<(), DbError> {
    sqlx::query!(
        "insert into record_share (shop_id, kind, share, confidence_percent, outcomes) values ($1, $2, $3, $4, $5)
         on conflict (shop_id, kind) do update
         set share = excluded.share, confidence_percent = excluded.confidence_percent, outcomes = excluded.outcomes
         where (record_share.share, record_share.confidence_percent, record_share.outcomes)
               is distinct from (excluded.share, excluded.confidence_percent, excluded.outcomes)",
        tx.shop_id(),
        what.code(),
        share,
        stored_count("confidence", stated)?,
        outcomes,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// How many outcomes a share was learned from at a confidence in per cent; none when none was.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn share_outcomes(
    tx: &mut ShopTx,
    what: Promised,
    stated: u32,
) -> Result<Option<i64>, DbError> {
    Ok(sqlx::query_scalar!(
        "select outcomes from record_share where shop_id = $1 and kind = $2 and confidence_percent = $3",
        tx.shop_id(),
        what.code(),
        stored_count("confidence", stated)?,
    )
    .fetch_optional(tx.conn())
    .await?)
}

/// Changes how much work varies, and nothing else; `version` is the version of the settings that the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::Database`].
pub async fn update_variation(
    tx: &mut ShopTx,
    variation: &Variation,
    version: i32,
) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update shop set level_percent = $2, shop_percent = $3, person_percent = $4, element_percent = $5,
                job_percent = $6, outside_percent = $7, absence_percent = $8, breakdown_hours = $9, repair_hours = $10,
                rework_percent = $11, rework_share_percent = $12, version = version + 1
         where shop_id = $1 and version = $13",
        tx.shop_id(),
        variation.level_percent,
        variation.shop_percent,
        variation.person_percent,
        variation.element_percent,
        variation.job_percent,
        variation.outside_percent,
        variation.absence_percent,
        variation.breakdown_hours,
        variation.repair_hours,
        variation.rework_percent,
        variation.rework_share_percent,
        version,
    )
    .execute(tx.conn())
    .await?;
    match done.rows_affected() {
        0 => Err(DbError::Stale("the shop's settings")),
        _ => Ok(()),
    }
}

/// Changes the settings, all but the currency, the terms of sale and how much work varies; `settings.version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::Database`].
pub async fn update(tx: &mut ShopTx, settings: &Settings) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update shop set name = $2, time_zone = $3, length_unit = $4, overhead_percent = $5, margin_percent = $6,
                tax_percent = $7, tax_name = $8, confidence_percent = $9, quote_valid_days = $10, version = version + 1
         where shop_id = $1 and version = $11",
        tx.shop_id(),
        settings.name,
        settings.time_zone.name(),
        settings.length_unit.code(),
        settings.policy.overhead_percent,
        settings.policy.margin_percent,
        settings.policy.tax_percent,
        settings.tax_name,
        stored_count("confidence", settings.policy.confidence_percent)?,
        stored_count("validity of quotes", settings.quote_valid_days)?,
        settings.version,
    )
    .execute(tx.conn())
    .await?;
    match done.rows_affected() {
        0 => Err(DbError::Stale("the shop's settings")),
        _ => Ok(()),
    }
}

/// Changes the terms of sale; `version` is the version the editor saw.
///
/// # Errors
/// [`DbError::Stale`], [`DbError::Database`].
pub async fn update_selling(
    tx: &mut ShopTx,
    selling: &Selling,
    version: i32,
) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update shop set week_of_waiting = $2, search_fee = $3, handling_percent = $4, least_margin_percent = $5,
                answer_keeps_minutes = $6, overtime_percent = $8, carriage_base = $9, carriage_per_kg = $10,
                version = version + 1
         where shop_id = $1 and version = $7",
        tx.shop_id(),
        selling.week_of_waiting.amount(),
        selling.search_fee.amount(),
        selling.handling_percent,
        selling.least_margin_percent,
        stored_count("age of an answer", selling.answer_keeps_minutes)?,
        version,
        selling.overtime_percent,
        selling.carriage_base.map(|money| money.amount()),
        selling.carriage_per_kg.map(|money| money.amount()),
    )
    .execute(tx.conn())
    .await?;
    match done.rows_affected() {
        0 => Err(DbError::Stale("the terms of sale")),
        _ => Ok(()),
    }
}
