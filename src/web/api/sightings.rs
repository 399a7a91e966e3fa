//! `/api/v1/sightings`: what was seen for sale.

use crate::db::people::Role;
use crate::db::sightings;
use crate::sourcing::Sighting;
use crate::units::Code;
use crate::web::screens::market::read_sighting;
use crate::web::ui::record::Typed;
use crate::web::ui::{Answer, FormErrors, SignedIn};
use actix_web::http::header::LOCATION;
use actix_web::{HttpResponse, web};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// `/api/v1/sightings` and one of them.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/api/v1/sightings")
            .route(web::get().to(list))
            .route(web::post().to(add)),
    )
    .route("/api/v1/sightings/{id}", web::get().to(one));
}

/// Which to list: of one variant or all, the latest first.
#[derive(Debug, Deserialize)]
struct Which {
    variant_id: Option<Uuid>,
    #[serde(default = "hundred")]
    limit: u32,
    #[serde(default)]
    offset: u32,
}

fn hundred() -> u32 {
    100
}

#[derive(Debug, Serialize)]
struct Listed {
    sightings: Vec<Sighting>,
}

async fn list(who: SignedIn, which: web::Query<Which>) -> Answer {
    if !(1..=500).contains(&which.limit) {
        let mut errors = FormErrors::default();
        errors.add("limit", "This must be from 1 to 500");
        return Err(errors.into());
    }
    let mut tx = who.begin().await?;
    let sightings = sightings::latest(&mut tx, which.variant_id, which.limit, which.offset).await?;
    Ok(HttpResponse::Ok().json(Listed { sightings }).into())
}

async fn one(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    let sighting = sightings::get(&mut tx, *id).await?;
    Ok(HttpResponse::Ok().json(sighting).into())
}

/// A sighting to record. Amounts are text, so that no figure is lost on the way.
#[derive(Debug, Deserialize)]
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

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct AskedPrice {
    amount: String,
    currency: String,
}

fn open() -> String {
    crate::sourcing::Fate::Open.code().to_owned()
}

async fn add(who: SignedIn, body: web::Json<NewSighting>) -> Answer {
    who.require(Role::Office)?;
    let body = body.into_inner();
    let asked = body.asked.as_ref();
    let mut typed = Typed::default();
    typed.set("seen_on", body.seen_on);
    typed.set("place", body.place);
    typed.set("asked", asked.map_or("", |asked| asked.amount.as_str()));
    typed.set(
        "currency",
        asked.map_or("", |asked| asked.currency.as_str()),
    );
    typed.set("condition", body.condition);
    typed.set("acceptable", if body.acceptable { "yes" } else { "no" });
    typed.set("fate", body.fate);
    let mut errors = FormErrors::default();
    let read = read_sighting(&who, body.variant_id, &typed, &mut errors);
    let Some(sighting) = read else {
        return Err(errors.into());
    };
    let mut tx = who.begin().await?;
    sightings::insert(&mut tx, &sighting).await?;
    tx.commit().await?;
    Ok(HttpResponse::Created()
        .insert_header((LOCATION, format!("/api/v1/sightings/{}", sighting.id)))
        .json(sighting)
        .into())
}
