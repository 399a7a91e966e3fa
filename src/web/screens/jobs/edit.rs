//! Changing an open job: title, customer, days and agreed price, with a reason for what moves.

use crate::app::change_job::{JobChange, change_job};
use crate::app::{AppError, Refusal};
use crate::db::jobs::Job;
use crate::db::people::Role;
use crate::db::{DbError, job_changes};
use crate::jobs::{ChangeRefusal, JobDetails};
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    words,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::{NaiveDate, Utc};
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/jobs/{id}/edit")
            .route(web::get().to(edit))
            .route(web::post().to(save)),
    );
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct EditForm {
    title: String,
    customer: String,
    due_on: String,
    promised_on: String,
    value: String,
    reason: String,
    due_confirmed: String,
    version: String,
}

impl EditForm {
    fn of(job: &Job, details: &JobDetails) -> Self {
        let day = |day: NaiveDate| day.to_string();
        Self {
            title: details.title.clone(),
            customer: details.customer.clone(),
            due_on: day(details.due_on),
            promised_on: details.promised_on.map(day).unwrap_or_default(),
            value: details
                .value
                .map(|value| value.amount().to_string())
                .unwrap_or_default(),
            version: job.version.to_string(),
            ..Self::default()
        }
    }

    fn read(&self, who: &SignedIn, id: Uuid, errors: &mut FormErrors) -> Option<JobChange> {
        let title = errors.required_text("title", &self.title, 200);
        let customer = errors.text("customer", &self.customer, 120);
        let due_on = errors.date("due_on", &self.due_on);
        let promised_on = errors.optional(&self.promised_on, |errors| {
            errors.date("promised_on", &self.promised_on)
        });
        let value = errors.optional(&self.value, |errors| {
            errors.money("value", &self.value, who.shop.currency)
        });
        let reason = errors.text("reason", &self.reason, 500);
        Some(JobChange {
            id,
            version: self.version.parse().unwrap_or(0),
            to: JobDetails {
                title: title?,
                customer: customer?,
                due_on: due_on?,
                promised_on: promised_on?,
                value: value?,
            },
            reason: reason?,
            due_confirmed: self.due_confirmed == "yes",
        })
    }
}

fn page(
    who: &SignedIn,
    job: &Job,
    form: &EditForm,
    questioned: bool,
    errors: &FormErrors,
    notice: &Markup,
) -> Page {
    let title = format!("Change job {}", job.number);
    let body = html! {
        h1 { (title) }
        (notice)
        (errors.summary())
        form.grid method="post" action={ "/jobs/" (job.id) "/edit" } novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            (Field::text("title", "Title", &form.title).wide().errors(errors))
            (Field::text("customer", "Customer", &form.customer).optional()
                .hint("Spell it as on the customer’s castings: they go only into jobs of that name").errors(errors))
            @if job.quote_id.is_none() {
                (Field::money("value", "Agreed price before tax", &form.value, who.shop.currency).optional().errors(errors))
            }
            (Field::date("due_on", "Due date", &form.due_on).errors(errors))
            (Field::date("promised_on", "Promised", &form.promised_on).optional()
                .hint("The day the customer was told. The plan works to it where there is one").errors(errors))
            (Field::text("reason", "Reason", &form.reason).wide().optional()
                .hint("Needed when a date or the price changes. It is kept with the job").errors(errors))
            @if questioned || form.due_confirmed == "yes" {
                (Field::checkbox("due_confirmed", "The due date is meant", form.due_confirmed == "yes"))
            }
            div.actions {
                button type="submit" { "Save" }
                a.button.quiet href={ "/jobs/" (job.id) } { "Cancel" }
            }
        }
    };
    Page::new(who, title).nav(Section::Jobs).body(body)
}

async fn stored(who: &SignedIn, id: Uuid) -> Result<(Job, JobDetails), WebError> {
    let mut tx = who.begin().await?;
    Ok(job_changes::lock(&mut tx, id).await?)
}

async fn edit(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let (job, details) = stored(&who, *id).await?;
    if let Err(why) = job.state.must_be_open() {
        return Err(WebError::Refused(Refusal::Job(why)));
    }
    let form = EditForm::of(&job, &details);
    let errors = FormErrors::default();
    Ok(page(&who, &job, &form, false, &errors, &html! {}).into())
}

async fn save(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<EditForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    errors.label("title", "Title");
    let mut questioned = false;
    if let Some(change) = form.read(&who, *id, &mut errors) {
        let today = Utc::now().with_timezone(&who.shop.time_zone).date_naive();
        match change_job(&who.actor(), &change, today).await {
            Ok(()) => return Ok(Reply::see_other(format!("/jobs/{id}")).flash("Saved.")),
            Err(AppError::Refused(Refusal::DueDate(doubts))) => {
                questioned = true;
                errors.add("due_on", words::due_doubts(&doubts, who.today()));
            }
            Err(AppError::Refused(Refusal::JobChange(why))) => {
                let field = match why {
                    ChangeRefusal::ReasonMissing => "reason",
                    ChangeRefusal::Nothing => "title",
                    ChangeRefusal::QuotedValue => "value",
                };
                errors.add(field, words::job_change(why));
            }
            Err(AppError::Refused(why @ Refusal::Stored(_))) => {
                errors.add("customer", words::refusal(&why, who.today()));
            }
            Err(AppError::Db(DbError::Stale(_))) => return stale(&who, *id, &form).await,
            Err(error) => return Err(error.into()),
        }
    }
    let (job, _) = stored(&who, *id).await?;
    Ok(page(&who, &job, &form, questioned, &errors, &html! {})
        .invalid()
        .into())
}

/// Both values of whatever differs, when someone else changed the job meanwhile.
async fn stale(who: &SignedIn, id: Uuid, typed: &EditForm) -> Answer {
    let (job, details) = stored(who, id).await?;
    let now = EditForm::of(&job, &details);
    let changed: Vec<Changed> = [
        Changed::if_differs("Title", &now.title, &typed.title),
        Changed::if_differs("Customer", &now.customer, &typed.customer),
        Changed::if_differs("Agreed price before tax", &now.value, &typed.value),
        Changed::if_differs("Due date", &now.due_on, &typed.due_on),
        Changed::if_differs("Promised", &now.promised_on, &typed.promised_on),
    ]
    .into_iter()
    .flatten()
    .collect();
    let notice = stale_notice("this job", &changed);
    let over = EditForm {
        version: job.version.to_string(),
        ..typed.clone()
    };
    let errors = FormErrors::default();
    Ok(page(who, &job, &over, false, &errors, &notice)
        .status(StatusCode::CONFLICT)
        .into())
}
