//! The bench screen: what is next at this machine and why, what runs, and what must be answered.

use super::AtBench;
use super::card::complaint;
use super::sign_on::{Which, offline, people_page};
use crate::app::bench_overview::{self, Bench, bench};
use crate::app::booked_hours::Question;
use crate::app::undo_booking::UNDO;
use crate::db::bookings::Booking;
use crate::db::castings_on_shelf::JobCasting;
use crate::db::checks::CheckResult;
use crate::db::devices::SignOn;
use crate::db::jobs::OperationState;
use crate::db::pressed::Press;
use crate::db::work_list::Waiting;
use crate::estimating::Machine;
use crate::shopfloor::{Clock, Phase};
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
    let machine = bench_overview::machine_for(&at.actor(None), *id)
        .await?
        .map_or(String::new(), |machine| format!("machine={machine}&"));
    Ok(Reply::see_other(format!("/bench?{machine}op={id}#op-{id}")))
}

/// What was typed and could not be taken: given back beside its field.
pub(super) struct Refused {
    pub(super) field: String,
    pub(super) typed: String,
    pub(super) why: &'static str,
    /// Of a check with several readings: all of them as typed.
    pub(super) readings: Vec<String>,
}

impl Refused {
    /// A reading of a check.
    pub(super) fn reading(operation: Uuid, place: u32, typed: &str, readings: Vec<String>) -> Self {
        Self {
            field: reading_id(operation, place),
            typed: typed.to_owned(),
            why: "Enter a number in the unit of the limits, for example 40.012",
            readings,
        }
    }

    /// The time at which a clock that began with this entry stopped.
    pub(super) fn when(start: Uuid, typed: &str) -> Self {
        Self {
            field: when_id(start),
            typed: typed.to_owned(),
            why: "Enter a day and a time",
            readings: Vec::new(),
        }
    }
}

pub(super) fn reading_id(operation: Uuid, place: u32) -> String {
    format!("check-{operation}-{place}")
}

fn when_id(start: Uuid) -> String {
    format!("when-{start}")
}

/// All that the page shows.
pub(super) struct Screen<'a> {
    pub(super) at: &'a AtBench,
    pub(super) who: &'a SignOn,
    pub(super) now: DateTime<Utc>,
    pub(super) machines: &'a [Machine],
    pub(super) machine: &'a Machine,
    pub(super) clocks: &'a [Clock],
    pub(super) names: HashMap<Uuid, &'a str>,
    pub(super) checks: &'a [CheckResult],
    pub(super) castings: &'a [JobCasting],
    pub(super) pressed: Option<&'a Press>,
    pub(super) refused: Option<&'a Refused>,
}

async fn show(at: AtBench, which: web::Query<Which>) -> Answer {
    draw(&at, &which, None).await
}

/// The screen, with what was refused when something was.
pub(super) async fn draw(at: &AtBench, which: &Which, refused: Option<&Refused>) -> Answer {
    let now = Utc::now();
    let work = match bench(&at.actor(None), &at.device, which.machine, now).await? {
        Bench::SignOn(people) => return Ok(people_page(at, &people, which).into()),
        Bench::NoMachine => {
            let page = Page::open("Bench").body(html! {
                h1 { "Bench" }
                p { "The shop has no active machine yet. The owner adds machines under Shop, Machines." }
            });
            return Ok(page.into());
        }
        Bench::Work(work) => work,
    };
    let screen = Screen {
        at,
        who: &work.who,
        now,
        machines: &work.machines,
        machine: &work.machine,
        clocks: &work.clocks,
        names: work
            .live
            .iter()
            .map(|b| (b.entry.person, b.person.as_str()))
            .collect(),
        checks: &work.checks,
        castings: &work.castings,
        pressed: work.pressed.as_ref(),
        refused,
    };
    let page = screen.page(
        &work.here,
        &work.elsewhere,
        &work.live,
        &work.questions,
        which.op,
    );
    Ok(if refused.is_some() {
        page.invalid().into()
    } else {
        page.into()
    })
}

/// What cannot start yet, with what it waits for.
fn coming_list(coming: &[&Waiting]) -> Markup {
    html! {
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
    }
}

