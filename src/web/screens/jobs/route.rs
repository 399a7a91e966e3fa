//! The route of a job under way, changed by hand: what is asked for, what it would do to the promises, and done.

use super::route_preview::shown;
use crate::app::edit_route::{Edited, RouteChange, Wanted};
use crate::app::edit_route::{edit_route, preview_route, route_to_edit};
use crate::app::quick_enquiry::work_to_pick;
use crate::app::{AppError, Refusal};
use crate::db::DbError;
use crate::db::jobs::{Job, OperationState};
use crate::db::people::Role;
use crate::estimating::Element;
use crate::jobs::{ChangeRefusal, Routed, parts};
use crate::web::ui::floor_words::operation_state;
use crate::web::ui::{
    Answer, CheckedForm, Choice, Field, FormErrors, Page, Reply, Section, SignedIn, words,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;
use utoipa::ToSchema;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/jobs/{id}/route")
            .route(web::get().to(look))
            .route(web::post().to(apply)),
    )
    .route("/jobs/{id}/route/preview", web::get().to(preview));
}

/// What is asked for, as it was typed: `skip`, `swap` (`with` another), `bring_back`, `split` (behind the `first` pieces or steps),
/// `send_out` (for a `price`, so many `days`) an operation, or `add` (`count` times the standard time of a `code`, `behind` the
/// operation of a number).
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(default)]
pub(in crate::web) struct RouteForm {
    what: String,
    operation: String,
    with: String,
    first: String,
    price: String,
    days: String,
    code: String,
    count: String,
    behind: String,
    #[schema(ignore)]
    version: String,
    /// With the change: what its preview gave.
    pub(in crate::web) plan_seen: String,
    /// With the change: why.
    pub(in crate::web) reason: String,
}

impl RouteForm {
    /// The id of a field: there is a form of each sort for each operation on the page.
    fn id(what: &str, operation: &str, field: &str) -> String {
        format!("{what}-{operation}-{field}")
    }

    /// A field by the name it is sent under.
    pub(in crate::web) fn plain<'a>(&self, field: &'a str) -> &'a str {
        field.strip_prefix(&self.field("")).unwrap_or(field)
    }

    fn field(&self, field: &str) -> String {
        Self::id(&self.what, &self.operation, field)
    }

    /// The value of a field in the form of an operation, when that form was the one sent.
    fn sent<'a>(&'a self, what: &str, operation: &str, value: &'a str) -> &'a str {
        if self.what == what && self.operation == operation {
            value
        } else {
            ""
        }
    }

    pub(in crate::web) fn read(
        &self,
        who: &SignedIn,
        job_id: Uuid,
        errors: &mut FormErrors,
    ) -> Option<RouteChange> {
        let operation = || self.operation.parse().ok();
        let what = match self.what.as_str() {
            "skip" => operation().map(Wanted::Skip),
            "swap" => operation()
                .zip(self.with.parse().ok())
                .map(|(a, b)| Wanted::Swap(a, b)),
            "bring_back" => operation().map(Wanted::BringBack),
            "split" => {
                let first = number(errors, &self.field("first"), &self.first, 10_000)?;
                operation().map(|operation| Wanted::Split(operation, first))
            }
            "send_out" => {
                let currency = who.shop.currency;
                let price = errors.money(&self.field("price"), &self.price, currency);
                let days = number(errors, &self.field("days"), &self.days, 365);
                let (price, days) = (price?, days?);
                operation().map(|operation| Wanted::SendOut(operation, price, days))
            }
            "add" => {
                let count = number(errors, &self.field("count"), &self.count, 10_000);
                let field = self.field("behind");
                let behind = errors.optional(&self.behind, |errors| {
                    errors.choice(&field, &self.behind, |number| number.parse().ok())
                });
                if self.code.is_empty() {
                    errors.add(&self.field("code"), "Choose the work");
                    return None;
                }
                Some(Wanted::Add {
                    code: self.code.clone(),
                    count: count?,
                    behind: behind?,
                })
            }
            _ => None,
        };
        if what.is_none() {
            errors.add("what", "Choose what to change");
        }
        Some(RouteChange {
            job_id,
            version: self.version.parse().unwrap_or(0),
            what: what?,
        })
    }

    /// The fields to be sent again with the button that applies it.
    pub(super) fn hidden(&self) -> Markup {
        let fields = [
            ("what", &self.what),
            ("operation", &self.operation),
            ("with", &self.with),
            ("first", &self.first),
            ("price", &self.price),
            ("days", &self.days),
            ("code", &self.code),
            ("count", &self.count),
            ("behind", &self.behind),
            ("version", &self.version),
        ];
        html! {
            @for (name, value) in fields.into_iter().filter(|(_, value)| !value.is_empty()) {
                input type="hidden" name=(name) value=(value);
            }
        }
    }
}

