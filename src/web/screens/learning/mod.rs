//! Learning: what the bookings say of standard times and of how things vary, and what the owner decides about it.

mod files;
mod picture;
pub(in crate::web) mod proposal;
mod quotes;
mod shape;
mod spread;
mod standards;
mod words;

use actix_web::web;

/// `/review/standards` and what is below it, `/review/spread`, `/review/quotes`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    files::routes(cfg);
    standards::routes(cfg);
    proposal::routes(cfg);
    quotes::routes(cfg);
    shape::routes(cfg);
    spread::routes(cfg);
}
