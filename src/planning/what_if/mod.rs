//! What would come of it: the plan changed by hand, tried before it is done.
//!
//! Whoever runs a shop moves a job to another machine, holds one until a customer has paid, lets somebody go home. Each
//! such [`Change`] is made to a copy of the floor, the standing plan is mended for it ([`try_out`]), and what comes of it
//! is an [`Effect`]: which promises move and by how much, and what it would take to say it in one sentence. Taken or
//! dropped is for people to say. Every change has an [inverse](Change::inverse) that gives the floor back as it was.
//!
//! Mending stays near the standing plan: an operation that ends up on another machine, with another person or behind
//! another operation has to bring [`PRICE_OF_A_MOVE`], so nobody's day is turned over for a few minutes.

mod effect;
mod together;

#[cfg(test)]
mod tests;

pub use effect::{
    Effect, PromiseMove, Settings, TryError, WhatIf, hours, replan, try_back, try_out,
};
pub use together::{Together, together};

use super::calendar::local_instant;
use super::floor::{Floor, FloorMachine, FloorOperation, Pin, Progress};
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What moving one operation must bring, in weighted minutes of lateness: an hour against a customer's promise. Common
/// practice, no source.
pub const PRICE_OF_A_MOVE: i64 = 60 * super::floor::PROMISE_WEIGHT;

/// Something done to the plan, or to what it rests on, by hand.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "change", rename_all = "snake_case")]
pub enum Change {
    /// This operation there, by this person, then. What is left out is left to the plan.
    Place {
        /// The operation.
        operation: Uuid,
        /// The machine.
        machine: Option<Uuid>,
        /// Who does it.
        person: Option<Uuid>,
        /// When its setup starts.
        starts: Option<DateTime<Utc>>,
    },
    /// This operation before or directly behind that one, on its machine. The plan takes it up; only the machine is kept
    /// as a decision, where it is another.
    Order {
        /// The operation that changes its place.
        operation: Uuid,
        /// The one it goes by.
        other: Uuid,
        /// On which side.
        side: Side,
        /// The machine, when it is not the one the operation is on.
        machine: Option<Uuid>,
    },
    /// The order the plan had before; only there to undo one.
    AsBefore,
    /// This operation where the plan puts it.
    Unpin {
        /// The operation.
        operation: Uuid,
    },
    /// This job's place before all others, the lowest first; `None` for its turn by its promise.
    Rank {
        /// The job.
        job: Uuid,
        /// Its place.
        place: Option<i64>,
    },
    /// Nothing more is started of this job.
    Hold {
        /// The job.
        job: Uuid,
        /// Why.
        reason: String,
    },
    /// A held job goes on.
    Release {
        /// The job.
        job: Uuid,
    },
    /// A machine or a person is not there for a while.
    Away {
        /// Who or what.
        whose: Whose,
        /// From.
        from: DateTime<Utc>,
        /// Until.
        until: DateTime<Utc>,
        /// Why.
        why: String,
    },
    /// They are there after all.
    Back {
        /// Who or what.
        whose: Whose,
        /// From.
        from: DateTime<Utc>,
        /// Until.
        until: DateTime<Utc>,
        /// Why they were to be away.
        why: String,
    },
    /// Work beyond the usual hours.
    Overtime {
        /// Who and what is there for it.
        whose: Vec<Whose>,
        /// From.
        from: DateTime<Utc>,
        /// Until.
        until: DateTime<Utc>,
        /// Why.
        why: String,
    },
    /// No overtime then after all.
    NoOvertime {
        /// Who and what was to be there.
        whose: Vec<Whose>,
        /// From.
        from: DateTime<Utc>,
        /// Until.
        until: DateTime<Utc>,
        /// Why it was wanted.
        why: String,
    },
    /// Somebody learns a skill.
    Train {
        /// Who.
        person: Uuid,
        /// The skill, in the words in which operations ask for it.
        skill: String,
    },
    /// Somebody is not asked for a skill any more.
    Untrain {
        /// Who.
        person: Uuid,
        /// The skill.
        skill: String,
    },
    /// One more machine of a kind. It can be tried; to have it takes buying one.
    SecondMachine {
        /// The machine there is.
        like: Uuid,
    },
}