fn number(errors: &mut FormErrors, field: &str, typed: &str, most: i64) -> Option<u32> {
    let number = errors.int(field, typed, 1..=most)?;
    u32::try_from(number).ok()
}

/// What the page of a route is drawn from.
struct Looked<'a> {
    who: &'a SignedIn,
    job: &'a Job,
    route: &'a [Routed],
    elements: &'a [Element],
    form: &'a RouteForm,
    errors: &'a FormErrors,
}

impl Looked<'_> {
    fn page(&self, notice: &Markup) -> Page {
        let title = format!("Route of job {}", self.job.number);
        let body = html! {
            div.bar { h1 { (title) } a.button.quiet href={ "/jobs/" (self.job.id) } { "Job " (self.job.number) } }
            (notice)
            (self.errors.summary())
            p { "Each change is previewed with what it does to the promises. Work that has started stays as it is." }
            section.card.route-edit {
                h2 { "Operations" }
                @for (at, operation) in self.route.iter().enumerate() { (self.operation(at, operation)) }
            }
            section.card { h2 #add { "Add an operation" } (self.add()) }
        };
        Page::new(self.who, title).nav(Section::Jobs).body(body)
    }

    fn operation(&self, at: usize, operation: &Routed) -> Markup {
        let planned = &operation.planned;
        let id = operation.id.to_string();
        let open = self.form.operation == id;
        let next = self.route.get(at + 1);
        let next = next.filter(|next| next.state == OperationState::Queued);
        let name = html! { (planned.number) " " (planned.title) @if planned.outside.is_some() { " " span.tag { "sent out" } } @if operation.added { " " span.tag { "added" } } };
        if operation.state != OperationState::Queued {
            return html! {
                p { (name) " " span.tag { (operation_state(operation.state)) } }
                @if operation.state == OperationState::Started {
                    p.muted {
                        "Time is booked on it, so it cannot be skipped: it stays in the route, and its hours stay on the job. To leave out the rest of it, "
                        a href={ "/jobs/" (self.job.id) "/entries/new?operation=" (id) "&kind=done" } { "book it as done" span.visually-hidden { ": " (planned.number) " " (planned.title) } }
                        "."
                    }
                }
            };
        }
        html! {
            details.act id={ "op-" (id) } open[open] {
                summary { (name) }
                div.actions {
                    (self.button("skip", &id, &html! {}, "Skip it"))
                    @if let Some(next) = next {
                        (self.button("swap", &id, &html! { input type="hidden" name="with" value=(next.id); }, &format!("Do it after {} {}", next.planned.number, next.planned.title)))
                    }
                    @if planned.outside.is_some() { (self.button("bring_back", &id, &html! {}, "Do it here")) }
                }
                @if parts(planned) > 1 {
                    (self.form("split", &id, &html! { (self.split(operation, &id)) }, "Preview the split"))
                }
                @if planned.outside.is_none() {
                    (self.form("send_out", &id, &html! {
                        (Field::money("price", "Price of the outside work", self.form.sent("send_out", &id, &self.form.price), self.who.shop.currency)
                            .id(&RouteForm::id("send_out", &id, "price")).errors(self.errors))
                        (Field::int("days", "Days away", self.form.sent("send_out", &id, &self.form.days))
                            .id(&RouteForm::id("send_out", &id, "days")).hint("Calendar days until it is back").errors(self.errors))
                    }, "Preview sending it out"))
                }
            }
        }
    }

    fn split(&self, operation: &Routed, id: &str) -> Field {
        let steps = &operation.planned.steps;
        let value = self.form.sent("split", id, &self.form.first);
        let field = RouteForm::id("split", id, "first");
        if steps.len() > 1 {
            let last = steps.len() - 1;
            let choices = steps.iter().take(last).enumerate();
            let choices = choices.map(|(at, step)| Choice::new(at + 1, &step.name));
            Field::select(
                "first",
                "Last step of the first part",
                value,
                choices.collect(),
            )
            .id(&field)
            .errors(self.errors)
        } else {
            Field::int("first", "Pieces in the first part", value)
                .id(&field)
                .hint(&format!("Of {}", parts(&operation.planned)))
                .errors(self.errors)
        }
    }

    fn add(&self) -> Markup {
        let form = self.form;
        let work = self.elements.iter();
        let work = work.map(|e| Choice::new(&e.code, &e.name)).collect();
        let places = self.route.iter();
        let places = places.filter(|o| o.state != OperationState::Done);
        let places = places.map(|o| {
            Choice::new(
                o.planned.number,
                format!("{} {}", o.planned.number, o.planned.title),
            )
        });
        let count = match form.sent("add", "", &form.count) {
            "" => "1",
            typed => typed,
        };
        let id = |field: &str| RouteForm::id("add", "", field);
        let fields = html! {
            (Field::select("code", "Work", form.sent("add", "", &form.code), work).id(&id("code")).errors(self.errors))
            (Field::int("count", "How many", count).id(&id("count")).hint("In all: holes, cylinders, bearings or parts").errors(self.errors))
            (Field::select("behind", "After", form.sent("add", "", &form.behind), places.collect()).id(&id("behind")).optional()
                .hint("Leave blank to do it next").errors(self.errors))
        };
        self.form("add", "", &fields, "Preview")
    }

    fn form(&self, what: &str, operation: &str, fields: &Markup, button: &str) -> Markup {
        html! {
            form.grid method="get" action={ "/jobs/" (self.job.id) "/route/preview" } novalidate {
                (self.hidden(what, operation))
                (fields)
                div.actions { button type="submit" { (button) } }
            }
        }
    }

    fn button(&self, what: &str, operation: &str, more: &Markup, words: &str) -> Markup {
        html! {
            form method="get" action={ "/jobs/" (self.job.id) "/route/preview" } {
                (self.hidden(what, operation))
                (more)
                button.quiet type="submit" { (words) }
            }
        }
    }

    fn hidden(&self, what: &str, operation: &str) -> Markup {
        html! {
            input type="hidden" name="what" value=(what);
            @if !operation.is_empty() { input type="hidden" name="operation" value=(operation); }
            input type="hidden" name="version" value=(self.job.version);
        }
    }
}

