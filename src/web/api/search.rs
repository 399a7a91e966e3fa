//! `/api/v1/search`: what a shop has, by number or words.

use crate::app::search::search;
use crate::web::ui::{Answer, SignedIn};
use actix_web::{HttpResponse, web};
use serde::Deserialize;
use utoipa::OpenApi;

/// `/api/v1/search`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/search").get(find));
}

#[derive(OpenApi)]
#[openapi(paths(find))]
pub(super) struct Doc;

#[derive(Debug, Deserialize)]
struct Asked {
    #[serde(default)]
    q: String,
}

/// `GET /api/v1/search?q=…`: groups by kind, each with its first hits and how many more there are; `near` are words that
/// nothing has, for which what is spelt like them was looked for.
#[utoipa::path(get, path = "/api/v1/search", operation_id = "search", tag = "Search",
    params(("q" = Option<String>, Query, description = "A number or words, 120 characters at most")),
    responses((status = 200, description = "Groups by kind with their first hits, and words spelt alike",
               body = serde_json::Value)))]
async fn find(who: SignedIn, asked: web::Query<Asked>) -> Answer {
    let typed: String = asked.q.chars().take(120).collect();
    let found = search(&who.actor(), &typed).await?;
    Ok(HttpResponse::Ok().json(found).into())
}
