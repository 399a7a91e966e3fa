//! The bench screen: what is next at this machine and why, what runs, and what must be answered.

use super::AtBench;
use super::sign_on::{Which, offline, people_page};
use crate::app::booked_hours::{self, Question};
use crate::db::bookings::{self, Booking};
use crate::db::checks::{self, CheckResult};
use crate::db::devices::{self, SignOn};
use crate::db::jobs::{self, OperationState};
use crate::db::machines;
use crate::db::work_list::{Waiting, waiting};
use crate::estimating::{Check, Machine};
use crate::quality::{Limits, limit_gauge};
use crate::shopfloor::{Clock, Phase, clocks};
use crate::units::Minutes;
use crate::web::ui::{Answer, Page, Reply, floor_words, show};
use actix_web::web;
use chrono::{DateTime, Utc};
use maud::{Markup, html};
use std::collections::HashMap;
use uuid::Uuid;

/// Operations that can be begun, as many as are shown.
const READY: usize = 6;
/// Those that wait for something, as many as are shown.
const COMING: usize = 6;

/// `/bench`.
pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/bench", web::get().to(show))
        .route("/bench/op/{id}", web::get().to(open));
}

/// What a route card's code leads to: the operation, at a machine of its kind.
async fn open(at: AtBench, id: web::Path<Uuid>) -> Answer {
    let mut tx = at.begin(None).await?;
    let (_, operation) = jobs::operation(&mut tx, *id).await?;
    let machines = machines::machines(&mut tx).await?;
    let machine = machines
        .iter()
        .find(|m| m.active && m.kind == operation.planned.machine_kind)
        .map_or(String::new(), |m| format!("machine={}&", m.id));
    Ok(Reply::see_other(format!("/bench?{machine}op={id}#op-{id}")))
}

/// What was typed and could not be taken: given back beside its field.
pub(super) struct Refused {
    field: String,
    typed: String,
    why: &'static str,
}

impl Refused {
    /// A reading of a check.
    pub(super) fn reading(operation: Uuid, place: u32, typed: &str) -> Self {
        Self {
            field: reading_id(operation, place),
            typed: typed.to_owned(),
            why: "Enter a number in the unit of the limits, for example 40.012",
        }
    }

    /// The time at which a clock that began with this entry stopped.
    pub(super) fn when(start: Uuid, typed: &str) -> Self {
        Self {
            field: when_id(start),
            typed: typed.to_owned(),
            why: "Enter a day and a time",
        }
    }
}

fn reading_id(operation: Uuid, place: u32) -> String {
    format!("check-{operation}-{place}")
}

fn when_id(start: Uuid) -> String {
    format!("when-{start}")
}

/// All that the page shows.
struct Screen<'a> {
    at: &'a AtBench,
    who: &'a SignOn,
    now: DateTime<Utc>,
    machines: &'a [Machine],
    machine: &'a Machine,
    clocks: &'a [Clock],
    names: HashMap<Uuid, &'a str>,
    checks: &'a [CheckResult],
    refused: Option<&'a Refused>,
}

async fn show(at: AtBench, which: web::Query<Which>) -> Answer {
    draw(&at, &which, None).await
}

/// The screen, with what was refused when something was.
pub(super) async fn draw(at: &AtBench, which: &Which, refused: Option<&Refused>) -> Answer {
    let now = Utc::now();
    let mut tx = at.begin(None).await?;
    let Some(who) = devices::signed_on(&mut tx, at.device.id, now).await? else {
        let people = devices::bench_people(&mut tx).await?;
        return Ok(people_page(at, &people, which).into());
    };
    let mut all = machines::machines(&mut tx).await?;
    all.retain(|machine| machine.active);
    let chosen = |id| all.iter().find(|machine| Some(machine.id) == id);
    let machine = chosen(which.machine).or_else(|| chosen(at.device.machine_id));
    let Some(machine) = machine.or(all.first()) else {
        let page = Page::open("Bench").body(html! {
            h1 { "Bench" }
            p { "The shop has no active machine yet. The owner adds machines under Shop, Machines." }
        });
        return Ok(page.into());
    };
    let here = waiting(&mut tx, Some(&machine.kind), None).await?;
    let live = bookings::live(&mut tx).await?;
    let entries: Vec<_> = live.iter().map(|b| b.entry).collect();
    let mut running = clocks(&entries);
    running.retain(|clock| clock.until.is_none());
    let elsewhere: Vec<Uuid> = running
        .iter()
        .filter(|c| c.person == who.person_id && here.iter().all(|w| w.id != c.operation))
        .map(|c| c.operation)
        .collect();
    let elsewhere = waiting(&mut tx, None, Some(&elsewhere)).await?;
    let questions = booked_hours::questions(&mut tx, &live, now).await?;
    let shown: Vec<Uuid> = here.iter().chain(&elsewhere).map(|w| w.id).collect();
    let checked = checks::of_operations(&mut tx, &shown).await?;
    let screen = Screen {
        at,
        who: &who,
        now,
        machines: &all,
        machine,
        clocks: &running,
        names: live
            .iter()
            .map(|b| (b.entry.person, b.person.as_str()))
            .collect(),
        checks: &checked,
        refused,
    };
    let page = screen.page(&here, &elsewhere, &live, &questions, which.op);
    Ok(if refused.is_some() {
        page.invalid().into()
    } else {
        page.into()
    })
}

