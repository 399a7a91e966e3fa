//! `/api/v1/market`: what was seen for sale, by variant.

use super::paging::Which;
use crate::db::lists::{self, MarketSort, MarketView};
use crate::db::sightings::Watched;
use crate::web::ui::{Answer, SignedIn};
use actix_web::{HttpResponse, web};
use chrono::NaiveDate;
use serde::Serialize;
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// `/api/v1/market`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/market").get(list));
}

#[derive(OpenApi)]
#[openapi(paths(list))]
pub(super) struct Doc;

/// What was seen of a variant.
#[derive(Debug, Serialize, ToSchema)]
struct SeenOfVariant {
    variant_id: Uuid,
    name: String,
    pattern: String,
    /// Whether it is tracked.
    tracked: bool,
    sightings: i64,
    /// Those that are usable and still for sale.
    for_sale: i64,
    last_seen: Option<NaiveDate>,
}

impl From<Watched> for SeenOfVariant {
    fn from(variant: Watched) -> Self {
        Self {
            variant_id: variant.variant_id,
            name: variant.name,
            pattern: variant.pattern,
            tracked: variant.watched,
            sightings: variant.sightings,
            for_sale: variant.open,
            last_seen: variant.last_seen,
        }
    }
}

/// Variants, and how many there are in all.
#[derive(Debug, Serialize, ToSchema)]
struct MarketListed {
    variants: Vec<SeenOfVariant>,
    all: i64,
}

/// The variants, those seen last first.
#[utoipa::path(get, path = "/api/v1/market", operation_id = "list_market", tag = "Market",
    params(("view" = Option<String>, Query, description = "`all` (when left out), `for_sale` or `tracked`"),
           ("q" = Option<String>, Query, description = "A part of variant or pattern"),
           ("limit" = Option<u32>, Query),
           ("offset" = Option<u32>, Query)),
    responses((status = 200, description = "The variants, and how many there are in all", body = MarketListed)))]
async fn list(who: SignedIn, which: web::Query<Which>) -> Answer {
    let view: MarketView = which.view()?;
    let rows = which.rows()?;
    let mut tx = who.begin().await?;
    let (found, all) = lists::market(
        &mut tx,
        view,
        &which.q,
        MarketSort::LastSeen,
        rows.latest_first(),
    )
    .await?;
    let listed = MarketListed {
        variants: found.into_iter().map(SeenOfVariant::from).collect(),
        all,
    };
    Ok(HttpResponse::Ok().json(listed).into())
}
