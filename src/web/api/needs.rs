//! What a job needs: written down, changed, come in, taken from stock or the tool store, put back, made here.

use super::body::Body;
use super::idempotency::keyed;
use super::nothing;
use super::versions;
use crate::app::make_part::make_here;
use crate::app::meet_need::{self, Seen};
use crate::db::jobs;
use crate::db::needs::{self, Behind, Need};
use crate::db::people::Role;
use crate::units::Code;
use crate::web::screens::jobs::needs::{Lists, NeedForm};
use crate::web::ui::{Answer, FormErrors, SignedIn, WebError};
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// Under `/api/v1/jobs/{id}/needs`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/jobs/{id}/needs").get(list).post(add))
        .service(
            web::resource("/api/v1/jobs/{id}/needs/{need}")
                .get(one)
                .put(change)
                .delete(remove),
        )
        .service(web::resource("/api/v1/jobs/{id}/needs/{need}/step").post(step));
}

#[derive(OpenApi)]
#[openapi(paths(list, add, one, change, remove, step))]
pub(super) struct Doc;

/// Something a job needs.
#[derive(Debug, Serialize, ToSchema)]
struct NeedShown {
    id: Uuid,
    /// `donor`, `part`, `material` or `tool`.
    kind: &'static str,
    what: String,
    #[schema(value_type = String)]
    quantity: Decimal,
    unit: String,
    /// The operation it must be here for; none: before the job can start.
    operation_id: Option<Uuid>,
    casting_id: Option<Uuid>,
    item_id: Option<Uuid>,
    tool_id: Option<Uuid>,
    /// What was last said of it, where nothing that is kept stands behind it: `wanted`, `ordered` or `here`.
    arrival: &'static str,
    expected_on: Option<NaiveDate>,
    /// Whether it is here, or comes on a day, so that the work can be planned.
    has_a_day: bool,
    version: i32,
}

impl NeedShown {
    fn of(need: Need, today: NaiveDate) -> Self {
        let has_a_day = !need.availability(today).is_hole();
        let details = need.details;
        let (mut casting_id, mut item_id, mut tool_id) = (None, None, None);
        match details.behind {
            Behind::Itself => {}
            Behind::Casting(id) => casting_id = Some(id),
            Behind::Item(id) => item_id = Some(id),
            Behind::Tool(id) => tool_id = Some(id),
        }
        Self {
            id: need.id,
            kind: details.kind.code(),
            what: details.what,
            quantity: details.quantity,
            unit: details.unit,
            operation_id: details.operation_id,
            casting_id,
            item_id,
            tool_id,
            arrival: details.arrival.code(),
            expected_on: details.expected_on,
            has_a_day,
            version: need.version,
        }
    }
}

/// What a job needs.
#[utoipa::path(get, path = "/api/v1/jobs/{id}/needs", operation_id = "list_needs", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job")),
    responses((status = 200, description = "What it needs", body = Vec<NeedShown>)))]
async fn list(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    jobs::get(&mut tx, *id).await?;
    let needs = needs::of_job(&mut tx, *id).await?.into_iter();
    let shown: Vec<NeedShown> = needs.map(|need| NeedShown::of(need, who.today())).collect();
    Ok(HttpResponse::Ok().json(shown).into())
}

async fn need(who: &SignedIn, (job_id, id): (Uuid, Uuid)) -> Result<NeedShown, WebError> {
    let need = needs::get(&mut who.begin().await?, job_id, id).await?;
    Ok(NeedShown::of(need, who.today()))
}

async fn shown(who: &SignedIn, ids: (Uuid, Uuid)) -> Answer {
    let need = need(who, ids).await?;
    Ok(versions::tagged(need.version, need))
}

/// One of them.
#[utoipa::path(get, path = "/api/v1/jobs/{id}/needs/{need}", operation_id = "read_need", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("need" = Uuid, Path, description = "What it needs")),
    responses((status = 200, description = "The need; its version in ETag", body = NeedShown)))]
async fn one(who: SignedIn, ids: web::Path<(Uuid, Uuid)>) -> Answer {
    shown(&who, ids.into_inner()).await
}

