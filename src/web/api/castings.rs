//! `/api/v1/variants` and `/api/v1/differences`.

use crate::castings::{Conversion, Variant};
use crate::db::castings as db;
use crate::web::screens::castings::compare::{Pair, load};
use crate::web::ui::{FormErrors, SignedIn, WebError};
use actix_web::{HttpResponse, web};
use serde::Serialize;

/// `/api/v1/variants` and `/api/v1/differences`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/api/v1/variants", web::get().to(variants))
        .route("/api/v1/differences", web::get().to(differences));
}

/// `GET /api/v1/variants`: every variant with its features; lengths are strings in mm.
async fn variants(who: SignedIn) -> Result<HttpResponse, WebError> {
    let mut tx = who.begin().await?;
    let variants = db::variants(&mut tx).await?;
    tx.commit().await?;
    Ok(HttpResponse::Ok().json(variants))
}

/// What `GET /api/v1/differences` answers.
#[derive(Serialize)]
struct Differences<'a> {
    possible: bool,
    donor: &'a Variant,
    wanted: &'a Variant,
    conversion: &'a Conversion,
}

/// `GET /api/v1/differences?donor=…&wanted=…`: every difference with its remedy.
async fn differences(who: SignedIn, pair: web::Query<Pair>) -> Result<HttpResponse, WebError> {
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let compared = match pair.keys(&mut errors) {
        Some(keys) => load(&mut tx, keys, &mut errors).await?,
        None => None,
    };
    tx.commit().await?;
    let Some(compared) = compared else {
        return Err(errors.into());
    };
    Ok(HttpResponse::Ok().json(Differences {
        possible: compared.conversion.is_possible(),
        donor: &compared.donor,
        wanted: &compared.wanted,
        conversion: &compared.conversion,
    }))
}
