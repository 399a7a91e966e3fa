//! A set of reusable tooling: where it is, and with which job.

use super::form::coming;
use super::or_nothing;
use crate::app::{AppError, lend_tool};
use crate::db::jobs::{self, Job, JobState};
use crate::db::people::Role;
use crate::db::tools::{self, Tool, ToolDetails};
use crate::db::{DbError, ShopTx, history};
use crate::web::screens::castings::{back, details_and_history};
use crate::web::ui::forms::Choice;
use crate::web::ui::history as past;
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    show, words,
};
use actix_web::web;
use chrono::NaiveDate;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<ToolSheet>(cfg);
    cfg.route("/stock/tools/{id}/out", web::post().to(out))
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
                @if !out.job_open { ", which is closed. Is it back?" }
                @if let Some(on) = out.back_on() { ", back by " (show::day(on, today)) }
            }
        }
    }
}

/// A set's details.
#[derive(Debug, Clone)]
pub(super) struct ToolSheet {
    id: Uuid,
    details: ToolDetails,
    version: i32,
}

impl ToolSheet {
    fn of(tool: Tool) -> Self {
        Self {
            id: tool.id,
            details: tool.details,
            version: tool.version,
        }
    }
}

impl Record for ToolSheet {
    type Around = ();
    const NAV: Section = Section::Stock;
    const READ: Role = Role::Machinist;
    const WRITE: Role = Role::Office;
    const PATHS: Paths = Paths {
        new: "/stock/tools/new",
        add: "/stock/tools/new",
        edit: "/stock/tools/{id}",
        delete: "",
        copy: "",
    };
    const API: Api = Api::of("tooling", "/api/v1/tooling", "/api/v1/tooling/{id}");

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        Ok(Self::of(tools::get(tx, at.id).await?))
    }

    async fn list(tx: &mut ShopTx, _: &SignedIn, _: &At) -> Result<Vec<Self>, WebError> {
        let tools = tools::list(tx, true).await?;
        Ok(tools.into_iter().map(Self::of).collect())
    }

    async fn around(
        _: &mut ShopTx,
        _: &SignedIn,
        _: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(())
    }

    fn blank((): &(), _: &SignedIn, _: &At) -> Self {
        Self {
            id: Uuid::nil(),
            details: ToolDetails {
                name: String::new(),
                kept_at: String::new(),
                note: String::new(),
                active: true,
            },
            version: 1,
        }
    }

    fn fields((): &(), who: &SignedIn, _: bool) -> Fields<Self> {
        let mut f = Fields::<Self>::new(who);
        f.text("name", "Name", 120, at!(details.name))
            .hint("One set or piece: what goes out and comes back together");
        f.note("kept_at", "Kept at", 120, at!(details.kept_at));
        f.area("note", "Note", 2, 400, at!(details.note));
        f.tick("active", "Still in use", at!(details.active));
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        self.id = tools::insert(tx, &self.details).await?;
        Ok(())
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        tools::update(tx, self.id, self.version, &self.details).await
    }

    fn words(&self, (): &(), new: bool) -> Words {
        let back = "/stock#tooling";
        Words::of(new, "Add tooling", &self.details.name, back).back("Stock")
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        let words = match done {
            Done::Added => "The tooling is added.",
            _ => "Saved.",
        };
        (path(self.id), words.to_owned())
    }

    async fn page(sheet: Sheet<Self>, tx: &mut ShopTx) -> Result<Page, WebError> {
        if sheet.stored.is_none() {
            return Ok(sheet.page());
        }
        draw(tx, sheet, &LoanForm::default(), &FormErrors::default()).await
    }
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

