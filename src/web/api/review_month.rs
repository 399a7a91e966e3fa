//! The month's end and the record of promises, as the pages of the review have them. Money is before tax.

use crate::app::month::{MachineMonth, Made, month};
use crate::app::promises::{Promise, promises};
use crate::db::people::Role;
use crate::review::calibration::Kept;
use crate::units::Money;
use crate::web::screens::review::{month::month_of, query::ReviewQuery};
use crate::web::ui::{Answer, FormErrors, SignedIn, WebError};
use actix_web::web::Query;
use actix_web::{HttpResponse, web};
use chrono::{NaiveDate, Utc};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// Under `/api/v1/review`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/review/month").get(at_its_end))
        .service(web::resource("/api/v1/review/promises").get(kept));
}

#[derive(OpenApi)]
#[openapi(paths(at_its_end, kept))]
pub(super) struct Doc;

/// Which month.
#[derive(Debug, Deserialize)]
struct Which {
    #[serde(default)]
    month: String,
}

/// The hours of a machine.
#[derive(Debug, Serialize, ToSchema)]
struct MachineHours {
    name: String,
    available_minutes: i64,
    #[schema(value_type = String)]
    booked_minutes: Decimal,
    /// Estimated for what was done: what customers pay for.
    #[schema(value_type = String)]
    sold_minutes: Decimal,
}

impl From<MachineMonth> for MachineHours {
    fn from(machine: MachineMonth) -> Self {
        Self {
            name: machine.name,
            available_minutes: machine.available,
            booked_minutes: machine.booked.round_dp(2).normalize(),
            sold_minutes: machine.sold.round_dp(2).normalize(),
        }
    }
}

/// What finished jobs brought.
#[derive(Debug, Serialize, ToSchema)]
struct MoneyMade {
    /// The kind of work; none for all together.
    kind: Option<String>,
    jobs: u32,
    #[schema(value_type = Object)]
    quoted: Money,
    /// Overhead included.
    #[schema(value_type = Object)]
    cost: Money,
    /// What the shop paid to put right what came back.
    #[schema(value_type = Object)]
    aftercare: Money,
    #[schema(value_type = Object)]
    left: Money,
}

impl MoneyMade {
    fn of(kind: Option<String>, made: &Made) -> Result<Self, WebError> {
        let left = made.left();
        let left = left.map_err(|why| WebError::Internal(why.to_string()))?;
        Ok(Self {
            kind,
            jobs: made.jobs,
            quoted: made.quoted.rounded(),
            cost: made.cost.rounded(),
            aftercare: made.aftercare.rounded(),
            left: left.rounded(),
        })
    }
}

/// A month.
#[derive(Debug, Serialize, ToSchema)]
struct MonthShown {
    from: NaiveDate,
    until: NaiveDate,
    machines: Vec<MachineHours>,
    made: MoneyMade,
    by_kind: Vec<MoneyMade>,
    #[schema(value_type = String)]
    planned_margin_percent: Decimal,
    working_minutes: i64,
    booked_minutes: i64,
}

/// A month at its end: hours by machine, and what the jobs that were finished in it brought.
#[utoipa::path(get, path = "/api/v1/review/month", operation_id = "review_month", tag = "Review",
    params(("month" = Option<String>, Query, description = "One of the last 24, YYYY-MM; the last whole one when left out")),
    responses((status = 200, description = "The month", body = MonthShown)))]
async fn at_its_end(who: SignedIn, which: Query<Which>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let Some((_, period)) = month_of(&which.month, who.today(), &mut errors) else {
        return Err(errors.into());
    };
    let month = month(&who.actor(), period, Utc::now()).await?;
    let by_kind = month.by_kind.iter();
    let shown = MonthShown {
        from: month.period.from,
        until: month.period.until,
        made: MoneyMade::of(None, &month.made)?,
        by_kind: by_kind
            .map(|(kind, made)| MoneyMade::of(Some(kind.clone()), made))
            .collect::<Result<_, _>>()?,
        machines: month.machines.into_iter().map(MachineHours::from).collect(),
        planned_margin_percent: month.planned_margin,
        working_minutes: month.presence.working,
        booked_minutes: month.presence.booked,
    };
    Ok(HttpResponse::Ok().json(shown).into())
}

/// A promise whose outcome is known.
#[derive(Debug, Serialize, ToSchema)]
struct PromiseKept {
    job_id: Uuid,
    job_number: i64,
    title: String,
    /// How sure it was given, in per cent.
    stated_percent: Option<u32>,
    promised_on: Option<NaiveDate>,
    ready_on: Option<NaiveDate>,
    day_kept: Option<bool>,
    #[schema(value_type = Object)]
    net: Money,
    /// With overhead, once it is ready.
    #[schema(value_type = Option<Object>)]
    cost: Option<Money>,
    cost_kept: Option<bool>,
}

impl From<Promise> for PromiseKept {
    fn from(promise: Promise) -> Self {
        Self {
            job_id: promise.job_id,
            job_number: promise.job_number,
            title: promise.title,
            stated_percent: promise.stated,
            promised_on: promise.promised_on,
            ready_on: promise.ready_on,
            day_kept: promise.day_kept,
            net: promise.net,
            cost: promise.cost.map(|cost| cost.rounded()),
            cost_kept: promise.cost_kept,
        }
    }
}

/// How many were kept of those given at one confidence.
#[derive(Debug, Serialize, ToSchema)]
struct KeptOfGiven {
    stated_percent: u32,
    given: u32,
    kept: u32,
    /// The interval of the share that holds, from 0 to 1.
    interval: [f64; 2],
}

impl From<&Kept> for KeptOfGiven {
    fn from(kept: &Kept) -> Self {
        let (low, high) = kept.interval;
        Self {
            stated_percent: kept.stated,
            given: kept.given,
            kept: kept.kept,
            interval: [low, high],
        }
    }
}

/// The record of promises.
#[derive(Debug, Serialize, ToSchema)]
struct PromisesKept {
    promises: Vec<PromiseKept>,
    /// How many whose day is still to come.
    open: usize,
    days: Vec<KeptOfGiven>,
    costs: Vec<KeptOfGiven>,
}

/// Days and costs of won quotes against what came of them.
#[utoipa::path(get, path = "/api/v1/review/promises", operation_id = "review_promises", tag = "Review",
    params(("period" = Option<String>, Query, description = "As in the address of the review"),
           ("from" = Option<String>, Query, description = "Its first day, YYYY-MM-DD"),
           ("until" = Option<String>, Query, description = "Its last day, YYYY-MM-DD")),
    responses((status = 200, description = "The promises whose outcome is known, and what they come to", body = PromisesKept)))]
async fn kept(who: SignedIn, asked: Query<ReviewQuery>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let Some((period, _)) = asked.stretch("year", who.today(), &mut errors) else {
        return Err(errors.into());
    };
    if !errors.is_empty() {
        return Err(errors.into());
    }
    let known = promises(&who.actor(), period, Utc::now()).await?;
    let shown = PromisesKept {
        promises: known.promises.into_iter().map(PromiseKept::from).collect(),
        open: known.open,
        days: known.days.iter().map(KeptOfGiven::from).collect(),
        costs: known.costs.iter().map(KeptOfGiven::from).collect(),
    };
    Ok(HttpResponse::Ok().json(shown).into())
}
