//! Month's end on one page, for the screen and for paper.

use super::{tabs, words};
use crate::app::month::{MachineMonth, Made, Month, month};
use crate::app::review::Period;
use crate::db::people::Role;
use crate::review::changes::Change;
use crate::web::ui::{Answer, Choice, Field, FormErrors, Page, Section, SignedIn, show};
use actix_web::web::Query;
use chrono::{Months, NaiveDate, Utc};
use maud::{Markup, html};
use rust_decimal::Decimal;
use serde::Deserialize;

const PATH: &str = "/review/month";
/// Months to choose from.
const BACK: u32 = 24;

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct Which {
    /// `2026-10`; the last whole month when empty.
    month: String,
}

/// The first day of each month to choose from, this one first.
fn months(today: NaiveDate) -> Vec<NaiveDate> {
    let Some(first) = chrono::Datelike::with_day(&today, 1) else {
        return Vec::new();
    };
    (0..BACK)
        .filter_map(|back| first.checked_sub_months(Months::new(back)))
        .collect()
}

/// All days of the month that begins on a day, until today.
fn days(first: NaiveDate, today: NaiveDate) -> Option<Period> {
    let last = first.checked_add_months(Months::new(1))?.pred_opt()?;
    Some(Period {
        from: first,
        until: last.min(today),
    })
}

fn code(first: NaiveDate) -> String {
    first.format("%Y-%m").to_string()
}

/// The first day and the days of the month that was typed; the last whole one where none was. Complains about others than the
/// last 24.
pub(in crate::web) fn month_of(
    typed: &str,
    today: NaiveDate,
    errors: &mut FormErrors,
) -> Option<(NaiveDate, Period)> {
    let months = months(today);
    let chosen = match typed {
        "" => months.get(1).copied(),
        typed => months.into_iter().find(|first| code(*first) == typed),
    };
    let found = chosen.and_then(|first| Some((first, days(first, today)?)));
    if found.is_none() {
        errors.add("month", "Choose one of the last 24 months");
    }
    found
}

pub(super) async fn show(who: SignedIn, which: Query<Which>) -> Answer {
    who.require(Role::Office)?;
    let today = who.today();
    let months = months(today);
    let mut errors = FormErrors::default();
    let chosen = month_of(&which.month, today, &mut errors);
    let typed = chosen.map_or_else(|| which.month.clone(), |(first, _)| code(first));
    let choices = months
        .iter()
        .map(|first| Choice::new(code(*first), first.format("%B %Y")));
    let form = html! {
        form.grid.review-form.no-print method="get" action=(PATH) novalidate {
            (Field::select("month", "Month", &typed, choices.collect()).errors(&errors))
            div.actions { button type="submit" { "Show" } }
        }
    };
    let Some((first, period)) = chosen else {
        let body = html! { h1 { "Month’s end" } (tabs(PATH)) (errors.summary()) (form) };
        let page = Page::new(&who, "Month’s end").nav(Section::Review);
        return Ok(page.body(body).invalid().into());
    };
    let month = month(&who.actor(), period, Utc::now()).await?;
    let title = first.format("%B %Y").to_string();
    let body = html! {
        h1 { "Month’s end: " (title) }
        (tabs(PATH))
        (form)
        @if month.anything { (told(&month, period.until == today)) }
        @else {
            p { "Nothing has been booked yet. At the end of a month this page shows the hours each machine sold, what the finished jobs brought, which promises were kept and what to change." }
            p { "Start with " a href="/shop/devices" { "a tablet at the bench" } ", or add bookings on " a href="/jobs" { "a job" } "." }
        }
    };
    Ok(Page::new(&who, title)
        .nav(Section::Review)
        .body(body)
        .into())
}

fn told(month: &Month, under_way: bool) -> Markup {
    let hours = |minutes: i64| words::hours(minutes.into());
    html! {
        @if under_way { p.muted { "The month is not over: figures until today." } }
        section.card {
            h2 { "Jobs finished" }
            (finished(month))
        }
        section.card {
            h2 { "Hours" }
            p {
                "People: " (words::hours(month.total.people)) " booked on jobs, " (words::hours(month.total.people_allowed)) " estimated for what was done"
                @if month.presence.working > 0 { ", of " (hours(month.presence.working)) " of shifts" }
                ". The work cost " (words::beyond(month.total.variance(), month.currency))
                @if !month.total.variance().round().is_zero() { " than estimated" } "."
            }
            (machines(&month.machines))
        }
        section.card {
            h2 { "Promises" }
            @if month.promises.days.is_empty() { p { "No promised day came in the month." } }
            @for kept in &month.promises.days { p { (kept.given) " promised at " (kept.stated) "\u{a0}%, " (kept.kept) " kept." } }
            p.no-print { a href="/review/promises" { "All promises" } }
        }
        section.card {
            h2 { "What to change" }
            @if month.changes.is_empty() { p { "Nothing that is about much money." } }
            @else { ol { @for change in &month.changes { li { (said(change, month)) } } } }
        }
        p.muted.no-print { "For paper, print this page from the browser." }
    }
}

