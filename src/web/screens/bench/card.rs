//! One operation at the bench: what it is, its buttons, its checks and gauges.

use super::screen::{Refused, Screen, found_words, reading_id};
use crate::db::work_list::Waiting;
use crate::estimating::Check;
use crate::quality::{Limits, limit_gauge, may_be_gauged, reading};
use crate::shopfloor::Phase;
use crate::units::Minutes;
use crate::web::ui::floor_words;
use maud::{Markup, html};
use uuid::Uuid;

impl Screen<'_> {
    pub(super) fn card(&self, w: &Waiting, why: Option<Markup>) -> Markup {
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
                @for casting in self.castings.iter().filter(|casting| casting.job_id == w.job_id) {
                    p { a.bench-chip href={ "/bench/castings/" (casting.id) } { "Measure casting " (casting.number) } }
                }
                details {
                    summary { "Steps" }
                    ol.bench-steps {
                        @for step in &op.steps {
                            li {
                                (step.name)
                                @if let Some(place) = &step.place { ", at " (place) }
                                @if step.count > 1 { ", " (step.count) " times" }
                                @if !step.sizes.is_empty() { br; strong { (step.sizes) } }
                                @for setting in &step.settings { br; (setting) }
                            }
                        }
                    }
                    @if let Some(face) = op.face { p { "Face up: " (face) } }
                }
            }
        }
    }

    pub(super) fn buttons(&self, w: &Waiting, own_machine: bool) -> Markup {
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
                @match self.checks_to_do(w) {
                    0 => (button("done", "Done", "done")),
                    open => details.bench-unmade {
                        summary.bench-button.done { "Done" }
                        p {
                            strong { (open) " of " (w.planned.checks.len()) " checks are not made." }
                            " Done without them, they stay open on the job: the office has to enter them before anybody can say it was right."
                        }
                        (button("done", "Done without the checks", "done"))
                    },
                }
            }
        }
    }

    /// How many of its checks have no result yet.
    fn checks_to_do(&self, w: &Waiting) -> usize {
        let made = |place: u32| {
            let mut results = self.checks.iter().filter(|r| r.operation_id == w.id);
            results.any(|r| u32::try_from(r.place) == Ok(place))
        };
        let all = (0_u32..).take(w.planned.checks.len());
        all.filter(|&place| !made(place)).count()
    }

    pub(super) fn checks(&self, w: &Waiting) -> Markup {
        let made = self.checks.iter().filter(|r| r.operation_id == w.id);
        let latest = |place: u32| made.clone().rfind(|r| u32::try_from(r.place) == Ok(place));
        let all = w.planned.checks.len();
        let open = self.checks_to_do(w);
        html! {
            @if open > 0 { p.bench-open { "Before Done: " (open) " of " (all) " " (if all == 1 { "check" } else { "checks" }) " to do." } }
            ol.bench-checks aria-label="Checks" {
                @for (place, check) in (0_u32..).zip(&w.planned.checks) {
                    li {
                        p { strong { (check.what) } ": " (check.limits_in_words()) @if !check.instrument.is_empty() { " · " (check.instrument) } }
                        p.bench-found role="status" {
                            @if let Some(result) = latest(place) { (found_words(result)) } @else { "Not checked yet" }
                        }
                        @if let Some(gauge) = limit_gauge(check) {
                            p.bench-gauge { "Go must enter, no-go must not. New gauge: " (gauge) "." }
                        }
                        @match Limits::of(check) {
                            Some(limits) if may_be_gauged(check) => {
                                (self.gauging(w, place, check))
                                details open[self.refused(&reading_id(w.id, place)).is_some()] {
                                    summary { "Measure instead" span.visually-hidden { ": " (check.what) } }
                                    (self.measuring(w, place, check, &limits))
                                }
                            }
                            Some(limits) => (self.measuring(w, place, check, &limits)),
                            None => (self.gauging(w, place, check)),
                        }
                    }
                }
            }
        }
    }

    pub(super) fn refused(&self, field: &str) -> Option<&Refused> {
        self.refused.filter(|refused| refused.field == field)
    }

    /// The form of a check that goes or does not.
    pub(super) fn gauging(&self, w: &Waiting, place: u32, check: &Check) -> Markup {
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

    /// The form of a check that is measured: one field, or a table of them with one for each place.
    pub(super) fn measuring(
        &self,
        w: &Waiting,
        place: u32,
        check: &Check,
        limits: &Limits,
    ) -> Markup {
        let id = reading_id(w.id, place);
        let refused = self.refused(&id);
        html! {
            form.bench-form method="post" action="/bench/check" data-book="check" data-lower=[limits.lower] data-upper=[limits.upper] {
                (self.hidden("check", w.id, Some(self.machine.id)))
                input type="hidden" name="place" value=(place);
                @if check.readings() > 1 {
                    (readings(&id, check, limits, refused))
                } @else {
                    label for=(id) {
                        "Measured" @if let Some(at) = check.places.first() { " at " (at) }
                        @if !limits.unit.is_empty() { ", " (limits.unit) } span.visually-hidden { ": " (check.what) }
                    }
                    (complaint(refused))
                    div.bench-row {
                        input id=(id) name="measured" inputmode="decimal" autocomplete="off" required value=[refused.map(|r| r.typed.as_str())]
                            aria-invalid=[refused.map(|_| "true")] aria-describedby=[refused.map(|r| format!("{}-error", r.field))];
                        button.bench-button type="submit" { "Enter" }
                    }
                }
            }
        }
    }

    pub(super) fn hidden(&self, kind: &str, operation: Uuid, machine: Option<Uuid>) -> Markup {
        html! {
            input type="hidden" name="key" value=(Uuid::now_v7());
            input type="hidden" name="sign_on" value=(self.who.id);
            input type="hidden" name="kind" value=(kind);
            input type="hidden" name="operation" value=(operation);
            input type="hidden" name="machine" value=[machine];
        }
    }
}

