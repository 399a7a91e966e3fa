//! The JSON interface, `/api/v1`. It is signed in like the screens or comes with a token, and refuses
//! with problem documents (RFC 9457). What it can do stands in `/api/v1/openapi.json`, made from the attributes beside the
//! handlers.

pub mod attention;
mod bargain;
pub mod batches;
mod body;
pub mod bookings;
pub mod casting_records;
pub mod castings;
pub mod customers;
pub mod enquiries;
mod enquiry_list;
pub mod history;
pub mod holds;
pub mod hours;
mod idempotency;
pub mod imports;
pub mod job_figures;
pub mod job_steps;
pub mod jobs;
pub mod learning;
pub mod learning_takes;
pub mod market;
pub mod measured;
pub mod needs;
mod openapi;
pub mod orders_of_work;
mod paging;
pub mod papers;
pub mod photos;
pub mod plan;
pub mod plan_changes;
pub mod plan_help;
pub mod quotes;
pub mod records;
pub mod review;
pub mod review_month;
pub mod routes_by_hand;
pub mod search;
pub mod shelf;
pub mod sightings;
pub mod stock;
pub mod stock_moves;
mod versions;

use crate::web::ui::Reply;
use actix_web::{HttpResponse, web};

/// It is done, and there is nothing to say of it (204).
fn nothing() -> Reply {
    HttpResponse::NoContent().finish().into()
}

/// `/api/v1` and what is under it. One line for each kind of thing, in alphabetical order. Each address is one resource with
/// all its methods: the framework then answers any other with 405 and those it takes (RFC 9110, 15.5.6).
pub fn routes(cfg: &mut web::ServiceConfig) {
    // Before the records: `/api/v1/rules/order` stands before `/api/v1/rules/{id}`.
    orders_of_work::routes(cfg);
    // Before the rest, since some of the lists under the addresses of records tell more than the records do.
    records::routes(cfg);
    attention::routes(cfg);
    batches::routes(cfg);
    bookings::routes(cfg);
    casting_records::routes(cfg);
    castings::routes(cfg);
    customers::routes(cfg);
    enquiries::routes(cfg);
    history::routes(cfg);
    holds::routes(cfg);
    hours::routes(cfg);
    imports::routes(cfg);
    job_figures::routes(cfg);
    job_steps::routes(cfg);
    jobs::routes(cfg);
    learning::routes(cfg);
    learning_takes::routes(cfg);
    market::routes(cfg);
    measured::routes(cfg);
    needs::routes(cfg);
    openapi::routes(cfg);
    papers::routes(cfg);
    photos::routes(cfg);
    plan::routes(cfg);
    plan_changes::routes(cfg);
    plan_help::routes(cfg);
    quotes::routes(cfg);
    review::routes(cfg);
    review_month::routes(cfg);
    routes_by_hand::routes(cfg);
    search::routes(cfg);
    shelf::routes(cfg);
    sightings::routes(cfg);
    stock::routes(cfg);
    stock_moves::routes(cfg);
}
