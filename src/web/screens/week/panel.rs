//! What can be done by hand about an operation, a machine or a person: every form asks what would come of it first.

use super::asked::Asked;
use super::sheet::{Stretch, in_hundred, job_href, keeping, long_number, slack_words, state_words};
use super::try_out::href;
use crate::app::current_plan::CurrentPlan as Standing;
use crate::planning::floor::{
    Floor, FloorJob, FloorMachine, FloorOperation, FloorPerson, Progress, Slot, Timetable,
};
use crate::planning::what_if::{Change, Side, hours, job_words};
use crate::planning::{Calendar, floor};
use crate::web::screens::week::picture::Keeping;
use crate::web::ui::forms::Choice;
use crate::web::ui::{Field, FormErrors, show};
use chrono::{DateTime, Utc};
use maud::{Markup, html};

/// What a panel is drawn from.
pub(super) struct Panel<'a> {
    pub standing: &'a Standing,
    pub stretch: Stretch,
    pub asked: &'a Asked,
    pub errors: &'a FormErrors,
    /// Whether this person may change the plan.
    pub may: bool,
}

impl Panel<'_> {
    fn floor(&self) -> &Floor {
        &self.standing.floor
    }

    fn timetable(&self) -> &Timetable {
        &self.standing.timetable
    }

    /// The panel of what is looked at, if anything is.
    pub fn draw(&self) -> Markup {
        let floor = self.floor();
        let operation = Asked::key(&self.asked.operation).and_then(|id| floor.operation(id));
        let machine = Asked::key(&self.asked.machine).and_then(|id| floor.machine(id));
        let person = Asked::key(&self.asked.person).and_then(|id| floor.person(id));
        let any = [
            &self.asked.operation,
            &self.asked.machine,
            &self.asked.person,
        ]
        .iter()
        .any(|key| !key.is_empty());
        match (operation, machine, person) {
            (Some((job, operation)), ..) => self.operation(job, operation),
            (_, Some(machine), _) => self.machine(machine),
            (_, _, Some(person)) => self.person(person),
            _ if any => {
                html! { p.notice.warn #operation { "What you looked at is not on the floor any more." } }
            }
            _ => html! {},
        }
    }

    /// The hidden fields every form carries, and what it is about.
    fn carry(&self, kind: &str, about: &str, key: impl ToString) -> Markup {
        html! {
            input type="hidden" name="from" value=(self.stretch.from);
            input type="hidden" name="days" value=(self.stretch.days);
            input type="hidden" name="kind" value=(kind);
            input type="hidden" name=(about) value=(key.to_string());
        }
    }

    /// What was typed into a form of this kind, or else what stands there.
    fn typed(&self, kind: &str, typed: &str, stands: &str) -> String {
        if self.asked.kind == kind {
            typed.to_owned()
        } else {
            stands.to_owned()
        }
    }

    /// A way to try something that needs nothing typed.
    fn button(&self, kind: &str, about: &str, key: impl ToString, label: &str) -> Markup {
        html! {
            form method="get" action="/week/try" { (self.carry(kind, about, key)) button.quiet type="submit" { (label) } }
        }
    }

    fn close(&self) -> Markup {
        html! { a.button.quiet href={ "/week?" (self.stretch.query()) } { "Close" } }
    }

    /// A complaint that no field of a form is about.
    fn general(&self) -> Markup {
        html! { @if let Some(complaint) = self.errors.get("change") { p.error { span.sign aria-hidden="true" { "!" } " " (complaint) } } }
    }

    fn operation(&self, job: &FloorJob, operation: &FloorOperation) -> Markup {
        let floor = self.floor();
        let slot = self.timetable().slot(operation.id);
        let dates = self.timetable().job(job.id);
        let chance = dates.and_then(|d| d.chance);
        html! {
            section.card.week-panel #operation tabindex="-1" aria-labelledby="change" {
                div.bar {
                    h2 #change { (long_number(job)) ", " (operation.number) " " (operation.what) }
                    (self.close())
                }
                (self.general())
                dl.figures {
                    div { dt { "Job" } dd { a href=(job_href(job)) { (job.title) } } }
                    @match slot {
                        Some(slot) => (slot_figures(floor, slot)),
                        None => div { dt { "Planned" } dd { "no" } },
                    }
                    div {
                        dt { @if job.promised { "Promised" } @else { "Wanted by" } }
                        dd {
                            @match job.due { Some(due) => (show::moment(due, floor.zone)), None => "no day" }
                            @if let Some(keeping) = keeping(floor, self.timetable(), job) {
                                " " span.tag { (match keeping { Keeping::Holds => "holds", Keeping::AtRisk => "at risk", Keeping::Late => "late" }) }
                            }
                            @if let Some(chance) = chance { br; a href={ "/week/risk?job=" (job.id) "#job" } { "holds in " (in_hundred(chance)) } }
                        }
                    }
                }
                @if self.may {
                    @if operation.progress == Progress::Queued && matches!(job.order, floor::Order::Job) {
                        (self.place(operation, slot))
                    }
                    @if matches!(job.order, floor::Order::Job) { (self.about_job(job, operation)) }
                    @else { p { "A slot held for a quote moves with the plan; it becomes a job when the quote is won." } }
                }
            }
        }
    }

    fn place(&self, operation: &FloorOperation, slot: Option<&Slot>) -> Markup {
        let floor = self.floor();
        let machines: Vec<Choice> = floor
            .machines
            .iter()
            .filter(|m| m.kind == operation.machine_kind)
            .map(|m| Choice::new(m.id, &m.name))
            .collect();
        let people: Vec<Choice> = floor
            .people
            .iter()
            .filter(|p| p.can(&operation.skill))
            .map(|p| Choice::new(p.id, &p.name))
            .collect();
        let text = |id: Option<uuid::Uuid>| id.map(|id| id.to_string()).unwrap_or_default();
        let on = self.typed("place", &self.asked.on, &text(slot.and_then(|s| s.machine)));
        let with = self.typed(
            "place",
            &self.asked.with,
            &text(slot.and_then(|s| s.person)),
        );
        let starts = |format: &str| {
            slot.map(|s| {
                s.starts
                    .with_timezone(&floor.zone)
                    .format(format)
                    .to_string()
            })
            .unwrap_or_default()
        };
        let day = self.typed("place", &self.asked.day, &starts("%Y-%m-%d"));
        let time = self.typed("place", &self.asked.time, &starts("%H:%M"));
        let outside = operation.outside_days.is_some();
        html! {
            details.act #move open[self.asked.kind == "place"] {
                summary { "Move it" }
                form.grid method="get" action="/week/try" novalidate {
                    (self.carry("place", "operation", operation.id))
                    @if !outside {
                        (Field::select("on", "On", &on, machines).id("place-on").optional().errors(self.errors))
                        @if !people.is_empty() {
                            (Field::select("with", "By", &with, people).id("place-with").optional().hint("Left empty: whoever the plan chooses").errors(self.errors))
                        }
                    }
                    (Field::date("day", "Day", &day).id("place-day").optional().hint("Day and time left empty: when the plan puts it").errors(self.errors))
                    (Field::time("time", "Starts at", &time).id("place-time").optional().errors(self.errors))
                    div.actions { button type="submit" { "See what moves" } }
                }
            }
        }
    }

    fn about_job(&self, job: &FloorJob, operation: &FloorOperation) -> Markup {
        let slot = self.timetable().slot(operation.id);
        let waits = operation.progress == Progress::Queued;
        html! {
            @if job.hold.is_none() {
                details.act #hold open[self.asked.kind == "hold"] {
                    summary { "Hold the job" }
                    form.grid method="get" action="/week/try" novalidate {
                        (self.carry("hold", "operation", operation.id))
                        (Field::text("reason", "Why", &self.typed("hold", &self.asked.reason, "")).id("hold-reason").errors(self.errors))
                        div.actions { button type="submit" { "See what moves" } }
                    }
                }
            }
            div.actions {
                @if waits && operation.pin.is_some() { (self.button("unpin", "operation", operation.id, "Take the pin out")) }
                @else if waits && slot.is_some() { (self.button("pin", "operation", operation.id, "Pin it where it is")) }
                @for (words, change) in self.orders(operation) { a.button.quiet href=(href(&change, self.stretch)) { (words) } }
                (self.button("first", "operation", operation.id, &format!("Put job {} first", job.number)))
                @if job.put_first.is_some() { (self.button("turn", "operation", operation.id, &format!("Job {} in its turn again", job.number))) }
                @if let Some(reason) = &job.hold { (self.button("release", "operation", operation.id, &format!("Let it go on (held: {reason})"))) }
            }
        }
    }

    /// The orders that were decided by hand and that this operation is in, with the change that leaves each to the plan.
    fn orders(&self, operation: &FloorOperation) -> Vec<(String, Change)> {
        let floor = self.floor();
        let behind = operation.behind.iter().map(|id| (*id, Side::Behind));
        let before = floor
            .jobs
            .iter()
            .flat_map(|job| &job.operations)
            .filter(|other| other.behind.contains(&operation.id))
            .map(|other| (other.id, Side::Before));
        behind
            .chain(before)
            .filter_map(|(other, side)| {
                let (job, at) = floor.operation(other)?;
                let place = match side {
                    Side::Behind => "behind",
                    Side::Before => "before",
                };
                let words = format!(
                    "No longer kept {place} {} of {}",
                    at.number,
                    job_words(floor, job.id)
                );
                let change = Change::NoOrder {
                    operation: operation.id,
                    other,
                    side,
                    machine: None,
                    was: None,
                };
                Some((words, change))
            })
            .collect()
    }

    fn machine(&self, machine: &FloorMachine) -> Markup {
        let people: Vec<Choice> = self
            .floor()
            .people
            .iter()
            .filter(|p| !p.skills.is_empty())
            .map(|p| Choice::new(p.id, &p.name))
            .collect();
        html! {
            section.card.week-panel #panel tabindex="-1" aria-labelledby="change" {
                div.bar { h2 #change { (machine.name) } (self.close()) }
                (self.general())
                (self.next_days(&machine.hours, |slot| slot.machine == Some(machine.id)))
                @if self.may {
                    (self.away("machine", machine.id, "Stop it for a while"))
                    details.act #overtime open[self.asked.kind == "overtime"] {
                        summary { "Overtime" }
                        form.grid method="get" action="/week/try" novalidate {
                            (self.carry("overtime", "machine", machine.id))
                            (self.overtime_fields())
                            (Field::select("with", "Who stays", &self.typed("overtime", &self.asked.with, ""), people).id("overtime-with").optional().hint("Left empty: everybody at work that day").errors(self.errors))
                            div.actions { button type="submit" { "See what moves" } }
                        }
                    }
                }
                p { a href={ "/shop/machines/" (machine.id) } { "The machine, its rate and its hours" } }
            }
        }
    }

    fn person(&self, person: &FloorPerson) -> Markup {
        html! {
            section.card.week-panel #panel tabindex="-1" aria-labelledby="change" {
                div.bar { h2 #change { (person.name) } (self.close()) }
                (self.general())
                (self.next_days(&person.hours, |slot| slot.person == Some(person.id)))
                p { "Skills: " @if person.skills.is_empty() { "none" } @else { (person.skills.join(", ")) } }
                @if self.may {
                    (self.away("person", person.id, "A day off, or some hours"))
                    details.act #overtime open[self.asked.kind == "overtime"] {
                        summary { "Overtime" }
                        form.grid method="get" action="/week/try" novalidate {
                            (self.carry("overtime", "person", person.id))
                            (self.overtime_fields())
                            div.actions { button type="submit" { "See what moves" } }
                        }
                    }
                }
            }
        }
    }

    fn away(&self, about: &str, key: uuid::Uuid, title: &str) -> Markup {
        let asked = self.asked;
        let typed = |text: &str| self.typed("away", text, "");
        html! {
            details.act #away open[asked.kind == "away"] {
                summary { (title) }
                form.grid method="get" action="/week/try" novalidate {
                    (self.carry("away", about, key))
                    (Field::date("day", "Day", &typed(&asked.day)).id("away-day").errors(self.errors))
                    (Field::time("time", "From", &typed(&asked.time)).id("away-time").optional().hint("Left empty: the whole day").errors(self.errors))
                    (Field::date("until_day", "Until day", &typed(&asked.until_day)).id("away-until_day").optional().hint("Left empty: the same day").errors(self.errors))
                    (Field::time("until", "Until", &typed(&asked.until)).id("away-until").optional().errors(self.errors))
                    (Field::text("reason", "Why", &typed(&asked.reason)).id("away-reason").errors(self.errors))
                    div.actions { button type="submit" { "See what moves" } }
                }
            }
        }
    }

    fn overtime_fields(&self) -> Markup {
        let asked = self.asked;
        let typed = |text: &str| self.typed("overtime", text, "");
        html! {
            (Field::date("day", "Day", &typed(&asked.day)).id("overtime-day").errors(self.errors))
            (Field::time("time", "From", &typed(&asked.time)).id("overtime-time").errors(self.errors))
            (Field::time("until", "Until", &typed(&asked.until)).id("overtime-until").errors(self.errors))
            (Field::text("reason", "Why", &typed(&asked.reason)).id("overtime-reason").optional().errors(self.errors))
        }
    }

    /// How much is planned in the stretch of the hours there are.
    fn next_days(&self, own: &crate::planning::Hours, mine: impl Fn(&Slot) -> bool) -> Markup {
        let floor = self.floor();
        let (from, until) = self.stretch.span(floor);
        let from = from.max(floor.now);
        let calendar = Calendar::build(own, from, until);
        let slots: Vec<&Slot> = self.timetable().slots.iter().filter(|s| mine(s)).collect();
        let clip = |at: DateTime<Utc>| at.clamp(from, until.max(from));
        let load: i64 = slots
            .iter()
            .map(|s| calendar.working_between(clip(s.starts), clip(s.ends)))
            .sum();
        html! {
            dl.figures {
                div { dt { "Planned in these days" } dd { (hours(load)) " of " (hours(calendar.total())) } }
                @if let Some(next) = slots.iter().find(|s| s.ends > floor.now) {
                    div { dt { "Now, or next" } dd { a href={ "/week?" (self.stretch.query()) "&operation=" (next.operation) "#operation" } { (super::sheet::slot_words(floor, next)) } } }
                }
            }
        }
    }
}

fn slot_figures(floor: &Floor, slot: &Slot) -> Markup {
    html! {
        div { dt { "Planned" } dd { (show::moment(slot.starts, floor.zone)) br; "to " (show::moment(slot.ends, floor.zone)) @if let Some(state) = state_words(slot.state) { " " span.tag { (state) } } } }
        div { dt { "Where" } dd { @match slot.machine.and_then(|id| floor.machine(id)) { Some(machine) => (machine.name), None => "sent out" } } }
        div { dt { "Who" } dd { @match slot.person.and_then(|id| floor.person(id)) { Some(person) => (person.name), None => "nobody" } } }
        div { dt { "Setup" } dd { @if slot.setup_minutes > 0 { (hours(slot.setup_minutes)) } @else { "none" } } }
        div { dt { "To spare" } dd { (slack_words(slot.slack_minutes)) } }
    }
}