impl Screen<'_> {
    /// Who is at which machine, and what this device has not sent yet.
    fn head(&self) -> Markup {
        html! {
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
        }
    }

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
            (self.head())
            @if let Some(press) = self.pressed { (self.undo(press)) }
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
            (coming_list(&coming))
            p.small.muted { "Guide figures only: follow the tool maker’s data, local codes and qualified people." }
        };
        Page::open(self.machine.name.clone())
            .script("bench.js")
            .body(html! {
                div #bench data-sign-on=(self.who.id) data-as-of=(self.now.timestamp_millis())
                    data-machine=(self.machine.id) { (body) }
            })
    }

    /// What was pressed last, and the way to take it back for a minute.
    fn undo(&self, press: &Press) -> Markup {
        let (job, number, title) = &press.of;
        let until = (press.at + UNDO).timestamp_millis();
        html! {
            section #bench-undo.notice data-until=(until) aria-labelledby="bench-undo-title" {
                p #bench-undo-title {
                    (self.since(press.at)) " " strong { (floor_words::kind(press.kind)) }
                    ", Job " (job) " · " (number) " " (title)
                }
                form method="post" action="/bench/undo" {
                    input type="hidden" name="sign_on" value=(self.who.id);
                    input type="hidden" name="machine" value=(self.machine.id);
                    input type="hidden" name="corrects" value=(press.id);
                    button.quiet type="submit" { "Undo" }
                }
            }
        }
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

    pub(super) fn clock_of(&self, w: &Waiting) -> Option<&Clock> {
        let here = || self.clocks.iter().filter(|c| c.operation == w.id);
        here()
            .find(|c| c.person == self.who.person_id)
            .or_else(|| here().find(|c| c.phase == Phase::Alone))
    }

    /// A time of today by itself, any other with its day.
    pub(super) fn since(&self, at: DateTime<Utc>) -> String {
        let day = |at: DateTime<Utc>| at.with_timezone(&self.at.zone).date_naive();
        if day(at) == day(self.now) {
            at.with_timezone(&self.at.zone).format("%H:%M").to_string()
        } else {
            show::moment(at, self.at.zone, self.at.today())
        }
    }

    fn why(&self, w: &Waiting, first: bool) -> Markup {
        let promised = match w.promised_on {
            Some(day) => format!("promised for {}", show::day(day, self.at.today())),
            None => format!("due {}", show::day(w.due_on, self.at.today())),
        };
        html! {
            p.bench-why {
                @match w.plan {
                    _ if w.state == OperationState::Started => { "Started; " (promised) "." }
                    Some((from, machine)) => {
                        "Planned from " (show::moment(from, self.at.zone, self.at.today()))
                        @if machine.is_some_and(|m| m != self.machine.id) { ", on another machine" }
                        "; " (promised) "."
                    }
                    None if first => { "The first due of what can start here: " (promised) "." }
                    None => { "Can start; " (promised) "." }
                }
            }
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
                    (floor_words::phase(clock.phase)) " since " (show::moment(clock.from, self.at.zone, self.at.today()))
                    ", and your shift ended " (show::moment(ended, self.at.zone, self.at.today())) ". Until you answer, this time is not counted."
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
                    (show::moment(booking.entry.at, self.at.zone, self.at.today())) " is booked, but " (floor_words::conflict(conflict).to_lowercase())
                    ". The office will check it."
                }
            }
        }
    }
}

/// What a check found, in words beside a sign.
#[must_use]
pub(in crate::web) fn found_words(result: &CheckResult) -> String {
    let sign = if result.passed { "✓" } else { "✗" };
    let Some(measured) = &result.measured else {
        let words = if result.passed { "passed" } else { "failed" };
        return format!("{sign} {words}");
    };
    let unit = result.unit.as_deref().unwrap_or_default();
    let verdict = if result.passed {
        "within limits"
    } else {
        "out of limits"
    };
    if result.readings.is_empty() {
        return format!("{sign} {measured} {unit}: {verdict}");
    }
    let all: Vec<String> = (result.readings.iter())
        .map(|r| format!("{} {}", r.at, r.measured))
        .collect();
    format!(
        "{sign} worst {measured} {unit}: {verdict}. {}",
        all.join("; ")
    )
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