impl Screen<'_> {
    fn page(
        &self,
        here: &[Waiting],
        elsewhere: &[Waiting],
        live: &[Booking],
        questions: &[Question],
        asked_for: Option<Uuid>,
    ) -> Page {
        let (asked, here): (Vec<&Waiting>, Vec<&Waiting>) =
            here.iter().partition(|w| Some(w.id) == asked_for);
        let is_running = |w: &Waiting| self.clocks.iter().any(|c| c.operation == w.id);
        let of = |keep: &dyn Fn(&Waiting) -> bool| -> Vec<&Waiting> {
            here.iter().copied().filter(|w| keep(w)).collect()
        };
        let stopped =
            |w: &Waiting| w.held.is_some() && w.state != OperationState::Queued && !is_running(w);
        let running = of(&is_running);
        let ready = of(&|w| !is_running(w) && w.is_ready());
        let held = of(&stopped);
        let coming = of(&|w| !is_running(w) && !w.is_ready() && !stopped(w));
        let mine = |question: &&Question| question.forgotten.clock.person == self.who.person_id;
        let conflicting = live
            .iter()
            .filter(|b| b.conflict.is_some() && !b.settled && b.entry.person == self.who.person_id);
        let body = html! {
            div.bench-head {
                p { strong { (self.who.name) } " · " (self.at.device.name) }
                form method="post" action="/bench/sign-off" {
                    button.quiet type="submit" { "Sign off" }
                }
            }
            (offline())
            h1.bench-machine { (self.machine.name) }
            (self.machine_choice())
            div #bench-state role="status" hidden {}
            section #bench-queue.notice.warn aria-labelledby="bench-queue-title" hidden {
                h2 #bench-queue-title { "Not sent yet" }
                ul {}
            }
            section #bench-trouble.notice.bad aria-labelledby="bench-trouble-title" hidden {
                h2 #bench-trouble-title { "Check these" }
                ul {}
                button.quiet type="button" { "Read" }
            }
            @for question in questions.iter().filter(mine) { (self.question(question)) }
            @for booking in conflicting { (self.conflict(booking)) }
            @if asked_for.is_some() {
                h2 { "From the route card" }
                @for w in &asked {
                    @if !w.waits_for.is_empty() { p { "It " (waits(w)) "." } }
                    (self.card(w, None))
                }
                @if asked.is_empty() { p { "That operation is done, or belongs to another machine." } }
            }
            @if !elsewhere.is_empty() {
                h2 { "You are also working on" }
                @for w in elsewhere { (self.card(w, None)) }
            }
            @if !running.is_empty() {
                h2 { "Running here" }
                @for w in &running { (self.card(w, None)) }
            }
            @match ready.split_first() {
                None => @if running.is_empty() { p.bench-empty { "Nothing can start here now." } },
                Some((first, rest)) => {
                    h2 { "Next here" }
                    (self.card(first, Some(self.why(first, true))))
                    @if !rest.is_empty() {
                        h2 { "Then" }
                        @for w in rest.iter().take(READY - 1) { (self.card(w, Some(self.why(w, false)))) }
                        @if rest.len() >= READY { p.muted { "And " (rest.len() + 1 - READY) " more." } }
                    }
                }
            }
            @if !held.is_empty() {
                h2 { "On hold" }
                @for w in &held { (self.card(w, None)) }
            }
            @if !coming.is_empty() {
                details.bench-coming {
                    summary { "Waiting: " (coming.len()) }
                    ul {
                        @for w in coming.iter().take(COMING) {
                            li { strong { "Job " (w.job_number) " · " (w.planned.number) } " " (w.planned.title) ": " (waits(w)) }
                        }
                        @if coming.len() > COMING { li.muted { "and " (coming.len() - COMING) " more" } }
                    }
                }
            }
            p.small.muted { "Guide figures only: follow the tool maker’s data, local codes and qualified people." }
        };
        Page::open(self.machine.name.clone())
            .script("bench.js")
            .body(html! {
                div #bench data-sign-on=(self.who.id) data-as-of=(self.now.timestamp_millis())
                    data-machine=(self.machine.id) { (body) }
            })
    }

    fn machine_choice(&self) -> Markup {
        html! {
            details {
                summary.bench-other-machine { "Another machine" }
                nav.bench-machines aria-label="Machines" {
                    @for machine in self.machines {
                        a.bench-chip href={ "/bench?machine=" (machine.id) }
                            aria-current=[(machine.id == self.machine.id).then_some("page")] { (machine.name) }
                    }
                }
            }
        }
    }

    fn clock_of(&self, w: &Waiting) -> Option<&Clock> {
        let here = || self.clocks.iter().filter(|c| c.operation == w.id);
        here()
            .find(|c| c.person == self.who.person_id)
            .or_else(|| here().find(|c| c.phase == Phase::Alone))
    }

    /// A time of today by itself, any other with its day.
    fn since(&self, at: DateTime<Utc>) -> String {
        let day = |at: DateTime<Utc>| at.with_timezone(&self.at.zone).date_naive();
        if day(at) == day(self.now) {
            at.with_timezone(&self.at.zone).format("%H:%M").to_string()
        } else {
            show::moment(at, self.at.zone)
        }
    }

    fn why(&self, w: &Waiting, first: bool) -> Markup {
        let promised = match w.promised_on {
            Some(day) => format!("promised for {}", show::day(day)),
            None => format!("due {}", show::day(w.due_on)),
        };
        html! {
            p.bench-why {
                @match w.plan {
                    _ if w.state == OperationState::Started => { "Started; " (promised) "." }
                    Some((from, machine)) => {
                        "Planned from " (show::moment(from, self.at.zone))
                        @if machine.is_some_and(|m| m != self.machine.id) { ", on another machine" }
                        "; " (promised) "."
                    }
                    None if first => { "The first due of what can start here: " (promised) "." }
                    None => { "Can start; " (promised) "." }
                }
            }
        }
    }

    fn card(&self, w: &Waiting, why: Option<Markup>) -> Markup {
        let clock = self.clock_of(w);
        let state = match clock.map(|c| c.phase) {
            None => "none",
            Some(Phase::Setup) => "setup",
            Some(Phase::Run) => "run",
            Some(Phase::Alone) => "alone",
        };
        let others = self
            .clocks
            .iter()
            .filter(|c| c.operation == w.id && c.person != self.who.person_id);
        let op = &w.planned;
        let id = format!("op-{}", w.id);
        let own_machine = w.planned.machine_kind == self.machine.kind;
        html! {
            article.bench-card id=(id) data-op=(w.id) data-clock=(state) data-setup-key=(op.setup_key)
                data-attended=[clock.is_some_and(|c| c.phase.is_attended()).then_some("yes")]
                data-held=[w.held.as_ref().map(|_| "yes")]
                aria-labelledby={ (id) "-title" } {
                h3 id={ (id) "-title" } { span.bench-number { "Job " (w.job_number) " · " (op.number) } " " (op.title) }
                p.bench-job { (w.job_title) }
                @if let Some(why) = why { (why) }
                p.bench-running {
                    @if let Some(clock) = clock {
                        (floor_words::phase(clock.phase)) " since " (self.since(clock.from))
                    } @else { "Not running" }
                }
                @for other in others {
                    p.bench-other { (self.names.get(&other.person).copied().unwrap_or("Somebody")) ": " (floor_words::phase(other.phase)) " since " (self.since(other.from)) }
                }
                p.bench-times {
                    @if op.setup > Minutes::ZERO { "Setup " (op.setup.rounded()) " · " }
                    "run " (op.run.rounded())
                    @if op.attended_share.is_zero() { ", unattended" }
                    " · " (op.setup_key)
                }
                @if !op.cautions.is_empty() {
                    ul.bench-cautions {
                        @for caution in &op.cautions { li { span.sign aria-hidden="true" { "!" } " " (caution) } }
                    }
                }
                p.bench-held.notice.bad role="status" {
                    span.sign aria-hidden="true" { "!" } " "
                    "On hold" @if let Some(reason) = &w.held { ": " (reason) } ". Waiting for the owner."
                }
                (self.buttons(w, own_machine))
                @if !op.checks.is_empty() { (self.checks(w)) }
                details {
                    summary { "Steps" }
                    ol.bench-steps {
                        @for step in &op.steps {
                            li {
                                (step.name)
                                @if let Some(place) = &step.place { ", at " (place) }
                                @if step.count > 1 { ", " (step.count) " times" }
                            }
                        }
                    }
                    @if let Some(face) = op.face { p { "Face up: " (face) } }
                }
            }
        }
    }

    fn buttons(&self, w: &Waiting, own_machine: bool) -> Markup {
        let machine = own_machine.then_some(self.machine.id);
        let button = |kind: &str, words: &str, class: &str| {
            html! {
                form.bench-form method="post" action="/bench/book" data-book=(kind) {
                    (self.hidden(kind, w.id, machine))
                    button class={ "bench-button " (class) } type="submit" { (words) }
                }
            }
        };
        html! {
            div.bench-buttons {
                @if w.planned.setup > Minutes::ZERO { (button("setup", "Set up", "first")) }
                (button("run", "Run", "first"))
                (button("run_alone", "Run unattended", ""))
                (button("pause", "Pause", ""))
                (button("done", "Done", "done"))
            }
        }
    }

    fn checks(&self, w: &Waiting) -> Markup {
        let made = self.checks.iter().filter(|r| r.operation_id == w.id);
        let latest = |place: u32| made.clone().rfind(|r| u32::try_from(r.place) == Ok(place));
        let all = w.planned.checks.len();
        let open = (0_u32..).take(all).filter(|&p| latest(p).is_none()).count();
        html! {
            @if open > 0 { p.bench-open { "Before Done: " (open) " of " (all) " " (if all == 1 { "check" } else { "checks" }) " to do." } }
            ol.bench-checks aria-label="Checks" {
                @for (place, check) in (0_u32..).zip(&w.planned.checks) {
                    li {
                        p { strong { (check.what) } ": " (check.limits) @if !check.instrument.is_empty() { " · " (check.instrument) } }
                        p.bench-found role="status" {
                            @if let Some(result) = latest(place) { (found_words(result)) } @else { "Not checked yet" }
                        }
                        @match (limit_gauge(check), Limits::read(&check.limits)) {
                            (Some(gauge), limits) => {
                                p.bench-gauge { "Go must enter, no-go must not. New gauge: " (gauge) "." }
                                (self.gauging(w, place, check))
                                details open[self.refused(&reading_id(w.id, place)).is_some()] {
                                    summary { "Measure instead" span.visually-hidden { ": " (check.what) } }
                                    @if let Some(limits) = &limits { (self.measuring(w, place, check, limits)) }
                                }
                            }
                            (None, Some(limits)) => (self.measuring(w, place, check, &limits)),
                            (None, None) => (self.gauging(w, place, check)),
                        }
                    }
                }
            }
        }
    }

    fn refused(&self, field: &str) -> Option<&Refused> {
        self.refused.filter(|refused| refused.field == field)
    }

    /// The form of a check that goes or does not.
    fn gauging(&self, w: &Waiting, place: u32, check: &Check) -> Markup {
        html! {
            form.bench-form method="post" action="/bench/check" data-book="check" {
                (self.hidden("check", w.id, Some(self.machine.id)))
                input type="hidden" name="place" value=(place);
                div.bench-row.even {
                    button.bench-button type="submit" name="goes" value="yes" { "Pass" span.visually-hidden { ": " (check.what) } }
                    button.bench-button type="submit" name="goes" value="no" { "Fail" span.visually-hidden { ": " (check.what) } }
                }
            }
        }
    }

    /// The form of a check that is measured.
    fn measuring(&self, w: &Waiting, place: u32, check: &Check, limits: &Limits) -> Markup {
        let id = reading_id(w.id, place);
        let refused = self.refused(&id);
        html! {
            form.bench-form method="post" action="/bench/check" data-book="check" data-lower=[limits.lower] data-upper=[limits.upper] {
                (self.hidden("check", w.id, Some(self.machine.id)))
                input type="hidden" name="place" value=(place);
                label for=(id) { "Measured" @if !limits.unit.is_empty() { ", " (limits.unit) } span.visually-hidden { ": " (check.what) } }
                (complaint(refused))
                div.bench-row {
                    input id=(id) name="measured" inputmode="decimal" autocomplete="off" required value=[refused.map(|r| r.typed.as_str())]
                        aria-invalid=[refused.map(|_| "true")] aria-describedby=[refused.map(|r| format!("{}-error", r.field))];
                    button.bench-button type="submit" { "Enter" }
                }
            }
        }
    }

    fn hidden(&self, kind: &str, operation: Uuid, machine: Option<Uuid>) -> Markup {
        html! {
            input type="hidden" name="key" value=(Uuid::now_v7());
            input type="hidden" name="sign_on" value=(self.who.id);
            input type="hidden" name="kind" value=(kind);
            input type="hidden" name="operation" value=(operation);
            input type="hidden" name="machine" value=[machine];
        }
    }

    fn question(&self, question: &Question) -> Markup {
        let start = &question.start;
        let clock = &question.forgotten.clock;
        let ended = question.forgotten.shift_ended;
        let local = |at: DateTime<Utc>| {
            at.with_timezone(&self.at.zone)
                .format("%Y-%m-%dT%H:%M")
                .to_string()
        };
        let id = when_id(clock.start);
        let refused = self.refused(&id);
        let form = |kind: &str, inner: Markup| {
            html! {
                form.bench-form method="post" action="/bench/book" data-book=(kind) {
                    (self.hidden(kind, clock.operation, clock.machine))
                    input type="hidden" name="corrects" value=(clock.start);
                    (inner)
                }
            }
        };
        html! {
            section.bench-question.notice.warn data-question=(clock.start) aria-labelledby={ (id) "-title" } {
                h2 id={ (id) "-title" } { "When did you stop?" }
                p {
                    strong { "Job " (start.job_number) " · " (start.operation_number) " " (start.operation_title) } ": "
                    (floor_words::phase(clock.phase)) " since " (show::moment(clock.from, self.at.zone))
                    ", and your shift ended " (show::moment(ended, self.at.zone)) ". Until you answer, this time is not counted."
                }
                div.bench-buttons {
                    @if ended > clock.from {
                        (form("pause", html! {
                            input type="hidden" name="at" value=(local(ended)) data-at=(ended.to_rfc3339());
                            input type="hidden" name="reason" value="forgot to stop; stopped at the end of the shift";
                            button.bench-button type="submit" { "At the end of my shift, " (ended.with_timezone(&self.at.zone).format("%H:%M")) }
                        }))
                    }
                    (form("stands", html! {
                        input type="hidden" name="reason" value="still at it";
                        button.bench-button type="submit" { @if clock.phase.is_attended() { "I am still working on it" } @else { "It is still running" } }
                    }))
                }
                (form("pause", html! {
                    label for=(id) { "At another time" }
                    (complaint(refused))
                    div.bench-row {
                        input id=(id) type="datetime-local" name="at" min=(local(clock.from)) max=(local(self.now)) value=(local(ended.max(clock.from))) required
                            aria-invalid=[refused.map(|_| "true")] aria-describedby=[refused.map(|r| format!("{}-error", r.field))];
                        input type="hidden" name="reason" value="forgot to stop; time as remembered";
                        button.bench-button type="submit" { "Enter time" }
                    }
                }))
            }
        }
    }

    fn conflict(&self, booking: &Booking) -> Markup {
        let Some(conflict) = booking.conflict else {
            return html! {};
        };
        html! {
            section.notice.bad {
                p {
                    span.sign aria-hidden="true" { "!" } " "
                    strong { "Job " (booking.job_number) " · " (booking.operation_number) } ": your booking of "
                    (show::moment(booking.entry.at, self.at.zone)) " is booked, but " (floor_words::conflict(conflict).to_lowercase())
                    ". The office will check it."
                }
            }
        }
    }
}

