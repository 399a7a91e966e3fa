//! A set of reusable tooling: where it is, and with which job.

use super::form::coming;
use super::or_nothing;
use crate::db::jobs::{self, Job, JobState};
use crate::db::people::Role;
use crate::db::tools::{self, Tool, ToolDetails};
use crate::db::{DbError, ShopTx, history};
use crate::web::screens::castings::{back, version, written_down};
use crate::web::screens::market::today;
use crate::web::ui::forms::Choice;
use crate::web::ui::history as past;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field, show,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::NaiveDate;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/stock/tools/new")
            .route(web::get().to(blank))
            .route(web::post().to(add)),
    )
    .service(
        web::resource("/stock/tools/{id}")
            .route(web::get().to(show_tool))
            .route(web::post().to(save)),
    )
    .route("/stock/tools/{id}/out", web::post().to(out))
    .route("/stock/tools/{id}/expect", web::post().to(expect))
    .route("/stock/tools/{id}/back", web::post().to(home));
}

/// Where a set's page is.
pub(super) fn path(id: Uuid) -> String {
    format!("/stock/tools/{id}")
}

/// Where a set is, in words.
pub(super) fn whereabouts(tool: &Tool, today: NaiveDate) -> Markup {
    html! {
        @match &tool.out {
            None => span.tag { "in the shop" },
            Some(out) => {
                @if out.is_overdue(today) { span.tag.hole { "overdue" } } @else { span.tag { "out" } }
                " with " a href={ "/jobs/" (out.job_id) "#needs" } { "job " (out.job_number) }
                @if !out.job_open { ", which is closed: is it back?" }
                @if let Some(on) = out.back_on() { ", back by " (show::day(on)) }
            }
        }
    }
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct ToolForm {
    name: String,
    kept_at: String,
    note: String,
    active: String,
    version: String,
}

impl ToolForm {
    fn of(tool: &Tool) -> Self {
        Self {
            name: tool.details.name.clone(),
            kept_at: tool.details.kept_at.clone(),
            note: tool.details.note.clone(),
            active: if tool.details.active { "yes" } else { "" }.to_owned(),
            version: tool.version.to_string(),
        }
    }

    fn read(&self, errors: &mut FormErrors) -> Option<ToolDetails> {
        let name = errors.required_text("name", &self.name, 120);
        let kept_at = errors.text("kept_at", &self.kept_at, 120);
        let note = errors.text("note", &self.note, 400);
        Some(ToolDetails {
            name: name?,
            kept_at: kept_at?,
            note: note?,
            active: self.active == "yes",
        })
    }

    fn differs_from(&self, typed: &Self) -> Vec<Changed> {
        let used = |form: &Self| if form.active == "yes" { "yes" } else { "no" };
        [
            Changed::if_differs("Name", &self.name, typed.name.trim()),
            Changed::if_differs("Kept", &self.kept_at, typed.kept_at.trim()),
            Changed::if_differs("Note", &self.note, typed.note.trim()),
            Changed::if_differs("Still in use", used(self), used(typed)),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    fn fields(&self, errors: &FormErrors) -> Markup {
        html! {
            (Field::text("name", "Name", &self.name).hint("One set or piece: what goes out and comes back together").errors(errors))
            (Field::text("kept_at", "Kept", &self.kept_at).optional().errors(errors))
            (Field::textarea("note", "Note", &self.note, 2).optional().errors(errors))
            (Field::checkbox("active", "Still in use", self.active == "yes"))
        }
    }
}

fn new_page(who: &SignedIn, form: &ToolForm, errors: &FormErrors) -> Page {
    let fields = form.fields(errors);
    super::new_page(
        who,
        "Tooling that comes back",
        "/stock/tools/new",
        &fields,
        errors,
    )
}

async fn blank(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    let form = ToolForm {
        active: "yes".to_owned(),
        ..ToolForm::default()
    };
    Ok(new_page(&who, &form, &FormErrors::default()).into())
}

async fn add(who: SignedIn, form: CheckedForm<ToolForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    if let Some(details) = form.read(&mut errors) {
        let mut tx = who.begin().await?;
        match tools::insert(&mut tx, &details).await {
            Ok(id) => {
                tx.commit().await?;
                return Ok(Reply::see_other(path(id)).flash("The tooling is added."));
            }
            Err(error) => errors.absorb(error)?,
        }
    }
    Ok(new_page(&who, &form, &errors).invalid().into())
}

/// What is typed to send a set out.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct LoanForm {
    job: String,
    /// The day it comes back.
    expected: String,
}

/// How many open jobs stand in the list.
const JOBS: u16 = 200;

async fn draw(
    tx: &mut ShopTx,
    who: &SignedIn,
    id: Uuid,
    form: Option<&ToolForm>,
    loan: &LoanForm,
    errors: &FormErrors,
    notice: &Markup,
) -> Result<Page, DbError> {
    let tool = tools::get(tx, id).await?;
    let jobs = jobs::list(tx, &[JobState::Open], None, JOBS).await?;
    let changes = history::of_row(tx, "tool", id).await?;
    let stored = ToolForm::of(&tool);
    let form = form.unwrap_or(&stored);
    let body = html! {
        (back("/stock#tooling", "Stock"))
        h1 { (tool.details.name) }
        (notice)
        (errors.summary())
        section.card {
            dl.figures {
                div { dt { "Where it is" } dd { (whereabouts(&tool, today(who))) } }
                @if let Some(out) = &tool.out {
                    div { dt { "Since" } dd { (show::moment(out.since, who.shop.time_zone)) @if let Some(by) = &out.by { ", " (by) } } }
                }
                div { dt { "Kept" } dd { (or_nothing(&tool.details.kept_at)) } }
                div { dt { "Note" } dd { (or_nothing(&tool.details.note)) } }
            }
            (lend(who, &tool, &jobs, loan, errors))
        }
        @if who.may(Role::Office) {
            (written_down(who, &path(id), &form.version, &form.fields(errors), !errors.is_empty() || !notice.0.is_empty()))
        }
        (past::section(who, &changes))
    };
    Ok(Page::new(who, tool.details.name.as_str())
        .nav(Section::Stock)
        .body(body))
}

/// Out with a job, or back from it. Whoever fetches it may say so.
fn lend(who: &SignedIn, tool: &Tool, jobs: &[Job], loan: &LoanForm, errors: &FormErrors) -> Markup {
    let choices = jobs
        .iter()
        .map(|job| Choice::new(job.id, format!("{} {}", job.number, job.title)))
        .collect();
    let stored = tool.out.as_ref().and_then(|out| out.expected_on);
    let expected = if loan.expected.is_empty() {
        stored.map(|day| day.to_string()).unwrap_or_default()
    } else {
        loan.expected.clone()
    };
    html! {
        @if let Some(out) = &tool.out {
            form method="post" action={ (path(tool.id)) "/back" } {
                (csrf_field(who))
                input type="hidden" name="job" value=(out.job_id);
                button type="submit" { "It is back" }
            }
            form.grid method="post" action={ (path(tool.id)) "/expect" } novalidate {
                (csrf_field(who))
                input type="hidden" name="job" value=(out.job_id);
                (Field::date("expected", "Back by", &expected).optional().hint("Without a day: when the job that has it is due").errors(errors))
                div.actions { button.quiet type="submit" { "Set the day" } }
            }
        } @else {
            form.grid method="post" action={ (path(tool.id)) "/out" } novalidate {
                (csrf_field(who))
                (Field::select("job", "Out with job", &loan.job, choices).errors(errors))
                div.actions { button type="submit" { "Take it out" } }
            }
        }
    }
}

async fn show_tool(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    let (loan, errors) = (LoanForm::default(), FormErrors::default());
    Ok(draw(&mut tx, &who, *id, None, &loan, &errors, &html! {})
        .await?
        .into())
}

async fn save(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<ToolForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let loan = LoanForm::default();
    let mut tx = who.begin().await?;
    if let Some(details) = form.read(&mut errors) {
        match tools::update(&mut tx, *id, version(&form.version)?, &details).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other(path(*id)).flash("Saved."));
            }
            Err(DbError::Stale(what)) => {
                let now = ToolForm::of(&tools::get(&mut tx, *id).await?);
                let notice = stale_notice(what, &now.differs_from(&form));
                let mine = ToolForm {
                    version: now.version,
                    ..form.into_inner()
                };
                let page = draw(&mut tx, &who, *id, Some(&mine), &loan, &errors, &notice).await?;
                return Ok(page.status(StatusCode::CONFLICT).into());
            }
            Err(error) => {
                errors.absorb(error)?;
                // The refused statement ended the transaction.
                tx = who.begin().await?;
            }
        }
    }
    let page = draw(&mut tx, &who, *id, Some(&form), &loan, &errors, &html! {}).await?;
    Ok(page.invalid().into())
}