/// Where an operation goes by another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// Before it, and with it what it waits for.
    Before,
    /// Directly behind it.
    Behind,
}

/// A machine or a person.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Whose {
    /// A machine.
    Machine(Uuid),
    /// A person.
    Person(Uuid),
}

/// Why a change cannot be made: what to say, and beside which field.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{why}")]
pub struct CannotChange {
    /// `operation`, `machine`, `person`, `starts`, `job`, `reason`, `from`, `until`, `whose` or `skill`.
    pub field: &'static str,
    /// In words.
    pub why: String,
}

fn cannot<T>(field: &'static str, why: impl Into<String>) -> Result<T, CannotChange> {
    Err(CannotChange {
        field,
        why: why.into(),
    })
}

impl Change {
    /// The floor with the change made.
    ///
    /// # Errors
    /// [`CannotChange`] when it is about something that is not there, has begun, is done, or cannot be done so.
    pub fn apply(&self, floor: &Floor) -> Result<Floor, CannotChange> {
        let mut changed = floor.clone();
        match self {
            Self::Place {
                operation,
                machine,
                person,
                starts,
            } => {
                place(floor, *operation, *machine, *person, *starts)?;
                if let Some(operation) = changed.operation_mut(*operation) {
                    operation.pin = Some(Pin {
                        machine: *machine,
                        person: *person,
                        start: *starts,
                    });
                }
            }
            Self::Order {
                operation,
                other,
                machine,
                ..
            } => {
                if floor.operation(*other).is_none() {
                    return cannot("operation", "This operation is not on the floor any more");
                }
                waiting(floor, *operation)?;
                if let Some(machine) = machine {
                    place(floor, *operation, Some(*machine), None, None)?;
                    if let Some(operation) = changed.operation_mut(*operation) {
                        operation.pin = Some(Pin {
                            machine: Some(*machine),
                            person: None,
                            start: None,
                        });
                    }
                }
            }
            Self::AsBefore => {}
            Self::Unpin { operation } => match changed.operation_mut(*operation) {
                Some(operation) if operation.pin.is_some() => operation.pin = None,
                Some(_) => return cannot("operation", "This operation is not pinned"),
                None => return cannot("operation", "This operation is not on the floor any more"),
            },
            Self::Rank { job, place } => job_mut(&mut changed, *job)?.put_first = *place,
            Self::Hold { job, reason } => {
                let job = job_mut(&mut changed, *job)?;
                short(reason)?;
                if reason.trim().is_empty() {
                    return cannot("reason", "Say why, for whoever asks");
                }
                if job.hold.is_some() {
                    return cannot("job", "This job is held already");
                }
                job.hold = Some(reason.trim().to_owned());
            }
            Self::Release { job } => {
                if job_mut(&mut changed, *job)?.hold.take().is_none() {
                    return cannot("job", "This job is not held");
                }
            }
            Self::Away {
                whose,
                from,
                until,
                why,
            } => {
                span(floor, *from, *until, LONGEST_AWAY)?;
                short(why)?;
                hours_mut(&mut changed, *whose)?.stops.push((*from, *until));
            }
            Self::Back {
                whose, from, until, ..
            } => take_out(&mut hours_mut(&mut changed, *whose)?.stops, (*from, *until))?,
            Self::Overtime {
                whose,
                from,
                until,
                why,
            } => {
                span(floor, *from, *until, LONGEST_OVERTIME)?;
                short(why)?;
                if whose.is_empty() {
                    return cannot("whose", "Say who or what is there for it");
                }
                for whose in whose {
                    hours_mut(&mut changed, *whose)?
                        .overtime
                        .push((*from, *until));
                    for machine in opened(&mut changed, *whose) {
                        machine.hours.overtime.push((*from, *until));
                    }
                }
            }
            Self::NoOvertime {
                whose, from, until, ..
            } => {
                for whose in whose {
                    let span = (*from, *until);
                    take_out(&mut hours_mut(&mut changed, *whose)?.overtime, span)?;
                    for machine in opened(&mut changed, *whose) {
                        take_out(&mut machine.hours.overtime, span)?;
                    }
                }
            }
            Self::Train { person, skill } => {
                let skills = skills_mut(&mut changed, *person)?;
                if skills.contains(skill) {
                    return cannot("skill", "They have this skill already");
                }
                skills.push(skill.clone());
            }
            Self::Untrain { person, skill } => {
                let skills = skills_mut(&mut changed, *person)?;
                match skills.iter().rposition(|has| has == skill) {
                    Some(at) => skills.remove(at),
                    None => return cannot("skill", "They do not have this skill"),
                };
            }
            Self::SecondMachine { like } => {
                let Some(machine) = floor.machine(*like) else {
                    return cannot("machine", "This machine is not in use any more");
                };
                let name = format!("a second {}", machine.name);
                // A key no machine has: it is in nobody's books.
                let id = Uuid::from_u128(!like.as_u128());
                if floor.machine(id).is_none() {
                    changed.machines.push(FloorMachine {
                        id,
                        name,
                        ..machine.clone()
                    });
                }
            }
        }
        Ok(changed)
    }

