//! `/api/v1/jobs`: the work of the shop, with its operations. What a customer pays is for the office.

use super::body::Body;
use super::job_steps;
use super::paging::Which;
use super::versions;
use crate::app::change_job::{JobChange, change_job};
use crate::app::job_list::{Asked, Row, View, job_list};
use crate::db::job_list::Sort;
use crate::db::people::Role;
use crate::db::{job_changes, jobs};
use crate::jobs::JobDetails;
use crate::units::{Code, Money};
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, FormErrors, SignedIn, WebError};
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// `/api/v1/jobs` and one of them.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/api/v1/jobs")
            .get(list)
            .post(job_steps::enter),
    )
    .service(web::resource("/api/v1/jobs/{id}").get(one))
    .service(web::resource("/api/v1/jobs/{id}/due").put(due));
}

#[derive(OpenApi)]
#[openapi(paths(list, one, due))]
pub(super) struct Doc;

/// A job of the list.
#[derive(Debug, Serialize, ToSchema)]
struct JobInList {
    id: Uuid,
    number: i64,
    title: String,
    customer: String,
    /// How far it has come: `booked_in`, `running`, `waiting`, `on_hold`, `done`, `collected`, `closed`, `cancelled`.
    stage: &'static str,
    due_on: NaiveDate,
    promised_on: Option<NaiveDate>,
    /// The day the plan has it ready.
    ready_on: Option<NaiveDate>,
    /// Before tax; for the office only.
    #[schema(value_type = Option<Object>)]
    value: Option<Money>,
    /// Its operations, and how many of them are done.
    operations: i64,
    done: i64,
}

/// Jobs, and how many there are in all.
#[derive(Debug, Serialize, ToSchema)]
struct JobsListed {
    jobs: Vec<JobInList>,
    all: i64,
}

impl From<Row> for JobInList {
    fn from(row: Row) -> Self {
        let job = row.job;
        Self {
            id: job.id,
            number: job.number,
            title: job.title,
            customer: job.customer,
            stage: row.stage.code(),
            due_on: job.due_on,
            promised_on: job.promised_on,
            ready_on: row.ready_on,
            value: job.value,
            operations: job.operations,
            done: job.done,
        }
    }
}

/// Jobs, the latest first.
#[utoipa::path(get, path = "/api/v1/jobs", operation_id = "list_jobs", tag = "Jobs",
    params(("view" = Option<String>, Query, description = "`open` (when left out), `late`, `waiting`, `to_invoice`, `done` or `all`"),
           ("q" = Option<String>, Query, description = "A number, or a part of title or customer"),
           ("limit" = Option<u32>, Query),
           ("offset" = Option<u32>, Query)),
    responses((status = 200, description = "The jobs, and how many there are in all", body = JobsListed)))]
async fn list(who: SignedIn, site: web::Data<Site>, which: web::Query<Which>) -> Answer {
    let view: View = which.view()?;
    // What is to be invoiced is the office's, as on the screen.
    if view == View::ToInvoice {
        who.require(Role::Office)?;
    }
    let rows = which.rows()?;
    let asked = Asked {
        view,
        words: which.into_inner().q,
        sort: Sort::Number,
        part: rows.latest_first(),
    };
    let found = job_list(&who.actor(), &site.facts, &asked, Utc::now()).await?;
    let listed = JobsListed {
        jobs: found.rows.into_iter().map(JobInList::from).collect(),
        all: found.all,
    };
    Ok(HttpResponse::Ok().json(listed).into())
}

/// A job with its route.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct JobShown {
    id: Uuid,
    number: i64,
    title: String,
    customer: String,
    /// `open`, `done` or `cancelled`.
    state: &'static str,
    /// The quote it comes from.
    quote_id: Option<Uuid>,
    due_on: NaiveDate,
    promised_on: Option<NaiveDate>,
    collected_on: Option<NaiveDate>,
    created_at: DateTime<Utc>,
    operations: Vec<OperationShown>,
    pub(super) version: i32,
}

