//! A job on one page: its route with hours and money to date, its forecast, its needs, holds, calls and bookings.

use super::{Actor, AppError, booked_hours};
use crate::db::bookings::{self, Booking};
use crate::db::checks::{self, CheckResult, Hold};
use crate::db::history::{self, Change};
use crate::db::holds::{self, Call, JobCost};
use crate::db::job_changes::{self, JobStep};
use crate::db::jobs::{self, Job, JobOperation};
use crate::db::measured_records::{self, MeasuredRecord};
use crate::db::needs::{self, Behind, Need, Source};
use crate::db::people::Role;
use crate::db::stock::{self, Batch};
use crate::db::{DbError, ShopTx, aftercare, machines, quotes};
use crate::enquiry::quote::Quote;
use crate::estimating::{CostError, Rates};
use crate::jobs::{Aftercare, Overview, Place, Worked, current, overview};
use crate::shopfloor::Hours;
use crate::units::Money;
use chrono::{DateTime, Utc};
use std::collections::HashMap;
use uuid::Uuid;

/// A job with all that its page shows.
#[derive(Debug, Clone)]
pub struct JobOverview {
    /// The job.
    pub job: Job,
    /// Its operations, by number.
    pub operations: Vec<JobOperation>,
    /// The hours of each, in the same order.
    pub hours: Vec<Hours>,
    /// The index of the one it is at.
    pub current: Option<usize>,
    /// Hours and money to date, and the forecast.
    pub overview: Overview,
    /// Why there is no money in it although it was asked for.
    pub no_money: Option<CostError>,
    /// What it has borne beyond its hours.
    pub costs: Vec<JobCost>,
    /// The quote it came from, for who may see money.
    pub quote: Option<Quote>,
    /// What was agreed to be paid for it, where no quote says it; for who may see money.
    pub value: Option<Money>,
    /// What was done to it by hand, newest first.
    pub steps: Vec<JobStep>,
    /// The customer it is for; empty when none is named.
    pub customer: String,
    /// That customer, when they are on record.
    pub customer_id: Option<Uuid>,
    /// What it needs.
    pub needs: Vec<Need>,
    /// Parts that it makes.
    pub batches: Vec<Batch>,
    /// Its castings by key and number, each with what was measured on it, newest first.
    pub measured: Vec<(Uuid, i64, Vec<MeasuredRecord>)>,
    /// Calls for help and complaints about it, newest first; for who may see money.
    pub aftercare: Vec<Aftercare>,
    /// Checks that were made, in order.
    pub checks: Vec<CheckResult>,
    /// Its holds.
    pub holds: Vec<Hold>,
    /// Calls to its customer.
    pub calls: Vec<Call>,
    /// What was booked, in the order of arrival.
    pub booked: Vec<Booking>,
    /// Its changes.
    pub history: Vec<Change>,
}

/// Reads a job. Money is the office's business: others see hours. Without rates there are hours and no money.
///
/// # Errors
/// [`AppError::Db`], as [`DbError::NotFound`].
pub async fn job_overview(
    actor: &Actor,
    id: Uuid,
    now: DateTime<Utc>,
) -> Result<JobOverview, AppError> {
    let with_money = actor.may(Role::Office);
    let tx = &mut actor.begin().await?;
    let job = jobs::get(tx, id).await?;
    let operations = jobs::operations(tx, id).await?;
    let quote = match job.quote_id.filter(|_| with_money) {
        Some(quote_id) => Some(quotes::get(tx, quote_id).await?),
        None => None,
    };
    let keys: Vec<Uuid> = operations.iter().map(|o| o.id).collect();
    let booked = bookings::of_operations(tx, &keys).await?;
    let by_operation = booked_hours::of_job(tx, &booked, now).await?;
    let costs = holds::costs(tx, id).await?;
    let rates = if with_money { rates(tx).await? } else { None };
    let hours = hours_of(&operations, &by_operation);
    let besides: Vec<Money> = costs.iter().map(|cost| cost.amount).collect();
    let (figures, no_money) = figures(&operations, &hours, &besides, rates.as_ref())?;
    let places: Vec<Place> = operations
        .iter()
        .map(|o| Place {
            number: o.planned.number,
            after: &o.planned.after,
            state: o.state,
        })
        .collect();
    let needs = needs::of_job(tx, id).await?;
    let besides_job = job_changes::besides(tx, id).await?;
    Ok(JobOverview {
        batches: stock::batches_of_job(tx, id).await?,
        current: current(&places),
        overview: figures,
        no_money,
        hours,
        costs,
        quote,
        value: besides_job.value.filter(|_| with_money),
        steps: job_changes::steps(tx, id).await?,
        customer: besides_job.customer,
        customer_id: besides_job.customer_id,
        measured: measured(tx, &needs).await?,
        aftercare: if with_money {
            aftercare::of_job(tx, id).await?
        } else {
            Vec::new()
        },
        needs,
        checks: checks::of_operations(tx, &keys).await?,
        holds: checks::holds(tx, Some(id)).await?,
        calls: holds::calls(tx, Some(id)).await?,
        history: history::of_row(tx, "job", id).await?,
        booked,
        operations,
        job,
    })
}

/// What was measured on the castings that are the job's own.
async fn measured(
    tx: &mut ShopTx,
    needs: &[Need],
) -> Result<Vec<(Uuid, i64, Vec<MeasuredRecord>)>, DbError> {
    let mut all = Vec::new();
    for need in needs {
        if let (Behind::Casting(id), Source::Casting(casting)) = (need.details.behind, &need.source)
            && casting.ours
        {
            all.push((
                id,
                casting.number,
                measured_records::of_casting(tx, id).await?,
            ));
        }
    }
    Ok(all)
}

/// The rates in force; none when the shop has not set them all. Its own screens say what is missing.
async fn rates(tx: &mut ShopTx) -> Result<Option<Rates>, DbError> {
    let machines = machines::machines(tx).await?;
    Ok(machines::rates(tx, &machines).await?.ok())
}

fn hours_of(operations: &[JobOperation], hours: &HashMap<Uuid, Hours>) -> Vec<Hours> {
    operations
        .iter()
        .map(|o| hours.get(&o.id).copied().unwrap_or_default())
        .collect()
}

/// Hours and money; hours alone when the money cannot be told, with why.
fn figures(
    operations: &[JobOperation],
    hours: &[Hours],
    besides: &[Money],
    rates: Option<&Rates>,
) -> Result<(Overview, Option<CostError>), DbError> {
    let worked: Vec<Worked> = operations
        .iter()
        .zip(hours)
        .map(|(o, hours)| Worked {
            planned: &o.planned,
            state: o.state,
            added: o.added,
            again_for: o.again_for,
            hours: *hours,
        })
        .collect();
    let without = |why: Option<CostError>| match overview(&worked, &[], None) {
        Ok(figures) => Ok((figures, why)),
        Err(error) => Err(DbError::Corrupt {
            what: "route of a job",
            why: error.to_string(),
        }),
    };
    match rates {
        None => without(None),
        Some(rates) => match overview(&worked, besides, Some(rates)) {
            Ok(figures) => Ok((figures, None)),
            Err(why) => without(Some(why)),
        },
    }
}
