//! Late or at risk: every promise with its chance, what holds it, and what would help.

use super::asked::{Asked, at_work};
use super::picture::Keeping;
use super::sheet::{Stretch, in_hundred, job_href, keeping, long_number, slack_words};
use super::try_out::{first_upper, href};
use crate::db::people::Role;
use crate::db::plans::Standing;
use crate::planning::engine::explain::{self, Explanation, WaitedFor, explain};
use crate::planning::floor::{Floor, FloorJob, FloorModel, GateState, JobDates};
use crate::planning::what_if::{Change, Side, Whose, hours, moment};
use crate::web::ui::{Answer, FormErrors, Page, Section, SignedIn, WebError, show};
use actix_web::web;
use maud::{Markup, html};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/week/risk", web::get().to(list));
}

/// Jobs explained in full on the list; the others on being asked.
const EXPLAINED: usize = 3;

/// Ways to help shown for a job.
const HELPS: usize = 5;

#[derive(Debug, Default, serde::Deserialize)]
#[serde(default)]
struct Which {
    job: String,
}

/// A promise that is open.
struct Open<'a> {
    job: &'a FloorJob,
    dates: &'a JobDates,
    keeping: Keeping,
}

async fn list(who: SignedIn, which: web::Query<Which>) -> Answer {
    let mut tx = who.begin().await?;
    let standing = super::stand(&mut tx).await?;
    drop(tx);
    let asked = Asked::key(&which.job);
    let (standing, explained) = web::block(move || {
        let jobs: Vec<Uuid> = match asked {
            Some(job) => vec![job],
            None => open(&standing)
                .iter()
                .filter(|o| o.keeping != Keeping::Holds)
                .take(EXPLAINED)
                .map(|o| o.job.id)
                .collect(),
        };
        let explained: Vec<(Uuid, Explanation)> = jobs
            .into_iter()
            .filter_map(|id| {
                let job = standing.model.job(id)?;
                let explanation = explain(&standing.model.model, &standing.plan, job);
                Some((id, explanation.ok()?))
            })
            .collect();
        (standing, explained)
    })
    .await
    .map_err(|why| WebError::Internal(why.to_string()))?;
    let stretch =
        Asked::default().stretch(&mut FormErrors::default(), super::today(who.shop.time_zone));
    let floor = &standing.floor;
    let open = open(&standing);
    let unplanned: Vec<&FloorJob> = floor
        .jobs
        .iter()
        .filter(|job| job.due.is_some() && standing.timetable.job(job.id).is_none())
        .collect();
    let body = html! {
        div.bar { h1 { "Late or at risk" } a.button.quiet href="/week" { "The week" } }
        p {
            "The chance is the share of futures in which the promise holds, when every operation takes its own time in the order and hours of the plan. "
            "At risk is what holds in fewer than " (in_hundred(floor.confidence)) "."
        }
        @for (id, explanation) in &explained {
            @if let Some(o) = open.iter().find(|o| o.job.id == *id) {
                (explained_job(&standing, stretch, o, explanation, who.may(Role::Office), asked.is_some()))
            }
        }
        @if asked.is_some() && explained.is_empty() { p.notice.warn #job { "This job is not in the plan." } }
        @if !unplanned.is_empty() {
            section.notice.warn {
                h2 { span.sign aria-hidden="true" { "!" } " Promised, and not planned" }
                ul { @for job in unplanned {
                    li {
                        a href=(job_href(job)) { (long_number(job)) } " " (job.title)
                        @if let Some(due) = job.due { ", " (moment(due, floor.zone)) }
                        @for hole in standing.model.issues.iter().filter(|h| h.job == job.id) { ": " (hole.reason) }
                    }
                } }
            }
        }
        @if open.is_empty() { section.card { p { "No promise is open." } } }
        @else { (all(floor, &open)) }
    };
    Ok(Page::new(&who, "Late or at risk")
        .nav(Section::Week)
        .body(body)
        .into())
}

/// Every promise, the one least likely to hold first.
fn open(standing: &Standing) -> Vec<Open<'_>> {
    let mut open: Vec<Open> = standing
        .floor
        .jobs
        .iter()
        .filter_map(|job| {
            Some(Open {
                job,
                dates: standing.timetable.job(job.id)?,
                keeping: keeping(&standing.floor, &standing.timetable, job)?,
            })
        })
        .collect();
    let chance = |o: &Open| o.dates.chance.unwrap_or(1.0);
    open.sort_by(|a, b| {
        (a.keeping != Keeping::Late)
            .cmp(&(b.keeping != Keeping::Late))
            .then(chance(a).total_cmp(&chance(b)))
            .then(a.dates.slack_minutes.cmp(&b.dates.slack_minutes))
    });
    open
}

