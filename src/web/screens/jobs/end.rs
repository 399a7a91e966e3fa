//! The end of a job, and opening it again: closed when its work is done, cancelled with a reason and a word on what
//! becomes of its castings, goods and tools.

use crate::app::close_job::{JobEnd, close_job, unsettled};
use crate::app::hand_over::{HandedOver, hand_over};
use crate::app::job_overview::JobOverview;
use crate::app::reopen_job::reopen_job;
use crate::app::{AppError, Refusal};
use crate::db::jobs::{self, Job, JobState, OperationState};
use crate::db::needs::{self, Cover, Need, Source};
use crate::db::people::Role;
use crate::jobs::{Ending, NotPossible};
use crate::web::ui::show::moment;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    words,
};
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/jobs/{id}/close", web::post().to(close))
        .route("/jobs/{id}/collected", web::post().to(collected))
        .route("/jobs/{id}/invoiced", web::post().to(invoiced))
        .service(
            web::resource("/jobs/{id}/cancel")
                .route(web::get().to(ask_cancel))
                .route(web::post().to(cancel)),
        )
        .service(
            web::resource("/jobs/{id}/reopen")
                .route(web::get().to(ask_reopen))
                .route(web::post().to(reopen)),
        );
}

/// What can be done with a job as a whole, among the buttons of its page.
pub(super) fn buttons(who: &SignedIn, all: &JobOverview) -> Markup {
    let job = &all.job;
    let done = all
        .operations
        .iter()
        .all(|o| o.state == OperationState::Done);
    html! {
        @if who.may(Role::Office) {
            @if job.state == JobState::Open {
                a.button.quiet href={ "/jobs/" (job.id) "/edit" } { "Change" }
                a.button.quiet href={ "/jobs/" (job.id) "/cancel" } { "Cancel job" }
                @if done {
                    form method="post" action={ "/jobs/" (job.id) "/close" } {
                        (csrf_field(who))
                        input type="hidden" name="version" value=(job.version);
                        button type="submit" { "Close job" }
                    }
                }
            } @else {
                @if job.state == JobState::Done {
                    @if job.collected_on.is_none() { (hand_over_button(who, job, "collected", "Collected")) }
                    @if job.invoiced_on.is_none() { (hand_over_button(who, job, "invoiced", "Invoiced")) }
                }
                a.button.quiet href={ "/jobs/" (job.id) "/reopen" } { "Reopen" }
            }
        }
    }
}

fn hand_over_button(who: &SignedIn, job: &Job, what: &str, words: &str) -> Markup {
    html! {
        form method="post" action={ "/jobs/" (job.id) "/" (what) } {
            (csrf_field(who))
            input type="hidden" name="version" value=(job.version);
            button type="submit" { (words) }
        }
    }
}

async fn collected(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<EndForm>) -> Answer {
    handed_over(&who, *id, &form, HandedOver::Collected).await
}

async fn invoiced(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<EndForm>) -> Answer {
    handed_over(&who, *id, &form, HandedOver::Invoiced).await
}

async fn handed_over(who: &SignedIn, id: Uuid, form: &EndForm, what: HandedOver) -> Answer {
    hand_over(&who.actor(), id, form.version(), what, Utc::now()).await?;
    Ok(Reply::see_other(format!("/jobs/{id}")).flash(match what {
        HandedOver::Collected => "Collected today.",
        HandedOver::Invoiced => "Invoiced today.",
    }))
}

