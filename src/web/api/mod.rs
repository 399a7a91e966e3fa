//! The JSON interface, `/api/v1`. It is signed in like the screens, and refuses with problem documents (RFC 9457).

mod bargain;
pub mod castings;
pub mod customers;
pub mod enquiries;
pub mod learning;
pub mod review;
pub mod search;
pub mod sightings;

use actix_web::web;

/// `/api/v1` and what is under it. One line for each kind of thing, in alphabetical order.
pub fn routes(cfg: &mut web::ServiceConfig) {
    castings::routes(cfg);
    customers::routes(cfg);
    enquiries::routes(cfg);
    learning::routes(cfg);
    review::routes(cfg);
    search::routes(cfg);
    sightings::routes(cfg);
}