fn word(keeping: Keeping) -> &'static str {
    match keeping {
        Keeping::Holds => "holds",
        Keeping::AtRisk => "at risk",
        Keeping::Late => "late",
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

fn all(floor: &Floor, open: &[Open]) -> Markup {
    // What held in every future drawn is folded: on a phone it is a long way down.
    let sure = |o: &Open| o.keeping == Keeping::Holds && o.dates.chance.is_some_and(|c| c >= 1.0);
    let (sure, doubtful): (Vec<&Open>, Vec<&Open>) = open.iter().partition(|o| sure(o));
    html! {
        section aria-labelledby="all-promises" {
            h2 #all-promises { "Every promise" }
            @if !doubtful.is_empty() { (table(floor, &doubtful)) }
            @if !sure.is_empty() {
                details {
                    summary { (sure.len()) " more hold in every future drawn" }
                    (table(floor, &sure))
                }
            }
        }
    }
}

fn table(floor: &Floor, open: &[&Open]) -> Markup {
    html! {
        table.cells.promises {
            thead { tr {
                th scope="col" { "Job" } th scope="col" { "What" } th scope="col" { "Promised" } th scope="col" { "Ready" }
                th scope="col" { "To spare" } th scope="col" { "Chance" }
            } }
            tbody { @for o in open {
                tr {
                    th scope="row" { a href={ "/week/risk?job=" (o.job.id) "#job" } { (long_number(o.job)) } }
                    td data-label="What" { (o.job.title) }
                    td data-label="Promised" { @if let Some(due) = o.job.due { (moment(due, floor.zone)) } @if !o.job.promised { span.muted { " (own day)" } } }
                    td.when data-label="Ready" { (moment(o.dates.ready_at, floor.zone)) }
                    td data-label="To spare" { (slack_words(o.dates.slack_minutes)) }
                    td data-label="Chance" {
                        span.tag { (word(o.keeping)) }
                        @if let Some(chance) = o.dates.chance { " " (in_hundred(chance)) " " (bar(chance, floor.confidence)) }
                    }
                }
            } }
        }
    }
}

fn explained_job(
    standing: &Standing,
    stretch: Stretch,
    o: &Open,
    explanation: &Explanation,
    may: bool,
    alone: bool,
) -> Markup {
    let floor = &standing.floor;
    let model = &standing.model;
    let helps = helps(standing, o.job.id, explanation);
    html! {
        section.card.week-risk id=[alone.then_some("job")] {
            h2 {
                a href=(job_href(o.job)) { (long_number(o.job)) } " " span.tag { (word(o.keeping)) }
            }
            p {
                (o.job.title) ". "
                @if let Some(due) = o.job.due { "Promised for " (moment(due, floor.zone)) ", " }
                "ready " (moment(o.dates.ready_at, floor.zone)) ": " (slack_words(o.dates.slack_minutes)) "."
                @if let Some(chance) = o.dates.chance { " Holds in " (in_hundred(chance)) ". " (bar(chance, floor.confidence)) }
                @if let Some(by) = o.dates.sure_by { " At " (in_hundred(floor.confidence)) " it is ready by " (moment(by, floor.zone)) "." }
            }
            h3 { "What holds it" }
            (weights(floor, model, o.job.id, explanation))
            @if explanation.chain.first().is_some_and(|link| link.waited_for == WaitedFor::Release) {
                @for gate in &o.job.gates {
                    @if let GateState::Expected(day) = gate.state {
                        p { "It could not begin before " (show::day(day)) ": it waits for " (gate.what) "." }
                    }
                }
            }
            ol.chain { @for step in steps(floor, model, o.job.id, explanation) { (step.draw(floor, model, stretch)) } }
            h3 { "What would help" }
            @if helps.is_empty() { p { "Nothing that was tried: overtime, another order, somebody else who learns it, a second machine." } }
            @else {
                ul.helps { @for help in helps.iter().take(HELPS) {
                    li {
                        span { (first_upper(&help.words)) }
                        @if let Some(says) = &help.says { span.muted { " " (says) } }
                        @if may { " " a.button.quiet href=(href(&help.change, stretch)) { "Try it" } }
                    }
                } }
            }
        }
    }
}

/// How the time until it is ready is made up, the most first.
fn weights(floor: &Floor, model: &FloorModel, job: Uuid, explanation: &Explanation) -> Markup {
    let mut sums: Vec<(String, i64)> = Vec::new();
    let mut add = |what: String, minutes: i64| {
        if minutes > 0 {
            match sums.iter_mut().find(|(name, _)| *name == what) {
                Some(sum) => sum.1 += minutes,
                None => sums.push((what, minutes)),
            }
        }
    };
    let waits = explanation
        .chain
        .iter()
        .skip(1)
        .map(|link| Some(link.waited_for));
    for (link, next) in explanation.chain.iter().zip(waits.chain([None])) {
        let own = model
            .operations
            .get(link.operation)
            .and_then(|id| floor.operation(*id))
            .is_some_and(|(of, _)| of.id == job);
        let what = match next {
            _ if own => "its own work".to_owned(),
            Some(WaitedFor::Machine { machine, .. }) => {
                format!("waiting for {}", machine_name(floor, model, machine))
            }
            Some(WaitedFor::Person { person, .. }) => {
                format!("waiting for {}", person_name(floor, model, person))
            }
            _ => "other jobs that had to come first".to_owned(),
        };
        add(what, link.held);
        add(
            "hours in which machine and person are not both there".to_owned(),
            link.closed,
        );
    }
    sums.sort_by_key(|(_, minutes)| -minutes);
    html! {
        p {
            "Until it is ready, by the clock: "
            @for (i, (what, minutes)) in sums.iter().enumerate() { @if i > 0 { ", " } (hours(*minutes)) " " (what) }
            "."
        }
    }
}

fn machine_name<'a>(floor: &'a Floor, model: &FloorModel, index: usize) -> &'a str {
    let found = model.machines.get(index).and_then(|id| floor.machine(*id));
    found.map_or("the machine", |m| m.name.as_str())
}