async fn read(
    who: &SignedIn,
    job_id: Uuid,
    form: &NeedForm,
) -> Result<needs::NeedDetails, WebError> {
    let mut tx = who.begin().await?;
    jobs::get(&mut tx, job_id).await?;
    let lists = Lists::read(&mut tx, job_id).await?;
    let mut errors = FormErrors::default();
    let details = form.read(&lists, &mut errors);
    details.filter(|_| errors.is_empty()).ok_or(errors.into())
}

/// Writes down what a job needs.
#[utoipa::path(post, path = "/api/v1/jobs/{id}/needs", operation_id = "add_need", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("Idempotency-Key" = Option<String>, Header)),
    request_body = NeedForm,
    responses((status = 201, description = "The need; its address in Location, its version in ETag", body = NeedShown)))]
async fn add(req: HttpRequest, who: SignedIn, id: web::Path<Uuid>, body: Body<NeedForm>) -> Answer {
    who.require(Role::Office)?;
    let keyed = keyed(&req, &who, &body.sent)?;
    let details = read(&who, *id, &body.form).await?;
    let need_id = meet_need::add(&who.actor(), *id, &details, keyed.as_ref()).await?;
    let need = need(&who, (*id, need_id)).await?;
    Ok(versions::created(
        format!("/api/v1/jobs/{id}/needs/{need_id}"),
        need.version,
        need,
    ))
}

fn seen(req: &HttpRequest, (job_id, id): (Uuid, Uuid)) -> Result<Seen, WebError> {
    Ok(Seen {
        job_id,
        id,
        version: versions::seen(req)?,
    })
}

/// Changes what a job needs, all of it.
#[utoipa::path(put, path = "/api/v1/jobs/{id}/needs/{need}", operation_id = "change_need", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("need" = Uuid, Path, description = "What it needs"),
           ("If-Match" = String, Header)),
    request_body = NeedForm,
    responses((status = 200, description = "The need as it is now", body = NeedShown)))]
async fn change(
    req: HttpRequest,
    who: SignedIn,
    ids: web::Path<(Uuid, Uuid)>,
    body: Body<NeedForm>,
) -> Answer {
    who.require(Role::Office)?;
    let ids = ids.into_inner();
    let seen = seen(&req, ids)?;
    let details = read(&who, ids.0, &body.form).await?;
    let changed = meet_need::change(&who.actor(), seen, &details).await;
    changed.map_err(versions::passed)?;
    shown(&who, ids).await
}

/// Removes what a job does not need.
#[utoipa::path(delete, path = "/api/v1/jobs/{id}/needs/{need}", operation_id = "remove_need", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("need" = Uuid, Path, description = "What it needs"),
           ("If-Match" = String, Header)),
    responses((status = 204, description = "It is removed")))]
async fn remove(req: HttpRequest, who: SignedIn, ids: web::Path<(Uuid, Uuid)>) -> Answer {
    let seen = seen(&req, ids.into_inner())?;
    let removed = meet_need::remove(&who.actor(), seen).await;
    removed.map_err(versions::passed)?;
    Ok(nothing())
}

/// What happens to something a job needs.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NeedStep {
    /// `arrived`, `take` (from stock or the tool store), `put_back`, or `make` (in this job, before the operation that needs it).
    step: String,
}

/// Says that it has come, takes it, puts it back, or has it made here.
#[utoipa::path(post, path = "/api/v1/jobs/{id}/needs/{need}/step", operation_id = "meet_need", tag = "Jobs",
    params(("id" = Uuid, Path, description = "The job"),
           ("need" = Uuid, Path, description = "What it needs"),
           ("If-Match" = String, Header)),
    request_body = NeedStep,
    responses((status = 200, description = "The need as it is now", body = NeedShown)))]
async fn step(
    req: HttpRequest,
    who: SignedIn,
    ids: web::Path<(Uuid, Uuid)>,
    body: Body<NeedStep>,
) -> Answer {
    let ids = ids.into_inner();
    let seen = seen(&req, ids)?;
    let actor = who.actor();
    let done = match body.step.as_str() {
        "arrived" => meet_need::arrived(&actor, seen).await,
        "take" => meet_need::take(&actor, seen).await,
        "put_back" => meet_need::put_back(&actor, seen).await,
        "make" => make_here(&actor, seen).await,
        _ => {
            let mut errors = FormErrors::default();
            errors.add("step", "Send arrived, take, put_back or make");
            return Err(errors.into());
        }
    };
    done.map_err(versions::passed)?;
    shown(&who, ids).await
}
