//! Whether the process lives, and whether it can do its work. Neither waits for a connection of the pool: what a look once
//! a second has found is read.

use crate::db::readiness::Trouble;
use crate::web::shell::site::Site;
use actix_web::http::header::RETRY_AFTER;
use actix_web::{HttpResponse, web};
use chrono::SecondsFormat;
use serde_json::json;

/// `/health/live`, and `/health/ready`, which is `/health` too.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/health/live", web::get().to(live))
        .route("/health/ready", web::get().to(ready))
        .route("/health", web::get().to(ready));
}

/// Whether a path is one of these.
pub(in crate::web) fn is_health(path: &str) -> bool {
    matches!(path, "/health" | "/health/live" | "/health/ready")
}

/// The process answers. Whoever restarts what does not live asks for this: a restart brings no database back.
async fn live() -> HttpResponse {
    HttpResponse::Ok().json(json!({"status": "ok"}))
}

/// The process answers and the database takes what it is given. Whoever shares requests out asks for this.
async fn ready(site: web::Data<Site>) -> HttpResponse {
    let Some((trouble, since)) = site.readiness.trouble() else {
        return HttpResponse::Ok().json(json!({"status": "ok", "database": "reachable"}));
    };
    let database = match trouble {
        Trouble::Unreachable => "unreachable",
        Trouble::CannotWrite => "cannot be written to",
    };
    let since = since.to_rfc3339_opts(SecondsFormat::Secs, true);
    HttpResponse::ServiceUnavailable()
        .insert_header((RETRY_AFTER, 1))
        .json(json!({"status": "unavailable", "database": database, "since": since}))
}
