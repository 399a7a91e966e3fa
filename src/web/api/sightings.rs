//! `/api/v1/sightings`: what was seen for sale.

use super::body::Body;
use super::idempotency::keyed;
use super::nothing;
use super::paging::Rows;
use super::versions;
use crate::app::once;
use crate::db::people::Role;
use crate::db::sightings;
use crate::sourcing::Sighting;
use crate::units::Code;
use crate::web::screens::market::read_sighting;
use crate::web::ui::record::Typed;
use crate::web::ui::{Answer, FormErrors, Reply, SignedIn};
use actix_web::{HttpRequest, HttpResponse, web};
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// `/api/v1/sightings` and one of them.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/sightings").get(list).post(add))
        .service(
            web::resource("/api/v1/sightings/{id}")
                .get(one)
                .put(change)
                .delete(remove),
        );
}

#[derive(OpenApi)]
#[openapi(paths(list, add, one, change, remove))]
pub(super) struct Doc;

/// Which to list: of one variant or all, the latest first.
#[derive(Debug, Deserialize)]
struct Which {
    variant_id: Option<Uuid>,
    limit: Option<u32>,
    offset: Option<u32>,
}

#[derive(Debug, Serialize)]
struct Listed {
    sightings: Vec<Sighting>,
}

/// The latest sightings.
#[utoipa::path(get, path = "/api/v1/sightings", operation_id = "list_sightings", tag = "Market",
    params(("variant_id" = Option<Uuid>, Query, description = "Of this variant only"),
           ("limit" = Option<u32>, Query),
           ("offset" = Option<u32>, Query)),
    responses((status = 200, description = "`sightings`, the latest first", body = serde_json::Value)))]
async fn list(who: SignedIn, which: web::Query<Which>) -> Answer {
    let rows = Rows::of(which.limit, which.offset).check()?;
    let mut tx = who.begin().await?;
    let sightings = sightings::latest(&mut tx, which.variant_id, rows.limit, rows.offset).await?;
    Ok(HttpResponse::Ok().json(Listed { sightings }).into())
}

/// One sighting.
#[utoipa::path(get, path = "/api/v1/sightings/{id}", operation_id = "read_sighting", tag = "Market",
    params(("id" = Uuid, Path, description = "The sighting")),
    responses((status = 200, description = "The sighting; its version in ETag", body = serde_json::Value)))]
async fn one(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    let sighting = sightings::get(&mut tx, *id).await?;
    Ok(shown(sighting))
}

fn shown(sighting: Sighting) -> Reply {
    versions::tagged(sighting.version, sighting)
}

/// A sighting to record. Amounts are text, so that no figure is lost on the way.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewSighting {
    variant_id: Uuid,
    seen_on: String,
    place: String,
    #[serde(default)]
    asked: Option<AskedPrice>,
    #[serde(default)]
    condition: String,
    acceptable: bool,
    #[serde(default = "open")]
    fate: String,
}

/// A price with its currency.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct AskedPrice {
    amount: String,
    currency: String,
}

fn open() -> String {
    crate::sourcing::Fate::Open.code().to_owned()
}

impl NewSighting {
    fn read(self, who: &SignedIn) -> Result<Sighting, FormErrors> {
        let asked = self.asked.as_ref();
        let mut typed = Typed::default();
        typed.set("seen_on", self.seen_on);
        typed.set("place", self.place);
        typed.set("asked", asked.map_or("", |asked| asked.amount.as_str()));
        typed.set(
            "currency",
            asked.map_or("", |asked| asked.currency.as_str()),
        );
        typed.set("condition", self.condition);
        typed.set("acceptable", if self.acceptable { "yes" } else { "no" });
        typed.set("fate", self.fate);
        let mut errors = FormErrors::default();
        read_sighting(who, self.variant_id, &typed, &mut errors).ok_or(errors)
    }
}

/// Records a sighting.
#[utoipa::path(post, path = "/api/v1/sightings", operation_id = "record_sighting", tag = "Market",
    params(("Idempotency-Key" = Option<String>, Header)),
    request_body = NewSighting,
    responses((status = 201, description = "The sighting; its address in Location, its version in ETag",
               body = serde_json::Value)))]
async fn add(req: HttpRequest, who: SignedIn, body: Body<NewSighting>) -> Answer {
    who.require(Role::Office)?;
    let keyed = keyed(&req, &who, &body.sent)?;
    let new = body.form.read(&who)?;
    let mut tx = who.begin().await?;
    sightings::insert(&mut tx, &new).await?;
    let id = once::finish(tx, new.id, keyed.as_ref()).await?;
    let sighting = sightings::get(&mut who.begin().await?, id).await?;
    Ok(versions::created(
        format!("/api/v1/sightings/{}", sighting.id),
        sighting.version,
        sighting,
    ))
}

/// Corrects a sighting, all of it.
#[utoipa::path(put, path = "/api/v1/sightings/{id}", operation_id = "correct_sighting", tag = "Market",
    params(("id" = Uuid, Path, description = "The sighting"),
           ("If-Match" = String, Header)),
    request_body = NewSighting,
    responses((status = 200, description = "The sighting as it is now", body = serde_json::Value)))]
async fn change(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<NewSighting>,
) -> Answer {
    who.require(Role::Office)?;
    let version = versions::seen(&req)?;
    let read = body.form.read(&who)?;
    let sighting = Sighting {
        id: *id,
        version,
        ..read
    };
    let mut tx = who.begin().await?;
    sightings::update(&mut tx, &sighting)
        .await
        .map_err(versions::passed)?;
    let sighting = sightings::get(&mut tx, *id).await?;
    tx.commit().await?;
    Ok(shown(sighting))
}

/// Deletes a sighting.
#[utoipa::path(delete, path = "/api/v1/sightings/{id}", operation_id = "delete_sighting", tag = "Market",
    params(("id" = Uuid, Path, description = "The sighting"),
           ("If-Match" = String, Header)),
    responses((status = 204, description = "It is deleted")))]
async fn remove(req: HttpRequest, who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let version = versions::seen(&req)?;
    let mut tx = who.begin().await?;
    let deleted = sightings::delete(&mut tx, *id, version).await;
    deleted.map_err(versions::passed)?;
    tx.commit().await?;
    Ok(nothing())
}