    /// The change that gives the floor back as it is now, once this one has been made; `None` when there is nothing to
    /// give back.
    #[must_use]
    pub fn inverse(&self, floor: &Floor) -> Option<Self> {
        Some(match self.clone() {
            Self::Order { machine: None, .. } | Self::AsBefore => Self::AsBefore,
            Self::Place { operation, .. }
            | Self::Unpin { operation }
            | Self::Order { operation, .. } => match floor.operation(operation)?.1.pin {
                Some(pin) => Self::Place {
                    operation,
                    machine: pin.machine,
                    person: pin.person,
                    starts: pin.start,
                },
                None => Self::Unpin { operation },
            },
            Self::Rank { job, .. } => Self::Rank {
                job,
                place: floor.job(job)?.put_first,
            },
            Self::Hold { job, .. } => Self::Release { job },
            Self::Release { job } => Self::Hold {
                job,
                reason: floor.job(job)?.hold.clone()?,
            },
            Self::Away {
                whose,
                from,
                until,
                why,
            } => Self::Back {
                whose,
                from,
                until,
                why,
            },
            Self::Back {
                whose,
                from,
                until,
                why,
            } => Self::Away {
                whose,
                from,
                until,
                why,
            },
            Self::Overtime {
                whose,
                from,
                until,
                why,
            } => Self::NoOvertime {
                whose,
                from,
                until,
                why,
            },
            Self::NoOvertime {
                whose,
                from,
                until,
                why,
            } => Self::Overtime {
                whose,
                from,
                until,
                why,
            },
            Self::Train { person, skill } => Self::Untrain { person, skill },
            Self::Untrain { person, skill } => Self::Train { person, skill },
            Self::SecondMachine { .. } => return None,
        })
    }

    /// The change that puts a job before all others.
    #[must_use]
    pub fn put_first(floor: &Floor, job: Uuid) -> Self {
        let lowest = floor.jobs.iter().filter_map(|j| j.put_first).min();
        Self::Rank {
            job,
            place: Some(lowest.map_or(1, |place| place.saturating_sub(1))),
        }
    }