fn person_name<'a>(floor: &'a Floor, model: &FloorModel, index: usize) -> &'a str {
    let found = model.people.get(index).and_then(|id| floor.person(*id));
    found.map_or("somebody", |p| p.name.as_str())
}

/// Part of the chain: its own work, or what it waited for, with what that cost.
struct Step {
    /// What it waited for; `None` for its own work.
    waited: Option<String>,
    /// Indices of the operations.
    operations: Vec<usize>,
    /// Minutes by the clock.
    held: i64,
    /// Of the clock, minutes in which machine and person were not both there.
    closed: i64,
}

/// Operations named in a step before the rest is counted.
const NAMED: usize = 3;

/// The chain, links of a kind drawn together; those that cost nothing are left out.
fn steps(floor: &Floor, model: &FloorModel, job: Uuid, explanation: &Explanation) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    let behind = explanation
        .chain
        .iter()
        .skip(1)
        .map(|link| Some(link.waited_for));
    for (link, next) in explanation.chain.iter().zip(behind.chain([None])) {
        let of = model
            .operations
            .get(link.operation)
            .and_then(|id| floor.operation(*id));
        let own = of.is_none_or(|(of, _)| of.id == job);
        let waited = match next {
            _ if own => None,
            Some(WaitedFor::Machine { machine, .. }) => {
                Some(machine_name(floor, model, machine).to_owned())
            }
            Some(WaitedFor::Person { person, .. }) => {
                Some(person_name(floor, model, person).to_owned())
            }
            _ => Some("other work".to_owned()),
        };
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

impl Step {
    fn draw(&self, floor: &Floor, model: &FloorModel, stretch: Stretch) -> Markup {
        let named = |index: usize| -> Markup {
            let Some(id) = model.operations.get(index) else {
                return html! { "what it needs to come" };
            };
            let Some((job, operation)) = floor.operation(*id) else {
                return html! { "an operation" };
            };
            html! {
                a href={ "/week?" (stretch.query()) "&operation=" (id) "#operation" } {
                    @if self.waited.is_some() { (long_number(job)) ", " }
                    (operation.number) " " (operation.what)
                }
            }
        };
        let shown = match self.waited {
            Some(_) => NAMED,
            None => self.operations.len(),
        };
        let (first, rest) = self.operations.split_at(self.operations.len().min(shown));
        html! {
            li {
                strong {
                    (hours(self.held + self.closed)) " "
                    @match &self.waited { Some(what) => { "waiting for " (what) }, None => "its own work" }
                }
                @if self.waited.is_some() { ", taken by " } @else { ": " }
                @for (i, operation) in first.iter().enumerate() { @if i > 0 { "; " } (named(*operation)) }
                @if !rest.is_empty() {
                    details { summary { "and " (show::count(rest.len() as i64, "more", "more")) }
                        ul { @for operation in rest { li { (named(*operation)) } } }
                    }
                }
                @if self.closed > 0 { span.muted { " (" (hours(self.closed)) " of it while machine and person were not both there)" } }
            }
        }
    }
}

/// Something that would help, as a change to try.
struct Help {
    change: Change,
    words: String,
    /// What it was found to bring.
    says: Option<String>,
}

fn helps(standing: &Standing, job: Uuid, explanation: &Explanation) -> Vec<Help> {
    let floor = &standing.floor;
    let model = &standing.model;
    let machine = |index: usize| model.machines.get(index).copied();
    let operation = |index: usize| model.operations.get(index).copied();
    let mut helps: Vec<Help> = Vec::new();
    let mut days = 0;
    for help in &explanation.improvements {
        let change = match help.measure {
            explain::Measure::Overtime {
                machine: m,
                from,
                until,
            } => {
                let (Some(from), Some(until)) = (model.instant(from), model.instant(until)) else {
                    continue;
                };
                // The best two days of overtime; more of them say the same.
                days += 1;
                if days > 2 {
                    continue;
                }
                let there = at_work(floor, from.with_timezone(&floor.zone).date_naive());
                let whose = machine(m)
                    .map(Whose::Machine)
                    .into_iter()
                    .chain(there)
                    .collect();
                Some(Change::Overtime {
                    whose,
                    from,
                    until,
                    why: format!("for {}", crate::planning::what_if::job_words(floor, job)),
                })
            }
            explain::Measure::Order { first, second } => operation(first)
                .zip(operation(second))
                .map(|(operation, other)| Change::Order {
                    operation,
                    other,
                    side: Side::Before,
                    machine: None,
                }),
            explain::Measure::Training {
                person,
                operation: index,
            } => {
                let person = model.people.get(person).copied();
                let skill = operation(index)
                    .and_then(|id| floor.operation(id))
                    .map(|(_, o)| o.skill.clone());
                person
                    .zip(skill)
                    .map(|(person, skill)| Change::Train { person, skill })
            }
        };
        let Some(change) = change.filter(|c| !helps.iter().any(|h| h.change == *c)) else {
            continue;
        };
        let others = match help.others_lose {
            0 => ", and costs no other promise".to_owned(),
            lose if lose < 0 => ", and helps other promises too".to_owned(),
            _ => ", and makes others later".to_owned(),
        };
        helps.push(Help {
            words: change.words(floor),
            says: Some(format!(
                "brings it {} forward by the clock{others}.",
                hours(help.gains)
            )),
            change,
        });
    }
    // The machine that the chain waits for longest.
    let mut held: Vec<(usize, i64)> = Vec::new();
    for pair in explanation.chain.windows(2) {
        if let [before, after] = pair
            && let WaitedFor::Machine { machine, .. } = after.waited_for
        {
            match held.iter_mut().find(|(m, _)| *m == machine) {
                Some(sum) => sum.1 += before.held,
                None => held.push((machine, before.held)),
            }
        }
    }
    if let Some(like) = held
        .iter()
        .max_by_key(|(_, minutes)| *minutes)
        .and_then(|(m, _)| machine(*m))
    {
        let change = Change::SecondMachine { like };
        let at = helps.len().min(HELPS - 1);
        helps.insert(
            at,
            Help {
                words: change.words(floor),
                says: None,
                change,
            },
        );
    }
    helps
}
