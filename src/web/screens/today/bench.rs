//! A machinist's day.

use crate::app::today::BenchDay;
use crate::planning::words::moment;
use crate::web::screens::week::{job_href, long_number, slack_words, state_words};
use crate::web::ui::{SignedIn, show};
use maud::{Markup, html};

pub(super) fn body(who: &SignedIn, day: &BenchDay, at_bench: bool) -> Markup {
    html! {
        h1 { "Today" }
        p.lead { (who.name) ", " (show::day(who.today(), who.today())) }
        section.card {
            h2 { "Book your time" }
            @if at_bench { p { a.button href="/bench" { "Sign on at this device" } } }
            @else { p { "Sign on with your PIN at the tablet by the machine. The owner sets PINs and adds devices." } }
        }
        section.card {
            h2 { "Your work, in order" }
            @match &day.plan {
                Some(plan) if !day.slots.is_empty() => {
                    ol.plain.work { @for slot in &day.slots {
                        @if let Some((job, operation)) = plan.floor.operation(slot.operation) {
                            li {
                                strong { a href=(job_href(job)) { (long_number(job)) } ", " (operation.number) " " (operation.what) }
                                @if let Some(state) = state_words(slot.state) { " " span.tag { (state) } }
                                br;
                                (job.title)
                                br;
                                span.muted {
                                    (moment(slot.starts, plan.floor.zone)) " to " (moment(slot.ends, plan.floor.zone))
                                    @if let Some(machine) = slot.machine.and_then(|id| plan.floor.machine(id)) { ", " (machine.name) }
                                    "; " (slack_words(&plan.floor, slot.slack_minutes))
                                }
                            }
                        }
                    } }
                }
                _ => p { "Nothing is planned for you. " a href="/jobs" { "See the open jobs" } "." },
            }
            p { a href="/week" { "The whole week" } }
        }
    }
}
