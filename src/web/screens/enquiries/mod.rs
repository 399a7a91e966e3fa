//! Enquiries: the call, the options side by side, and the quote that is given.

mod actions;
mod answer;
mod bargain;
mod call;
mod choices;
mod form;
mod list;
mod opinion;
mod picture;
mod quick;
mod sooner;

use actix_web::web;

/// `/enquiries` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/enquiries")
            .route(web::get().to(list::list))
            .route(web::post().to(call::open)),
    )
    .service(
        web::resource("/enquiries/quick")
            .route(web::get().to(quick::to_list))
            .route(web::post().to(quick::open)),
    )
    .service(
        web::resource("/enquiries/{id}")
            .route(web::get().to(quick::show_call))
            .route(web::post().to(call::save)),
    )
    .service(
        web::resource("/enquiries/{id}/quick")
            .route(web::get().to(quick::show))
            .route(web::post().to(quick::save)),
    )
    .route("/enquiries/{id}/quotes", web::post().to(call::quote))
    .route("/enquiries/{id}/price", web::post().to(opinion::save))
    .service(
        web::resource("/enquiries/{id}/bargain")
            .route(web::get().to(bargain::page))
            .route(web::post().to(bargain::give)),
    )
    .route(
        "/enquiries/{id}/bargain/look",
        web::post().to(bargain::look),
    )
    .route("/enquiries/{id}/sooner", web::get().to(sooner::page))
    .route("/enquiries/{id}/close", web::post().to(call::close));
}

pub(in crate::web) use answer::{cost_lines, route_table};
pub(in crate::web) use form::CallForm;
pub(in crate::web) use list::{new_call, state_words};
pub(in crate::web) use quick::QuickForm;
