//! What can be done about something, as a form declared by the kind of change it makes, and what was entered in it.

use super::PlanChange;
use crate::planning::floor::{Floor, FloorJob, FloorMachine, FloorOperation, FloorPerson, Order};
use crate::planning::floor::{Resource, Slot, Timetable};
use chrono::{Datelike, NaiveDate, NaiveTime};
use uuid::Uuid;

/// What something is offered about.
#[derive(Debug, Clone, Copy)]
pub struct Subject<'a> {
    /// The floor it is on.
    pub floor: &'a Floor,
    /// The plan of that floor.
    pub timetable: &'a Timetable,
    /// What it is.
    pub about: About<'a>,
}

/// An operation, a machine or a person.
#[derive(Debug, Clone, Copy)]
pub enum About<'a> {
    /// An operation of a job.
    Operation(&'a FloorJob, &'a FloorOperation),
    /// A machine.
    Machine(&'a FloorMachine),
    /// A person.
    Person(&'a FloorPerson),
}

impl<'a> Subject<'a> {
    /// An operation.
    #[must_use]
    pub fn operation(floor: &'a Floor, timetable: &'a Timetable, id: Uuid) -> Option<Self> {
        let (job, operation) = floor.operation(id)?;
        let about = About::Operation(job, operation);
        Some(Self {
            floor,
            timetable,
            about,
        })
    }

    /// A machine or a person.
    #[must_use]
    pub fn of(floor: &'a Floor, timetable: &'a Timetable, whose: Resource) -> Option<Self> {
        let about = match whose {
            Resource::Machine(id) => About::Machine(floor.machine(id)?),
            Resource::Person(id) => About::Person(floor.person(id)?),
        };
        Some(Self {
            floor,
            timetable,
            about,
        })
    }

    /// The operation and its job, when it is about one of a job and not of a slot held for a quote.
    pub(super) fn of_job(&self) -> Option<(&'a FloorJob, &'a FloorOperation)> {
        match self.about {
            About::Operation(job, operation) if matches!(job.order, Order::Job) => {
                Some((job, operation))
            }
            _ => None,
        }
    }

    /// Where an operation is planned.
    pub(super) fn slot(&self, operation: &FloorOperation) -> Option<&'a Slot> {
        self.timetable.slot(operation.id)
    }

    /// The machine or person.
    pub(super) fn whose(&self) -> Option<Resource> {
        match self.about {
            About::Operation(..) => None,
            About::Machine(machine) => Some(Resource::Machine(machine.id)),
            About::Person(person) => Some(Resource::Person(person.id)),
        }
    }
}

/// Something that can be tried: a form to be filled in, or a button when it has no fields.
#[derive(Debug, Clone, PartialEq)]
pub struct Offer {
    /// Which form it is; the kind that offers it reads it by this code.
    pub code: &'static str,
    /// Its heading or the label of the button.
    pub label: String,
    /// What is asked for.
    pub fields: Vec<FormField>,
    /// The whole change, where nothing has to be read.
    pub change: Option<PlanChange>,
}

impl Offer {
    /// A button that tries what its kind reads without a field.
    pub(super) fn button(code: &'static str, label: impl Into<String>) -> Self {
        Self::form(code, label, Vec::new())
    }

    /// A form.
    pub(super) fn form(
        code: &'static str,
        label: impl Into<String>,
        fields: Vec<FormField>,
    ) -> Self {
        Self {
            code,
            label: label.into(),
            fields,
            change: None,
        }
    }

    /// A button that tries a change.
    pub(super) fn change(
        code: &'static str,
        label: impl Into<String>,
        change: impl Into<PlanChange>,
    ) -> Self {
        Self {
            change: Some(change.into()),
            ..Self::button(code, label)
        }
    }
}

/// A field of a form.
#[derive(Debug, Clone, PartialEq)]
pub struct FormField {
    /// The name it is sent under.
    pub name: &'static str,
    /// What stands beside it.
    pub label: &'static str,
    /// What may be entered.
    pub input: Input,
    /// A hint under it.
    pub hint: Option<&'static str>,
    /// May stay empty.
    pub optional: bool,
    /// What it begins with.
    pub value: String,
}

/// What may be entered in a field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Input {
    /// A line of text.
    Text,
    /// A calendar day.
    Date,
    /// A time of day by the shop's clock.
    Time,
    /// One of these, by its key.
    Choice(Vec<(Uuid, String)>),
}

impl FormField {
    /// A field that must be filled in.
    pub(super) fn new(name: &'static str, label: &'static str, input: Input) -> Self {
        Self {
            name,
            label,
            input,
            hint: None,
            optional: false,
            value: String::new(),
        }
    }

