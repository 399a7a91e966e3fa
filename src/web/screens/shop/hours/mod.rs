//! When the shop works: weekly shifts, holidays, stops.

mod holidays;
mod import;
mod owners;
mod shifts;
mod stops;

use self::owners::Owners;
use crate::db::calendars::Holiday;
use crate::db::calendars::{self, Owner, ShiftRow, WorkingTime};
use crate::db::people::Role;
use crate::planning::Hours;
use crate::web::ui::record::Done;
use crate::web::ui::record::Each;
use crate::web::ui::{Answer, Page, Section, SignedIn};
use actix_web::web;
use chrono::{NaiveTime, Utc, Weekday};
use maud::{Markup, html};

/// `/shop/hours` and what is under it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    shifts::routes(cfg);
    import::routes(cfg);
    holidays::routes(cfg);
    stops::routes(cfg);
    cfg.route(PATH, web::get().to(page));
}

/// The records that are kept here.
pub(in crate::web) fn records(each: &mut impl Each) {
    each.record::<shifts::ShiftSheet>();
    each.record::<Holiday>();
    each.record::<stops::StopSheet>();
}

const PATH: &str = "/shop/hours";

const WEEK: [(Weekday, &str); 7] = [
    (Weekday::Mon, "Monday"),
    (Weekday::Tue, "Tuesday"),
    (Weekday::Wed, "Wednesday"),
    (Weekday::Thu, "Thursday"),
    (Weekday::Fri, "Friday"),
    (Weekday::Sat, "Saturday"),
    (Weekday::Sun, "Sunday"),
];

/// ISO 8601: Monday is 1.
fn weekday_code(weekday: Weekday) -> String {
    weekday.number_from_monday().to_string()
}

fn weekday_from_code(code: &str) -> Option<Weekday> {
    let found = WEEK.iter().find(|(day, _)| weekday_code(*day) == code);
    found.map(|(day, _)| *day)
}

fn clock(time: NaiveTime) -> String {
    time.format("%H:%M").to_string()
}

/// What is said once a shift, a holiday or a stop is stored or deleted.
fn done(what: &str, done: Done) -> String {
    let verb = match done {
        Done::Added => "added",
        Done::Saved => "saved",
        Done::Deleted => "deleted",
    };
    format!("The {what} is {verb}.")
}

/// `40 h` or `37 h 30 min`.
fn weekly(hours: &Hours) -> String {
    let minutes = hours.weekly_minutes();
    match minutes % 60 {
        0 => format!("{} h", minutes / 60),
        rest => format!("{} h {rest} min", minutes / 60),
    }
}

async fn page(who: SignedIn) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    let time = calendars::read(&mut tx).await?;
    let owners = Owners::read(&mut tx).await?;
    let today = Utc::now().with_timezone(&time.zone).date_naive();
    let (past, coming): (Vec<_>, Vec<_>) = time.holidays.iter().partition(|day| day.on < today);
    let (over, ahead): (Vec<_>, Vec<_>) = time
        .stops
        .iter()
        .partition(|stop| stop.ends_at < Utc::now());
    let body = html! {
        h1 { "Hours" }
        p.lead {
            "The shop works " strong { (weekly(&time.hours(Owner::Shop))) } " a week, by the clock of "
            (time.zone.name()) ". Ready dates count only these hours."
        }
        div.bar {
            h2 { "Weekly shifts" }
            a.button href={ (PATH) "/shifts/new" } data-key="n" data-key-label="Add a shift" { "Add a shift" }
        }
        (shifts_body(&time, &owners))
        div.bar {
            h2 { "Holidays" }
            div.actions {
                a.button.quiet href={ (PATH) "/holidays/new" } data-key="h" data-key-label="Add a holiday" { "Add a holiday" }
                (import::link())
            }
        }
        @if coming.is_empty() {
            p { "No holidays ahead, so ready dates count on every shift." }
        } @else {
            (holidays::table(&coming, who.today()))
        }
        @if !past.is_empty() {
            details { summary { "Past holidays" } (holidays::table(&past, who.today())) }
        }
        div.bar {
            h2 { "Stops" }
            a.button.quiet href={ (PATH) "/stops/new" } data-key="s" data-key-label="Add a stop" { "Add a stop" }
        }
        @if ahead.is_empty() {
            p { "No stops ahead. A stop is time without work inside the shifts: a service, a power cut, a day off." }
        } @else {
            (stops::table(&ahead, time.zone, who.today(), &owners))
        }
        @if !over.is_empty() {
            details { summary { "Past stops" } (stops::table(&over, time.zone, who.today(), &owners)) }
        }
    };
    Ok(Page::new(&who, "Hours")
        .nav(Section::Shop)
        .body(body)
        .into())
}

fn shifts_body(time: &WorkingTime, owners: &Owners) -> Markup {
    let of = |owner| -> Vec<&ShiftRow> {
        time.shifts
            .iter()
            .filter(|row| row.owner == owner)
            .collect()
    };
    let (own, shared): (Vec<_>, Vec<_>) = owners
        .iter()
        .filter(|(owner, _)| *owner != Owner::Shop)
        .partition(|(owner, _)| !of(*owner).is_empty());
    html! {
        @if of(Owner::Shop).is_empty() {
            p.notice.warn {
                strong { "No shifts yet. " }
                "Add one, or nothing can be given a ready date."
            }
        } @else {
            (week("The shop", &of(Owner::Shop), &weekly(&time.hours(Owner::Shop))))
        }
        @for (owner, name) in &own {
            (week(name, &of(*owner), &weekly(&time.hours(*owner))))
        }
        @if !shared.is_empty() {
            p.muted {
                "On the shop’s hours: "
                @for (index, (_, name)) in shared.iter().enumerate() {
                    @if index > 0 { ", " }
                    (name)
                }
                "."
            }
        }
    }
}

/// A week of shifts, each leading to where it is changed.
fn week(name: &str, shifts: &[&ShiftRow], total: &str) -> Markup {
    html! {
        section.card.week {
            h3 { (name) span.muted { " · " (total) " a week" } }
            dl.week {
                @for (weekday, day) in WEEK {
                    div {
                        dt { (day) }
                        dd {
                            @let on = shifts.iter().filter(|row| row.shift.weekday == weekday);
                            @if on.clone().next().is_none() { span.muted { "no work" } }
                            @for row in on {
                                a.shift href={ (PATH) "/shifts/" (row.id) } {
                                    (clock(row.shift.start)) "–" (clock(row.shift.end))
                                    @if row.shift.end <= row.shift.start { " next day" }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}