/// The table of a check that takes several readings, with the keys of a number pad under it. The first field has the id
/// that a complaint leads to.
fn readings(id: &str, check: &Check, limits: &Limits, refused: Option<&Refused>) -> Markup {
    let typed = |row: usize| {
        refused
            .and_then(|r| r.readings.get(row))
            .map_or("", String::as_str)
    };
    let field = |row: usize| match row {
        0 => id.to_owned(),
        row => format!("{id}-{row}"),
    };
    html! {
        (complaint(refused))
        table.bench-readings {
            caption.visually-hidden { "Readings: " (check.what) }
            thead { tr { th scope="col" { "Where" } th scope="col" { "Measured" @if !limits.unit.is_empty() { ", " (limits.unit) } } th scope="col" { "Verdict" } } }
            tbody {
                @for (row, at) in check.places.iter().enumerate() {
                    tr {
                        th scope="row" { label for=(field(row)) { (at) } }
                        td {
                            input id=(field(row)) name={ "reading_" (row) } inputmode="decimal" autocomplete="off" required value=(typed(row))
                                aria-invalid=[refused.filter(|_| reading(typed(row)).is_none()).map(|_| "true")]
                                aria-describedby=[refused.map(|r| format!("{}-error", r.field))];
                        }
                        td { output for=(field(row)) {} }
                    }
                }
            }
        }
        div.bench-pad hidden {
            @for key in ["7", "8", "9", "4", "5", "6", "1", "2", "3", ".", "0", "-"] { button type="button" data-key=(key) { (key) } }
            button type="button" data-key="back" { "Delete" }
            button type="button" data-key="next" { "Next" }
        }
        button.bench-button type="submit" { "Enter readings" }
    }
}

/// What is wrong with a field, and what was typed in it.
pub(super) fn complaint(refused: Option<&Refused>) -> Markup {
    html! {
        @if let Some(refused) = refused {
            p.error id={ (refused.field) "-error" } role="alert" {
                span.sign aria-hidden="true" { "!" } " " (refused.why) @if !refused.typed.is_empty() { "; you entered “" (refused.typed) "”" }
            }
        }
    }
}