/// What is wrong with a field, and what was typed in it.
fn complaint(refused: Option<&Refused>) -> Markup {
    html! {
        @if let Some(refused) = refused {
            p.error id={ (refused.field) "-error" } role="alert" {
                span.sign aria-hidden="true" { "!" } " " (refused.why) @if !refused.typed.is_empty() { "; you entered “" (refused.typed) "”" }
            }
        }
    }
}

/// What a check found, in words beside a sign.
#[must_use]
pub(in crate::web) fn found_words(result: &CheckResult) -> String {
    let sign = if result.passed { "✓" } else { "✗" };
    match (&result.measured, result.passed) {
        (Some(measured), passed) => format!(
            "{sign} {measured} {}: {}",
            result.unit.as_deref().unwrap_or_default(),
            if passed {
                "within limits"
            } else {
                "out of limits"
            }
        ),
        (None, true) => format!("{sign} passed"),
        (None, false) => format!("{sign} failed"),
    }
}

/// What an operation waits for.
fn waits(w: &Waiting) -> String {
    match (&w.held, w.waits_for.as_slice()) {
        (Some(reason), _) => format!("on hold, {reason}"),
        (None, [one]) => format!("waits for operation {one}"),
        (None, many) => {
            let numbers: Vec<String> = many.iter().map(ToString::to_string).collect();
            format!("waits for operations {}", numbers.join(", "))
        }
    }
}