fn finished(month: &Month) -> Markup {
    let made = &month.made;
    let money = |amount: crate::units::Money| show::whole(amount);
    let left = |made: &Made| match (made.left().ok(), made.left_percent()) {
        (Some(left), Some(percent)) => format!("{} ({percent}\u{a0}%)", money(left)),
        _ => "–".to_owned(),
    };
    html! {
        @if made.jobs == 0 {
            p { "No job from a quote was finished in the month." }
            @if made.calls > 0 { p { "What came back: " (show::count(made.calls, "call", "calls")) ", which cost the shop " (money(made.aftercare)) "." } }
        } @else {
            p.lead {
                (show::count(made.jobs, "job", "jobs")) " quoted at " strong { (money(made.quoted)) } ", cost " strong { (money(made.cost)) } " with overhead: "
                strong { (left(made)) } " left" @if made.calls > 0 { ", once what came back is put right for " (money(made.aftercare)) } ". Quotes plan for " (month.planned_margin.normalize()) "\u{a0}%."
            }
            table.cells {
                thead { tr {
                    th scope="col" { "Kind of work" }
                    th.number scope="col" { "Jobs" }
                    th.number scope="col" { "Quoted" }
                    th.number scope="col" { "Cost with overhead" }
                    th.number scope="col" { "Came back" }
                    th.number scope="col" { "Left" }
                } }
                tbody {
                    @for (kind, made) in &month.by_kind {
                        tr {
                            th scope="row" { (words::kind(kind)) }
                            td.number data-label="Jobs" { (made.jobs) }
                            td.number data-label="Quoted" { (money(made.quoted)) }
                            td.number data-label="Cost with overhead" { (money(made.cost)) }
                            td.number data-label="Came back" { @if made.calls > 0 { (show::count(made.calls, "call", "calls")) ", " (money(made.aftercare)) } @else { "–" } }
                            td.number data-label="Left" { (left(made)) }
                        }
                    }
                }
            }
        }
    }
}

fn machines(machines: &[MachineMonth]) -> Markup {
    let share = |part: Decimal, whole: i64| match Decimal::ONE_HUNDRED
        .checked_mul(part)
        .and_then(|part| part.checked_div(whole.into()))
    {
        Some(percent) => format!("{}\u{a0}%", percent.round()),
        None => "–".to_owned(),
    };
    html! {
        table.cells {
            thead { tr {
                th scope="col" { "Machine" }
                th.number scope="col" { "Available" }
                th.number scope="col" { "Booked" }
                th.number scope="col" { "Sold" }
                th.number scope="col" { "Sold of available" }
            } }
            tbody {
                @for machine in machines {
                    tr {
                        th scope="row" { (machine.name) }
                        td.number data-label="Available" { (words::hours(machine.available.into())) }
                        td.number data-label="Booked" { (words::hours(machine.booked)) }
                        td.number data-label="Sold" { (words::hours(machine.sold)) }
                        td.number data-label="Sold of available" { (share(machine.sold, machine.available)) }
                    }
                }
            }
        }
        p.muted { "Sold hours are those estimated for the work that was done: what customers pay for, however long it took." }
    }
}

fn said(change: &Change, month: &Month) -> Markup {
    let money = |amount: Decimal| words::money(amount.abs(), month.currency);
    html! {
        @match change {
            Change::Standard { element, percent, money: amount } if *amount > Decimal::ZERO => {
                strong { (money(*amount)) } " over on “" (element.name) "”: " (percent) "\u{a0}% of its estimate. "
                a href="/shop/standards" { "Look at its standard time" } "."
            },
            Change::Standard { element, percent, money: amount } => {
                strong { (money(*amount)) } " under on “" (element.name) "”: " (percent) "\u{a0}% of its estimate. Its standard could come down, and your price with it: "
                a href="/shop/standards" { "look at its standard time" } "."
            },
            Change::Rates { money: amount } if *amount > Decimal::ZERO => {
                strong { (money(*amount)) } " because an hour costs more than when the work was quoted. Make quotes valid for less long, or "
                a href="/enquiries" { "quote open calls again" } "."
            },
            Change::Rates { money: amount } => {
                strong { (money(*amount)) } " saved because an hour costs less than when the work was quoted. Your prices could come down."
            },
            Change::Scrap { money: amount } => {
                strong { (money(*amount)) } " for castings that proved scrap. See " a href="/market" { "which sellers they came from" } " before you buy the next."
            },
        }
    }
}
