//! A job entered by hand: its work from the standard times, or the same as in another job.

use crate::app::enter_job::{HandJob, HandWork, enter_job};
use crate::app::everyday_work::templates;
use crate::app::quick_enquiry::work_to_pick;
use crate::app::{AppError, Refusal};
use crate::db::DbError;
use crate::db::people::Role;
use crate::estimating::{Element, WorkTemplate};
use crate::web::ui::forms::Live;
use crate::web::ui::work_lines::{self, TIMED_BY, TypedLines, Typing, field_of};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field, once_field,
    words,
};
use actix_web::web;
use chrono::{NaiveDate, Utc};
use maud::html;
use serde::Deserialize;
use utoipa::ToSchema;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/jobs/new")
            .route(web::get().to(form))
            .route(web::post().to(enter)),
    );
}

/// A job as typed. For programs the work is the codes of standard times, with how many beside each in `count`.
#[derive(Debug, Default, Deserialize, ToSchema)]
#[serde(default)]
pub(in crate::web) struct JobForm {
    title: String,
    customer: String,
    same_as: String,
    part: String,
    work: Vec<String>,
    count: Vec<String>,
    cylinders: String,
    mains: String,
    due_on: String,
    value: String,
    due_confirmed: String,
    /// Sent by the button that asks for more rows.
    #[schema(ignore)]
    more: String,
    /// Everyday work to add, and the button that adds it.
    #[schema(ignore)]
    template: String,
    #[schema(ignore)]
    add: String,
}

impl JobForm {
    fn lines(&self) -> TypedLines<'_> {
        TypedLines {
            part: &self.part,
            work: &self.work,
            count: &self.count,
            cylinders: &self.cylinders,
            mains: &self.mains,
        }
    }

    /// Adds the everyday work that was chosen.
    fn add_template(&mut self, templates: &[WorkTemplate]) {
        let typing = Typing {
            part: &mut self.part,
            work: &mut self.work,
            count: &mut self.count,
            cylinders: &mut self.cylinders,
            mains: &mut self.mains,
        };
        typing.add(templates, &self.template);
    }

    pub(in crate::web) fn read(
        &self,
        who: &SignedIn,
        elements: &[Element],
        errors: &mut FormErrors,
    ) -> Option<HandJob> {
        let title = errors.text("title", &self.title, 200);
        let customer = errors.text("customer", &self.customer, 120);
        let same_as = errors.optional(&self.same_as, |errors| {
            errors.int("same_as", &self.same_as, 1..=i64::from(i32::MAX))
        });
        let list = self.lines().read(elements, errors);
        let due_on = errors.date("due_on", &self.due_on);
        let value = errors.optional(&self.value, |errors| {
            errors.money("value", &self.value, who.shop.currency)
        });
        let list = list?;
        let work = match same_as? {
            Some(_) if !list.lines.is_empty() => {
                errors.add(
                    "same_as",
                    "Clear this number or the work below: a job has one or the other",
                );
                return None;
            }
            Some(number) => HandWork::SameAs(number),
            None => HandWork::Listed(list),
        };
        Some(HandJob {
            title: title?,
            customer: customer?,
            work,
            due_on: due_on?,
            value: value?,
            due_confirmed: self.due_confirmed == "yes",
        })
    }
}

fn today(who: &SignedIn) -> NaiveDate {
    Utc::now().with_timezone(&who.shop.time_zone).date_naive()
}

fn page(
    who: &SignedIn,
    form: &JobForm,
    (elements, templates): (&[Element], &[WorkTemplate]),
    questioned: bool,
    errors: &FormErrors,
) -> Page {
    let title = "New job";
    let body = html! {
        h1 { (title) }
        p { "For work that no quote stands behind. An accepted quote opens its job by itself." }
        (errors.summary())
        form #job.grid method="post" action="/jobs/new" novalidate data-live=(TIMED_BY) {
            (csrf_field(who))
            (once_field())
            (Field::text("customer", "Customer", &form.customer).customers("").optional().autofocus(errors.is_empty())
                .hint("Spell it as on the customer’s castings: they go only into jobs of that name").errors(errors))
            (Field::text("title", "Title", &form.title).optional()
                .hint("Leave blank to name the job after its work").errors(errors))
            (Field::text("part", "Part", &form.part).optional()
                .hint("For example: crankshaft, four-cylinder diesel").errors(errors))
            (form.lines().fields(elements, errors))
            (Field::int("same_as", "Or the same work as job", &form.same_as).optional()
                .hint("A job number: its route is copied").errors(errors))
            (Field::date("due_on", "Due date", &form.due_on).errors(errors))
            (Field::money("value", "Agreed price before tax", &form.value, who.shop.currency).optional().errors(errors))
            @if questioned || form.due_confirmed == "yes" {
                (Field::checkbox("due_confirmed", "The due date is meant", form.due_confirmed == "yes"))
            }
            div.actions {
                button type="submit" { "Open the job" }
                (work_lines::more())
                a.button.quiet href="/jobs" { "Cancel" }
                p.live-status role="status" {}
            }
            (work_lines::everyday(templates))
        }
    };
    Page::new(who, title)
        .nav(Section::Jobs)
        .script("lookup.js")
        .body(body)
}

async fn form(who: SignedIn) -> Answer {
    let elements = work_to_pick(&who.actor()).await?;
    let templates = templates(&who.actor()).await?;
    let errors = FormErrors::default();
    let beside = (elements.as_slice(), templates.as_slice());
    Ok(page(&who, &JobForm::default(), beside, false, &errors).into())
}

async fn enter(who: SignedIn, form: CheckedForm<JobForm>, live: Live) -> Answer {
    who.require(Role::Office)?;
    let actor = who.actor();
    let elements = work_to_pick(&actor).await?;
    let templates = templates(&actor).await?;
    let beside = (elements.as_slice(), templates.as_slice());
    let keyed = form.keyed().copied();
    let mut form = form.into_inner();
    let added = form.add == "yes";
    if added {
        form.add_template(&templates);
    }
    let mut errors = FormErrors::default();
    if live.0 || added || form.more == "yes" {
        return Ok(page(&who, &form, beside, false, &errors).into());
    }
    let mut questioned = false;
    if let Some(job) = form.read(&who, &elements, &mut errors) {
        match enter_job(&actor, &job, today(&who), keyed.as_ref()).await {
            Ok((id, number)) => {
                return Ok(
                    Reply::see_other(format!("/jobs/{id}")).flash(format!("Job {number} opened."))
                );
            }
            Err(AppError::Refused(Refusal::Work(why))) => {
                errors.add(&field_of(&why), words::work_list(&why));
            }
            Err(AppError::Refused(Refusal::DueDate(doubts))) => {
                questioned = true;
                errors.add("due_on", words::due_doubts(&doubts, who.today()));
            }
            Err(AppError::Db(DbError::NotFound(what))) => {
                errors.add("same_as", format!("We cannot find {what}"));
            }
            Err(error) => return Err(error.into()),
        }
    }
    Ok(page(&who, &form, beside, questioned, &errors)
        .invalid()
        .into())
}
