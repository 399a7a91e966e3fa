//! The office's day.

use super::steps;
use crate::app::today::{Off, OfficeDay};
use crate::db::today::{Arrived, CameIn};
use crate::planning::floor::PromiseStatus;
use crate::planning::words::moment;
use crate::web::screens::enquiries::new_call;
use crate::web::screens::week::{long_number, slack_words, status_words, why_late};
use crate::web::ui::{SignedIn, show};
use chrono::NaiveDate;
use maud::{Markup, html};

pub(super) fn body(who: &SignedIn, day: &OfficeDay) -> Markup {
    html! {
        div.bar {
            h1 { "Today" }
            div.actions {
                (new_call(who))
            }
        }
        (steps::section(who, &day.set_up))
        div.columns.today {
            (calls(who, day))
            // A shop that has neither quoted nor worked has nothing else to look at yet.
            @if day.set_up.quote || day.set_up.job {
                (late(day))
                (attention(who, day))
                (quotes(who, day))
                (ships(who, day))
                (off(who, &day.off))
                (came_in(&day.came_in, who.today()))
            }
        }
    }
}

/// A card with a heading and its rows, or a line that says there are none.
fn card(title: &str, none: &str, empty: bool, rows: Markup) -> Markup {
    html! {
        section.card {
            h2 { (title) }
            @if empty { p.muted { (none) } } @else { (rows) }
        }
    }
}

/// That there are more than are shown, and where.
fn rest(shown: usize, in_all: i64, href: &str) -> Markup {
    let shown = i64::try_from(shown).unwrap_or(i64::MAX);
    html! { @if in_all > shown { p { a href=(href) { "All " (in_all) } } } }
}

fn calls(who: &SignedIn, day: &OfficeDay) -> Markup {
    let (calls, in_all) = &day.calls;
    let rows = html! {
        ul.plain { @for call in calls { li {
            a href={ "/enquiries/" (call.id) } { "Enquiry " (call.number) }
            ": " @if call.caller.is_empty() { "no name" } @else { (call.caller) }
            @if !call.wanted.is_empty() { ", " (call.wanted) }
            @if let Some(by) = call.wanted_by { ", needed by " (show::day(by, who.today())) }
            br; span.muted { "Called " (show::moment(call.at, who.shop.time_zone, who.today())) }
        } } }
        (rest(calls.len(), *in_all, "/enquiries"))
    };
    card(
        "Calls to answer",
        "No call waits for a price.",
        calls.is_empty(),
        rows,
    )
}

fn late(day: &OfficeDay) -> Markup {
    let Some(plan) = &day.plan else {
        return card("Late or at risk", "No jobs yet.", true, html! {});
    };
    let floor = &plan.floor;
    let open = plan.timetable.open_promises(floor);
    let late = open.iter().filter(|o| o.status != PromiseStatus::OnTime);
    let in_all = i64::try_from(late.count()).unwrap_or(i64::MAX);
    let rows = html! {
        ul.plain { @for explained in &day.late {
            @if let Some(o) = open.iter().find(|o| o.job.id == explained.job) { li {
                a href={ "/week/risk?job=" (o.job.id) "#job" } { (long_number(o.job)) } " "
                span.tag { (status_words(o.status)) } " " (o.job.title)
                br;
                @if let Some(due) = o.job.due { "Due " (moment(due, floor.zone)) ", " }
                (slack_words(floor, o.dates.slack_minutes)) "."
                " " span.muted { (why_late(plan, explained)) }
            } }
        } }
        (rest(day.late.len(), in_all, "/week/risk"))
    };
    card(
        "Late or at risk",
        "Every promise is on time.",
        day.late.is_empty(),
        rows,
    )
}

fn attention(who: &SignedIn, day: &OfficeDay) -> Markup {
    let open = &day.open;
    let others = [
        (open.calls.len(), "call to a customer", "calls to customers"),
        (
            open.questions.len(),
            "clock left running",
            "clocks left running",
        ),
        (
            open.conflicts.len(),
            "conflicting booking",
            "conflicting bookings",
        ),
        (
            open.aside.len(),
            "entry a device could not book",
            "entries devices could not book",
        ),
    ];
    let rows = html! {
        ul.plain {
            @for hold in &open.holds { li {
                a href={ "/jobs/" (hold.job_id) "/holds/" (hold.id) } { "Decide: job " (hold.job_number) } ", " (hold.why)
                br; span.muted { "Since " (show::moment(hold.opened_at, who.shop.time_zone, who.today())) ", " (hold.opened_by) }
            } }
            @for (count, one, many) in others {
                @if count > 0 { li { a href="/jobs/settle" { (show::count(i64::try_from(count).unwrap_or(i64::MAX), one, many)) } } }
            }
        }
    };
    card(
        "Needs attention",
        "Nothing is on hold and no question waits.",
        open.count() == 0,
        rows,
    )
}

fn quotes(who: &SignedIn, day: &OfficeDay) -> Markup {
    let (quotes, in_all) = &day.quotes;
    let rows = html! {
        ul.plain { @for quote in quotes { li {
            a href={ "/quotes/" (quote.id) } { "Quote " (quote.number) } ": "
            @if quote.caller.is_empty() { "no name" } @else { (quote.caller) }
            @if !quote.contact.is_empty() { ", " (quote.contact) }
            ", " (show::whole(quote.net)) " before tax"
            br;
            span.muted { (quote.title) ". Given " (show::day(quote.at.with_timezone(&who.shop.time_zone).date_naive(), who.today()))
                ", holds until " (show::day(quote.valid_until, who.today())) }
        } } }
        (rest(quotes.len(), *in_all, "/quotes"))
    };
    card(
        "Quotes to follow up",
        "No quote waits for an answer.",
        quotes.is_empty(),
        rows,
    )
}

fn ships(who: &SignedIn, day: &OfficeDay) -> Markup {
    let rows = html! {
        ul.plain { @for job in &day.to_collect { li {
            a href={ "/jobs/" (job.id) } { "Job " (job.number) } ": " (job.title)
            @if !job.customer.is_empty() { ", " (job.customer) }
            br; span.muted { "Due " (show::day(job.due_on, who.today())) }
        } } }
    };
    card(
        "Ready to collect",
        "No finished job waits to go out.",
        day.to_collect.is_empty(),
        rows,
    )
}

fn off(who: &SignedIn, off: &[Off]) -> Markup {
    let rows = html! {
        ul.plain { @for one in off { li {
            (one.who.as_deref().unwrap_or("Everybody")) ": " (show::day(one.from, who.today()))
            @if one.until != one.from { " to " (show::day(one.until, who.today())) }
            @if !one.why.is_empty() { ", " (one.why) }
        } } }
    };
    card(
        "Off in the next 7 days",
        "Everybody is in.",
        off.is_empty(),
        rows,
    )
}

fn came_in((since, came): &(NaiveDate, Vec<CameIn>), today: NaiveDate) -> Markup {
    let rows = html! {
        ul.plain { @for one in came { li {
            @match one.what {
                Arrived::Casting => { a href={ "/castings/shelf/" (one.id) } { "Casting " (one.number.unwrap_or_default()) } ": " (one.name) }
                Arrived::Item => { a href={ "/stock/items/" (one.id) } { (one.name) }
                    @if let Some((quantity, unit)) = &one.quantity { ", " (quantity.normalize()) " " (unit) } }
            }
        } } }
    };
    card(
        &match (today - *since).num_days() == 1 {
            true => "Came in since yesterday".to_owned(),
            false => format!("Came in since {}", show::day(*since, today)),
        },
        "Nothing came in.",
        came.is_empty(),
        rows,
    )
}
