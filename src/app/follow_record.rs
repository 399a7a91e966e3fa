//! Whether what is promised follows the record: a day, or a price, that was given as 80 % sure is given, the next time, at the
//! share of futures at which 80 of 100 hold.

use super::promises::promises;
use super::review::Period;
use super::{Actor, AppError};
use crate::db::people::Role;
use crate::db::settings::{self, Promised, Settings};
use crate::db::{DbError, ShopTx, review};
use crate::review::calibration::{LATEST, share_of_futures};
use chrono::{DateTime, Days, NaiveDate, Utc};
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

/// How far back costs are looked at.
const COSTS_BACK: Days = Days::new(731);

/// Decides whether days, or prices, follow the record; `version` is that of the settings on the screen. For the owner.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], as [`DbError::Stale`] when the settings have changed since; as [`learn`].
pub async fn follow_record(
    actor: &Actor,
    what: Promised,
    follow: bool,
    version: i32,
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    actor
        .transact(Role::Owner, async |tx| {
            Ok(settings::follow_record(tx, what, follow, version).await?)
        })
        .await?;
    learn(actor, now).await
}

/// Learns from the promises whose outcome is known by now, as far as what is promised follows the record.
///
/// # Errors
/// [`AppError::Db`]; as [`promises`] where prices follow the record.
pub async fn learn(actor: &Actor, now: DateTime<Utc>) -> Result<(), AppError> {
    let mut tx = actor.begin().await?;
    let settings = settings::get(&mut tx).await?;
    let stated = settings.policy.confidence_percent;
    let today = now.with_timezone(&settings.time_zone).date_naive();
    if settings.days_follow_record {
        let held = days_held(&mut tx, &settings, today).await?;
        keep(&mut tx, Promised::Day, stated, &held).await?;
    }
    let finished = review::finished_jobs(&mut tx).await?;
    let learned = settings::share_outcomes(&mut tx, Promised::Cost, stated).await?;
    tx.commit().await?;
    // What jobs cost takes their bookings to say: only when another one is finished.
    if settings.prices_follow_record && learned != Some(finished) {
        let period = Period {
            from: today.checked_sub_days(COSTS_BACK).unwrap_or(today),
            until: today,
        };
        let known = promises(actor, period, now).await?;
        let of_stated = known.promises.iter().filter(|p| p.stated == Some(stated));
        let held: Vec<bool> = of_stated.filter_map(|p| p.cost_kept).collect();
        let mut tx = actor.begin().await?;
        settings::keep_share(
            &mut tx,
            Promised::Cost,
            (share(stated, &held), stated),
            finished,
        )
        .await?;
        tx.commit().await?;
    }
    Ok(())
}

/// Which of the latest promised days held, the first to be known first.
async fn days_held(
    tx: &mut ShopTx,
    settings: &Settings,
    today: NaiveDate,
) -> Result<Vec<bool>, DbError> {
    let mut known = Vec::new();
    let most = i64::try_from(LATEST).unwrap_or(i64::MAX);
    for promise in review::latest_days(tx, settings.policy.confidence_percent, most).await? {
        let ready = promise
            .ready_at
            .map(|at| at.with_timezone(&settings.time_zone).date_naive());
        // One that is not ready is known to be broken once its day has passed.
        if ready.is_some() || promise.promised_on < today {
            let held = ready.is_some_and(|day| day <= promise.promised_on);
            let day = ready.map_or(promise.promised_on, |day| day.min(promise.promised_on));
            known.push((day, held));
        }
    }
    known.sort_by_key(|(day, _)| *day);
    Ok(known.into_iter().map(|(_, held)| held).collect())
}

fn share(stated: u32, held: &[bool]) -> Decimal {
    let share = share_of_futures(f64::from(stated) / 100.0, held.iter().copied());
    Decimal::from_f64(share).unwrap_or_default().round_dp(3)
}

async fn keep(tx: &mut ShopTx, what: Promised, stated: u32, held: &[bool]) -> Result<(), DbError> {
    let outcomes = i64::try_from(held.len()).unwrap_or(i64::MAX);
    settings::keep_share(tx, what, (share(stated, held), stated), outcomes).await
}
