//! The bench: what a machinist uses, standing up. A known device instead of a password, a short PIN for each person, what
//! is next at this machine and why, and a few large buttons. What is entered is kept on the device until it was booked.

mod card;
mod entries;
mod kept;
mod screen;
mod sign_on;

use crate::web::shell::device::AtBench;
pub(in crate::web) use entries::{found, readings_in};
pub(in crate::web) use screen::found_words;

use actix_web::http::header::{CACHE_CONTROL, HeaderName};
use actix_web::{HttpResponse, web};

/// `/bench` and all below it. The gate lets known devices in, and nobody else.
pub fn routes(cfg: &mut web::ServiceConfig) {
    entries::routes(cfg);
    screen::routes(cfg);
    sign_on::routes(cfg);
    cfg.route("/bench/worker.js", web::get().to(worker));
}

/// The service worker, which shows the bench page when there is no network. It has an address of its own because it must
/// come from where it works, and it is asked for anew each time.
async fn worker(_: AtBench) -> HttpResponse {
    HttpResponse::Ok()
        .content_type("text/javascript; charset=utf-8")
        .insert_header((CACHE_CONTROL, "no-cache"))
        .insert_header((HeaderName::from_static("service-worker-allowed"), "/bench"))
        .body(include_str!("../../../../static/bench-worker.js"))
}
