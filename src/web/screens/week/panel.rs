//! What can be done by hand about an operation, a machine or a person: every form is previewed first. Which forms there
//! are and what they ask for is for the kinds of change to say.

use super::query::{WeekQuery, field_id};
use super::sheet::{Stretch, today};
use super::words::{
    job_href, long_number, percent, slack_cell, slot_words, state_words, status_words,
};
use crate::app::current_plan::CurrentPlan;
use crate::planning::Calendar;
use crate::planning::changes::{About, FormField, Input, Offer, PlanChange, Subject};
use crate::planning::floor::{
    self, Floor, FloorJob, FloorMachine, FloorOperation, FloorPerson, Slot,
};
use crate::planning::words::hours;
use crate::web::ui::{Choice, Field, FormErrors, show};
use chrono::{DateTime, Utc};
use maud::{Markup, html};

/// What a panel is drawn from.
pub(super) struct Panel<'a> {
    pub plan: &'a CurrentPlan,
    pub stretch: Stretch,
    pub query: &'a WeekQuery,
    pub errors: &'a FormErrors,
    /// Whether this person may change the plan.
    pub may: bool,
    /// What can be done in place of a change that was refused.
    pub nearest: Option<&'a PlanChange>,
}

impl Panel<'_> {
    fn floor(&self) -> &Floor {
        &self.plan.floor
    }

    /// The panel of what is looked at, if anything is.
    pub fn draw(&self) -> Markup {
        match self.query.subject(self.plan) {
            Some(subject) => match subject.about {
                About::Operation(job, operation) => self.operation(&subject, job, operation),
                About::Machine(machine) => self.machine(&subject, machine),
                About::Person(person) => self.person(&subject, person),
            },
            None if self.query.looks_at_something() => {
                html! { p.notice.warn #operation { "This is no longer on the floor." } }
            }
            None => html! {},
        }
    }

    /// What can be done: the forms, folded but for the one that was sent, then the buttons.
    fn offers(&self, subject: &Subject) -> Markup {
        let offers = PlanChange::offers(subject);
        let (forms, buttons): (Vec<&Offer>, Vec<&Offer>) =
            offers.iter().partition(|offer| !offer.fields.is_empty());
        html! {
            @for offer in forms { (self.form(subject, offer)) }
            @if !buttons.is_empty() { div.actions { @for offer in buttons { (self.button(subject, offer)) } } }
        }
    }

    fn form(&self, subject: &Subject, offer: &Offer) -> Markup {
        html! {
            details.act id=(offer.code) open[self.opened() == offer.code] {
                summary { (offer.label) }
                form.grid method="get" action="/week/preview" novalidate {
                    (self.hidden(subject, offer.code))
                    @for field in &offer.fields { (self.field(offer.code, field)) }
                    div.actions { button type="submit" { "Preview" } }
                }
            }
        }
    }

    fn button(&self, subject: &Subject, offer: &Offer) -> Markup {
        html! {
            @match &offer.change {
                Some(change) => a.button.quiet href=(super::preview::href(change, self.stretch)) { (offer.label) },
                None => form method="get" action="/week/preview" { (self.hidden(subject, offer.code)) button.quiet type="submit" { (offer.label) } },
            }
        }
    }

    /// The fields every form carries unseen: the days shown, which form it is, and what it is about.
    fn hidden(&self, subject: &Subject, form: &str) -> Markup {
        let (about, key) = match subject.about {
            About::Operation(_, operation) => ("operation", operation.id),
            About::Machine(machine) => ("machine", machine.id),
            About::Person(person) => ("person", person.id),
        };
        html! {
            input type="hidden" name="from" value=(self.stretch.from);
            input type="hidden" name="days" value=(self.stretch.days);
            input type="hidden" name="kind" value=(form);
            input type="hidden" name=(about) value=(key);
        }
    }

    /// A field with what was entered when its form was sent, or else what it begins with.
    fn field(&self, form: &str, field: &FormField) -> Field {
        let value = if self.query.form() == form {
            self.query.get(field.name)
        } else {
            &field.value
        };
        let (name, label) = (field.name, field.label);
        let mut drawn = match &field.input {
            Input::Text => Field::text(name, label, value),
            Input::Date => Field::date(name, label, value),
            Input::Time => Field::time(name, label, value),
            Input::Choice(choices) => {
                let choice = |(id, name): &(uuid::Uuid, String)| Choice::new(id, name);
                Field::select(name, label, value, choices.iter().map(choice).collect())
            }
        };
        drawn = drawn.id(&field_id(form, name));
        if field.optional {
            drawn = drawn.optional();
        }
        if let Some(hint) = field.hint {
            drawn = drawn.hint(hint);
        }
        drawn.errors(self.errors)
    }

    fn close(&self) -> Markup {
        html! { a.button.quiet href={ "/week?" (self.stretch.query()) } { "Close" } }
    }

    /// The form that is open: the one that was sent, or else the one that moves an operation.
    fn opened(&self) -> &str {
        match self.query.form() {
            "" => "place",
            sent => sent,
        }
    }

    /// A complaint that no field of a form is about.
    fn general(&self) -> Markup {
        html! {
            @if let Some(complaint) = self.errors.get("change") { p.error { span.sign aria-hidden="true" { "!" } " " (complaint) } }
        }
    }

    /// What can be done in place of what was refused; in sight above everything else.
    pub fn nearest(&self) -> Markup {
        html! {
            @if let Some(nearest) = self.nearest {
                div.week-nearest {
                    p { "Nearest place that is free: " (nearest.words(self.floor())) "." }
                    p { a.button href=(super::preview::href(nearest, self.stretch)) { "Preview the nearest place" } }
                }
            }
        }
    }

    fn operation(&self, subject: &Subject, job: &FloorJob, operation: &FloorOperation) -> Markup {
        let floor = self.floor();
        let timetable = &self.plan.timetable;
        let chance = timetable.job(job.id).and_then(|d| d.chance);
        html! {
            section.card.week-panel #operation data-stays tabindex="-1" aria-labelledby="change" {
                div.bar {
                    h2 #change { (long_number(job)) ", " (operation.number) " " (operation.what) }
                    (self.close())
                }
                (self.general())
                dl.figures {
                    div { dt { "Job" } dd { a href=(job_href(job)) { (job.title) } } }
                    div { dt { "Customer" } dd { @if job.customer.is_empty() { "not named" } @else { (job.customer) } } }
                    @match timetable.slot(operation.id) {
                        Some(slot) => (slot_figures(floor, slot)),
                        None => div { dt { "Planned" } dd { "not scheduled" } },
                    }
                    div {
                        dt { @if job.promised { "Promised" } @else { "Due" } }
                        dd {
                            @match job.due { Some(due) => (show::moment(due, floor.zone, today(floor.zone))), None => "no date" }
                            @if let Some(status) = timetable.promise(floor, job) { " " span.tag { (status_words(status)) } }
                            @if let Some(chance) = chance { br; a href={ "/week/risk?job=" (job.id) "#job" } { (percent(chance)) " chance of being on time" } }
                        }
                    }
                }
                @if self.may {
                    @if matches!(job.order, floor::Order::Job) { (self.offers(subject)) }
                    @else { p { "A slot reserved for a quote moves with the plan. It becomes a job when the quote is accepted." } }
                }
            }
        }
    }

    fn machine(&self, subject: &Subject, machine: &FloorMachine) -> Markup {
        html! {
            section.card.week-panel #panel data-stays tabindex="-1" aria-labelledby="change" {
                div.bar { h2 #change { (machine.name) } (self.close()) }
                (self.general())
                (self.next_days(&machine.hours, |slot| slot.machine == Some(machine.id)))
                @if self.may { (self.offers(subject)) }
                @if self.may { p { a href={ "/shop/machines/" (machine.id) } { "Machine details, rate and hours" } } }
            }
        }
    }

    fn person(&self, subject: &Subject, person: &FloorPerson) -> Markup {
        html! {
            section.card.week-panel #panel data-stays tabindex="-1" aria-labelledby="change" {
                div.bar { h2 #change { (person.name) } (self.close()) }
                (self.general())
                (self.next_days(&person.hours, |slot| slot.person == Some(person.id)))
                p { "Skills: " @if person.skills.is_empty() { "none" } @else { (person.skills.join(", ")) } }
                @if self.may { (self.offers(subject)) }
            }
        }
    }

    /// How much is planned in the stretch of the hours there are.
    fn next_days(&self, own: &crate::planning::Hours, mine: impl Fn(&Slot) -> bool) -> Markup {
        let floor = self.floor();
        let (from, until) = self.stretch.span(floor);
        let from = from.max(floor.now);
        let calendar = Calendar::build(own, from, until);
        let slots = self.plan.timetable.slots.iter();
        let slots: Vec<&Slot> = slots.filter(|s| mine(s)).collect();
        let clip = |at: DateTime<Utc>| at.clamp(from, until.max(from));
        let load: i64 = slots
            .iter()
            .map(|s| calendar.working_between(clip(s.starts), clip(s.ends)))
            .sum();
        html! {
            dl.figures {
                div { dt { "Planned in these days" } dd { (hours(load)) " of " (hours(calendar.total())) } }
                @if let Some(next) = slots.iter().find(|s| s.ends > floor.now) {
                    div { dt { "Now or next" } dd { a href={ "/week?" (self.stretch.query()) "&operation=" (next.operation) "#operation" } { (slot_words(floor, next)) } } }
                }
            }
        }
    }
}

fn slot_figures(floor: &Floor, slot: &Slot) -> Markup {
    html! {
        div { dt { "Planned" } dd { (show::moment(slot.starts, floor.zone, today(floor.zone))) br; "to " (show::moment(slot.ends, floor.zone, today(floor.zone))) @if let Some(state) = state_words(slot.state) { " " span.tag { (state) } } } }
        div { dt { "Machine" } dd { @match slot.machine.and_then(|id| floor.machine(id)) { Some(machine) => (machine.name), None => "sent out" } } }
        div { dt { "Person" } dd { @match slot.person.and_then(|id| floor.person(id)) { Some(person) => (person.name), None => "unattended" } } }
        div { dt { "Setup" } dd { @if slot.setup_minutes > 0 { (hours(slot.setup_minutes)) } @else { "none" } } }
        div { dt { "Slack" } dd { (slack_cell(floor, slot.slack_minutes)) } }
    }
}
