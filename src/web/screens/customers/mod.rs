//! Customers: a list, a page for each with all that is theirs, their details, and merging those that are one.

mod form;
mod known;
mod list;
mod merge;
mod page;

use crate::db::customers::Customer;
use crate::web::ui::record::Each;
use actix_web::web;
use uuid::Uuid;

pub(in crate::web) use known::Known;

/// `/customers` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    list::routes(cfg);
    form::routes(cfg);
    merge::routes(cfg);
    known::routes(cfg);
    page::routes(cfg);
}

/// The records that are kept here.
pub(in crate::web) fn records(each: &mut impl Each) {
    each.record::<Customer>();
}

/// Where a customer's page is.
pub(in crate::web) fn path(id: Uuid) -> String {
    format!("/customers/{id}")
}
