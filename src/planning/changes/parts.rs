//! What several kinds share: the parts of a floor that a change is made to, and stretches of time.

use super::{CannotChange, Entered, EntryError, cannot};
use crate::planning::calendar::{Hours, local_instant, whole_day};
use crate::planning::floor::{Floor, FloorJob, FloorMachine, FloorOperation, Progress, Resource};
use chrono::{DateTime, Utc};
use uuid::Uuid;

pub(super) const GONE: &str = "This operation is no longer on the floor";

/// The longest a reason may be, in characters, as it is kept.
pub(super) const LONGEST_REASON: usize = 200;

/// The longest name of a skill, in characters.
const LONGEST_SKILL: usize = 80;

/// How far ahead a stop or overtime is entered, and the longest that a machine is down or somebody is away.
pub(super) const LONGEST_AWAY: chrono::Duration = chrono::Duration::days(3 * 366);

/// An operation that has not begun.
pub(super) fn waiting(floor: &Floor, operation: Uuid) -> Result<&FloorOperation, CannotChange> {
    let Some((_, operation)) = floor.operation(operation) else {
        return cannot("operation", GONE);
    };
    match operation.progress {
        Progress::Queued => Ok(operation),
        Progress::Started { .. } => cannot("operation", "This operation has started"),
        Progress::Done => cannot("operation", "This operation is done"),
    }
}

/// Whether a stretch of time is one, and neither too long nor too far away.
pub(super) fn span(
    floor: &Floor,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
    longest: chrono::Duration,
) -> Result<(), CannotChange> {
    if until <= from {
        return cannot("until", "The end must be after the start");
    }
    if until - from > longest {
        return cannot(
            "until",
            format!("At most {} days at once", longest.num_days()),
        );
    }
    if (from - floor.now).abs() > LONGEST_AWAY {
        return cannot("day", "The day is too far away");
    }
    Ok(())
}

/// Words that fit where they are kept.
pub(super) fn short(why: &str) -> Result<(), CannotChange> {
    if why.chars().count() > LONGEST_REASON {
        return cannot("reason", "At most 200 letters");
    }
    let on_its_line = |c: char| !c.is_control() || matches!(c, '\n' | '\t' | '\r');
    if !why.chars().all(on_its_line) {
        return cannot("reason", "This contains a character that cannot be stored");
    }
    Ok(())
}

/// A skill as people have it: in small letters, without space around it, and not empty.
pub(super) fn plain_skill(skill: &str) -> Result<(), CannotChange> {
    let plain = !skill.is_empty()
        && skill.chars().count() <= LONGEST_SKILL
        && skill.trim().to_lowercase() == skill
        && !skill.chars().any(|c| c.is_control() || c == ',');
    if plain {
        Ok(())
    } else {
        cannot(
            "skill",
            "Enter one skill in lower case, at most 80 characters",
        )
    }
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
        None => cannot("day", "This time has been changed by somebody else"),
    }
}

pub(super) fn operation_mut(
    floor: &mut Floor,
    operation: Uuid,
) -> Result<&mut FloorOperation, CannotChange> {
    match floor.operation_mut(operation) {
        Some(operation) => Ok(operation),
        None => cannot("operation", GONE),
    }
}

pub(super) fn job_mut(floor: &mut Floor, job: Uuid) -> Result<&mut FloorJob, CannotChange> {
    match floor.jobs.iter_mut().find(|j| j.id == job) {
        Some(job) => Ok(job),
        None => cannot("job", "This job is no longer on the floor"),
    }
}

pub(super) fn hours_mut(floor: &mut Floor, whose: Resource) -> Result<&mut Hours, CannotChange> {
    let hours = match whose {
        Resource::Machine(id) => {
            let machine = floor.machines.iter_mut().find(|m| m.id == id);
            machine.map(|m| &mut m.hours)
        }
        Resource::Person(id) => {
            let person = floor.people.iter_mut().find(|p| p.id == id);
            person.map(|p| &mut p.hours)
        }
    };
    match hours {
        Some(hours) => Ok(hours),
        None => cannot("whose", "This machine or person is no longer here"),
    }
}

/// The machines that a person's overtime opens: all of them, for somebody is there to run them.
pub(super) fn opened(
    floor: &mut Floor,
    whose: Resource,
) -> impl Iterator<Item = &mut FloorMachine> {
    let opens = matches!(whose, Resource::Person(_));
    floor.machines.iter_mut().filter(move |_| opens)
}

/// From `day` at `time`, or its midnight, until `until` on the same day or `until_day`, or midnight after it: as
/// entered, refused when it is over.
pub(super) fn entered_span(entered: &mut Entered) -> Option<(DateTime<Utc>, DateTime<Utc>)> {
    let zone = entered.floor.zone;
    let day = entered.date("day");
    let until_day = entered.optional("until_day", Entered::date)?;
    let day = day?;
    let last = until_day.unwrap_or(day);
    if last < day {
        let why = "The last day must not be before the first";
        entered.complain("until_day", EntryError::Refused(why));
        return None;
    }
    let time = entered.optional("time", Entered::time)?;
    let until = entered.optional("until", Entered::time)?;
    let (opens, closes) = (whole_day(zone, day)?.0, whole_day(zone, last)?.1);
    let from = time.map_or(opens, |time| local_instant(zone, day.and_time(time)));
    let until = until.map_or(closes, |time| local_instant(zone, last.and_time(time)));
    to_come(entered, from, until)
}

/// A stretch of time that is one and is not over.
pub(super) fn to_come(
    entered: &mut Entered,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Option<(DateTime<Utc>, DateTime<Utc>)> {
    if until <= from {
        let why = "The end must be after the start";
        entered.complain("until", EntryError::Refused(why));
        return None;
    }
    if until <= entered.floor.now {
        entered.complain("day", EntryError::Refused("This time has passed"));
        return None;
    }
    Some((from, until))
}
