//! What a job waits for, link by link, and what that costs by the clock.

use super::super::sheet::Stretch;
use super::super::words::long_number;
use crate::planning::engine::explain::{ChainLink, Explanation, WaitedFor};
use crate::planning::floor::{Floor, FloorModel};
use crate::planning::words::hours;
use crate::web::ui::show;
use maud::{Markup, html};
use uuid::Uuid;

/// A job with what it waits for.
pub(super) struct Chain<'a> {
    pub floor: &'a Floor,
    pub model: &'a FloorModel,
    pub job: Uuid,
    pub explanation: &'a Explanation,
}

/// What time goes into.
#[derive(PartialEq)]
enum Waited<'a> {
    /// The job's own work.
    Own,
    /// A machine or person that other work has.
    For(&'a str),
    /// Other work that comes before.
    Other,
}

impl<'a> Chain<'a> {
    /// Every link with what the time until the next one goes into.
    fn links(&self) -> impl Iterator<Item = (&'a ChainLink, Waited<'a>)> + '_ {
        let links = &self.explanation.chain;
        let next = links.iter().skip(1).map(|link| Some(link.waited_for));
        links
            .iter()
            .zip(next.chain([None]))
            .map(|(link, next)| (link, self.waited(link, next)))
    }

    fn waited(&self, link: &ChainLink, next: Option<WaitedFor>) -> Waited<'a> {
        let of = self
            .model
            .operations
            .get(link.operation)
            .and_then(|id| self.floor.operation(*id));
        if of.is_none_or(|(of, _)| of.id == self.job) {
            return Waited::Own;
        }
        match next {
            Some(WaitedFor::Machine { machine, .. }) => {
                let id = self.model.machines.get(machine);
                let found = id.and_then(|id| self.floor.machine(*id));
                Waited::For(found.map_or("the machine", |m| m.name.as_str()))
            }
            Some(WaitedFor::Person { person, .. }) => {
                let id = self.model.people.get(person);
                let found = id.and_then(|id| self.floor.person(*id));
                Waited::For(found.map_or("somebody", |p| p.name.as_str()))
            }
            _ => Waited::Other,
        }
    }

    /// The links, those of a kind drawn together; those that cost nothing are left out.
    pub(super) fn steps(&self) -> Vec<Step<'a>> {
        let mut steps: Vec<Step> = Vec::new();
        for (link, waited) in self.links() {
            match steps.last_mut().filter(|step| step.waited == waited) {
                Some(step) => {
                    step.operations.push(link.operation);
                    step.held += link.held;
                    step.closed += link.closed;
                }
                None => steps.push(Step {
                    waited,
                    operations: vec![link.operation],
                    held: link.held,
                    closed: link.closed,
                }),
            }
        }
        steps.retain(|step| step.held + step.closed > 0);
        steps
    }
}

/// What the time until the job is ready goes into, in minutes by the clock, the most first.
fn sums(chain: &Chain) -> Vec<(String, i64)> {
    let mut sums: Vec<(String, i64)> = Vec::new();
    let mut add = |what: String, minutes: i64| {
        if minutes > 0 {
            match sums.iter_mut().find(|(name, _)| *name == what) {
                Some(sum) => sum.1 += minutes,
                None => sums.push((what, minutes)),
            }
        }
    };
    for (link, waited) in chain.links() {
        let what = match waited {
            Waited::Own => "its own work".to_owned(),
            Waited::For(what) => format!("waiting for {what}"),
            Waited::Other => "behind other jobs".to_owned(),
        };
        add(what, link.held);
        add("off shift".to_owned(), link.closed);
    }
    sums.sort_by_key(|(_, minutes)| -minutes);
    sums
}

/// How the time until the job is ready is made up, the most first.
pub(super) fn weights(chain: &Chain) -> Markup {
    html! {
        p {
            "By the clock until it is ready: "
            @for (i, (what, minutes)) in sums(chain).iter().enumerate() { @if i > 0 { ", " } (hours(*minutes)) " " (what) }
            "."
        }
    }
}

/// The two things that hold the job up most, in a line: "Mostly behind other jobs (4 days), waiting for Wyn (3 days)."
pub(super) fn mostly(chain: &Chain) -> Markup {
    const DAY: i64 = 24 * 60;
    let long = |minutes: i64| match (minutes + DAY / 2) / DAY {
        days if days > 1 => format!("{days} days"),
        _ => hours(minutes),
    };
    let sums = sums(chain);
    html! {
        @if !sums.is_empty() {
            "Mostly "
            @for (i, (what, minutes)) in sums.iter().take(2).enumerate() { @if i > 0 { ", " } (what) " (" (long(*minutes)) ")" }
            "."
        }
    }
}

/// Part of the chain: its own work, or what it waited for, with what that cost.
pub(super) struct Step<'a> {
    waited: Waited<'a>,
    /// Indices of the operations.
    operations: Vec<usize>,
    /// Minutes by the clock.
    held: i64,
    /// Minutes by the clock in which machine and person were not both there.
    closed: i64,
}

/// Operations named in a step before the rest is counted.
const NAMED: usize = 3;

impl Step<'_> {
    pub(super) fn draw(&self, chain: &Chain, stretch: Stretch) -> Markup {
        let own = self.waited == Waited::Own;
        let named = |index: usize| -> Markup {
            let Some(id) = chain.model.operations.get(index) else {
                return html! { "a delivery" };
            };
            let Some((job, operation)) = chain.floor.operation(*id) else {
                return html! { "an operation" };
            };
            html! {
                a href={ "/week?" (stretch.query()) "&operation=" (id) "#operation" } {
                    @if !own { (long_number(job)) ", " }
                    (operation.number) " " (operation.what)
                }
            }
        };
        let shown = if own { self.operations.len() } else { NAMED };
        let (first, rest) = self.operations.split_at(self.operations.len().min(shown));
        html! {
            li {
                strong {
                    (hours(self.held + self.closed)) " "
                    @match self.waited {
                        Waited::Own => "its own work",
                        Waited::For(what) => { "waiting for " (what) },
                        Waited::Other => "waiting for other work",
                    }
                }
                @if own { ": " } @else { ", busy with " }
                @for (i, operation) in first.iter().enumerate() { @if i > 0 { "; " } (named(*operation)) }
                @if !rest.is_empty() {
                    details { summary { "and " (show::count(rest.len() as i64, "more", "more")) }
                        ul { @for operation in rest { li { (named(*operation)) } } }
                    }
                }
                @if self.closed > 0 { span.muted { " (" (hours(self.closed)) " of it off shift)" } }
            }
        }
    }
}