/// The page of a route with what was typed and what is wrong with it.
async fn looked(
    who: &SignedIn,
    id: Uuid,
    form: &RouteForm,
    errors: &FormErrors,
    notice: &Markup,
) -> Result<Page, crate::web::ui::WebError> {
    let actor = who.actor();
    let (job, route) = route_to_edit(&actor, id).await?;
    let elements = work_to_pick(&actor).await?;
    let looked = Looked {
        who,
        job: &job,
        route: &route,
        elements: &elements,
        form,
        errors,
    };
    Ok(looked.page(notice))
}

async fn look(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let errors = FormErrors::default();
    let page = looked(&who, *id, &RouteForm::default(), &errors, &html! {}).await?;
    Ok(page.into())
}

async fn preview(who: SignedIn, id: web::Path<Uuid>, form: web::Query<RouteForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    if let Some(change) = form.read(&who, *id, &mut errors) {
        match preview_route(&who.actor(), &change, Utc::now()).await {
            Ok(preview) => {
                let errors = FormErrors::default();
                return Ok(shown(&who, &preview, &form, &errors, &html! {}).into());
            }
            Err(error) => {
                if let Some(stale) = stale(&who, *id, &error).await? {
                    return Ok(stale);
                }
                refuse(&who, &form, &mut errors, error)?;
            }
        }
    }
    let page = looked(&who, *id, &form, &errors, &html! {}).await?;
    Ok(page.invalid().into())
}

