//! What would come of it: the plan changed by hand, tried before it is done.
//!
//! Whoever runs a shop moves a job to another machine, holds one until a customer has paid, lets somebody go home. Each
//! such [`Change`] is made to a copy of the floor, the standing plan is mended for it ([`Ground::try_out`]), and what comes of it
//! is an [`Effect`]: which promises move and by how much, and what it would take to say it in one sentence. Taken or
//! dropped is for people to say. Every change has an [inverse](Change::inverse) that gives the floor back as it was.
//!
//! Mending stays near the standing plan: an operation that ends up on another machine, with another person or behind
//! another operation has to bring [`PRICE_OF_A_MOVE`], so nobody's day is turned over for a few minutes.

mod allowed;
mod effect;
mod together;
mod words;

#[cfg(test)]
mod tests;

pub use effect::{Effect, Ground, PromiseMove, Settings, TryError, WhatIf};
pub use together::{Together, together};
pub use words::{hours, job_words, moment, whole_day};

use super::calendar::in_reach;
use super::floor::{Floor, FloorMachine, Order, Pin};
use allowed::{
    GONE, LONGEST_AWAY, LONGEST_OVERTIME, hours_mut, job_mut, opened, place, short, skills_mut,
    span, take_out, waiting,
};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;
use words::operation_words;

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
    /// This operation before or directly behind that one, on its machine. Kept is which of them goes first, and the
    /// machine, where it is another.
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
    /// The order of two operations left to the plan again.
    NoOrder {
        /// The operation that was brought by the other.
        operation: Uuid,
        /// The other.
        other: Uuid,
        /// On which side.
        side: Side,
        /// The machine it was brought to, when that was another.
        machine: Option<Uuid>,
        /// What it was pinned to before, which is given back with the machine.
        was: Option<Pin>,
    },
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

impl Side {
    /// Which of the two goes first, and which behind it.
    #[must_use]
    pub fn ordered(self, operation: Uuid, other: Uuid) -> (Uuid, Uuid) {
        match self {
            Self::Before => (operation, other),
            Self::Behind => (other, operation),
        }
    }
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
    /// A change from the text it is kept as, JSON.
    ///
    /// # Errors
    /// What is wrong with it, in words: it is no change, or a time in it is none that a shop plans for.
    pub fn parse(text: &str) -> Result<Self, &'static str> {
        let change: Self = serde_json::from_str(text).map_err(|_| "This is no change of a plan")?;
        if change.times().iter().all(|at| in_reach(*at)) {
            Ok(change)
        } else {
            Err("Write times in the years 1970 to 2199")
        }
    }

    /// The times it names.
    fn times(&self) -> Vec<DateTime<Utc>> {
        match self {
            Self::Place { starts, .. } => starts.iter().copied().collect(),
            Self::NoOrder { was, .. } => was.and_then(|pin| pin.start).into_iter().collect(),
            Self::Away { from, until, .. }
            | Self::Back { from, until, .. }
            | Self::Overtime { from, until, .. }
            | Self::NoOvertime { from, until, .. } => vec![*from, *until],
            Self::Order { .. }
            | Self::Unpin { .. }
            | Self::Rank { .. }
            | Self::Hold { .. }
            | Self::Release { .. }
            | Self::Train { .. }
            | Self::Untrain { .. }
            | Self::SecondMachine { .. } => Vec::new(),
        }
    }

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
                side,
                machine,
            } => {
                let (first, second) = side.ordered(*operation, *other);
                waiting(floor, *operation)?;
                waiting(floor, second)?;
                for id in [first, second] {
                    match floor.operation(id).map(|(job, _)| &job.order) {
                        Some(Order::Job) => {}
                        Some(Order::HeldSlot { .. }) => {
                            return cannot("operation", "A slot held for a quote has no order yet");
                        }
                        None => return cannot("operation", GONE),
                    }
                }
                if first == second || floor.waits_for(first, second) {
                    return cannot(
                        "operation",
                        format!(
                            "{} cannot go before {}, which it waits for",
                            operation_words(floor, first),
                            operation_words(floor, second)
                        ),
                    );
                }
                if let Some(second) = changed.operation_mut(second) {
                    if second.behind.contains(&first) {
                        return cannot("operation", "This order is decided already");
                    }
                    second.behind.push(first);
                }
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
            Self::NoOrder {
                operation,
                other,
                side,
                machine,
                was,
            } => {
                let (first, second) = side.ordered(*operation, *other);
                match changed.operation_mut(second) {
                    Some(second) if second.behind.contains(&first) => {
                        second.behind.retain(|id| *id != first);
                    }
                    Some(_) => return cannot("operation", "This order is not decided any more"),
                    None => return cannot("operation", GONE),
                }
                if let Some(operation) = changed.operation_mut(*operation)
                    && machine.is_some()
                {
                    operation.pin = *was;
                }
            }
            Self::Unpin { operation } => match changed.operation_mut(*operation) {
                Some(operation) if operation.pin.is_some() => operation.pin = None,
                Some(_) => return cannot("operation", "This operation is not pinned"),
                None => return cannot("operation", GONE),
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
            Self::Order {
                operation,
                other,
                side,
                machine,
            } => Self::NoOrder {
                operation,
                other,
                side,
                machine,
                was: floor.operation(operation)?.1.pin,
            },
            Self::NoOrder {
                operation,
                other,
                side,
                machine,
                ..
            } => Self::Order {
                operation,
                other,
                side,
                machine,
            },
            Self::Place { operation, .. } | Self::Unpin { operation } => {
                match floor.operation(operation)?.1.pin {
                    Some(pin) => Self::Place {
                        operation,
                        machine: pin.machine,
                        person: pin.person,
                        starts: pin.start,
                    },
                    None => Self::Unpin { operation },
                }
            }
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
}
