//! `/api/v1/castings`: those that stand in the shop, or stood there. What they cost is for the office.

use super::paging::Which;
use super::versions;
use crate::db::castings_on_shelf::{self, Casting};
use crate::db::lists::{self, ShelfSort, ShelfView};
use crate::db::people::Role;
use crate::units::{Code, Money};
use crate::web::ui::{Answer, SignedIn};
use actix_web::{HttpResponse, web};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// `/api/v1/castings` and one of them.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/castings").get(list))
        .service(web::resource("/api/v1/castings/{id}").get(one));
}

#[derive(OpenApi)]
#[openapi(paths(list, one))]
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
           ("q" = Option<String>, Query, description = "A number, or a part of variant, condition or whence it came"),
           ("variant_id" = Option<Uuid>, Query, description = "Of this variant only"),
           ("limit" = Option<u32>, Query, minimum = 1, maximum = 500, description = "From 1 to 500; 100 when left out"),
           ("offset" = Option<u32>, Query, maximum = 2147483647, description = "So many left out before")),
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
    let casting = castings_on_shelf::get(&mut who.begin().await?, *id).await?;
    Ok(versions::tagged(
        casting.version,
        CastingShown::of(casting, &who),
    ))
}
