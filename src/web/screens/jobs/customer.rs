//! Who a job is for: a customer's own casting goes into that customer's jobs and no other.

use crate::app::AppError;
use crate::app::describe_casting::set_customer_of_job;
use crate::app::job_overview::JobOverview;
use crate::db::casting_records;
use crate::db::jobs::{Job, JobState};
use crate::db::people::Role;
use crate::web::screens::customers;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field, words,
};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/jobs/{id}/customer")
            .route(web::get().to(edit))
            .route(web::post().to(save)),
    );
}

/// Who it is for, among the figures of the job's page.
pub(super) fn figure(who: &SignedIn, job: &Job, all: &JobOverview) -> Markup {
    let customer = &all.customer;
    let page = all.customer_id.filter(|_| who.may(Role::Office));
    html! {
        div { dt { "Customer" } dd {
            @if customer.is_empty() { span.muted { "no customer" } }
            @else if let Some(id) = page { a href=(customers::path(id)) { (customer) } }
            @else { (customer) }
            @if who.may(Role::Office) && job.state == JobState::Open {
                " · " a href={ "/jobs/" (job.id) "/customer" } { "Change" }
            }
        } }
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct CustomerForm {
    customer: String,
}

fn page(who: &SignedIn, id: Uuid, form: &CustomerForm, errors: &FormErrors) -> Page {
    let title = "Customer of the job";
    let body = html! {
        h1 { (title) }
        (errors.summary())
        form.grid method="post" action={ "/jobs/" (id) "/customer" } novalidate {
            (csrf_field(who))
            (Field::text("customer", "Customer", &form.customer).customers("").optional()
                .hint("Spell it as on the customer’s castings: they go only into jobs of that name").errors(errors))
            div.actions {
                button type="submit" { "Save" }
                a.button.quiet href={ "/jobs/" (id) } { "Cancel" }
            }
        }
    };
    Page::new(who, title)
        .nav(Section::Jobs)
        .script("lookup.js")
        .body(body)
}

async fn edit(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let customer = casting_records::customer_of_job(&mut tx, *id).await?;
    let form = CustomerForm { customer };
    Ok(page(&who, *id, &form, &FormErrors::default()).into())
}

async fn save(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<CustomerForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    if let Some(customer) = errors.text("customer", &form.customer, 120) {
        match set_customer_of_job(&who.actor(), *id, &customer).await {
            Ok(()) => return Ok(Reply::see_other(format!("/jobs/{id}")).flash("Saved.")),
            Err(AppError::Refused(why)) => {
                errors.add("customer", words::refusal(&why, who.today()))
            }
            Err(error) => return Err(error.into()),
        }
    }
    Ok(page(&who, *id, &form, &errors).invalid().into())
}
