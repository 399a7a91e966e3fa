//! The work of one day, machine by machine and person by person, as a list to print and hang up.

use super::sheet::today;
use super::words::{for_whom, job_href, state_words};
use crate::app::week::week;
use crate::planning::floor::{Floor, Resource, Slot, Timetable};
use crate::planning::local_instant;
use crate::planning::words::hours;
use crate::web::shell::assets;
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, Page, Section, SignedIn, show};
use actix_web::web;
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use maud::{Markup, html};
use serde::Deserialize;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/week/day/{date}", web::get().to(day));
}

/// Whose lists are shown: by machine where nothing is said.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Lists {
    by: String,
}

async fn day(
    who: SignedIn,
    site: web::Data<Site>,
    date: web::Path<NaiveDate>,
    lists: web::Query<Lists>,
) -> Answer {
    let day = *date;
    let by_person = lists.by == "person";
    let week = week(&who.actor(), &site.plans, Utc::now()).await?;
    let (floor, timetable) = (&week.plan.floor, &week.plan.timetable);
    let title = format!("Work on {}", show::day(day, today(floor.zone)));
    let owners: Vec<(Resource, &str)> = if by_person {
        let people = floor.people.iter();
        people
            .map(|p| (Resource::Person(p.id), p.name.as_str()))
            .collect()
    } else {
        let machines = floor.machines.iter();
        machines
            .map(|m| (Resource::Machine(m.id), m.name.as_str()))
            .collect()
    };
    let lists: Vec<Markup> = owners
        .into_iter()
        .filter_map(|(whose, name)| list(floor, timetable, day, whose, name))
        .collect();
    let by = if by_person { "?by=person" } else { "" };
    let beside = |day: Option<NaiveDate>, words: &str, key: &str| {
        html! { @if let Some(day) = day { a.button.quiet href={ "/week/day/" (day) (by) } data-key=(key) data-key-label=(words) { (words) } } }
    };
    let body = html! {
        script type="module" src=(assets::url("print.js")) {}
        div.bar {
            h1 { (title) }
            div.actions.no-print {
                (beside(day.pred_opt(), "Day before", "k"))
                (beside(day.succ_opt(), "Day after", "l"))
                a.button.quiet href={ "/week?from=" (day) } { "The week" }
                button type="button" data-print hidden { "Print" }
            }
        }
        div.week-nav.no-print {
            ul aria-label="Lists" {
                li { a href={ "/week/day/" (day) } aria-current=[(!by_person).then_some("true")] { "By machine" } }
                li { a href={ "/week/day/" (day) "?by=person" } aria-current=[by_person.then_some("true")] { "By person" } }
            }
        }
        p.muted { "By the plan as it was at " (floor.now.with_timezone(&floor.zone).format("%H:%M")) " on " (show::day(today(floor.zone), today(floor.zone))) "." }
        @if lists.is_empty() { section.card { p { "Nothing is scheduled on this day." } } }
        @for list in &lists { (list) }
    };
    Ok(Page::new(&who, title).nav(Section::Week).body(body).into())
}

/// The work of a machine or person on a day, by start; `None` when there is none.
fn list(
    floor: &Floor,
    timetable: &Timetable,
    day: NaiveDate,
    whose: Resource,
    name: &str,
) -> Option<Markup> {
    let midnight = |day: NaiveDate| local_instant(floor.zone, day.and_time(NaiveTime::MIN));
    let (opens, closes) = (midnight(day), midnight(day.succ_opt()?));
    let until = |slot: &Slot| match whose {
        Resource::Machine(id) => (slot.machine == Some(id)).then_some(slot.ends),
        Resource::Person(id) => (slot.person == Some(id)).then_some(slot.attended_until),
    };
    let mine: Vec<(&Slot, DateTime<Utc>)> = timetable
        .slots
        .iter()
        .filter_map(|slot| Some((slot, until(slot)?)))
        .filter(|(slot, until)| slot.starts < closes && *until > opens && *until > slot.starts)
        .collect();
    let other = match whose {
        Resource::Machine(_) => "Person",
        Resource::Person(_) => "Machine",
    };
    (!mine.is_empty()).then(|| {
        html! {
            section.card.week-day {
                h3 { (name) }
                table.cells.small {
                    thead { tr {
                        th scope="col" { "Time" } th scope="col" { "Job" } th scope="col" { "Operation" } th scope="col" { (other) }
                    } }
                    tbody { @for (slot, until) in &mine { (row(floor, (day, whose), slot, *until)) } }
                }
            }
        }
    })
}

fn row(
    floor: &Floor,
    (day, whose): (NaiveDate, Resource),
    slot: &Slot,
    until: DateTime<Utc>,
) -> Markup {
    let clock = |at: DateTime<Utc>| {
        let at = at.with_timezone(&floor.zone);
        if at.date_naive() == day {
            at.format("%H:%M").to_string()
        } else {
            at.format("%a %-d %b, %H:%M").to_string()
        }
    };
    let other = match whose {
        Resource::Machine(_) => slot.person.and_then(|id| floor.person(id)).map(|p| &p.name),
        Resource::Person(_) => slot
            .machine
            .and_then(|id| floor.machine(id))
            .map(|m| &m.name),
    };
    let none = match whose {
        Resource::Machine(_) => "unattended",
        Resource::Person(_) => "sent out",
    };
    html! {
        @if let Some((job, operation)) = floor.operation(slot.operation) {
            tr {
                th scope="row" {
                    (clock(slot.starts)) " to " (clock(until))
                    @if let Some(state) = state_words(slot.state) { " " span.tag { (state) } }
                }
                td data-label="Job" { a href=(job_href(job)) { (for_whom(job)) } span.muted.week-day-title { br; (job.title) } }
                td data-label="Operation" { (operation.number) " " (operation.what) @if slot.setup_minutes > 0 { span.muted { ", setup " (hours(slot.setup_minutes)) } } }
                td data-label=(match whose { Resource::Machine(_) => "Person", Resource::Person(_) => "Machine" }) {
                    @match other { Some(name) => (name), None => span.muted { (none) } }
                }
            }
        }
    }
}
