//! `/api/v1/variants`, `/api/v1/related-patterns` and `/api/v1/differences`.

use crate::castings::{Conversion, Variant};
use crate::db::castings as db;
use crate::db::related_patterns::{self, Which};
use crate::enquiry::RelatedPattern;
use crate::web::screens::castings::compare::{Pair, load};
use crate::web::ui::{FormErrors, SignedIn, WebError};
use actix_web::{HttpResponse, web};
use serde::Serialize;
use utoipa::OpenApi;

/// `/api/v1/variants`, `/api/v1/related-patterns` and `/api/v1/differences`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/variants").get(variants))
        .service(web::resource("/api/v1/related-patterns").get(related))
        .service(web::resource("/api/v1/differences").get(differences));
}

#[derive(OpenApi)]
#[openapi(paths(variants, related, differences))]
pub(super) struct Doc;

/// `GET /api/v1/variants`: every variant with its features; lengths are strings in mm.
#[utoipa::path(get, path = "/api/v1/variants", operation_id = "list_variants", tag = "Castings",
    responses((status = 200, description = "Every variant with its features", body = Vec<serde_json::Value>)))]
async fn variants(who: SignedIn) -> Result<HttpResponse, WebError> {
    let mut tx = who.begin().await?;
    let variants = db::variants(&mut tx).await?;
    tx.commit().await?;
    Ok(HttpResponse::Ok().json(variants))
}

/// `GET /api/v1/related-patterns`: which pattern has donors for which, how their places correspond, and what stays different
/// for good; lengths are strings in mm.
#[utoipa::path(get, path = "/api/v1/related-patterns", operation_id = "list_related_patterns", tag = "Castings",
    responses((status = 200, description = "Every pair: `wanted` and `donor` are keys of patterns, `places` holds offsets by \
               face and spots with another label, `lasting` what stays different and for which purposes that will not do",
               body = Vec<serde_json::Value>)))]
async fn related(who: SignedIn) -> Result<HttpResponse, WebError> {
    let mut tx = who.begin().await?;
    let related = related_patterns::list(&mut tx, Which::default()).await?;
    tx.commit().await?;
    Ok(HttpResponse::Ok().json(related))
}

/// What `GET /api/v1/differences` answers.
#[derive(Serialize)]
struct Differences<'a> {
    possible: bool,
    donor: &'a Variant,
    wanted: &'a Variant,
    conversion: &'a Conversion,
    /// How the patterns are related, when they are two.
    related: Option<&'a RelatedPattern>,
}

/// `GET /api/v1/differences?donor=…&wanted=…`: every difference with its remedy.
#[utoipa::path(get, path = "/api/v1/differences", operation_id = "compare_variants", tag = "Castings",
    params(("donor" = uuid::Uuid, Query, description = "The variant as it is"),
           ("wanted" = uuid::Uuid, Query, description = "The variant as it must be")),
    responses((status = 200, description = "`possible`, `donor`, `wanted`, the `conversion` with its remedies, and \
               `related` when the two are of related patterns",
               body = serde_json::Value)))]
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
        related: compared.across.as_ref().map(|across| &across.relation),
    }))
}
