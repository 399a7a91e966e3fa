//! How much things vary by the shop's bookings, for the settings that prices, chances and ready days are worked out with.

use super::learn::{Lesson, Lessons, lesson};
use super::{Actor, AppError};
use crate::db::calendars::{self, Owner};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, history, settings};
use crate::planning::local_instant;
use crate::review::spread::{Figure, Learned, Seen, learned};
use chrono::{DateTime, Datelike, NaiveDate, NaiveTime, TimeDelta, Utc};
use rust_decimal::Decimal;
use std::collections::BTreeSet;
use std::sync::Arc;

/// Somebody who books on fewer days than this is not looked at: an owner who helps out at the mill now and then.
const LEAST_DAYS: usize = 20;

/// What is learned of the settings, for the office; and the lesson it comes from.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`], [`AppError::Failed`].
pub async fn spread(
    actor: &Actor,
    lessons: &Lessons,
    now: DateTime<Utc>,
) -> Result<(Vec<Learned>, Arc<Lesson>), AppError> {
    let lesson = lesson(actor, lessons, now).await?;
    let mut tx = actor.begin().await?;
    let absence = absence(&mut tx, &lesson).await?;
    let count = |n: i64| u64::try_from(n).unwrap_or(0);
    let rework = Seen {
        of: count(lesson.mishaps.again.min(lesson.mishaps.operations)),
        all: count(lesson.mishaps.operations),
    };
    let lines = learned(
        lesson.findings.as_ref(),
        &lesson.settings.variation,
        absence,
        rework,
    );
    Ok((lines, lesson))
}

/// Days on which somebody who books time was off without notice, out of all their working days from their first booking to
/// their last: days off that were entered on the day itself or later. Those entered before, and holidays, are no working
/// days.
async fn absence(tx: &mut ShopTx, lesson: &Lesson) -> Result<Seen, DbError> {
    let working_time = calendars::read(tx).await?;
    let zone = lesson.settings.time_zone;
    let day = |at: DateTime<Utc>| at.with_timezone(&zone).date_naive();
    let mut seen = Seen::default();
    for (person, booked) in &lesson.days_booked {
        let (Some(first), Some(last)) = (booked.first(), booked.last()) else {
            continue;
        };
        if booked.len() < LEAST_DAYS {
            continue;
        }
        let owner = Owner::Person(*person);
        let midnight = |day: NaiveDate| local_instant(zone, day.and_time(NaiveTime::MIN));
        let (from, until) = (midnight(*first), midnight(*last));
        let calendar = working_time.calendar(owner, from, until);
        let days: BTreeSet<NaiveDate> = calendar.intervals().map(|(start, _)| day(start)).collect();
        let usual: BTreeSet<u32> = days
            .iter()
            .map(|d| d.weekday().num_days_from_monday())
            .collect();
        let mut off: BTreeSet<NaiveDate> = BTreeSet::new();
        for stop in &working_time.stops {
            if stop.owner != owner || stop.starts_at < from || stop.starts_at >= until {
                continue;
            }
            let past = history::of_row(tx, "stop", stop.id).await?;
            let entered = past.last().map(|change| day(change.at));
            if entered.is_none_or(|entered| entered < day(stop.starts_at)) {
                continue;
            }
            let end = day(stop.ends_at - TimeDelta::seconds(1));
            let through = day(stop.starts_at).iter_days().take_while(|d| *d <= end);
            off.extend(through.filter(|d| usual.contains(&d.weekday().num_days_from_monday())));
        }
        seen.all += days.union(&off).count() as u64;
        seen.of += off.len() as u64;
    }
    Ok(seen)
}

/// Takes learned figures into the settings: those chosen, each as it was on the screen; `version` is that of the settings
/// there. For the owner.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], as [`DbError::Stale`] when the settings or what is learned are not what was on
/// the screen.
pub async fn take(
    actor: &Actor,
    lessons: &Lessons,
    version: i32,
    chosen: &[(Figure, Decimal)],
    now: DateTime<Utc>,
) -> Result<(), AppError> {
    actor.require(Role::Owner)?;
    let (lines, lesson) = spread(actor, lessons, now).await?;
    let mut variation = lesson.settings.variation.clone();
    for (figure, shown) in chosen {
        let still = lines
            .iter()
            .any(|l| l.figure == *figure && l.proposed == Some(*shown));
        if !still {
            return Err(DbError::Stale("what is learned").into());
        }
        figure.set(&mut variation, *shown);
    }
    actor
        .transact(Role::Owner, async |tx| {
            Ok(settings::update_variation(tx, &variation, version).await?)
        })
        .await
}
