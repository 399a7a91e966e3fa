//! What a day begins with: for the office what waits for it, for a machinist their own work in order.

use super::current_plan::CurrentPlan;
use super::explain_jobs::{Depth, ExplainedJob, explain_jobs, late_jobs};
use super::settle::{self, Open};
use super::shared_plans::SharedPlans;
use super::{Actor, AppError};
use crate::db::calendars::{self, Owner};
use crate::db::people::{self, Role};
use crate::db::today::{self, CallWaiting, CameIn, QuoteWaiting, SetUp, ToCollect};
use crate::planning::calendar::{Hours, local_instant};
use crate::planning::floor::Slot;
use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeDelta, Utc};
use std::sync::Arc;
use std::time::Duration;

/// The most of each kind that are shown; the rest is counted, and a link leads to it.
pub const SHOWN: i64 = 6;
/// Days after which a quote without an answer is followed up. Common practice, no source.
const FOLLOW_UP_DAYS: i64 = 4;
/// Days before it runs out.
const RUNS_OUT_DAYS: u64 = 5;
/// Days ahead for which absences are told.
const AHEAD_DAYS: u64 = 7;
/// Days after its due date for which a job that is done and not collected is told: what was never marked as collected is
/// not told for ever.
const COLLECT_DAYS: u64 = 30;
/// Days for which a shop may be closed, and what came in before is still told when it opens again.
const LONGEST_CLOSED: u64 = 14;
/// How long the page waits for the absences that put jobs off; it opens without them otherwise.
const PATIENCE: Duration = Duration::from_millis(150);

/// Somebody who is off, or a day on which nobody works.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Off {
    /// Who; `None` for everybody.
    pub who: Option<String>,
    /// The first day, not before today.
    pub from: NaiveDate,
    /// The last day.
    pub until: NaiveDate,
    /// Why.
    pub why: String,
}

/// The office's day.
#[derive(Debug, Clone)]
pub struct OfficeDay {
    /// What the shop still lacks.
    pub set_up: SetUp,
    /// Calls that wait for a price, the oldest first, and how many in all.
    pub calls: (Vec<CallWaiting>, i64),
    /// Quotes to follow up, and how many in all.
    pub quotes: (Vec<QuoteWaiting>, i64),
    /// The plan; `None` where the floor cannot be planned yet.
    pub plan: Option<Arc<CurrentPlan>>,
    /// Why jobs are late or at risk, the worst first.
    pub late: Vec<ExplainedJob>,
    /// What waits for a decision or an answer.
    pub open: Open,
    /// What came in since this day, the last before today on which the shop worked.
    pub came_in: (NaiveDate, Vec<CameIn>),
    /// Jobs with nothing left to do in them.
    pub to_collect: Vec<ToCollect>,
    /// Who is off in the next days.
    pub off: Vec<Off>,
}

/// The last day before `today` on which the shop worked, or yesterday where it has not worked for long.
fn last_worked(hours: &Hours, today: NaiveDate) -> NaiveDate {
    let before = |days| today.checked_sub_days(Days::new(days));
    (1..=LONGEST_CLOSED)
        .filter_map(before)
        .find(|day| hours.works_on(*day))
        .or(before(1))
        .unwrap_or(today)
}