    /// May stay empty.
    pub(super) fn optional(self) -> Self {
        Self {
            optional: true,
            ..self
        }
    }

    /// With a hint.
    pub(super) fn hint(self, hint: &'static str) -> Self {
        Self {
            hint: Some(hint),
            ..self
        }
    }

    /// With a value to begin with.
    pub(super) fn value(self, value: impl Into<String>) -> Self {
        Self {
            value: value.into(),
            ..self
        }
    }
}

/// What was entered in a form, as pairs of field and text, with the floor and plan it is about.
#[derive(Debug)]
pub struct Entered<'a> {
    /// The floor.
    pub floor: &'a Floor,
    /// The plan of that floor.
    pub timetable: &'a Timetable,
    pairs: &'a [(String, String)],
    complaints: Vec<Complaint>,
}

/// A field that does not read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Complaint {
    /// Its name.
    pub field: &'static str,
    /// What is wrong with it.
    pub why: EntryError,
}

/// What is wrong with a field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum EntryError {
    /// No calendar day.
    Date,
    /// No time of day.
    Time,
    /// None of the choices.
    Choice,
    /// Empty, or longer than so many characters.
    Text(usize),
    /// It reads and cannot be; in words.
    Refused(&'static str),
}

impl<'a> Entered<'a> {
    /// What was entered.
    #[must_use]
    pub fn new(floor: &'a Floor, timetable: &'a Timetable, pairs: &'a [(String, String)]) -> Self {
        Self {
            floor,
            timetable,
            pairs,
            complaints: Vec::new(),
        }
    }

    /// The fields that do not read, in the order they were read.
    #[must_use]
    pub fn complaints(&self) -> &[Complaint] {
        &self.complaints
    }

    /// What was entered in a field, trimmed; empty when there is no such field.
    #[must_use]
    pub fn text(&self, field: &str) -> &'a str {
        let pair = self.pairs.iter().find(|(name, _)| name == field);
        pair.map_or("", |(_, text)| text.trim())
    }

    pub(super) fn complain(&mut self, field: &'static str, why: EntryError) {
        self.complaints.push(Complaint { field, why });
    }

    fn noted<T>(&mut self, field: &'static str, read: Option<T>, why: EntryError) -> Option<T> {
        if read.is_none() {
            self.complain(field, why);
        }
        read
    }

    /// `Some(None)` when the field is empty, else what the reading gives.
    pub(super) fn optional<T>(
        &mut self,
        field: &'static str,
        read: impl FnOnce(&mut Self, &'static str) -> Option<T>,
    ) -> Option<Option<T>> {
        if self.text(field).is_empty() {
            Some(None)
        } else {
            read(self, field).map(Some)
        }
    }

    /// A calendar day from 1900 to 2199.
    pub(super) fn date(&mut self, field: &'static str) -> Option<NaiveDate> {
        let text = self.text(field);
        let day = ["%Y-%m-%d", "%d %b %Y", "%d %B %Y"]
            .iter()
            .find_map(|format| NaiveDate::parse_from_str(text, format).ok())
            .filter(|day| (1900..2200).contains(&day.year()));
        self.noted(field, day, EntryError::Date)
    }

    /// A time of day to the minute.
    pub(super) fn time(&mut self, field: &'static str) -> Option<NaiveTime> {
        let time = NaiveTime::parse_from_str(self.text(field), "%H:%M").ok();
        self.noted(field, time, EntryError::Time)
    }

    /// One of the choices.
    pub(super) fn choice(&mut self, field: &'static str) -> Option<Uuid> {
        let chosen = self.text(field).parse().ok();
        self.noted(field, chosen, EntryError::Choice)
    }

    /// Text that must be there, of at most so many characters.
    pub(super) fn required(&mut self, field: &'static str, longest: usize) -> Option<String> {
        let text = self.text(field);
        let fits = !text.is_empty()
            && text.chars().count() <= longest
            && !text
                .chars()
                .any(|c| c.is_control() && c != '\n' && c != '\t' && c != '\r');
        self.noted(
            field,
            fits.then(|| text.replace("\r\n", "\n")),
            EntryError::Text(longest),
        )
    }

    /// The operation it is about.
    pub(super) fn operation(&self) -> Option<(&'a FloorJob, &'a FloorOperation)> {
        self.floor.operation(self.text("operation").parse().ok()?)
    }

    /// The machine or person it is about.
    pub(super) fn whose(&self) -> Option<Resource> {
        let key = |field| self.text(field).parse().ok();
        key("machine")
            .map(Resource::Machine)
            .or_else(|| key("person").map(Resource::Person))
    }
}