    /// What is done, as a clause that goes on: "the borer stands still …".
    #[must_use]
    pub fn words(&self, floor: &Floor) -> String {
        let zone = floor.zone;
        match self {
            Self::Place {
                operation,
                machine,
                person,
                starts,
            } => {
                let mut words = operation_words(floor, *operation);
                if let Some(machine) = machine {
                    words += &format!(" goes on {}", machine_name(floor, *machine));
                } else {
                    words += " is pinned";
                }
                if let Some(person) = person {
                    words += &format!(" with {}", person_name(floor, *person));
                }
                if let Some(starts) = starts {
                    words += &format!(" on {}", moment(*starts, zone));
                }
                words
            }
            Self::Order {
                operation,
                other,
                side,
                ..
            } => format!(
                "{} goes {} {}",
                operation_words(floor, *operation),
                match side {
                    Side::Before => "before",
                    Side::Behind => "directly behind",
                },
                operation_words(floor, *other)
            ),
            Self::AsBefore => "the order is as it was before".to_owned(),
            Self::Unpin { operation } => format!(
                "{} goes where the plan puts it",
                operation_words(floor, *operation)
            ),
            Self::Rank {
                job,
                place: Some(_),
            } => format!("{} is put first", job_words(floor, *job)),
            Self::Rank { job, place: None } => {
                format!("{} takes its turn by its promise", job_words(floor, *job))
            }
            Self::Hold { job, reason } => {
                format!("{} is held ({})", job_words(floor, *job), reason.trim())
            }
            Self::Release { job } => format!("{} goes on", job_words(floor, *job)),
            Self::Away {
                whose,
                from,
                until,
                why,
            } => format!(
                "{} {} ({why})",
                match whose {
                    Whose::Machine(id) => format!("{} stands still", machine_name(floor, *id)),
                    Whose::Person(id) => format!("{} is away", person_name(floor, *id)),
                },
                stretch(*from, *until, zone)
            ),
            Self::Back {
                whose, from, until, ..
            } => format!(
                "{} {} after all",
                match whose {
                    Whose::Machine(id) => format!("{} runs", machine_name(floor, *id)),
                    Whose::Person(id) => format!("{} is there", person_name(floor, *id)),
                },
                stretch(*from, *until, zone)
            ),
            Self::Overtime {
                whose, from, until, ..
            } => format!(
                "overtime for {} {}",
                names(floor, whose),
                stretch(*from, *until, zone)
            ),
            Self::NoOvertime {
                whose, from, until, ..
            } => format!(
                "no overtime for {} {}",
                names(floor, whose),
                stretch(*from, *until, zone)
            ),
            Self::Train { person, skill } => {
                format!("{} learns {skill}", person_name(floor, *person))
            }
            Self::Untrain { person, skill } => {
                format!("{} is not asked for {skill}", person_name(floor, *person))
            }
            Self::SecondMachine { like } => {
                format!("there is a second {}", machine_name(floor, *like))
            }
        }
    }
}

/// An operation that has not begun.
fn waiting(floor: &Floor, operation: Uuid) -> Result<&FloorOperation, CannotChange> {
    let Some((_, operation)) = floor.operation(operation) else {
        return cannot("operation", "This operation is not on the floor any more");
    };
    match operation.progress {
        Progress::Queued => Ok(operation),
        Progress::Started { .. } => cannot("operation", "This operation has begun"),
        Progress::Done => cannot("operation", "This operation is done"),
    }
}

/// Whether an operation can stand there, with that person, then.
fn place(
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
    if starts.is_some_and(|starts| starts < floor.now) {
        return cannot("starts", "This time has passed");
    }
    if machine.is_none() && person.is_none() && starts.is_none() {
        return cannot("starts", "Say where, by whom or when");
    }
    Ok(())
}

/// The longest stretch of overtime, as the calendars keep it.
const LONGEST_OVERTIME: chrono::Duration = chrono::Duration::days(31);

/// The longest that a machine stands still or somebody is away, and how far ahead it is said.
const LONGEST_AWAY: chrono::Duration = chrono::Duration::days(3 * 366);