/// An operation of a route.
#[derive(Debug, Serialize, ToSchema)]
struct OperationShown {
    id: Uuid,
    number: u32,
    title: String,
    machine_kind: String,
    skill: String,
    /// Standard setup and run, minutes.
    #[schema(value_type = String)]
    setup_minutes: crate::units::Minutes,
    #[schema(value_type = String)]
    run_minutes: crate::units::Minutes,
    /// Numbers of the operations that must be done before.
    after: Vec<u32>,
    /// `queued`, `started` or `done`.
    state: &'static str,
}

/// One job.
#[utoipa::path(get, path = "/api/v1/jobs/{id}", operation_id = "read_job", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job")),
    responses((status = 200, description = "The job with its operations; its version in ETag", body = JobShown)))]
async fn one(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    shown(&who, *id).await
}

pub(super) async fn shown(who: &SignedIn, id: Uuid) -> Answer {
    let job = read(who, id).await?;
    Ok(versions::tagged(job.version, job))
}

/// A job as it is shown.
pub(super) async fn read(who: &SignedIn, id: Uuid) -> Result<JobShown, WebError> {
    let mut tx = who.begin().await?;
    let job = jobs::get(&mut tx, id).await?;
    let besides = job_changes::besides(&mut tx, id).await?;
    let operations = jobs::operations(&mut tx, id).await?;
    let operations = operations.into_iter().map(|o| OperationShown {
        id: o.id,
        number: o.planned.number,
        title: o.planned.title,
        machine_kind: o.planned.machine_kind,
        skill: o.planned.skill,
        setup_minutes: o.planned.setup,
        run_minutes: o.planned.run,
        after: o.planned.after,
        state: o.state.code(),
    });
    Ok(JobShown {
        id: job.id,
        number: job.number,
        title: job.title,
        customer: besides.customer,
        state: job.state.code(),
        quote_id: job.quote_id,
        due_on: job.due_on,
        promised_on: job.promised_on,
        collected_on: job.collected_on,
        created_at: job.created_at,
        operations: operations.collect(),
        version: job.version,
    })
}

/// The days of a job. Days are text, so that a wrong one is complained about by field.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct JobDays {
    /// The day the shop works to.
    due_on: String,
    /// The day the customer was promised; as it is when left out.
    #[serde(default)]
    promised_on: Option<String>,
    /// Why they move.
    reason: String,
    /// Whether a day that is questioned is meant.
    #[serde(default)]
    confirmed: bool,
}

/// Moves the days of an open job, for a reason that is kept.
#[utoipa::path(put, path = "/api/v1/jobs/{id}/due", operation_id = "move_job", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("If-Match" = String, Header)),
    request_body = JobDays,
    responses((status = 200, description = "The job as it is now", body = JobShown),
              (status = 409, description = "The due date is doubtful; send `confirmed` to keep it")))]
async fn due(req: HttpRequest, who: SignedIn, id: web::Path<Uuid>, days: Body<JobDays>) -> Answer {
    who.require(Role::Office)?;
    let version = versions::seen(&req)?;
    let mut errors = FormErrors::default();
    let due_on = errors.date("due_on", &days.due_on);
    let promised = days.promised_on.as_deref();
    let promised_on = promised.and_then(|day| errors.date("promised_on", day));
    let reason = errors.required_text("reason", &days.reason, 500);
    let Some((due_on, reason)) = due_on.zip(reason).filter(|_| errors.is_empty()) else {
        return Err(errors.into());
    };
    let mut tx = who.begin().await?;
    let job = jobs::get(&mut tx, *id).await?;
    let besides = job_changes::besides(&mut tx, *id).await?;
    drop(tx);
    let change = JobChange {
        id: *id,
        version,
        to: JobDetails {
            title: job.title,
            customer: besides.customer,
            due_on,
            promised_on: promised_on.or(job.promised_on),
            value: besides.value,
        },
        reason,
        due_confirmed: days.confirmed,
    };
    change_job(&who.actor(), &change, who.today())
        .await
        .map_err(versions::passed)?;
    shown(&who, *id).await
}