/// What the office's day begins with; `today` is the shop's calendar day.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`], [`AppError::Failed`].
pub async fn office_day(
    actor: &Actor,
    plans: &SharedPlans,
    today: NaiveDate,
    now: DateTime<Utc>,
) -> Result<OfficeDay, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let set_up = today::set_up(&mut tx).await?;
    let calls = today::calls(&mut tx, SHOWN).await?;
    let given_before = now - TimeDelta::days(FOLLOW_UP_DAYS);
    let runs_out_by = today
        .checked_add_days(Days::new(RUNS_OUT_DAYS))
        .unwrap_or(today);
    let quotes = today::quotes(&mut tx, given_before, runs_out_by, SHOWN).await?;
    let collect_from = today
        .checked_sub_days(Days::new(COLLECT_DAYS))
        .unwrap_or(today);
    let to_collect = today::to_collect(&mut tx, collect_from, SHOWN).await?;
    let working = calendars::read(&mut tx).await?;
    let since = last_worked(&working.hours(Owner::Shop), today);
    let begun = local_instant(working.zone, since.and_time(NaiveTime::MIN));
    let came_in = (since, today::came_in(&mut tx, begun, SHOWN).await?);
    let people = people::list(&mut tx).await?;
    drop(tx);
    let until = today
        .checked_add_days(Days::new(AHEAD_DAYS))
        .unwrap_or(today);
    let mut off = Vec::new();
    for stop in &working.stops {
        let who = match stop.owner {
            Owner::Person(id) => match people.iter().find(|person| person.id == id) {
                Some(person) => Some(person.name.clone()),
                None => continue,
            },
            Owner::Shop => None,
            Owner::Machine(_) => continue,
        };
        let day = |at: DateTime<Utc>| at.with_timezone(&working.zone).date_naive();
        let last = day(stop.ends_at - TimeDelta::seconds(1));
        if last >= today && day(stop.starts_at) <= until {
            off.push(Off {
                who,
                from: day(stop.starts_at).max(today),
                until: last,
                why: stop.why.clone(),
            });
        }
    }
    let holidays = working
        .holidays
        .iter()
        .filter(|h| h.on >= today && h.on <= until);
    off.extend(holidays.map(|holiday| Off {
        who: None,
        from: holiday.on,
        until: holiday.on,
        why: holiday.name.clone(),
    }));
    off.sort_by_key(|off| off.from);
    let plan = plan(actor, plans, set_up, now).await?;
    let late = match &plan {
        Some(plan) => {
            let depth = Depth {
                helps: 0,
                patience: Some(PATIENCE),
            };
            let shop = (actor.shop_id(), plans);
            explain_jobs(shop, plan.clone(), late_jobs(plan), depth).await?
        }
        None => Vec::new(),
    };
    Ok(OfficeDay {
        set_up,
        calls,
        quotes,
        plan,
        late,
        open: settle::open(actor, now).await?,
        came_in,
        to_collect,
        off,
    })
}

/// The current plan, where there is anything to plan with.
async fn plan(
    actor: &Actor,
    plans: &SharedPlans,
    set_up: SetUp,
    now: DateTime<Utc>,
) -> Result<Option<Arc<CurrentPlan>>, AppError> {
    if !set_up.job {
        return Ok(None);
    }
    Ok(Some(plans.now(actor, now).await?))
}

/// A machinist's day.
#[derive(Debug, Clone)]
pub struct BenchDay {
    /// The plan; `None` while there are no jobs.
    pub plan: Option<Arc<CurrentPlan>>,
    /// Their operations, in the order of the plan.
    pub slots: Vec<Slot>,
}

/// The most operations of a day's page.
const SLOTS: usize = 12;

/// The work of the person who asks, in order.
///
/// # Errors
/// [`AppError::Db`], [`AppError::Failed`].
pub async fn bench_day(
    actor: &Actor,
    plans: &SharedPlans,
    now: DateTime<Utc>,
) -> Result<BenchDay, AppError> {
    let me = actor.person()?;
    let mut tx = actor.begin().await?;
    let set_up = today::set_up(&mut tx).await?;
    drop(tx);
    let plan = plan(actor, plans, set_up, now).await?;
    let slots = plan.as_ref().map_or_else(Vec::new, |plan| {
        let mine = plan
            .timetable
            .slots
            .iter()
            .filter(|slot| slot.person == Some(me));
        mine.take(SLOTS).cloned().collect()
    });
    Ok(BenchDay { plan, slots })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planning::calendar::Shift;
    use chrono::Weekday;
    use chrono_tz::Tz;

    /// Tuesday to Friday; 29 November 2026 is a Sunday.
    #[test]
    fn what_came_in_is_told_since_the_shop_last_worked() {
        let on = |weekday| Shift {
            weekday,
            start: NaiveTime::from_hms_opt(8, 0, 0).unwrap(),
            end: NaiveTime::from_hms_opt(16, 0, 0).unwrap(),
        };
        let days = [Weekday::Tue, Weekday::Wed, Weekday::Thu, Weekday::Fri];
        let hours = Hours {
            zone: Tz::Europe__London,
            shifts: days.map(on).to_vec(),
            holidays: std::collections::BTreeSet::new(),
            overtime: vec![],
            stops: vec![],
        };
        let day = |text: &str| -> NaiveDate { text.parse().unwrap() };
        assert_eq!(last_worked(&hours, day("2026-12-03")), day("2026-12-02"));
        assert_eq!(last_worked(&hours, day("2026-12-01")), day("2026-11-27"));
        let never = Hours {
            shifts: vec![],
            ..hours
        };
        assert_eq!(last_worked(&never, day("2026-12-01")), day("2026-11-30"));
    }
}
