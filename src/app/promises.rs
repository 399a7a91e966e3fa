//! Promises and what came of them: the days and costs of quotes that were won, against what happened.

use super::question::Unanswerable;
use super::review::{Period, Read};
use super::{Actor, AppError, Refusal};
use crate::db::people::Role;
use crate::db::review::{self as rows, Promised};
use crate::db::settings;
use crate::estimating::{Policy, Recalibration};
use crate::planning::calendar::whole_day;
use crate::review::calibration::{Kept, Place, kept, place};
use crate::units::{Currency, Money};
use chrono::{DateTime, Days, NaiveDate, Utc};
use rust_decimal::Decimal;
use uuid::Uuid;

/// A promise whose outcome is known.
#[derive(Debug, Clone, PartialEq)]
pub struct Promise {
    /// The job.
    pub job_id: Uuid,
    /// Its number.
    pub job_number: i64,
    /// What it is.
    pub title: String,
    /// The kind of the quoted option.
    pub kind: String,
    /// How sure it was given, in per cent; none where the answer does not say.
    pub stated: Option<u32>,
    /// The day promised, if one was.
    pub promised_on: Option<NaiveDate>,
    /// The day it was ready; none while it is not, and the day promised is past.
    pub ready_on: Option<NaiveDate>,
    /// Whether the day was kept, if one was promised.
    pub day_kept: Option<bool>,
    /// Where in its forecast the day fell.
    pub day: Option<Place>,
    /// The price before tax.
    pub net: Money,
    /// What it was charged for castings that were scrap.
    pub scrapped: Money,
    /// What it cost with overhead, once it is ready: hours at the rates of their days, materials, castings, scrap.
    pub cost: Option<Money>,
    /// Whether the cost of the work stayed within what was forecast as that sure. Castings that were scrap are no part of
    /// that forecast.
    pub cost_kept: Option<bool>,
    /// Where in its forecast the cost fell.
    pub cost_place: Option<Place>,
}

/// Promises with what they come to.
#[derive(Debug, Clone)]
pub struct Promises {
    /// Those whose outcome is known, the first to be known first.
    pub promises: Vec<Promise>,
    /// How many are not known yet: the day promised is still to come.
    pub open: usize,
    /// Days kept, by how sure they were given.
    pub days: Vec<Kept>,
    /// Costs kept, by how sure they were given.
    pub costs: Vec<Kept>,
    /// The shop's setting, in per cent.
    pub confidence: u32,
    /// The shop's money.
    pub currency: Currency,
    /// Whether days follow the record.
    pub follows: bool,
    /// The share of futures, from 0 to 1, at which a day is given now, when the record asks for another than is said.
    pub day_share: Option<f64>,
    /// Whether prices do.
    pub prices_follow: bool,
    /// The same for a price.
    pub cost_share: Option<f64>,
    /// The version of the settings.
    pub version: i32,
}

/// How long before a period quotes are read whose jobs may have been done in it.
pub(super) const BEFORE: Days = Days::new(183);

/// The promises of won quotes whose outcome came in a period, for the office: the day the job was ready, or, where it is not
/// ready yet, the day promised.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::Unanswerable`] while the shop has no rates and something was booked; [`AppError::Db`].
pub async fn promises(
    actor: &Actor,
    period: Period,
    now: DateTime<Utc>,
) -> Result<Promises, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let settings = settings::get(&mut tx).await?;
    let zone = settings.time_zone;
    let quoted_from = period.from.checked_sub_days(BEFORE).unwrap_or(period.from);
    let since = whole_day(zone, quoted_from).map_or(now, |(from, _)| from);
    let mut promised = rows::promised(&mut tx, since).await?;
    let today = now.with_timezone(&zone).date_naive();
    let all = Period {
        from: quoted_from,
        until: today,
    };
    let read = Read::of(&mut tx, all, zone, now).await?;
    let rates = rows::rates(&mut tx).await?;
    drop(tx);
    let costs = match read.facts.is_empty() {
        true => Default::default(),
        false => {
            let rates = rates.map_err(|why| Refusal::Unanswerable(Unanswerable::Rates(why)))?;
            read.job_costs(&rates)
        }
    };
    let known = |p: &Promised| p.ready_at.is_some() || p.promised_on.is_some_and(|day| day < today);
    let open = promised.iter().filter(|p| !known(p)).count();
    promised.retain(known);
    promised.sort_by_key(|p| (p.ready_at.unwrap_or(now), p.job_number));
    let promises: Vec<Promise> = promised
        .into_iter()
        .map(|p| {
            let ready_on = p.ready_at.map(|at| at.with_timezone(&zone).date_naive());
            let cost = costs.get(&p.job_id).copied();
            outcome(p, ready_on, cost, &settings.policy)
        })
        .filter(|p| {
            p.ready_on
                .or(p.promised_on)
                .is_some_and(|day| period.has(day))
        })
        .collect();
    let told = |of: &dyn Fn(&Promise) -> Option<bool>| {
        let outcomes: Vec<(u32, bool)> = promises
            .iter()
            .filter_map(|p| Some((p.stated?, of(p)?)))
            .collect();
        kept(&outcomes)
    };
    let stated = f64::from(settings.policy.confidence_percent) / 100.0;
    let asked = |map: Recalibration| (!map.is_none()).then(|| map.share_of_futures(stated));
    Ok(Promises {
        days: told(&|p| p.day_kept),
        costs: told(&|p| p.cost_kept),
        promises,
        open,
        confidence: settings.policy.confidence_percent,
        currency: settings.currency,
        follows: settings.days_follow_record,
        day_share: asked(settings.days),
        prices_follow: settings.prices_follow_record,
        cost_share: asked(settings.policy.costs),
        version: settings.version,
    })
}

fn outcome(
    p: Promised,
    ready_on: Option<NaiveDate>,
    worked: Option<(Decimal, Decimal)>,
    policy: &Policy,
) -> Promise {
    let currency = p.net.currency();
    let with_overhead = Decimal::ONE + policy.overhead_percent / Decimal::ONE_HUNDRED;
    let full = |direct: Decimal| Money::new(direct * with_overhead, currency).rounded();
    let done = worked.filter(|_| ready_on.is_some());
    let cost = done.map(|(all, _)| full(all + p.castings + p.scrapped));
    let once = done.and_then(|(_, once)| full(once + p.castings).to_minor().ok());
    let limit = p.stated.and_then(|stated| {
        let at = usize::try_from(stated).ok()?;
        p.percentiles.full_cost.get(at).copied()
    });
    // A day later than every day sorts last.
    let days: Vec<NaiveDate> = p
        .percentiles
        .ready
        .iter()
        .map(|day| day.unwrap_or(NaiveDate::MAX))
        .collect();
    Promise {
        day_kept: p
            .promised_on
            .map(|day| ready_on.is_some_and(|ready| ready <= day)),
        day: ready_on.and_then(|day| place(&days, &day)),
        cost_kept: once.zip(limit).map(|(once, limit)| once <= limit),
        cost_place: once.and_then(|once| place(&p.percentiles.full_cost, &once)),
        cost,
        job_id: p.job_id,
        job_number: p.job_number,
        title: p.title,
        kind: p.kind,
        stated: p.stated,
        promised_on: p.promised_on,
        ready_on,
        scrapped: Money::new(p.scrapped, currency),
        net: p.net,
    }
}
