//! The list of jobs: views, a filter, sorting and pages, all kept in the address; the same as a file.

use crate::app::job_list::{Asked, JobList, Row, View, job_list};
use crate::app::settle;
use crate::db::job_list::Sort;
use crate::db::jobs;
use crate::db::people::Role;
use crate::jobs::Lateness;
use crate::units::Code;
use crate::web::ui::floor_words::{job_stage, lateness};
use crate::web::ui::{Answer, Field, FormErrors, Page, Section, SignedIn, csv, show};
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/jobs", web::get().to(list))
        .route("/jobs.csv", web::get().to(download));
}

/// Rows on one page.
const ROWS: u32 = 25;
/// Rows of a file: more are asked for by a narrower view.
const MOST: u32 = 20_000;

/// The address, as it was typed or followed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct Query {
    view: String,
    q: String,
    sort: String,
    desc: String,
    page: String,
}

impl Query {
    /// What is asked for; what does not read is the usual.
    fn asked(&self, rows: u32) -> Asked {
        let sort = Sort::from_code(&self.sort).unwrap_or_default();
        Asked {
            view: View::from_code(&self.view).unwrap_or_default(),
            words: self.q.chars().take(100).collect(),
            sort,
            // The newest stands first unless somebody sorts.
            descending: self.sort.is_empty() || !self.desc.is_empty(),
            page: self.page.parse().unwrap_or(1).clamp(1, 1_000_000),
            rows,
        }
    }
}

/// The address of what is asked for.
fn address(path: &str, asked: &Asked) -> String {
    let usual = asked.sort == Sort::Number && asked.descending;
    let mut query = form_urlencoded::Serializer::new(String::new());
    if asked.view != View::default() {
        query.append_pair("view", asked.view.code());
    }
    if !asked.words.is_empty() {
        query.append_pair("q", &asked.words);
    }
    if !usual {
        query.append_pair("sort", asked.sort.code());
        if asked.descending {
            query.append_pair("desc", "1");
        }
    }
    if asked.page > 1 {
        query.append_pair("page", &asked.page.to_string());
    }
    match query.finish() {
        query if query.is_empty() => path.to_owned(),
        query => format!("{path}?{query}"),
    }
}

fn view_name(view: View) -> &'static str {
    match view {
        View::Open => "Open",
        View::Late => "Late",
        View::Waiting => "Waiting for something",
        View::ToInvoice => "To invoice",
        View::Done => "Done",
        View::All => "All",
    }
}

async fn list(who: SignedIn, query: web::Query<Query>) -> Answer {
    let asked = query.asked(ROWS);
    let found = job_list(&who.actor(), &asked, Utc::now()).await?;
    let ahead = asked.view == View::Open && asked.words.is_empty() && asked.page == 1;
    let (load, to_settle) = if ahead {
        let mut tx = who.begin().await?;
        let load = jobs::machine_load(&mut tx).await?;
        drop(tx);
        (load, settle::open(&who.actor(), Utc::now()).await?.count())
    } else {
        (Vec::new(), 0)
    };
    let body = html! {
        div.bar {
            h1 { "Jobs" }
            @if who.may(Role::Office) { div.actions { a.button href="/jobs/new" data-key="n" data-key-label="New job" { "New job" } } }
        }
        (views(&who, &asked))
        (filter(&asked))
        @if to_settle > 0 {
            p.notice.warn { span.sign aria-hidden="true" { "!" } " " a href="/jobs/settle" { "Needs attention: " (to_settle) } " – holds, clocks left running, conflicting bookings, calls to customers." }
        }
        @if found.rows.is_empty() { (nothing(&asked)) } @else { (table(&who, &asked, &found)) }
        (pages(&asked, found.all))
        @if !load.is_empty() {
            details.card {
                summary { "Work ahead, by machine" }
                table.cells.small {
                    thead { tr { th scope="col" { "Machine" } th.number scope="col" { "Operations" } th.number scope="col" { "Standard time" } } }
                    tbody { @for machine in &load {
                        tr {
                            th scope="row" { (machine.machine_kind) }
                            td.number data-label="Operations" { (machine.operations) }
                            td.number data-label="Standard time" { (machine.minutes.rounded()) }
                        }
                    } }
                }
            }
        }
    };
    Ok(Page::new(&who, "Jobs").nav(Section::Jobs).body(body).into())
}

