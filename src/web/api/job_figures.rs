//! A job to date: its hours and money against what was estimated, its forecast, and the checks that were made.

use crate::app::job_overview::{JobOverview, job_overview};
use crate::db::checks::CheckResult;
use crate::units::{Minutes, Money};
use crate::web::ui::{Answer, SignedIn};
use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use serde::Serialize;
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// Under `/api/v1/jobs/{id}`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/jobs/{id}/figures").get(figures))
        .service(web::resource("/api/v1/jobs/{id}/checks").get(checks));
}

#[derive(OpenApi)]
#[openapi(paths(figures, checks))]
pub(super) struct Doc;

/// An operation to date. Money is for the office.
#[derive(Debug, Serialize, ToSchema)]
struct OperationFigures {
    operation_id: Uuid,
    number: u32,
    /// Booked, of people.
    people_minutes: i64,
    /// Booked, of its machine.
    machine_minutes: i64,
    #[schema(value_type = Option<Object>)]
    estimated: Option<Money>,
    #[schema(value_type = Option<Object>)]
    actual: Option<Money>,
}

/// The money of a job to date, at the rates in force.
#[derive(Debug, Serialize, ToSchema)]
struct JobMoney {
    /// All work at what it was estimated to cost.
    #[schema(value_type = Object)]
    budget: Money,
    /// The work that is done, at what it was estimated to cost.
    #[schema(value_type = Object)]
    earned: Money,
    #[schema(value_type = Object)]
    actual: Money,
    /// Earned over actual; none until a fifth is earned and something was spent.
    #[schema(value_type = Option<String>)]
    cost_performance_index: Option<Decimal>,
    /// What it will have cost when what is left goes as what was done.
    #[schema(value_type = Option<Object>)]
    forecast_at_this_rate: Option<Money>,
    /// The same when what is left goes as estimated.
    #[schema(value_type = Object)]
    forecast_rest_as_estimated: Money,
}

/// A casting that was scrapped in a job.
#[derive(Debug, Serialize, ToSchema)]
struct CastingScrapped {
    casting: i64,
    #[schema(value_type = Object)]
    amount: Money,
    at: DateTime<Utc>,
}

/// A job to date.
#[derive(Debug, Serialize, ToSchema)]
struct JobFigures {
    /// Standard time of setup and run of the route it began with.
    #[schema(value_type = String)]
    standard_minutes: Minutes,
    people_minutes: i64,
    machine_minutes: i64,
    operations: Vec<OperationFigures>,
    /// What was agreed to be paid for it before tax; for the office.
    #[schema(value_type = Option<Object>)]
    price: Option<Money>,
    /// For the office, where the shop has its rates.
    money: Option<JobMoney>,
    /// What it bore for castings that were scrapped; for the office.
    scrapped: Vec<CastingScrapped>,
}

impl From<JobOverview> for JobFigures {
    fn from(job: JobOverview) -> Self {
        let overview = job.overview;
        let lines = overview.money.as_ref().map(|money| money.lines.clone());
        let line = |at: usize| lines.as_ref()?.get(at).cloned();
        let operations = job.operations.iter().zip(&job.hours).enumerate();
        let operations = operations.map(|(at, (operation, hours))| OperationFigures {
            operation_id: operation.id,
            number: operation.planned.number,
            people_minutes: hours.people(),
            machine_minutes: hours.machine,
            estimated: line(at).map(|line| line.estimated.rounded()),
            actual: line(at).map(|line| line.actual.rounded()),
        });
        let with_money = overview.money.is_some();
        let scrapped = job.costs.into_iter().filter(|_| with_money);
        Self {
            standard_minutes: overview.standard,
            people_minutes: overview.labour,
            machine_minutes: overview.machine,
            operations: operations.collect(),
            price: job.quote.map(|quote| quote.net).or(job.value),
            money: overview.money.map(|money| JobMoney {
                budget: money.earned.budget.rounded(),
                earned: money.earned.earned.rounded(),
                actual: money.earned.actual.rounded(),
                cost_performance_index: money.forecast.cpi.map(|cpi| cpi.round_dp(4)),
                forecast_at_this_rate: money.forecast.at_this_rate.map(|money| money.rounded()),
                forecast_rest_as_estimated: money.forecast.rest_as_estimated.rounded(),
            }),
            scrapped: scrapped
                .map(|cost| CastingScrapped {
                    casting: cost.casting,
                    amount: cost.amount,
                    at: cost.at,
                })
                .collect(),
        }
    }
}

/// A job to date.
#[utoipa::path(get, path = "/api/v1/jobs/{id}/figures", operation_id = "read_job_figures", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job")),
    responses((status = 200, description = "Hours and money", body = JobFigures)))]
async fn figures(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let job = job_overview(&who.actor(), *id, Utc::now()).await?;
    Ok(HttpResponse::Ok().json(JobFigures::from(job)).into())
}

/// A check that was made.
#[derive(Debug, Serialize, ToSchema)]
struct CheckMade {
    id: Uuid,
    operation_id: Uuid,
    /// Which of the operation's checks, counted from 0.
    place: i32,
    what: String,
    limits: String,
    instrument: String,
    /// The worst of several; none when it was gauged.
    #[schema(value_type = Option<String>)]
    measured: Option<Decimal>,
    /// Every reading, where there are several.
    readings: Vec<ReadingTaken>,
    unit: Option<String>,
    passed: bool,
    note: String,
    by: String,
    at: DateTime<Utc>,
}

/// One of several readings of a check.
#[derive(Debug, Serialize, ToSchema)]
struct ReadingTaken {
    at: String,
    #[schema(value_type = String)]
    measured: Decimal,
}

impl From<CheckResult> for CheckMade {
    fn from(check: CheckResult) -> Self {
        let readings = check.readings.into_iter().map(|reading| ReadingTaken {
            at: reading.at,
            measured: reading.measured,
        });
        Self {
            id: check.id,
            operation_id: check.operation_id,
            place: check.place,
            what: check.what,
            limits: check.limits,
            instrument: check.instrument,
            measured: check.measured,
            readings: readings.collect(),
            unit: check.unit,
            passed: check.passed,
            note: check.note,
            by: check.person,
            at: check.at,
        }
    }
}

/// The checks that were made in a job, in order.
#[utoipa::path(get, path = "/api/v1/jobs/{id}/checks", operation_id = "list_checks", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job")),
    responses((status = 200, description = "The checks", body = Vec<CheckMade>)))]
async fn checks(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let job = job_overview(&who.actor(), *id, Utc::now()).await?;
    let shown: Vec<CheckMade> = job.checks.into_iter().map(CheckMade::from).collect();
    Ok(HttpResponse::Ok().json(shown).into())
}
