//! What is done with a job as a whole: entered by hand, closed, cancelled, opened again, handed over, invoiced.

use super::body::Body;
use super::idempotency::keyed;
use super::jobs::{JobShown, read, shown};
use super::versions;
use crate::app::close_job::{JobEnd, close_job};
use crate::app::enter_job::enter_job;
use crate::app::hand_over::{HandedOver, hand_over};
use crate::app::quick_enquiry::work_to_pick;
use crate::app::reopen_job::reopen_job;
use crate::db::people::Role;
use crate::jobs::Ending;
use crate::web::screens::jobs::JobForm;
use crate::web::ui::{Answer, FormErrors, SignedIn};
use actix_web::http::header::LOCATION;
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::Utc;
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// Under `/api/v1/jobs`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/jobs/{id}/closed").post(close))
        .service(web::resource("/api/v1/jobs/{id}/cancelled").post(cancel))
        .service(web::resource("/api/v1/jobs/{id}/reopened").post(reopen))
        .service(web::resource("/api/v1/jobs/{id}/collected").post(collected))
        .service(web::resource("/api/v1/jobs/{id}/invoiced").post(invoiced));
}

#[derive(OpenApi)]
#[openapi(paths(enter, close, cancel, reopen, collected, invoiced))]
pub(super) struct Doc;

/// A job that is entered.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct JobEntered {
    pub(super) id: Uuid,
    pub(super) number: i64,
}

/// Enters a job that no quote stands behind: its work from the standard times, or the same as in another job.
#[utoipa::path(post, path = "/api/v1/jobs", operation_id = "enter_job", tag = "Jobs",
    params(("Idempotency-Key" = Option<String>, Header)),
    request_body = JobForm,
    responses((status = 201, description = "Its key and number; its address in Location", body = JobEntered),
              (status = 409, description = "The due date is doubtful; send `due_confirmed` as `yes` to keep it")))]
pub(super) async fn enter(req: HttpRequest, who: SignedIn, body: Body<JobForm>) -> Answer {
    who.require(Role::Office)?;
    let keyed = keyed(&req, &who, &body.sent)?;
    let actor = who.actor();
    let elements = work_to_pick(&actor).await?;
    let mut errors = FormErrors::default();
    let read = body.form.read(&who, &elements, &mut errors);
    let Some(job) = read.filter(|_| errors.is_empty()) else {
        return Err(errors.into());
    };
    let (id, number) = enter_job(&actor, &job, who.today(), keyed.as_ref()).await?;
    Ok(HttpResponse::Created()
        .insert_header((LOCATION, format!("/api/v1/jobs/{id}")))
        .json(JobEntered { id, number })
        .into())
}

/// Why something is done.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Because {
    reason: String,
}

impl Because {
    fn read(&self) -> Result<String, FormErrors> {
        let mut errors = FormErrors::default();
        errors
            .required_text("reason", &self.reason, 500)
            .ok_or(errors)
    }
}

async fn end(req: &HttpRequest, who: &SignedIn, id: Uuid, how: Ending, reason: String) -> Answer {
    let end = JobEnd {
        id,
        version: versions::seen(req)?,
        how,
        reason,
    };
    close_job(&who.actor(), &end)
        .await
        .map_err(versions::passed)?;
    shown(who, id).await
}

/// Closes a job whose work is done. Its castings are used.
#[utoipa::path(post, path = "/api/v1/jobs/{id}/closed", operation_id = "close_job", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("If-Match" = String, Header)),
    responses((status = 200, description = "The job as it is now", body = JobShown)))]
async fn close(req: HttpRequest, who: SignedIn, id: web::Path<Uuid>) -> Answer {
    end(&req, &who, *id, Ending::Done, String::new()).await
}

/// Cancels a job. Its castings are free again; hours and their cost stay on record.
#[utoipa::path(post, path = "/api/v1/jobs/{id}/cancelled", operation_id = "cancel_job", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("If-Match" = String, Header)),
    request_body = Because,
    responses((status = 200, description = "The job as it is now", body = JobShown)))]
async fn cancel(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<Because>,
) -> Answer {
    let reason = body.read()?;
    end(&req, &who, *id, Ending::Cancelled, reason).await
}

/// A job that is open again.
#[derive(Debug, Serialize, ToSchema)]
struct JobReopened {
    #[serde(flatten)]
    job: JobShown,
    /// Numbers of castings it had that are now used elsewhere.
    castings_gone: Vec<i64>,
}

/// Opens a job again, with what is left to do.
#[utoipa::path(post, path = "/api/v1/jobs/{id}/reopened", operation_id = "reopen_job", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("If-Match" = String, Header)),
    request_body = Because,
    responses((status = 200, description = "The job as it is now, with the castings it had that are now used elsewhere", body = JobReopened)))]
async fn reopen(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<Because>,
) -> Answer {
    let reason = body.read()?;
    let reopened = reopen_job(&who.actor(), *id, versions::seen(&req)?, &reason).await;
    let castings_gone = reopened.map_err(versions::passed)?;
    let job = read(&who, *id).await?;
    let version = job.version;
    Ok(versions::tagged(
        version,
        JobReopened { job, castings_gone },
    ))
}

async fn handed_over(req: &HttpRequest, who: &SignedIn, id: Uuid, what: HandedOver) -> Answer {
    let version = versions::seen(req)?;
    let done = hand_over(&who.actor(), id, version, what, Utc::now()).await;
    done.map_err(versions::passed)?;
    shown(who, id).await
}

/// Says that the customer has it.
#[utoipa::path(post, path = "/api/v1/jobs/{id}/collected", operation_id = "collect_job", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("If-Match" = String, Header)),
    responses((status = 200, description = "The job as it is now", body = JobShown)))]
async fn collected(req: HttpRequest, who: SignedIn, id: web::Path<Uuid>) -> Answer {
    handed_over(&req, &who, *id, HandedOver::Collected).await
}

/// Says that it is invoiced.
#[utoipa::path(post, path = "/api/v1/jobs/{id}/invoiced", operation_id = "invoice_job", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("If-Match" = String, Header)),
    responses((status = 200, description = "The job as it is now", body = JobShown)))]
async fn invoiced(req: HttpRequest, who: SignedIn, id: web::Path<Uuid>) -> Answer {
    handed_over(&req, &who, *id, HandedOver::Invoiced).await
}
