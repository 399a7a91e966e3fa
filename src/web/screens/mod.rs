//! The screens, one folder each: handler and view together.

pub mod bench;
pub mod castings;
pub mod customers;
pub mod enquiries;
pub mod feeds;
pub mod help;
pub mod history;
pub mod imports;
pub mod jobs;
pub mod learning;
pub mod market;
pub mod quotes;
pub mod review;
pub mod search;
pub mod set_up;
pub mod shelf;
pub mod shop;
pub mod sign_in;
pub mod stock;
pub mod today;
pub mod week;

use crate::web::ui::record::Each;
use actix_web::web;

/// Every screen's routes. One line for each, in alphabetical order.
pub fn routes(cfg: &mut web::ServiceConfig) {
    bench::routes(cfg);
    castings::routes(cfg);
    customers::routes(cfg);
    enquiries::routes(cfg);
    feeds::routes(cfg);
    help::routes(cfg);
    history::routes(cfg);
    imports::routes(cfg);
    jobs::routes(cfg);
    learning::routes(cfg);
    market::routes(cfg);
    quotes::routes(cfg);
    review::routes(cfg);
    search::routes(cfg);
    set_up::routes(cfg);
    shelf::routes(cfg);
    shop::routes(cfg);
    sign_in::routes(cfg);
    stock::routes(cfg);
    today::routes(cfg);
    week::routes(cfg);
}

/// Every record that programs may read and change, in alphabetical order of the screens.
pub(in crate::web) fn records(each: &mut impl Each) {
    castings::records(each);
    customers::records(each);
    jobs::records(each);
    market::records(each);
    shop::records(each);
    stock::records(each);
}