/// The views to choose from. What is to be invoiced is the office's.
fn views(who: &SignedIn, asked: &Asked) -> Markup {
    let mine = |view: &&View| **view != View::ToInvoice || who.may(Role::Office);
    html! {
        nav.tabs aria-label="Jobs" {
            @for view in View::ALL.iter().filter(mine) {
                @let to = Asked { view: *view, page: 1, ..asked.clone() };
                a href=(address("/jobs", &to)) aria-current=[(*view == asked.view).then_some("page")] { (view_name(*view)) }
            }
        }
    }
}

fn filter(asked: &Asked) -> Markup {
    html! {
        form.grid.review-form.no-print method="get" action="/jobs" novalidate {
            @if asked.view != View::default() { input type="hidden" name="view" value=(asked.view.code()); }
            @if !(asked.sort == Sort::Number && asked.descending) {
                input type="hidden" name="sort" value=(asked.sort.code());
                @if asked.descending { input type="hidden" name="desc" value="1"; }
            }
            (Field::text("q", "Number, title or customer", &asked.words).optional().errors(&FormErrors::default()))
            div.actions {
                button type="submit" { "Find" }
                @if !asked.words.is_empty() {
                    @let to = Asked { words: String::new(), page: 1, ..asked.clone() };
                    a.button.quiet href=(address("/jobs", &to)) { "Clear" }
                }
            }
        }
    }
}

fn nothing(asked: &Asked) -> Markup {
    html! {
        section.card {
            p {
                @if !asked.words.is_empty() || asked.page > 1 { "No such job here." }
                @else {
                    @match asked.view {
                        View::Open | View::All => "No jobs. An accepted quote becomes a job. Other work is entered with New job.",
                        View::Late => "No open job is late, and none will be by the plan.",
                        View::Waiting => "No open job waits for anything.",
                        View::ToInvoice => "Every job that is done is invoiced.",
                        View::Done => "No job is done yet.",
                    }
                }
            }
        }
    }
}

/// The head of a column by which, or by either of which, the list is sorted; a second press turns it round.
fn head(asked: &Asked, sorts: &[(Sort, &str)], class: Option<&str>) -> Markup {
    let here = sorts.iter().any(|(sort, _)| *sort == asked.sort);
    let order = if asked.descending {
        "descending"
    } else {
        "ascending"
    };
    html! {
        th scope="col" class=[class] aria-sort=[here.then_some(order)] {
            @for (at, (sort, name)) in sorts.iter().enumerate() {
                @let mine = asked.sort == *sort;
                @let to = Asked { sort: *sort, descending: mine && !asked.descending, page: 1, ..asked.clone() };
                @if at > 0 { ", " }
                a href=(address("/jobs", &to)) { (name) @if mine { " " span aria-hidden="true" { @if asked.descending { "↓" } @else { "↑" } } } }
            }
        }
    }
}

fn table(who: &SignedIn, asked: &Asked, found: &JobList) -> Markup {
    let money = who.may(Role::Office);
    html! {
        table.cells.job-list {
            thead { tr {
                (head(asked, &[(Sort::Number, "No.")], None))
                (head(asked, &[(Sort::Title, "Job"), (Sort::Customer, "customer")], None))
                th.spare scope="col" { "Now at" }
                (head(asked, &[(Sort::Due, "Promised"), (Sort::Ready, "ready")], None))
                @if money { (head(asked, &[(Sort::Value, "Value")], Some("number spare"))) }
                th scope="col" { "Status" }
            } }
            tbody { @for row in &found.rows { (job(who, row, money)) } }
        }
    }
}

