//! `/api/v1/castings`: those that stand in the shop, or stood there. What they cost is for the office.

use super::body::Body;
use super::idempotency::keyed;
use super::paging::Which;
use super::versions;
use crate::app::take_in_casting::{GoodsIn, take_in};
use crate::app::{describe_casting, move_casting};
use crate::db::casting_records::Origin;
use crate::db::castings;
use crate::db::castings_on_shelf::{self, Casting, CastingDetails, ShelfState};
use crate::db::lists::{self, ShelfSort, ShelfView};
use crate::db::people::Role;
use crate::units::{Code, Money};
use crate::web::screens::shelf::{CastingForm, InspectionForm};
use crate::web::ui::{Answer, FormErrors, SignedIn, WebError};
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// `/api/v1/castings` and one of them.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/castings").get(list).post(add))
        .service(web::resource("/api/v1/castings/{id}").get(one).put(change))
        .service(web::resource("/api/v1/castings/{id}/inspection").put(inspect))
        .service(web::resource("/api/v1/castings/{id}/state").put(shift));
}

#[derive(OpenApi)]
#[openapi(paths(list, one, add, change, inspect, shift))]
pub(super) struct Doc;

/// Of which variant; of all when left out.
#[derive(Debug, Deserialize)]
struct OfVariant {
    variant_id: Option<Uuid>,
}

/// A casting with the number on its tag.
#[derive(Debug, Serialize, ToSchema)]
struct CastingShown {
    id: Uuid,
    number: i64,
    variant_id: Uuid,
    /// Whose it is: `shop` or `customer`.
    ownership: &'static str,
    /// For the office only.
    #[schema(value_type = Option<Object>)]
    cost: Option<Money>,
    condition: String,
    /// What the inspection found, once there was one.
    outcome: Option<&'static str>,
    inspected_on: Option<NaiveDate>,
    state: &'static str,
    /// The job it is set aside for or was used in.
    job_id: Option<Uuid>,
    version: i32,
}

impl CastingShown {
    fn of(casting: Casting, who: &SignedIn) -> Self {
        let details = casting.details;
        Self {
            id: casting.id,
            number: casting.number,
            variant_id: details.variant_id,
            ownership: details.ownership.code(),
            cost: who.may(Role::Office).then_some(details.cost),
            condition: details.condition,
            outcome: casting.inspection.map(|(outcome, _)| outcome.code()),
            inspected_on: casting.inspection.map(|(_, day)| day),
            state: casting.state.code(),
            job_id: casting.job_id,
            version: casting.version,
        }
    }
}

/// Castings, and how many there are in all.
#[derive(Debug, Serialize, ToSchema)]
struct CastingsListed {
    castings: Vec<CastingShown>,
    all: i64,
}

/// Castings, the highest number first.
#[utoipa::path(get, path = "/api/v1/castings", operation_id = "list_castings", tag = "Castings",
    params(("view" = Option<String>, Query, description = "`here` (when left out), `free` or `all`: used and gone too"),
           ("q" = Option<String>, Query, description = "A number, or a part of variant, condition or supplier"),
           ("variant_id" = Option<Uuid>, Query, description = "Of this variant only"),
           ("limit" = Option<u32>, Query),
           ("offset" = Option<u32>, Query)),
    responses((status = 200, description = "The castings, and how many there are in all", body = CastingsListed)))]
async fn list(who: SignedIn, which: web::Query<Which>, of: web::Query<OfVariant>) -> Answer {
    let view: ShelfView = which.view()?;
    let rows = which.rows()?;
    let mut tx = who.begin().await?;
    let (found, all) = lists::shelf(
        &mut tx,
        view,
        of.variant_id,
        &which.q,
        ShelfSort::Number,
        rows.latest_first(),
    )
    .await?;
    let castings = found.into_iter().map(|one| CastingShown::of(one, &who));
    let listed = CastingsListed {
        castings: castings.collect(),
        all,
    };
    Ok(HttpResponse::Ok().json(listed).into())
}

/// One casting.
#[utoipa::path(get, path = "/api/v1/castings/{id}", operation_id = "read_casting", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting")),
    responses((status = 200, description = "The casting; its version in ETag", body = CastingShown)))]
