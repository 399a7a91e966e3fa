//! The shop's own settings: its pricing policy, its money, its clock and the units its screens show.

use super::{ShopTx, StoreError};
use crate::estimating::Policy;
use crate::units::{Currency, LengthUnit};
use chrono_tz::Tz;

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
    /// What the tax is called.
    pub tax_name: String,
    /// Days a quote holds.
    pub quote_valid_days: u32,
    /// Grows by one with every edit.
    pub version: i32,
}

/// The settings.
///
/// # Errors
/// [`StoreError::NotFound`], [`StoreError::Corrupt`], [`StoreError::Database`].
pub async fn get(tx: &mut ShopTx) -> Result<Settings, StoreError> {
    let row = sqlx::query!(
        "select name, currency, time_zone, length_unit, overhead_percent, margin_percent, tax_percent, tax_name,
                confidence_percent, quote_valid_days, version
         from shop where shop_id = $1",
        tx.shop_id()
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(StoreError::NotFound("the shop"))?;
    let corrupt = |what: &'static str| move |why: String| StoreError::Corrupt { what, why };
    Ok(Settings {
        name: row.name,
        currency: Currency::from_code(&row.currency)
            .map_err(|e| corrupt("currency")(e.to_string()))?,
        time_zone: row
            .time_zone
            .parse()
            .map_err(|e: chrono_tz::ParseError| corrupt("time zone")(e.to_string()))?,
        length_unit: LengthUnit::from_code(&row.length_unit)
            .ok_or_else(|| corrupt("length unit")(row.length_unit.clone()))?,
        policy: Policy {
            overhead_percent: row.overhead_percent,
            margin_percent: row.margin_percent,
            tax_percent: row.tax_percent,
            confidence_percent: unsigned("confidence", row.confidence_percent)?,
        },
        tax_name: row.tax_name,
        quote_valid_days: unsigned("validity of quotes", row.quote_valid_days)?,
        version: row.version,
    })
}

/// Changes the settings, all but the currency; `settings.version` is the version the editor saw.
///
/// # Errors
/// [`StoreError::Stale`], [`StoreError::Database`].
pub async fn update(tx: &mut ShopTx, settings: &Settings) -> Result<(), StoreError> {
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
        signed(settings.policy.confidence_percent),
        signed(settings.quote_valid_days),
        settings.version,
    )
    .execute(tx.conn())
    .await?;
    match done.rows_affected() {
        0 => Err(StoreError::Stale("the shop's settings")),
        _ => Ok(()),
    }
}

/// A stored count on its way in.
pub(super) fn unsigned(what: &'static str, stored: i32) -> Result<u32, StoreError> {
    u32::try_from(stored).map_err(|_| StoreError::Corrupt {
        what,
        why: format!("{stored} is below nothing"),
    })
}

/// A count on its way to be stored; the largest there is room for, which the checks of every form are far below.
pub(super) fn signed(count: u32) -> i32 {
    i32::try_from(count).unwrap_or(i32::MAX)
}