fn job(who: &SignedIn, row: &Row, money: bool) -> Markup {
    let job = &row.job;
    let today = who.today();
    let late = matches!(row.lateness, Some(Lateness::Late(_) | Lateness::Overdue(_)));
    // Most titles end in whom the work is for.
    let named = !job.customer.is_empty() && !job.title.contains(&job.customer);
    html! {
        tr {
            th scope="row" { a href={ "/jobs/" (job.id) } { (job.number) } }
            td data-label="Job" { (job.title) @if named { div.small.muted { (job.customer) } } }
            td.spare data-label="Now at" {
                @match &job.current { Some(at) => { (at.number) " " (at.title) }, None => span.muted { "all done" } }
                div.small.muted { (job.done) " of " (job.operations) " done" }
            }
            td data-label="Promised" {
                @match job.promised_on {
                    Some(day) => (show::day(day, today)),
                    None => { (show::day(job.due_on, today)) " " span.small.muted { "due" } },
                }
                div.small {
                    @if let Some(day) = row.ready_on { "ready " (show::day(day, today)) ", " }
                    @if let Some(how) = row.lateness { @if late { strong { (lateness(how)) } } @else { (lateness(how)) } }
                }
            }
            @if money { td.number.spare data-label="Value" { @match job.value { Some(value) => (show::whole(value)), None => "–" } } }
            td data-label="Status" { span.tag { (job_stage(row.stage)) } }
        }
    }
}

fn pages(asked: &Asked, all: i64) -> Markup {
    let last =
        u32::try_from((all + i64::from(asked.rows) - 1) / i64::from(asked.rows)).unwrap_or(1);
    let to = |page: u32| {
        let to = Asked {
            page,
            ..asked.clone()
        };
        address("/jobs", &to)
    };
    let file = Asked {
        page: 1,
        ..asked.clone()
    };
    html! {
        @if all > 0 {
            p.no-print {
                (show::count(all, "job", "jobs"))
                @if last > 1 {
                    ", page " (asked.page) " of " (last) ". "
                    @if asked.page > 1 { a href=(to(asked.page - 1)) rel="prev" { "Back" } " " }
                    @if asked.page < last { a href=(to(asked.page + 1)) rel="next" { "Next" } " " }
                }
                @else { ". " }
                a href=(address("/jobs.csv", &file)) { "Download for a spreadsheet" }
            }
        }
    }
}

async fn download(who: SignedIn, query: web::Query<Query>) -> Answer {
    let asked = Asked {
        page: 1,
        ..query.asked(MOST)
    };
    let found = job_list(&who.actor(), &asked, Utc::now()).await?;
    let money = who.may(Role::Office);
    let mut head: Vec<String> = [
        "Number",
        "Job",
        "Customer",
        "Now at",
        "Operations done",
        "Operations",
        "Due",
        "Promised",
        "Ready by the plan",
        "Status",
        "Collected",
        "Invoiced",
    ]
    .map(str::to_owned)
    .to_vec();
    if money {
        head.extend(["Value".to_owned(), "Currency".to_owned()]);
    }
    let rows = found.rows.into_iter().map(|row| {
        let job = row.job;
        let day = |day: Option<chrono::NaiveDate>| day.map(|d| d.to_string()).unwrap_or_default();
        let mut fields = vec![
            job.number.to_string(),
            job.title,
            job.customer,
            job.current
                .map(|at| format!("{} {}", at.number, at.title))
                .unwrap_or_default(),
            job.done.to_string(),
            job.operations.to_string(),
            job.due_on.to_string(),
            day(job.promised_on),
            day(row.ready_on),
            job_stage(row.stage).to_owned(),
            day(job.collected_on),
            day(job.invoiced_on),
        ];
        if money {
            fields.push(
                job.value
                    .map(|v| v.amount().to_string())
                    .unwrap_or_default(),
            );
            fields.push(
                job.value
                    .map(|v| v.currency().code().to_owned())
                    .unwrap_or_default(),
            );
        }
        fields
    });
    Ok(csv::download("jobs.csv", std::iter::once(head).chain(rows)).into())
}