/// What was done to the job by hand, and why.
pub(super) fn steps(who: &SignedIn, all: &JobOverview) -> Markup {
    html! {
        @if !all.steps.is_empty() {
            section.card {
                h2 { "Manual changes" }
                ul.plain {
                    @for step in &all.steps {
                        li {
                            (moment(step.at, who.shop.time_zone, who.today())) ", " (step.person.as_deref().unwrap_or("the program"))
                            ": " (words::job_step(step.kind)) @if !step.reason.is_empty() { ". " (step.reason) }
                        }
                    }
                }
            }
        }
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct EndForm {
    version: String,
    reason: String,
}

impl EndForm {
    fn version(&self) -> i32 {
        self.version.parse().unwrap_or(0)
    }
}

async fn close(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<EndForm>) -> Answer {
    let end = JobEnd {
        id: *id,
        version: form.version(),
        how: Ending::Done,
        reason: String::new(),
    };
    close_job(&who.actor(), &end).await?;
    Ok(Reply::see_other(format!("/jobs/{id}")).flash("Closed. Its castings are marked as used."))
}

/// What becomes of what a cancelled job has.
fn released(needs: &[Need]) -> Markup {
    let castings: Vec<i64> = needs
        .iter()
        .filter_map(|need| need.source.our_casting())
        .collect();
    let taken: Vec<&str> = needs
        .iter()
        .filter_map(|need| match &need.source {
            Source::Stock {
                cover: Cover::Taken,
                ..
            } => Some(need.details.what.as_str()),
            Source::Tool {
                name,
                loan: Some(loan),
                ..
            } if loan.ours => Some(name.as_str()),
            _ => None,
        })
        .collect();
    html! {
        ul {
            li { "Its slot in the plan is free for other work." }
            @for number in &castings { li { "Casting " (number) " goes back on the shelf. If work was done on it, correct its record." } }
            li { "Stock that was kept for it is free." }
            @if !taken.is_empty() { li { "Taken out already: " (taken.join(", ")) ". Put back what is not used, on the job’s page, first." } }
            li { "Booked hours and their cost stay on record." }
        }
    }
}

async fn read(who: &SignedIn, id: Uuid) -> Result<(Job, Vec<Need>), WebError> {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let job = jobs::get(&mut tx, id).await?;
    let needs = needs::of_job(&mut tx, id).await?;
    Ok((job, needs))
}

fn cancel_page(
    who: &SignedIn,
    job: &Job,
    needs: &[Need],
    form: &EndForm,
    errors: &FormErrors,
) -> Page {
    let title = format!("Cancel job {}", job.number);
    let body = html! {
        h1 { (title) }
        p { (job.title) }
        (errors.summary())
        (released(needs))
        form.grid method="post" action={ "/jobs/" (job.id) "/cancel" } novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            (Field::text("reason", "Reason", &form.reason).wide().autofocus(errors.is_empty()).errors(errors))
            div.actions {
                button type="submit" { "Cancel the job" }
                a.button.quiet href={ "/jobs/" (job.id) } { "Keep it" }
            }
        }
    };
    Page::new(who, title).nav(Section::Jobs).body(body)
}

/// Why a job cannot be cancelled as it is.
fn not_yet(who: &SignedIn, job: &Job, why: &str) -> Page {
    let title = format!("Cancel job {}", job.number);
    let body = html! {
        h1 { (title) }
        p { (job.title) }
        p.notice.warn { (why) }
        div.actions { a.button href={ "/jobs/" (job.id) } { "Back to the job" } }
    };
    Page::new(who, title).nav(Section::Jobs).body(body)
}

async fn ask_cancel(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let (job, needs) = read(&who, *id).await?;
    let mut tx = who.begin().await?;
    let unsettled = unsettled(&mut tx, *id).await?;
    drop(tx);
    match job.state.end(Ending::Cancelled, unsettled) {
        Ok(_) => {}
        Err(why @ NotPossible::Closed(_)) => return Err(WebError::Refused(Refusal::Job(why))),
        Err(why) => {
            let why = words::refusal(&Refusal::Job(why), who.today());
            return Ok(not_yet(&who, &job, &why).into());
        }
    }
    let form = EndForm {
        version: job.version.to_string(),
        ..EndForm::default()
    };
    Ok(cancel_page(&who, &job, &needs, &form, &FormErrors::default()).into())
}

async fn cancel(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<EndForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    if let Some(reason) = errors.text("reason", &form.reason, 500) {
        let end = JobEnd {
            id: *id,
            version: form.version(),
            how: Ending::Cancelled,
            reason,
        };
        match close_job(&who.actor(), &end).await {
            Ok(()) => {
                return Ok(Reply::see_other(format!("/jobs/{id}")).flash("The job is cancelled."));
            }
            Err(AppError::Refused(why @ Refusal::JobChange(_))) => {
                errors.add("reason", words::refusal(&why, who.today()));
            }
            Err(error) => return Err(error.into()),
        }
    }
    let (job, needs) = read(&who, *id).await?;
    Ok(cancel_page(&who, &job, &needs, &form, &errors)
        .invalid()
        .into())
}

fn reopen_page(who: &SignedIn, job: &Job, form: &EndForm, errors: &FormErrors) -> Page {
    let title = format!("Reopen job {}", job.number);
    let body = html! {
        h1 { (title) }
        p { (job.title) }
        p { "It goes back into the plan with what is left to do. Its castings are set aside for it again, if they are still there." }
        (errors.summary())
        form.grid method="post" action={ "/jobs/" (job.id) "/reopen" } novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            (Field::text("reason", "Reason", &form.reason).wide().autofocus(errors.is_empty()).errors(errors))
            div.actions {
                button type="submit" { "Reopen the job" }
                a.button.quiet href={ "/jobs/" (job.id) } { "Leave it closed" }
            }
        }
    };
    Page::new(who, title).nav(Section::Jobs).body(body)
}

async fn ask_reopen(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let (job, _) = read(&who, *id).await?;
    if let Err(why) = job.state.reopen() {
        return Err(WebError::Refused(Refusal::Job(why)));
    }
    let form = EndForm {
        version: job.version.to_string(),
        ..EndForm::default()
    };
    Ok(reopen_page(&who, &job, &form, &FormErrors::default()).into())
}

async fn reopen(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<EndForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    if let Some(reason) = errors.text("reason", &form.reason, 500) {
        match reopen_job(&who.actor(), *id, form.version(), &reason).await {
            Ok(gone) => {
                let said = match gone.as_slice() {
                    [] => "The job is open again.".to_owned(),
                    gone => {
                        let gone: Vec<String> = gone.iter().map(i64::to_string).collect();
                        format!(
                            "The job is open again. No longer free: casting {}. Find another for it under Materials and parts.",
                            gone.join(", ")
                        )
                    }
                };
                return Ok(Reply::see_other(format!("/jobs/{id}")).flash(said));
            }
            Err(AppError::Refused(why @ Refusal::JobChange(_))) => {
                errors.add("reason", words::refusal(&why, who.today()));
            }
            Err(error) => return Err(error.into()),
        }
    }
    let (job, _) = read(&who, *id).await?;
    Ok(reopen_page(&who, &job, &form, &errors).invalid().into())
}
