//! Who is calling, under the form of a call: the customer on record, or the button that puts them there.

use super::path;
use crate::app::name_customers::name_caller;
use crate::db::customers::{self, Customer};
use crate::db::enquiries::Enquiry;
use crate::db::{DbError, customer_links};
use crate::web::ui::{Answer, CheckedForm, Reply, SignedIn, csrf_field};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/enquiries/{id}/customer", web::post().to(keep));
}

/// Who is calling, as far as they are on record.
#[derive(Debug)]
pub(in crate::web) struct Known(Option<Customer>);

impl Known {
    /// The element that changes as the call is typed.
    pub(in crate::web) const ID: &'static str = "known-customer";

    pub(in crate::web) async fn read(who: &SignedIn, enquiry_id: Uuid) -> Result<Self, DbError> {
        let mut tx = who.begin().await?;
        Ok(Self(
            match customer_links::of_enquiry(&mut tx, enquiry_id).await? {
                Some((id, _)) => Some(customers::get(&mut tx, id).await?),
                None => None,
            },
        ))
    }

    pub(in crate::web) fn section(&self, who: &SignedIn, enquiry: &Enquiry) -> Markup {
        let caller = enquiry.details.caller.trim();
        html! {
            div id=(Self::ID) {
                @match &self.0 {
                    Some(customer) => {
                        p { "Customer on record: " a href=(path(customer.id)) { (customer.name) }
                            @if !customer.phone.is_empty() { ", " (customer.phone) }
                            @if !customer.terms.is_empty() { ". Terms: " (customer.terms) } }
                        @if !customer.note.is_empty() { p.notice { (customer.note) } }
                    }
                    None if !caller.is_empty() => {
                        form.inline method="post" action={ "/enquiries/" (enquiry.id) "/customer" } {
                            (csrf_field(who))
                            span { "Not on record yet. A quote adds them. " }
                            button.quiet type="submit" { "Add " (caller) " as a customer" }
                        }
                    }
                    None => {}
                }
            }
        }
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Nothing {}

/// Puts the caller on record.
async fn keep(who: SignedIn, id: web::Path<Uuid>, _form: CheckedForm<Nothing>) -> Answer {
    let kept = name_caller(&who.actor(), *id).await?;
    let reply = Reply::see_other(format!("/enquiries/{id}"));
    Ok(match kept {
        Some(_) => reply.flash("Added as a customer."),
        None => reply.flash("Enter the customer’s name first."),
    })
}
