//! The JSON interface, `/api/v1`. It is signed in like the screens or comes with a token, and refuses
//! with problem documents (RFC 9457). What it can do stands in `/api/v1/openapi.json`, made from the attributes beside the
//! handlers.

mod bargain;
pub mod castings;
pub mod customers;
pub mod enquiries;
pub mod hours;
mod idempotency;
pub mod jobs;
pub mod learning;
mod openapi;
mod paging;
pub mod plan;
pub mod quotes;
pub mod review;
pub mod search;
pub mod shelf;
pub mod sightings;
pub mod stock;
mod versions;

use actix_web::web;

/// `/api/v1` and what is under it. One line for each kind of thing, in alphabetical order. Each address is one resource with
/// all its methods: the framework then answers any other with 405 and those it takes (RFC 9110, 15.5.6).
pub fn routes(cfg: &mut web::ServiceConfig) {
    castings::routes(cfg);
    customers::routes(cfg);
    enquiries::routes(cfg);
    hours::routes(cfg);
    jobs::routes(cfg);
    learning::routes(cfg);
    openapi::routes(cfg);
    plan::routes(cfg);
    quotes::routes(cfg);
    review::routes(cfg);
    search::routes(cfg);
    shelf::routes(cfg);
    sightings::routes(cfg);
    stock::routes(cfg);
}
