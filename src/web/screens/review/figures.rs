//! The figures of a period in words and as a table.

use super::query::Asked;
use super::words;
use crate::app::review::Reviewed;
use crate::review::variance::Figures;
use crate::units::Currency;
use crate::web::ui::SignedIn;
use maud::{Markup, html};
use rust_decimal::Decimal;

/// What an owner would read aloud.
pub(super) fn lead(who: &SignedIn, asked: &Asked, reviewed: &Reviewed) -> Markup {
    let total = &reviewed.review.total;
    let currency = reviewed.currency;
    let amount = |amount: Decimal| words::money(amount.abs(), currency);
    let said = |amount: Decimal, more: &str, less: &str| {
        let whole = amount.round();
        let words = if whole > Decimal::ZERO { more } else { less };
        (!whole.is_zero()).then(|| words.to_owned())
    };
    let longer = said(
        total.efficiency(),
        "because it took longer",
        "saved because it was quicker",
    );
    let dearer = said(
        total.rate,
        "because an hour costs more than when it was quoted",
        "saved because an hour costs less than when it was quoted",
    );
    let whole = total.variance().round();
    html! {
        p.lead {
            (asked.days(who.today())) ": "
            @if whole.is_zero() { "the work cost what was estimated." }
            @else { "the work cost " strong { (words::beyond(total.variance(), currency)) } " than estimated." }
        }
        ul.plain.said {
            @if let Some(why) = longer { li { (amount(total.efficiency())) " " (why) "." } }
            @if let Some(why) = dearer { li { (amount(total.rate)) " " (why) "." } }
            li { "People: " (words::hours(total.people)) " booked, " (words::hours(total.people_allowed)) " estimated for what is done." }
            (unpaid(reviewed))
        }
    }
}

/// Time that no job pays for.
fn unpaid(reviewed: &Reviewed) -> Markup {
    let presence = &reviewed.presence;
    let hours = |minutes: i64| words::hours(minutes.into());
    let left = presence.working - presence.booked;
    html! {
        @if presence.working > 0 && left > 0 {
            li { "Of " (hours(presence.working)) " of shifts, " (hours(presence.booked)) " were booked on jobs. No job pays for the other " strong { (hours(left)) } "." }
        } @else if presence.working > 0 {
            li { "More was booked on jobs (" (hours(presence.booked)) ") than the shifts have (" (hours(presence.working)) "). Enter overtime under " a href="/shop/hours" { "Shop, Hours" } "." }
        }
    }
}

/// The groups with their figures, each opening to its bookings.
pub(super) fn table(asked: &Asked, reviewed: &Reviewed) -> Markup {
    let currency = reviewed.currency;
    html! {
        table.cells.review-figures {
            thead { tr {
                th scope="col" { (words::grouping(asked.by)) }
                th.number scope="col" { "People" }
                th.number scope="col" { "Estimated" }
                th.number scope="col" { "Of estimate" }
                th.number scope="col" { "Machine" }
                th.number scope="col" { "Estimated" }
                th.number scope="col" { "Cost" }
                th.number scope="col" { "Against estimate" }
                th.number scope="col" { "By time" }
                th.number scope="col" { "By rates" }
            } }
            tbody {
                @for group in &reviewed.review.groups {
                    tr {
                        th scope="row" { a href=(asked.opened(&group.label.key)) { (words::name(&group.label, asked.by)) } }
                        (cells(&group.figures, currency))
                    }
                }
            }
            tfoot { tr { th scope="row" { "Total" } (cells(&reviewed.review.total, currency)) } }
        }
    }
}

fn cells(figures: &Figures, currency: Currency) -> Markup {
    html! {
        td.number data-label="People" { (words::hours(figures.people)) }
        td.number data-label="People, estimated" { (words::hours(figures.people_allowed)) }
        td.number data-label="Of estimate" { (words::share(figures.people, figures.people_allowed)) }
        td.number data-label="Machine" { (words::hours(figures.machine)) }
        td.number data-label="Machine, estimated" { (words::hours(figures.machine_allowed)) }
        td.number data-label="Cost" { (words::money(figures.cost, currency)) }
        td.number data-label="Against estimate" { strong { (words::beyond(figures.variance(), currency)) } }
        td.number data-label="By time" { (words::part(figures.efficiency(), currency)) }
        td.number data-label="By rates" { (words::part(figures.rate, currency)) }
    }
}

/// Working hours and booked hours of each person.
pub(super) fn people(reviewed: &Reviewed) -> Markup {
    let hours = |minutes: i64| words::hours(minutes.into());
    html! {
        section.card {
            h2 { "Time that no job pays for" }
            table.cells {
                thead { tr {
                    th scope="col" { "Person" }
                    th.number scope="col" { "Working hours" }
                    th.number scope="col" { "Booked on jobs" }
                    th.number scope="col" { "Not booked" }
                } }
                tbody {
                    @for person in &reviewed.people {
                        tr {
                            th scope="row" { (person.person) }
                            td.number data-label="Working hours" { (hours(person.working)) }
                            td.number data-label="Booked on jobs" { (hours(person.booked)) }
                            td.number data-label="Not booked" { (hours(person.working - person.booked)) }
                        }
                    }
                }
            }
        }
    }
}

/// What the figures are.
pub(super) fn notes(reviewed: &Reviewed) -> Markup {
    html! {
        details.card {
            summary { "How the figures are made" }
            ul {
                li { "Estimated hours are those the quote reckoned with, at the rates of the day it was given. For a job without a quote it is the day it was entered." }
                li { "Work that is not done counts the estimate of the part that is: the setup once the run has begun, and of the rest as much as was booked, up to 95 % of the estimate." }
                li { "By time: hours beyond the estimate at the quoted rate. By rates: booked hours at what an hour cost beyond the quoted rate." }
                li { "Materials, donors and outside work are not in it." }
                @if reviewed.presence.working > 0 {
                    li { "Working hours are those of the shifts of everyone who works at the bench, with overtime, less holidays and days off. Nobody clocks on at the door, so tidying, waiting and talking to customers are among the hours no job pays for." }
                }
            }
        }
    }
}