/// A set's page; `loan` and `errors` are what was typed to send it out.
async fn draw(
    tx: &mut ShopTx,
    sheet: Sheet<ToolSheet>,
    loan: &LoanForm,
    errors: &FormErrors,
) -> Result<Page, WebError> {
    let who = &sheet.who;
    let id = sheet.draft.id;
    let tool = tools::get(tx, id).await?;
    let jobs = jobs::list(tx, &[JobState::Open], None, JOBS).await?;
    let changes = history::of_row(tx, "tool", id).await?;
    let open = !sheet.errors.is_empty() || !sheet.notice.0.is_empty();
    let body = html! {
        (back("/stock#tooling", "Stock"))
        h1 { (tool.details.name) }
        (sheet.notice)
        (sheet.errors.summary())
        (errors.summary())
        section.card {
            dl.figures {
                div { dt { "Where it is" } dd { (whereabouts(&tool, who.today())) } }
                @if let Some(out) = &tool.out {
                    div { dt { "Since" } dd { (show::moment(out.since, who.shop.time_zone, who.today())) @if let Some(by) = &out.by { ", " (by) } } }
                }
                div { dt { "Kept at" } dd { (or_nothing(&tool.details.kept_at)) } }
                div { dt { "Note" } dd { (or_nothing(&tool.details.note)) } }
            }
            (lend(who, &tool, &jobs, loan, errors))
        }
        @if who.may(Role::Office) {
            (details_and_history(who, &path(id), sheet.typed.get("version"), &sheet.fields(), open))
        }
        (past::section_of(who, past::Kept::Tool, id, &changes))
    };
    Ok(Page::new(who, tool.details.name.as_str())
        .nav(Section::Stock)
        .body(body))
}

/// The page again with what is wrong with a loan.
async fn refused(who: &SignedIn, id: Uuid, loan: &LoanForm, errors: &FormErrors) -> Answer {
    let mut tx = who.begin().await?;
    let sheet = Sheet::stored(who.clone(), At::id(id), &mut tx).await?;
    Ok(draw(&mut tx, sheet, loan, errors).await?.invalid().into())
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
                button type="submit" { "Returned" }
            }
            form.grid method="post" action={ (path(tool.id)) "/expect" } novalidate {
                (csrf_field(who))
                input type="hidden" name="job" value=(out.job_id);
                (Field::date("expected", "Back by", &expected).optional().hint("Without a date: when the job that has it is due").errors(errors))
                div.actions { button.quiet type="submit" { "Set date" } }
            }
        } @else {
            form.grid method="post" action={ (path(tool.id)) "/out" } novalidate {
                (csrf_field(who))
                (Field::select("job", "Job", &loan.job, choices).errors(errors))
                div.actions { button type="submit" { "Lend to job" } }
            }
        }
    }
}

async fn out(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<LoanForm>) -> Answer {
    let mut errors = FormErrors::default();
    if let Some(job_id) = errors.row("job", &form.job) {
        match lend_tool::take_out(&who.actor(), *id, job_id).await {
            Ok(()) => return Ok(Reply::see_other(path(*id)).flash("Out with the job.")),
            Err(AppError::Refused(why)) => errors.add("job", words::refusal(&why, who.today())),
            Err(error) => return Err(error.into()),
        }
    }
    refused(&who, *id, &form, &errors).await
}

/// Another day to count on than that of the job.
async fn expect(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<LoanForm>) -> Answer {
    let mut errors = FormErrors::default();
    let on = errors.optional(&form.expected, |errors| {
        coming(errors, "expected", &form.expected, who.today())
    });
    if let (Some(job_id), Some(on)) = (errors.row("job", &form.job), on) {
        lend_tool::expect_back(&who.actor(), *id, job_id, on).await?;
        return Ok(Reply::see_other(path(*id)).flash("The date is set."));
    }
    refused(&who, *id, &form, &errors).await
}

async fn home(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<LoanForm>) -> Answer {
    let mut errors = FormErrors::default();
    if let Some(job_id) = errors.row("job", &form.job) {
        lend_tool::bring_back(&who.actor(), *id, job_id).await?;
        return Ok(Reply::see_other(path(*id)).flash("Returned."));
    }
    refused(&who, *id, &LoanForm::default(), &errors).await
}