async fn apply(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<RouteForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let Some(change) = form.read(&who, *id, &mut errors) else {
        let page = looked(&who, *id, &form, &errors, &html! {}).await?;
        return Ok(page.invalid().into());
    };
    let actor = who.actor();
    let now = Utc::now();
    let reason = errors.text("reason", &form.reason, 500);
    // A form without the version it was made for is not of any floor.
    let seen = form.plan_seen.parse().unwrap_or(-1);
    let error = match reason {
        Some(reason) => match edit_route(&actor, &change, (seen, &reason), now).await {
            Ok(Edited::Done(words)) => {
                return Ok(Reply::see_other(format!("/jobs/{id}")).flash(words));
            }
            Ok(Edited::Overtaken(preview)) => {
                let notice = html! {
                    section.notice.warn role="alert" {
                        h2 { span.sign aria-hidden="true" { "!" } " The plan has changed meanwhile" }
                        p { "Nothing was saved. This is what your change does to the plan as it is now." }
                    }
                };
                let page = shown(&who, &preview, &form, &errors, &notice);
                return Ok(page.status(StatusCode::CONFLICT).into());
            }
            Ok(Edited::ReasonMissing(preview)) => {
                errors.add("reason", words::job_change(ChangeRefusal::ReasonMissing));
                let page = shown(&who, &preview, &form, &errors, &html! {});
                return Ok(page.invalid().into());
            }
            Err(error) => Some(error),
        },
        None => None,
    };
    if let Some(error) = error {
        if let Some(stale) = stale(&who, *id, &error).await? {
            return Ok(stale);
        }
        refuse(&who, &form, &mut errors, error)?;
        let page = looked(&who, *id, &form, &errors, &html! {}).await?;
        return Ok(page.invalid().into());
    }
    let preview = preview_route(&actor, &change, now).await?;
    let page = shown(&who, &preview, &form, &errors, &html! {});
    Ok(page.invalid().into())
}

/// Somebody else changed the job meanwhile: its route as it is now.
async fn stale(
    who: &SignedIn,
    id: Uuid,
    error: &AppError,
) -> Result<Option<Reply>, crate::web::ui::WebError> {
    if !matches!(error, AppError::Db(DbError::Stale(_))) {
        return Ok(None);
    }
    let notice = html! {
        section.notice.warn role="alert" {
            h2 { span.sign aria-hidden="true" { "!" } " Someone else changed this job" }
            p { "Nothing was saved. This is the route as it is now. Make your change again if it is still right." }
        }
    };
    let errors = FormErrors::default();
    let page = looked(who, id, &RouteForm::default(), &errors, &notice).await?;
    Ok(Some(page.status(StatusCode::CONFLICT).into()))
}

/// Says what is refused beside the field it is about.
fn refuse(
    who: &SignedIn,
    form: &RouteForm,
    errors: &mut FormErrors,
    error: AppError,
) -> Result<(), crate::web::ui::WebError> {
    let field = match form.what.as_str() {
        "split" => form.field("first"),
        "add" => form.field("code"),
        _ => "what".to_owned(),
    };
    match error {
        AppError::Refused(why @ (Refusal::Route(_) | Refusal::Work(_) | Refusal::Stored(_))) => {
            errors.add(&field, words::refusal(&why, who.today()));
            Ok(())
        }
        other => Err(other.into()),
    }
}
