//! Late or at risk: every job that is due with its chance, what holds it up, and what would help.

mod chain;

use super::preview::href;
use super::query::WeekQuery;
use super::sheet::{Stretch, today};
use super::words::{job_href, long_number, percent, slack_cell, slack_words, status_words};
use crate::app::current_plan::CurrentPlan;
use crate::app::explain_jobs::ExplainedJob;
use crate::app::week::risks;
use crate::db::people::Role;
use crate::planning::engine::explain::WaitedFor;
use crate::planning::floor::{Floor, FloorJob, GateState, OpenPromise, PromiseStatus};
use crate::planning::what_if::{Found, Help};
use crate::planning::words::{hours, moment};
use crate::units::text::capitalised;
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, FormErrors, Page, Section, SignedIn, show};
use actix_web::web;
use chain::{Chain, mostly, weights};
use chrono::Utc;
use maud::{Markup, html};

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/week/risk", web::get().to(list));
}

#[derive(Debug, Default, serde::Deserialize)]
#[serde(default)]
struct Which {
    job: String,
}

async fn list(who: SignedIn, site: web::Data<Site>, which: web::Query<Which>) -> Answer {
    let asked = which.job.parse().ok();
    let risks = risks(&who.actor(), &site.plans, asked, Utc::now()).await?;
    let plan = &risks.plan;
    let floor = &plan.floor;
    let stretch =
        WeekQuery::default().stretch(&mut FormErrors::default(), today(who.shop.time_zone));
    let open = plan.timetable.open_promises(floor);
    let may = who.may(Role::Office);
    let body = html! {
        div.bar { h1 { "Late or at risk" } a.button.quiet href="/week" { "The week" } }
        p {
            "The chance says how likely a job is to be on time, given how much work varies, days off sick, breakdowns and rework. "
            "A job is at risk when its chance is below " (percent(floor.confidence)) "."
        }
        (together(plan))
        @for explained in &risks.explained {
            @if let Some(o) = open.iter().find(|o| o.job.id == explained.job) {
                (explained_job(plan, stretch, o, explained, may, asked.is_some()))
            }
        }
        @if asked.is_some() && risks.explained.is_empty() { p.notice.warn #job { "This job is not in the plan." } }
        (unscheduled(plan))
        @if open.is_empty() { section.card { p { "No job has a due date." } } }
        @else { (all(floor, &open)) }
    };
    Ok(Page::new(&who, "Late or at risk")
        .nav(Section::Week)
        .body(body)
        .into())
}

/// Jobs share what makes them late, so a bad week is bad for many.
fn together(plan: &CurrentPlan) -> Markup {
    let text = match plan.timetable.late_together {
        None => return html! {},
        Some(0) => "Even in the bad fifth of weeks no job need go late.".to_owned(),
        Some(1) => "In the bad fifth of weeks, one job goes late.".to_owned(),
        Some(n) => format!(
            "In the bad fifth of weeks, {} jobs or more go late together.",
            spelled(n)
        ),
    };
    html! { p.notice { strong { (text) } " Slow weeks, people off sick and breakdowns hit many jobs at once." } }
}

/// A small number as it is spoken.
fn spelled(n: u32) -> String {
    let words = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
    ];
    match usize::try_from(n).ok().and_then(|n| words.get(n)) {
        Some(word) => (*word).to_owned(),
        None => n.to_string(),
    }
}

/// Jobs that are due and not in the plan, with why.
fn unscheduled(plan: &CurrentPlan) -> Markup {
    let floor = &plan.floor;
    let missing = |job: &&FloorJob| job.due.is_some() && plan.timetable.job(job.id).is_none();
    let missing: Vec<&FloorJob> = floor.jobs.iter().filter(missing).collect();
    html! {
        @if !missing.is_empty() {
            section.notice.warn {
                h2 { span.sign aria-hidden="true" { "!" } " Due, but not scheduled" }
                ul { @for job in missing {
                    li {
                        a href=(job_href(job)) { (long_number(job)) } " " (job.title)
                        @if let Some(due) = job.due { ", " (moment(due, floor.zone)) }
                        @for issue in plan.model.issues.iter().filter(|h| h.job == job.id) { ": " (issue.reason) }
                    }
                } }
            }
        }
    }
}

/// A chance as a bar with a mark where the shop wants it to be.
fn bar(chance: f64, wanted: f64) -> Markup {
    let x = |share: f64| format!("{:.1}", 1.0 + 98.0 * share.clamp(0.0, 1.0));
    html! {
        svg.chance viewBox="0 0 100 14" width="100" height="14" aria-hidden="true" {
            rect.frame x="0.5" y="3.5" width="99" height="7" {}
            rect.full x="1" y="4" width=(format!("{:.1}", 98.0 * chance.clamp(0.0, 1.0))) height="6" {}
            line.wanted x1=(x(wanted)) x2=(x(wanted)) y1="0" y2="14" {}
        }
    }
}

