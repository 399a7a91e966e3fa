//! `/health`: whether the service can do its work.

use crate::db;
use crate::web::shell::site::Site;
use actix_web::{HttpResponse, web};
use serde_json::json;
use std::time::Duration;

/// `/health`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/health", web::get().to(health));
}

async fn health(site: web::Data<Site>) -> HttpResponse {
    match tokio::time::timeout(Duration::from_secs(2), db::ping(&site.pool)).await {
        Ok(Ok(())) => HttpResponse::Ok().json(json!({"status": "ok", "database": "reachable"})),
        Ok(Err(error)) => {
            tracing::warn!(%error, "health: the database does not answer");
            unavailable()
        }
        Err(_) => {
            tracing::warn!("health: the database did not answer within two seconds");
            unavailable()
        }
    }
}

fn unavailable() -> HttpResponse {
    HttpResponse::ServiceUnavailable()
        .json(json!({"status": "unavailable", "database": "unreachable"}))
}
