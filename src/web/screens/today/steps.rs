//! What a new shop still needs before its first quote, its first plan and its first clock-in, each step a link.

use crate::db::people::Role;
use crate::db::today::SetUp;
use crate::web::ui::{SignedIn, csrf_field};
use maud::{Markup, html};

/// A step: whether it is done, what to do, where, and who may.
type Step = (bool, &'static str, &'static str, Role);

fn first_quote(s: &SetUp) -> Vec<Step> {
    vec![
        (
            s.earns,
            "Set overhead and margin: without them a quote only covers its cost",
            "/shop/settings",
            Role::Owner,
        ),
        (
            s.taxed,
            "Set the tax, or leave it at 0 if you charge none",
            "/shop/settings",
            Role::Owner,
        ),
        (
            s.labour_rate,
            "Add a labour rate",
            "/shop/rates",
            Role::Owner,
        ),
        (
            s.machine,
            "Add a machine with its hourly rate",
            "/shop/machines",
            Role::Owner,
        ),
        (
            s.standard_time,
            "Add standard times, or take the starting set",
            "/shop/standards",
            Role::Owner,
        ),
        (
            s.variants,
            "Add a pattern and two variants of it, to quote conversions",
            "/castings/patterns/from-table",
            Role::Office,
        ),
        (
            s.quote,
            "Take a call and quote it",
            "/enquiries",
            Role::Office,
        ),
    ]
}

fn first_plan(s: &SetUp) -> Vec<Step> {
    vec![
        (s.hours, "Enter working hours", "/shop/hours", Role::Owner),
        (
            s.skilled,
            "Add people and their skills",
            "/shop/people",
            Role::Owner,
        ),
        (
            s.job,
            "Open a job, or accept a quote",
            "/jobs/new",
            Role::Office,
        ),
    ]
}

fn first_booking(s: &SetUp) -> Vec<Step> {
    vec![
        (
            s.device,
            "Add a bench device: a tablet or phone by the machines",
            "/shop/devices",
            Role::Owner,
        ),
        (
            s.pin,
            "Set a PIN for each person who books time",
            "/shop/devices",
            Role::Owner,
        ),
        (
            s.booking,
            "Sign on at the device and start an operation",
            "/jobs",
            Role::Office,
        ),
    ]
}

/// The lists that are not done yet; nothing once all are.
pub(super) fn section(who: &SignedIn, set_up: &SetUp) -> Markup {
    let lists = [
        ("Before the first quote", set_up.quote, first_quote(set_up)),
        (
            "Before the first plan",
            set_up.job && set_up.hours && set_up.skilled,
            first_plan(set_up),
        ),
        (
            "Before the first clock-in",
            set_up.booking,
            first_booking(set_up),
        ),
    ];
    let left: Vec<_> = lists.into_iter().filter(|(_, done, _)| !done).collect();
    html! {
        @if !left.is_empty() {
            section.card.steps aria-labelledby="steps-title" {
                h2 #steps-title { "Set up the shop" }
                @if who.may(Role::Owner) && !(set_up.machine && set_up.labour_rate && set_up.standard_time && set_up.hours) {
                    form.notice method="post" action="/shop/starting-set" {
                        (csrf_field(who))
                        p { "The quick way: take a starting set of machines with worked hourly rates, a labour rate, standard times with their checks and cautions, cutting data and weekly hours. What you have already stays." }
                        button.quiet type="submit" { "Take the starting set" }
                    }
                }
                div.columns { @for (title, _, steps) in &left {
                    div {
                        h3 { (title) }
                        ol.plain { @for (done, what, href, role) in steps { li {
                            @if *done { span.tag { "✓ Done" } " " (what) }
                            @else if who.may(*role) { span.tag { "To do" } " " a href=(href) { (what) } }
                            @else { span.tag { "To do" } " " (what) " (the owner)" }
                        } } }
                    }
                } }
            }
        }
    }
}