fn span(
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
fn short(why: &str) -> Result<(), CannotChange> {
    if why.chars().count() > 200 {
        return cannot("reason", "At most 200 letters");
    }
    Ok(())
}

fn take_out(
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

fn job_mut(floor: &mut Floor, job: Uuid) -> Result<&mut super::floor::FloorJob, CannotChange> {
    match floor.jobs.iter_mut().find(|j| j.id == job) {
        Some(job) => Ok(job),
        None => cannot("job", "This job is not on the floor any more"),
    }
}

fn hours_mut(floor: &mut Floor, whose: Whose) -> Result<&mut super::Hours, CannotChange> {
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
fn opened(floor: &mut Floor, whose: Whose) -> impl Iterator<Item = &mut FloorMachine> {
    let opens = matches!(whose, Whose::Person(_));
    floor.machines.iter_mut().filter(move |_| opens)
}

fn skills_mut(floor: &mut Floor, person: Uuid) -> Result<&mut Vec<String>, CannotChange> {
    match floor.people.iter_mut().find(|p| p.id == person) {
        Some(person) => Ok(&mut person.skills),
        None => cannot("person", "This person does not work here any more"),
    }
}

/// Midnight to midnight of a day by the shop's clock: a day off.
#[must_use]
pub fn whole_day(zone: Tz, day: NaiveDate) -> Option<(DateTime<Utc>, DateTime<Utc>)> {
    let midnight = |day: NaiveDate| local_instant(zone, day.and_time(NaiveTime::MIN));
    Some((midnight(day), midnight(day.succ_opt()?)))
}

/// `Thu 3 Dec, 14:05` by the shop's clock.
#[must_use]
pub fn moment(at: DateTime<Utc>, zone: Tz) -> String {
    at.with_timezone(&zone)
        .format("%a %-d %b, %H:%M")
        .to_string()
}

/// A stretch of time: `on Thu 3 Dec`, `on Thu 3 Dec, 10:00 to 12:00`, `from … to …`.
fn stretch(from: DateTime<Utc>, until: DateTime<Utc>, zone: Tz) -> String {
    let (a, b) = (from.with_timezone(&zone), until.with_timezone(&zone));
    if whole_day(zone, a.date_naive()) == Some((from, until)) {
        return a.format("on %a %-d %b").to_string();
    }
    if a.date_naive() == b.date_naive() {
        return format!("on {} to {}", moment(from, zone), b.format("%H:%M"));
    }
    format!("from {} to {}", moment(from, zone), moment(until, zone))
}

fn machine_name(floor: &Floor, id: Uuid) -> String {
    floor
        .machine(id)
        .map_or_else(|| "a machine".to_owned(), |m| m.name.clone())
}

fn person_name(floor: &Floor, id: Uuid) -> String {
    floor
        .person(id)
        .map_or_else(|| "somebody".to_owned(), |p| p.name.clone())
}

fn names(floor: &Floor, whose: &[Whose]) -> String {
    let names: Vec<String> = whose
        .iter()
        .map(|whose| match whose {
            Whose::Machine(id) => machine_name(floor, *id),
            Whose::Person(id) => person_name(floor, *id),
        })
        .collect();
    match names.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
        None => "nobody".to_owned(),
    }
}

/// `job 214`, or `the slot held for quote 31`.
#[must_use]
pub fn job_words(floor: &Floor, id: Uuid) -> String {
    match floor.job(id) {
        Some(job) => match job.order {
            super::floor::Order::Job => format!("job {}", job.number),
            super::floor::Order::HeldSlot { .. } => {
                format!("the slot held for quote {}", job.number)
            }
        },
        None => "a job".to_owned(),
    }
}

fn operation_words(floor: &Floor, id: Uuid) -> String {
    match floor.operation(id) {
        Some((job, operation)) => {
            format!("{} of {}", operation.number, job_words(floor, job.id))
        }
        None => "an operation".to_owned(),
    }
}