fn all(floor: &Floor, open: &[OpenPromise]) -> Markup {
    // What is on time in every case drawn is folded: on a phone it is a long way down.
    let sure = |o: &OpenPromise| {
        o.status == PromiseStatus::OnTime && o.dates.chance.is_some_and(|c| c >= 1.0)
    };
    let (sure, doubtful): (Vec<&OpenPromise>, Vec<&OpenPromise>) =
        open.iter().partition(|o| sure(o));
    html! {
        section aria-labelledby="all-promises" {
            h2 #all-promises { "Every due date" }
            @if !doubtful.is_empty() { (table(floor, &doubtful)) }
            @if !sure.is_empty() {
                details {
                    summary { (sure.len()) " more are sure to be on time" }
                    (table(floor, &sure))
                }
            }
        }
    }
}

fn table(floor: &Floor, open: &[&OpenPromise]) -> Markup {
    html! {
        table.cells.promises {
            thead { tr {
                th scope="col" { "Job" } th scope="col" { "What" } th scope="col" { "Promised" } th scope="col" { "Ready" }
                th scope="col" { "Slack" } th scope="col" { "Chance" }
            } }
            tbody { @for o in open {
                tr {
                    th scope="row" { a href={ "/week/risk?job=" (o.job.id) "#job" } { (long_number(o.job)) } }
                    td data-label="What" { (o.job.title) }
                    td data-label="Promised" { @if let Some(due) = o.job.due { (moment(due, floor.zone)) } @if !o.job.promised { span.muted { " (own date)" } } }
                    td.when data-label="Ready" { (moment(o.dates.ready_at, floor.zone)) }
                    td data-label="Slack" { (slack_cell(floor, o.dates.slack_minutes)) }
                    td data-label="Chance" {
                        span.tag { (status_words(o.status)) }
                        @if let Some(chance) = o.dates.chance { " " (percent(chance)) " " (bar(chance, floor.confidence)) }
                    }
                }
            } }
        }
    }
}

/// What holds a job up most, in a line.
pub(in crate::web) fn why_late(plan: &CurrentPlan, explained: &ExplainedJob) -> Markup {
    let mostly = mostly(&Chain {
        floor: &plan.floor,
        model: &plan.model,
        job: explained.job,
        explanation: &explained.explanation,
    });
    html! {
        @if let Some(absence) = explained.absences.first() { (absence.words(&plan.floor)) ". " }
        (mostly)
    }
}

fn explained_job(
    plan: &CurrentPlan,
    stretch: Stretch,
    o: &OpenPromise,
    explained: &ExplainedJob,
    may: bool,
    alone: bool,
) -> Markup {
    let floor = &plan.floor;
    let ExplainedJob {
        job,
        explanation,
        helps,
        absences,
    } = explained;
    let chain = Chain {
        floor,
        model: &plan.model,
        job: *job,
        explanation,
    };
    let first = explanation.chain.first().map(|link| link.waited_for);
    html! {
        section.card.week-risk id=[alone.then_some("job")] {
            h2 {
                a href=(job_href(o.job)) { (long_number(o.job)) } " " span.tag { (status_words(o.status)) }
            }
            p {
                (o.job.title) ". "
                @if let Some(due) = o.job.due { "Promised for " (moment(due, floor.zone)) ", " }
                "ready " (moment(o.dates.ready_at, floor.zone)) ": " (slack_words(floor, o.dates.slack_minutes)) "."
                @if let Some(chance) = o.dates.chance { " " (percent(chance)) " chance of being on time. " (bar(chance, floor.confidence)) }
                @if let Some(by) = o.dates.sure_by { " " (percent(floor.confidence)) " sure by " (moment(by, floor.zone)) "." }
            }
            h3 { "What holds it up" }
            @if !absences.is_empty() {
                ul.plain.away { @for absence in absences { li { strong { (absence.words(floor)) } "." } } }
            }
            (weights(&chain))
            @if first == Some(WaitedFor::Release) {
                @for gate in &o.job.gates {
                    @if let GateState::Expected(day) = gate.state {
                        p { "It cannot start before " (show::day(day, today(floor.zone))) ": it waits for “" (gate.what) "”." }
                    }
                }
            }
            ol.chain { @for step in chain.steps() { (step.draw(&chain, stretch)) } }
            h3 { "What would help" }
            @if helps.is_empty() { p { "Nothing found. Tried: overtime, another order, training, a second machine." } }
            @else { ul.helps { @for help in helps { (helping(floor, stretch, help, may)) } } }
        }
    }
}

/// A change that would help, with what it was found to bring.
fn helping(floor: &Floor, stretch: Stretch, help: &Help, may: bool) -> Markup {
    let found = |found: &Found| {
        let others = match found.others_lose {
            0 => "no other job goes late",
            lose if lose < 0 => "it helps other jobs too",
            _ => "but other jobs go later",
        };
        format!("ready {} sooner; {others}.", hours(found.sooner))
    };
    html! {
        li {
            span { (capitalised(&help.change.words(floor))) }
            @if let Some(found) = help.found.as_ref().map(found) { span.muted { ": " (found) } }
            @if may { " " a.button.quiet href=(href(&help.change, stretch)) { "Preview" } }
        }
    }
}
