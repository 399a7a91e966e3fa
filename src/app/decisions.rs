//! Looking back on quotes whose jobs are done: the margin that was planned and the one that was made, and what the other way
//! would probably have cost.

use super::promises::{BEFORE, Promise, promises};
use super::review::Period;
use super::{Actor, AppError};
use crate::db::other_ways::{self, OpenWay};
use crate::db::people::Role;
use crate::db::settings;
use crate::enquiry::OptionKind;
use crate::planning::calendar::whole_day;
use crate::review::decisions::{Came, Hindsight, Together, dearest_first, hindsight};
use crate::units::{Code, Currency, Money};
use chrono::{DateTime, NaiveDate, Utc};
use rust_decimal::Decimal;
use std::collections::HashMap;
use uuid::Uuid;

/// A quote whose job is done.
#[derive(Debug, Clone, PartialEq)]
pub struct Decision {
    /// The job.
    pub job_id: Uuid,
    /// Its number.
    pub job_number: i64,
    /// What it is.
    pub title: String,
    /// Code of the kind of option that was taken.
    pub kind: String,
    /// The price before tax.
    pub net: Money,
    /// The margin in it as it was quoted; none where the quote names none.
    pub planned: Option<Money>,
    /// The price less what the job cost with overhead.
    pub made: Money,
    /// The day it was ready.
    pub ready_on: NaiveDate,
    /// The other way, where one was open.
    pub other: Option<Other>,
}

/// The way that was not taken.
#[derive(Debug, Clone, PartialEq)]
pub struct Other {
    /// Code of its kind of option.
    pub kind: String,
    /// Its title.
    pub title: String,
    /// The price before tax that the true cost of the taken way would have asked for.
    pub came: Money,
    /// The other way held against that.
    pub hindsight: Hindsight,
}

/// Decisions with what they come to.
#[derive(Debug, Clone)]
pub struct Decisions {
    /// Those with another way first, the dearest mistakes of them first; then by job.
    pub decisions: Vec<Decision>,
    /// Those with another way, together.
    pub together: Together,
    /// Margins planned and made, summed over the jobs of which both are known.
    pub margins: (Money, Money),
    /// How many those are.
    pub with_margin: usize,
    /// The shop's money.
    pub currency: Currency,
}

/// A kind of option by what the customer ends up with: another way is one of another sort.
#[derive(PartialEq, Eq)]
enum Sort {
    Own,
    Converted,
    Found,
}

fn sort(kind: &str) -> Option<Sort> {
    Some(match OptionKind::from_code(kind)? {
        OptionKind::Inspect | OptionKind::Repair | OptionKind::ConvertOwn => Sort::Own,
        OptionKind::ConvertShelf | OptionKind::ConvertBought | OptionKind::ConvertOffered => {
            Sort::Converted
        }
        OptionKind::Shelf | OptionKind::Offered | OptionKind::Hunt => Sort::Found,
        OptionKind::Work => return None,
    })
}

/// Looks back on the quotes whose jobs were ready in a period, for the office.
///
/// # Errors
/// As [`promises`].
pub async fn decisions(
    actor: &Actor,
    period: Period,
    now: DateTime<Utc>,
) -> Result<Decisions, AppError> {
    let known = promises(actor, period, now).await?;
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let settings = settings::get(&mut tx).await?;
    let quoted_from = period.from.checked_sub_days(BEFORE).unwrap_or(period.from);
    let since = whole_day(settings.time_zone, quoted_from).map_or(now, |(from, _)| from);
    let mut ways: HashMap<Uuid, Vec<OpenWay>> = HashMap::new();
    for way in other_ways::since(&mut tx, since).await? {
        ways.entry(way.job_id).or_default().push(way);
    }
    let margins: HashMap<Uuid, Money> = other_ways::margins(&mut tx, since)
        .await?
        .into_iter()
        .collect();
    drop(tx);
    let kept = Decimal::ONE - settings.policy.margin_percent / Decimal::ONE_HUNDRED;
    let mut decisions: Vec<(Decision, Option<Came>)> = known
        .promises
        .into_iter()
        .filter_map(|promise| {
            let ways = ways.remove(&promise.job_id).unwrap_or_default();
            decision(promise, &ways, &margins, kept)
        })
        .collect();
    decisions.sort_by(|(a, came_a), (b, came_b)| {
        let both = |d: &'_ Decision, came: Option<Came>| {
            came.zip(d.other.as_ref().map(|o| o.hindsight.clone()))
        };
        match (both(a, *came_a), both(b, *came_b)) {
            (Some((x, hx)), Some((y, hy))) => dearest_first((x, &hx), (y, &hy)),
            (one, other) => other.is_some().cmp(&one.is_some()),
        }
        .then(a.job_number.cmp(&b.job_number))
    });
    let mut together = Together::default();
    let mut sums = (Money::zero(known.currency), Money::zero(known.currency));
    let mut with_margin = 0;
    for (decision, came) in &decisions {
        if let Some((came, other)) = came.zip(decision.other.as_ref()) {
            together.add(came, &other.hindsight);
        }
        if let Some(planned) = decision.planned {
            sums = (
                sums.0
                    .plus(planned)
                    .map_err(|why| AppError::failed("the sum of margins", why))?,
                sums.1
                    .plus(decision.made)
                    .map_err(|why| AppError::failed("the sum of margins", why))?,
            );
            with_margin += 1;
        }
    }
    Ok(Decisions {
        decisions: decisions
            .into_iter()
            .map(|(decision, _)| decision)
            .collect(),
        together,
        margins: sums,
        with_margin,
        currency: known.currency,
    })
}

/// One quote whose job is ready. Of several other ways the one that was likely to be the cheapest is looked at.
fn decision(
    promise: Promise,
    ways: &[OpenWay],
    margins: &HashMap<Uuid, Money>,
    kept: Decimal,
) -> Option<(Decision, Option<Came>)> {
    let (cost, ready_on) = (promise.cost?, promise.ready_on?);
    let currency = promise.net.currency();
    let came = (kept > Decimal::ZERO)
        .then(|| Money::new(cost.amount() / kept, currency).rounded())
        .and_then(|price| {
            let minor = price.to_minor().ok()?;
            Some((
                price,
                Came {
                    price: minor,
                    ready_on,
                },
            ))
        });
    let taken = sort(&promise.kind);
    let of_another_sort = |way: &&OpenWay| taken.is_some() && sort(&way.kind) != taken;
    let other = ways
        .iter()
        .filter(of_another_sort)
        .min_by_key(|way| way.price.likely.amount())
        .zip(came)
        .and_then(|(way, (price, came))| {
            let minor = |money: Money| money.to_minor().ok();
            let range = [
                minor(way.price.low)?,
                minor(way.price.likely)?,
                minor(way.price.high)?,
            ];
            Some(Other {
                kind: way.kind.clone(),
                title: way.title.clone(),
                came: price,
                hindsight: hindsight(came, range, &way.ready),
            })
        });
    let decision = Decision {
        made: promise.net.minus(cost).ok()?,
        planned: margins.get(&promise.job_id).copied(),
        job_id: promise.job_id,
        job_number: promise.job_number,
        title: promise.title,
        kind: promise.kind,
        net: promise.net,
        ready_on,
        other,
    };
    Some((decision, came.map(|(_, came)| came)))
}
