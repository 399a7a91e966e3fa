//! The list of jobs: views, a filter, sorting and pages, all kept in the address; the same as a file.

use crate::app::job_list::{self, Asked, JobList, Row, View, job_list};
use crate::app::settle;
use crate::db::job_list::Sort;
use crate::db::lists::Part;
use crate::db::people::Role;
use crate::jobs::Lateness;
use crate::units::Code;
use crate::web::shell::site::Site;
use crate::web::ui::floor_words::{job_stage, lateness};
use crate::web::ui::{self, Answer, ListQuery, Page, Section, SignedIn, csv, show};
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route(PATH, web::get().to(list))
        .route("/jobs.csv", web::get().to(download));
}

const PATH: &str = "/jobs";

/// The jobs as they are asked for; the newest stands first unless somebody sorts.
type List = ui::List<View, Sort>;

fn asked(list: &List, rows: Part) -> Asked {
    Asked {
        view: list.view,
        words: list.words.clone(),
        sort: list.sort,
        part: rows,
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

async fn list(who: SignedIn, site: web::Data<Site>, query: web::Query<ListQuery>) -> Answer {
    let list: List = query.read(PATH, true);
    let mut tx = who.begin().await?;
    let asked = asked(&list, list.part());
    let now = Utc::now();
    let work = job_list::open_work(&mut tx, &site.facts, now).await?;
    let found = job_list::read(&mut tx, who.may(Role::Office), &work, &asked, now).await?;
    let (load, to_settle) = if list.is_unfiltered() {
        let open = settle::open_now(&mut tx, now).await?;
        (&work.load[..], open.count())
    } else {
        (&[][..], 0)
    };
    drop(tx);
    let body = html! {
        div.bar {
            h1 { "Jobs" }
            @if who.may(Role::Office) { div.actions { a.button.quiet href="/jobs/hours" { "Enter hours" } a.button href="/jobs/new" data-key="n" data-key-label="New job" { "New job" } } }
        }
        (list.views("Jobs", &views(&who)))
        (list.filter("Number, title or customer"))
        @if to_settle > 0 {
            p.notice.warn { span.sign aria-hidden="true" { "!" } " " a href="/jobs/settle" { "Needs attention: " (to_settle) } " – holds, clocks left running, conflicting bookings, calls to customers." }
        }
        @if found.rows.is_empty() { (nothing(&list)) } @else { (table(&who, &list, &found)) }
        (list.pages(found.all, "job", "jobs", Some("/jobs.csv")))
        @if !load.is_empty() {
            details.card {
                summary { "Work ahead, by machine" }
                table.cells.small {
                    thead { tr { th scope="col" { "Machine" } th.number scope="col" { "Operations" } th.number scope="col" { "Standard time" } } }
                    tbody { @for machine in load {
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
fn views(who: &SignedIn) -> Vec<(View, &'static str)> {
    let mine = |view: &&View| **view != View::ToInvoice || who.may(Role::Office);
    let views = View::ALL.iter().filter(mine);
    views.map(|view| (*view, view_name(*view))).collect()
}

fn nothing(list: &List) -> Markup {
    html! {
        section.card {
            p {
                @if !list.words.is_empty() || list.page > 1 { "No such job here." }
                @else {
                    @match list.view {
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

fn table(who: &SignedIn, list: &List, found: &JobList) -> Markup {
    let money = who.may(Role::Office);
    html! {
        table.cells.job-list {
            thead { tr {
                (list.head(&[(Sort::Number, "No.")], None))
                (list.head(&[(Sort::Title, "Job"), (Sort::Customer, "customer")], None))
                th.spare scope="col" { "Now at" }
                (list.head(&[(Sort::Due, "Promised"), (Sort::Ready, "ready")], None))
                @if money { (list.head(&[(Sort::Value, "Value")], Some("number spare"))) }
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

async fn download(who: SignedIn, site: web::Data<Site>, query: web::Query<ListQuery>) -> Answer {
    let list: List = query.read(PATH, true);
    let found = job_list(
        &who.actor(),
        &site.facts,
        &asked(&list, list.whole()),
        Utc::now(),
    )
    .await?;
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
