//! Whether days follow the record of promises kept, and by how much: what was given as 80 % sure is given, the next time, at
//! the share of futures at which 80 of 100 are kept.

use super::{Actor, AppError};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, review, settings};
use crate::review::calibration::share_of_futures;
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

/// As many of the latest promises as the record goes back: by then the share has long forgotten where it began.
const LATEST: i64 = 400;

/// Decides whether days follow the record; `version` is that of the settings on the screen. For the owner.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], as [`DbError::Stale`] when the settings have changed since.
pub async fn follow_record(
    actor: &Actor,
    follow: bool,
    version: i32,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    actor
        .transact(Role::Owner, async |tx| {
            settings::follow_record(tx, follow, version).await?;
            Ok(learn(tx, now).await?)
        })
        .await
}

/// Learns from the promises whose outcome is known by now, in a shop whose days follow the record.
///
/// # Errors
/// [`DbError`].
pub async fn learn(tx: &mut ShopTx, now: DateTime<Utc>) -> Result<(), DbError> {
    let settings = settings::get(tx).await?;
    if !settings.days_follow_record {
        return Ok(());
    }
    let stated = settings.policy.confidence_percent;
    let zone = settings.time_zone;
    let today = now.with_timezone(&zone).date_naive();
    let mut known = Vec::new();
    for promise in review::latest_days(tx, stated, LATEST).await? {
        let ready = promise
            .ready_at
            .map(|at| at.with_timezone(&zone).date_naive());
        // One that is not ready is known to be broken once its day has passed.
        if ready.is_some() || promise.promised_on < today {
            let held = ready.is_some_and(|day| day <= promise.promised_on);
            let day = ready.map_or(promise.promised_on, |day| day.min(promise.promised_on));
            known.push((day, held));
        }
    }
    known.sort_by_key(|(day, _)| *day);
    let share = share_of_futures(
        f64::from(stated) / 100.0,
        known.into_iter().map(|(_, held)| held),
    );
    let share = Decimal::from_f64(share).unwrap_or_default().round_dp(3);
    settings::keep_day_share(tx, share, stated).await
}
