//! How much things vary by the shop's bookings, for the settings that prices, chances and ready days are worked out with.

use super::learn::{Lesson, Lessons, lesson};
use super::{Actor, AppError};
use crate::db::calendars::{self, Owner, Stop, WorkingTime};
use crate::db::people::Role;
use crate::db::{DbError, history, machines, settings};
use crate::estimating::Machine;
use crate::planning::calendar::Calendar;
use crate::planning::local_instant;
use crate::review::spread::{Breakdowns, Figure, Learned, Seen, learned};
use chrono::{DateTime, Datelike, NaiveDate, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;
use rust_decimal::Decimal;
use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;
use uuid::Uuid;

/// When each stop was entered.
type Entered = HashMap<Uuid, DateTime<Utc>>;

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
    let working_time = calendars::read(&mut tx).await?;
    let entered = history::entered(&mut tx, "stop").await?;
    let machines = machines::machines(&mut tx).await?;
    drop(tx);
    let absence = absence(&working_time, &entered, &lesson);
    let breakdowns = breakdowns(&working_time, &entered, &machines, lesson.since, now);
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
        &breakdowns,
    );
    Ok((lines, lesson))
}

/// Days on which somebody who books time was off without notice, out of all their working days from their first booking to
/// their last: days off that were entered on the day itself or later. Those entered before, and holidays, are no working
/// days.
fn absence(working_time: &WorkingTime, entered: &Entered, lesson: &Lesson) -> Seen {
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
            if !without_notice(stop, entered, zone) {
                continue;
            }
            let end = day(stop.ends_at - TimeDelta::seconds(1));
            let through = day(stop.starts_at).iter_days().take_while(|d| *d <= end);
            off.extend(through.filter(|d| usual.contains(&d.weekday().num_days_from_monday())));
        }
        seen.all += days.union(&off).count() as u64;
        seen.of += off.len() as u64;
    }
    seen
}

/// Whether a stop was entered on its first day or later.
fn without_notice(stop: &Stop, entered: &Entered, zone: Tz) -> bool {
    let day = |at: DateTime<Utc>| at.with_timezone(&zone).date_naive();
    let entered = entered.get(&stop.id);
    entered.is_some_and(|entered| day(*entered) >= day(stop.starts_at))
}

/// Stops of machines in use since a moment that nobody had planned, and the hours those machines were open for work.
fn breakdowns(
    working_time: &WorkingTime,
    entered: &Entered,
    machines: &[Machine],
    since: DateTime<Utc>,
    now: DateTime<Utc>,
) -> Breakdowns {
    let mut seen = Breakdowns::default();
    let hours = |span: TimeDelta| span.num_minutes().max(0) as f64 / 60.0;
    for machine in machines.iter().filter(|machine| machine.active) {
        let owner = Owner::Machine(machine.id);
        let open = working_time.calendar(owner, since, now);
        seen.machine_hours += open
            .intervals()
            .map(|(a, b)| hours(b.min(now) - a.max(since)))
            .sum::<f64>();
        let mut whole = working_time.hours(owner);
        whole.stops.clear();
        for stop in &working_time.stops {
            let within = stop.owner == owner && stop.starts_at >= since && stop.ends_at <= now;
            if !within || !without_notice(stop, entered, working_time.zone) {
                continue;
            }
            let (from, until) = (stop.starts_at, stop.ends_at);
            let lost = Calendar::build(&whole, from, until);
            let lost = lost
                .intervals()
                .map(|(a, b)| hours(b.min(until) - a.max(from)));
            seen.repairs.push(lost.sum());
        }
    }
    seen
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