async fn one(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    shown(&who, *id).await
}

async fn shown(who: &SignedIn, id: Uuid) -> Answer {
    let casting = castings_on_shelf::get(&mut who.begin().await?, id).await?;
    Ok(versions::tagged(
        casting.version,
        CastingShown::of(casting, who),
    ))
}

async fn read(who: &SignedIn, form: &CastingForm) -> Result<(CastingDetails, Origin), WebError> {
    who.require(Role::Office)?;
    let variants = castings::variant_names(&mut who.begin().await?).await?;
    let mut errors = FormErrors::default();
    let read = form.read(who, &variants, &mut errors);
    read.filter(|_| errors.is_empty()).ok_or(errors.into())
}

/// Puts a casting on the shelf.
#[utoipa::path(post, path = "/api/v1/castings", operation_id = "take_in_casting", tag = "Castings",
    params(("Idempotency-Key" = Option<String>, Header)),
    request_body = CastingForm,
    responses((status = 201, description = "The casting; its address in Location, its version in ETag", body = CastingShown)))]
async fn add(req: HttpRequest, who: SignedIn, body: Body<CastingForm>) -> Answer {
    let keyed = keyed(&req, &who, &body.sent)?;
    let (details, origin) = read(&who, &body.form).await?;
    let goods = GoodsIn {
        details,
        origin,
        findings: Vec::new(),
        instrument: String::new(),
    };
    let (id, _) = take_in(&who.actor(), goods, keyed.as_ref()).await?;
    let casting = castings_on_shelf::get(&mut who.begin().await?, id).await?;
    Ok(versions::created(
        format!("/api/v1/castings/{id}"),
        casting.version,
        CastingShown::of(casting, &who),
    ))
}

/// Changes what is written down about a casting, all of it.
#[utoipa::path(put, path = "/api/v1/castings/{id}", operation_id = "change_casting", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting"),
           ("If-Match" = String, Header)),
    request_body = CastingForm,
    responses((status = 200, description = "The casting as it is now", body = CastingShown)))]
async fn change(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<CastingForm>,
) -> Answer {
    let version = versions::seen(&req)?;
    let (details, origin) = read(&who, &body.form).await?;
    let changed = describe_casting::change(&who.actor(), *id, version, &details, &origin).await;
    changed.map_err(versions::passed)?;
    shown(&who, *id).await
}

/// Says what the inspection of a casting found.
#[utoipa::path(put, path = "/api/v1/castings/{id}/inspection", operation_id = "inspect_casting", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting"),
           ("If-Match" = String, Header)),
    request_body = InspectionForm,
    responses((status = 200, description = "The casting as it is now", body = CastingShown)))]
async fn inspect(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<InspectionForm>,
) -> Answer {
    let version = versions::seen(&req)?;
    let mut errors = FormErrors::default();
    let Some((outcome, on)) = body.form.read(who.today(), &mut errors) else {
        return Err(errors.into());
    };
    let inspected = move_casting::inspect(&who.actor(), *id, version, outcome, on).await;
    inspected.map_err(versions::passed)?;
    shown(&who, *id).await
}

/// Where a casting is to stand.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct CastingState {
    /// `on_shelf`, `scrapped` or `returned`.
    state: String,
}

/// Writes a casting off, gives it back to its owner, or puts it back on the shelf.
#[utoipa::path(put, path = "/api/v1/castings/{id}/state", operation_id = "move_casting", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting"),
           ("If-Match" = String, Header)),
    request_body = CastingState,
    responses((status = 200, description = "The casting as it is now", body = CastingShown)))]
async fn shift(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<CastingState>,
) -> Answer {
    who.require(Role::Office)?;
    let version = versions::seen(&req)?;
    let mut errors = FormErrors::default();
    let Some(to) = errors.choice("state", &body.state, ShelfState::from_code) else {
        return Err(errors.into());
    };
    let moved = move_casting::move_to(&who.actor(), *id, version, to).await;
    moved.map_err(versions::passed)?;
    shown(&who, *id).await
}
