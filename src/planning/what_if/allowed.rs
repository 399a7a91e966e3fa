//! What may be changed and what may not, and the parts of a floor that a change is made to.

use super::{CannotChange, Whose, cannot};
use crate::planning::Hours;
use crate::planning::floor::{Floor, FloorJob, FloorMachine, FloorOperation, Progress};
use chrono::{DateTime, Utc};
use uuid::Uuid;

pub(super) const GONE: &str = "This operation is not on the floor any more";

/// An operation that has not begun.
pub(super) fn waiting(floor: &Floor, operation: Uuid) -> Result<&FloorOperation, CannotChange> {
    let Some((_, operation)) = floor.operation(operation) else {
        return cannot("operation", GONE);
    };
    match operation.progress {
        Progress::Queued => Ok(operation),
        Progress::Started { .. } => cannot("operation", "This operation has begun"),
        Progress::Done => cannot("operation", "This operation is done"),
    }
}

/// Whether an operation can stand there, with that person, then.
pub(super) fn place(
    floor: &Floor,
    operation: Uuid,
    machine: Option<Uuid>,
    person: Option<Uuid>,
    starts: Option<DateTime<Utc>>,
) -> Result<(), CannotChange> {
    let operation = waiting(floor, operation)?;
    if let Some(id) = machine {
        let Some(machine) = floor.machine(id) else {
            return cannot("machine", "This machine is not in use any more");
        };
        if operation.outside_days.is_some() {
            return cannot(
                "machine",
                "This work is sent out: it needs no machine of ours",
            );
        }
        if machine.kind != operation.machine_kind {
            return cannot(
                "machine",
                format!("This operation needs a {}", operation.machine_kind),
            );
        }
    }
    if let Some(id) = person {
        let Some(person) = floor.person(id) else {
            return cannot("person", "This person does not work here any more");
        };
        if operation.skill.is_empty() {
            return cannot("person", "Nobody in particular attends this operation");
        }
        if !person.can(&operation.skill) {
            return cannot(
                "person",
                format!(
                    "{} does not have the skill “{}”",
                    person.name, operation.skill
                ),
            );
        }
    }
    if let Some(starts) = starts {
        if starts < floor.now {
            return cannot("starts", "This time has passed");
        }
        if starts - floor.now > LONGEST_AWAY {
            return cannot("starts", "This is too far away");
        }
    }
    if machine.is_none() && person.is_none() && starts.is_none() {
        return cannot("starts", "Say where, by whom or when");
    }
    Ok(())
}

/// The longest stretch of overtime, as the calendars keep it.
pub(super) const LONGEST_OVERTIME: chrono::Duration = chrono::Duration::days(31);

/// The longest that a machine stands still or somebody is away, and how far ahead it is said.
pub(super) const LONGEST_AWAY: chrono::Duration = chrono::Duration::days(3 * 366);

pub(super) fn span(
    floor: &Floor,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
    longest: chrono::Duration,
) -> Result<(), CannotChange> {
    if until <= from {
        return cannot("until", "This must be after the start");
    }
    if until - from > longest {
        return cannot(
            "until",
            format!("At most {} days at once", longest.num_days()),
        );
    }
    if (from - floor.now).abs() > LONGEST_AWAY {
        return cannot("from", "This is too far away");
    }
    Ok(())
}

/// Words that fit where they are kept.
pub(super) fn short(why: &str) -> Result<(), CannotChange> {
    if why.chars().count() > 200 {
        return cannot("reason", "At most 200 letters");
    }
    Ok(())
}

pub(super) fn take_out(
    spans: &mut Vec<(DateTime<Utc>, DateTime<Utc>)>,
    span: (DateTime<Utc>, DateTime<Utc>),
) -> Result<(), CannotChange> {
    match spans.iter().rposition(|s| *s == span) {
        Some(at) => {
            spans.remove(at);
            Ok(())
        }
        None => cannot("from", "This stretch is not there any more"),
    }
}

pub(super) fn job_mut(floor: &mut Floor, job: Uuid) -> Result<&mut FloorJob, CannotChange> {
    match floor.jobs.iter_mut().find(|j| j.id == job) {
        Some(job) => Ok(job),
        None => cannot("job", "This job is not on the floor any more"),
    }
}

pub(super) fn hours_mut(floor: &mut Floor, whose: Whose) -> Result<&mut Hours, CannotChange> {
    let hours = match whose {
        Whose::Machine(id) => {
            let machine = floor.machines.iter_mut().find(|m| m.id == id);
            machine.map(|m| &mut m.hours)
        }
        Whose::Person(id) => {
            let person = floor.people.iter_mut().find(|p| p.id == id);
            person.map(|p| &mut p.hours)
        }
    };
    match hours {
        Some(hours) => Ok(hours),
        None => cannot("whose", "This machine or person is not there any more"),
    }
}

/// The machines that a person's overtime opens: all of them, for somebody is there to run them.
pub(super) fn opened(floor: &mut Floor, whose: Whose) -> impl Iterator<Item = &mut FloorMachine> {
    let opens = matches!(whose, Whose::Person(_));
    floor.machines.iter_mut().filter(move |_| opens)
}

pub(super) fn skills_mut(
    floor: &mut Floor,
    person: Uuid,
) -> Result<&mut Vec<String>, CannotChange> {
    match floor.people.iter_mut().find(|p| p.id == person) {
        Some(person) => Ok(&mut person.skills),
        None => cannot("person", "This person does not work here any more"),
    }
}
