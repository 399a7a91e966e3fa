//! A change as it is asked for in a form, read into a [`Change`].

use super::sheet::Stretch;
use crate::planning::floor::{Floor, FloorPerson, Timetable};
use crate::planning::what_if::{Change, Whose, whole_day};
use crate::planning::{Calendar, local_instant};
use crate::web::ui::FormErrors;
use chrono::{DateTime, NaiveDate, Utc};
use serde::Deserialize;
use uuid::Uuid;

/// What the address may say: which days are shown, what is looked at, and what is to be tried.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    /// First day shown.
    pub from: String,
    /// How many days.
    pub days: String,
    /// The operation looked at or changed.
    pub operation: String,
    /// The machine looked at.
    pub machine: String,
    /// The person looked at.
    pub person: String,
    /// What is to be tried: `place`, `pin`, `unpin`, `first`, `turn`, `hold`, `release`, `away`, `overtime`.
    pub kind: String,
    /// A whole change, as it is kept: what a button tries.
    pub change: String,
    /// The machine an operation is to go on; empty leaves it to the plan.
    pub on: String,
    /// Who is to do it, or who stays for overtime; empty leaves it to the plan, or is everybody.
    pub with: String,
    /// Day.
    pub day: String,
    /// Time of day.
    pub time: String,
    /// Last day, when it is another.
    pub until_day: String,
    /// Time of day at the end.
    pub until: String,
    /// Why.
    pub reason: String,
}

impl Asked {
    /// The days to show: a week from today when nothing is said.
    pub fn stretch(&self, errors: &mut FormErrors, today: NaiveDate) -> Stretch {
        let from = errors
            .optional(&self.from, |errors| errors.date("from", &self.from))
            .flatten()
            .unwrap_or(today);
        let days = self
            .days
            .parse()
            .ok()
            .filter(|days| Stretch::DAYS.contains(days))
            .unwrap_or(7);
        Stretch { from, days }
    }

    /// The key of what is looked at.
    pub fn key(text: &str) -> Option<Uuid> {
        text.parse().ok()
    }

    /// Reads what is to be tried; complaints stand beside the field they are about.
    pub fn read(
        &self,
        errors: &mut FormErrors,
        floor: &Floor,
        timetable: &Timetable,
    ) -> Option<Change> {
        if !self.change.is_empty() {
            return errors.parsed("change", &self.change, Change::parse);
        }
        let operation = Self::key(&self.operation);
        let job = operation
            .and_then(|id| floor.operation(id))
            .map(|(job, _)| job.id);
        let slot = operation.and_then(|id| timetable.slot(id));
        match self.kind.as_str() {
            "place" => {
                let machine = errors.optional(&self.on, |errors| errors.row("on", &self.on))?;
                let person =
                    errors.optional(&self.with, |errors| errors.row("with", &self.with))?;
                let starts = if self.day.trim().is_empty() && self.time.trim().is_empty() {
                    None
                } else {
                    let day = errors.date("day", &self.day);
                    let time = errors.time("time", &self.time);
                    Some(local_instant(floor.zone, day?.and_time(time?)))
                };
                Some(Change::Place {
                    operation: operation?,
                    machine,
                    person,
                    starts,
                })
            }
            "pin" => {
                let slot = slot?;
                Some(Change::Place {
                    operation: slot.operation,
                    machine: slot.machine,
                    person: slot.person,
                    starts: Some(slot.starts),
                })
            }
            "unpin" => Some(Change::Unpin {
                operation: operation?,
            }),
            "first" => Some(Change::put_first(floor, job?)),
            "turn" => Some(Change::Rank {
                job: job?,
                place: None,
            }),
            "hold" => Some(Change::Hold {
                job: job?,
                reason: errors.required_text("reason", &self.reason, 200)?,
            }),
            "release" => Some(Change::Release { job: job? }),
            "away" => {
                let (from, until) = self.span(errors, floor)?;
                let why = errors.required_text("reason", &self.reason, 200);
                Some(Change::Away {
                    whose: self.whose()?,
                    from,
                    until,
                    why: why?,
                })
            }
            "overtime" => self.overtime(errors, floor),
            _ => {
                errors.add("change", "Say what is to be tried");
                None
            }
        }
    }

    fn whose(&self) -> Option<Whose> {
        Self::key(&self.machine)
            .map(Whose::Machine)
            .or_else(|| Self::key(&self.person).map(Whose::Person))
    }

    /// From a time, or a whole day, until a time of the same or another day.
    fn span(
        &self,
        errors: &mut FormErrors,
        floor: &Floor,
    ) -> Option<(DateTime<Utc>, DateTime<Utc>)> {
        let day = errors.date("day", &self.day);
        let until_day = errors.optional(&self.until_day, |errors| {
            errors.date("until_day", &self.until_day)
        })?;
        let day = day?;
        let last = until_day.unwrap_or(day);
        if last < day {
            errors.add("until_day", "This must not be before the first day");
            return None;
        }
        let time = errors.optional(&self.time, |errors| errors.time("time", &self.time))?;
        let until = errors.optional(&self.until, |errors| errors.time("until", &self.until))?;
        let (opens, closes) = (
            whole_day(floor.zone, day)?.0,
            whole_day(floor.zone, last)?.1,
        );
        let from = time.map_or(opens, |time| local_instant(floor.zone, day.and_time(time)));
        let until = until.map_or(closes, |time| {
            local_instant(floor.zone, last.and_time(time))
        });
        if until <= from {
            errors.add("until", "This must be after the start");
            return None;
        }
        if until <= floor.now {
            errors.add("day", "This has passed");
            return None;
        }
        Some((from, until))
    }

    fn overtime(&self, errors: &mut FormErrors, floor: &Floor) -> Option<Change> {
        let day = errors.date("day", &self.day);
        let time = errors.time("time", &self.time);
        let until = errors.time("until", &self.until);
        let (day, time, until) = (day?, time?, until?);
        let from = local_instant(floor.zone, day.and_time(time));
        let until = local_instant(floor.zone, day.and_time(until));
        if until <= from {
            errors.add("until", "This must be after the start");
            return None;
        }
        if until <= floor.now {
            errors.add("day", "This has passed");
            return None;
        }
        let stays = match Self::key(&self.person) {
            Some(person) => vec![Whose::Person(person)],
            None => match errors.optional(&self.with, |errors| errors.row("with", &self.with))? {
                Some(person) => vec![Whose::Person(person)],
                None => at_work(floor, day),
            },
        };
        if stays.is_empty() {
            errors.add("day", "Nobody is at work that day; say who comes in");
            return None;
        }
        let machine = Self::key(&self.machine).map(Whose::Machine);
        Some(Change::Overtime {
            whose: machine.into_iter().chain(stays).collect(),
            from,
            until,
            why: self.reason.trim().chars().take(200).collect(),
        })
    }
}

/// Those with a skill who are at work at some time of a day.
pub fn at_work(floor: &Floor, day: NaiveDate) -> Vec<Whose> {
    let Some((from, until)) = whole_day(floor.zone, day) else {
        return Vec::new();
    };
    let there = |person: &&FloorPerson| {
        !person.skills.is_empty() && Calendar::build(&person.hours, from, until).total() > 0
    };
    floor
        .people
        .iter()
        .filter(there)
        .map(|person| Whose::Person(person.id))
        .collect()
}