async fn out(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<LoanForm>) -> Answer {
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    if let Some(job_id) = errors.row("job", &form.job) {
        match tools::take_out(&mut tx, *id, job_id).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other(path(*id)).flash("It is out with the job."));
            }
            Err(DbError::Refused(why)) => {
                errors.add("job", why);
                tx = who.begin().await?;
            }
            Err(error) => return Err(error.into()),
        }
    }
    let page = draw(&mut tx, &who, *id, None, &form, &errors, &html! {}).await?;
    Ok(page.invalid().into())
}

/// Another day to count on than that of the job.
async fn expect(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<LoanForm>) -> Answer {
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let on = errors.optional(&form.expected, |errors| {
        coming(errors, "expected", &form.expected, today(&who))
    });
    if let (Some(job_id), Some(on)) = (errors.row("job", &form.job), on) {
        tools::expect_back(&mut tx, *id, job_id, on).await?;
        tx.commit().await?;
        return Ok(Reply::see_other(path(*id)).flash("The day is set."));
    }
    let page = draw(&mut tx, &who, *id, None, &form, &errors, &html! {}).await?;
    Ok(page.invalid().into())
}

async fn home(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<LoanForm>) -> Answer {
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    if let Some(job_id) = errors.row("job", &form.job) {
        tools::bring_back(&mut tx, *id, job_id).await?;
        tx.commit().await?;
        return Ok(Reply::see_other(path(*id)).flash("It is back."));
    }
    let loan = LoanForm::default();
    let page = draw(&mut tx, &who, *id, None, &loan, &errors, &html! {}).await?;
    Ok(page.invalid().into())
}
