//! The route of an open job changed by hand: what would come of it is asked first.

use super::body::Body;
use super::jobs::{JobShown, shown};
use super::plan_changes::WhatComes;
use super::versions;
use crate::app::edit_route::{Edited, RouteChange, edit_route, preview_route};
use crate::db::people::Role;
use crate::web::screens::jobs::RouteForm;
use crate::web::ui::{Answer, FormErrors, SignedIn, WebError};
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::Utc;
use serde::Serialize;
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// Under `/api/v1/jobs/{id}/route`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/jobs/{id}/route/preview").post(preview))
        .service(web::resource("/api/v1/jobs/{id}/route").put(apply));
}

#[derive(OpenApi)]
#[openapi(paths(preview, apply))]
pub(super) struct Doc;

/// What would come of a change to a route.
#[derive(Debug, Serialize, ToSchema)]
struct RouteTried {
    /// What is done.
    words: String,
    /// The plan it was tried on: send it as `plan_seen` with the change.
    plan_seen: String,
    comes: WhatComes,
}

fn read(
    req: &HttpRequest,
    who: &SignedIn,
    id: Uuid,
    form: &RouteForm,
) -> Result<RouteChange, WebError> {
    who.require(Role::Office)?;
    let version = versions::seen(req)?;
    let mut errors = FormErrors::default();
    let read = form.read(who, id, &mut errors);
    let Some(change) = read.filter(|_| errors.is_empty()) else {
        let plain = errors.iter();
        let plain = plain.map(|(field, why)| (form.plain(field).to_owned(), why.to_owned()));
        return Err(WebError::Invalid(plain.collect()));
    };
    Ok(RouteChange { version, ..change })
}

/// What would come of a change to the route of a job. Nothing is kept.
#[utoipa::path(post, path = "/api/v1/jobs/{id}/route/preview", operation_id = "preview_route", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("If-Match" = String, Header)),
    request_body = RouteForm,
    responses((status = 200, description = "What would come of it", body = RouteTried),
              (status = 412, description = "Somebody else changed the job meanwhile")))]
async fn preview(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<RouteForm>,
) -> Answer {
    let change = read(&req, &who, *id, &body.form)?;
    let preview = preview_route(&who.actor(), &change, Utc::now())
        .await
        .map_err(versions::passed)?;
    let tried = RouteTried {
        plan_seen: preview.plan.age.seen().to_string(),
        comes: WhatComes::of(&preview.what.effect),
        words: preview.words,
    };
    Ok(HttpResponse::Ok().json(tried).into())
}

/// Changes the route of a job, for a reason that is kept, on the plan that was seen.
#[utoipa::path(put, path = "/api/v1/jobs/{id}/route", operation_id = "change_route", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("If-Match" = String, Header)),
    request_body = RouteForm,
    responses((status = 200, description = "The job as it is now", body = JobShown),
              (status = 412, description = "Job or plan have changed meanwhile")))]
async fn apply(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<RouteForm>,
) -> Answer {
    let change = read(&req, &who, *id, &body.form)?;
    let mut errors = FormErrors::default();
    let reason = errors.required_text("reason", &body.form.reason, 500);
    let plan = errors.parsed("plan_seen", &body.form.plan_seen, |text| {
        text.parse().map_err(|_| "Send what the preview gave")
    });
    let Some((plan, reason)) = plan.zip(reason) else {
        return Err(errors.into());
    };
    let edited = edit_route(&who.actor(), &change, (plan, &reason), Utc::now()).await;
    match edited.map_err(versions::passed)? {
        Edited::Done(_) => shown(&who, *id).await,
        Edited::Overtaken(_) => Err(WebError::VersionPassed),
        Edited::ReasonMissing(_) => {
            errors.add("reason", "Enter the reason");
            Err(errors.into())
        }
    }
}
