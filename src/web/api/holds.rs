//! What stops a job after a failed check, and deciding it.

use super::body::Body;
use super::versions;
use crate::app::decide_hold::{self, Deciding};
use crate::db::checks::{self, Hold};
use crate::db::jobs;
use crate::db::people::Role;
use crate::units::Code;
use crate::web::screens::jobs::DecideForm;
use crate::web::ui::{Answer, FormErrors, SignedIn, WebError};
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// Under `/api/v1/jobs/{id}/holds`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/jobs/{id}/holds").get(list))
        .service(
            web::resource("/api/v1/jobs/{id}/holds/{hold}")
                .get(one)
                .put(decide),
        );
}

#[derive(OpenApi)]
#[openapi(paths(list, one, decide))]
pub(super) struct Doc;

/// A check that failed.
#[derive(Debug, Serialize, ToSchema)]
struct HoldShown {
    id: Uuid,
    operation_id: Uuid,
    operation_number: i32,
    /// Which check failed, and how.
    why: String,
    opened_at: DateTime<Utc>,
    opened_by: String,
    /// What was decided: `measured_again`, `rework`, `concession` or `scrap`. None while it is open.
    decision: Option<&'static str>,
    decided_at: Option<DateTime<Utc>>,
    decided_by: Option<String>,
    note: Option<String>,
    version: i32,
}

impl From<Hold> for HoldShown {
    fn from(hold: Hold) -> Self {
        Self {
            id: hold.id,
            operation_id: hold.operation_id,
            operation_number: hold.operation_number,
            why: hold.why,
            opened_at: hold.opened_at,
            opened_by: hold.opened_by,
            decision: hold.decision.map(|decision| decision.code()),
            decided_at: hold.decided_at,
            decided_by: hold.decided_by,
            note: hold.note,
            version: hold.version,
        }
    }
}

/// The failed checks of a job.
#[utoipa::path(get, path = "/api/v1/jobs/{id}/holds", operation_id = "list_holds", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job")),
    responses((status = 200, description = "The holds, decided ones too", body = Vec<HoldShown>)))]
async fn list(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    jobs::get(&mut tx, *id).await?;
    let holds = checks::holds(&mut tx, Some(*id)).await?;
    let shown: Vec<HoldShown> = holds.into_iter().map(HoldShown::from).collect();
    Ok(HttpResponse::Ok().json(shown).into())
}

async fn shown(who: &SignedIn, (job_id, id): (Uuid, Uuid)) -> Answer {
    let holds = checks::holds(&mut who.begin().await?, Some(job_id)).await?;
    let found = holds.into_iter().find(|hold| hold.id == id);
    let hold = HoldShown::from(found.ok_or(WebError::NotFound("this hold"))?);
    Ok(versions::tagged(hold.version, hold))
}

/// One failed check.
#[utoipa::path(get, path = "/api/v1/jobs/{id}/holds/{hold}", operation_id = "read_hold", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("hold" = Uuid, Path, description = "The hold")),
    responses((status = 200, description = "The hold; its version in ETag", body = HoldShown)))]
async fn one(who: SignedIn, ids: web::Path<(Uuid, Uuid)>) -> Answer {
    shown(&who, ids.into_inner()).await
}

/// Decides a hold: measured again, rework, a concession, or scrap, with what each needs.
#[utoipa::path(put, path = "/api/v1/jobs/{id}/holds/{hold}", operation_id = "decide_hold", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("hold" = Uuid, Path, description = "The hold"),
           ("If-Match" = String, Header)),
    request_body = DecideForm,
    responses((status = 200, description = "The hold as it is decided", body = HoldShown),
              (status = 412, description = "Somebody else decided it meanwhile")))]
async fn decide(
    req: HttpRequest,
    who: SignedIn,
    ids: web::Path<(Uuid, Uuid)>,
    body: Body<DecideForm>,
) -> Answer {
    who.require(Role::Office)?;
    let ids = ids.into_inner();
    let version = versions::seen(&req)?;
    let mut errors = FormErrors::default();
    let read = body.form.read(&mut errors);
    let Some((decision, note)) = read.filter(|_| errors.is_empty()) else {
        return Err(errors.into());
    };
    // Of this job, or of none.
    shown(&who, ids).await?;
    let deciding = Deciding {
        hold_id: ids.1,
        version,
        decision: &decision,
        note: &note,
    };
    let decided = decide_hold::decide(&who.actor(), deciding, Utc::now()).await;
    decided.map_err(versions::passed)?;
    shown(&who, ids).await
}
