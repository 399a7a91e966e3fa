//! Work beyond the usual hours; and none after all.

use super::form::About;
use super::parts::{LONGEST_REASON, hours_mut, opened, short, span, take_out, to_come};
use super::{
    CannotChange, Entered, EntryError, FormField, Input, Kind, Offer, PlanChange, RowChange,
    Subject, cannot,
};
use crate::planning::Calendar;
use crate::planning::calendar::{local_instant, whole_day};
use crate::planning::floor::{Floor, FloorPerson, Resource};
use crate::planning::words::{names, stretch};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// The longest stretch of overtime, as the calendars keep it.
const LONGEST: chrono::Duration = chrono::Duration::days(31);

/// Work beyond the usual hours.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Overtime {
    /// Who and what is there for it.
    pub whose: Vec<Resource>,
    /// From.
    pub from: DateTime<Utc>,
    /// Until.
    pub until: DateTime<Utc>,
    /// Why.
    pub why: String,
}

/// No overtime then after all.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NoOvertime {
    /// Who and what was to be there.
    pub whose: Vec<Resource>,
    /// From.
    pub from: DateTime<Utc>,
    /// Until.
    pub until: DateTime<Utc>,
    /// Why it was wanted.
    pub why: String,
}

impl Kind for Overtime {
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange> {
        let stretch = (self.from, self.until);
        span(floor, self.from, self.until, LONGEST)?;
        short(&self.why)?;
        if self.whose.is_empty() {
            return cannot("whose", "Choose who or what stays for it");
        }
        for whose in &self.whose {
            hours_mut(floor, *whose)?.overtime.push(stretch);
            for machine in opened(floor, *whose) {
                machine.hours.overtime.push(stretch);
            }
        }
        Ok(())
    }

    fn inverse(&self, _floor: &Floor) -> Option<PlanChange> {
        let Self {
            whose,
            from,
            until,
            why,
        } = self.clone();
        Some(
            NoOvertime {
                whose,
                from,
                until,
                why,
            }
            .into(),
        )
    }

    fn words(&self, floor: &Floor) -> String {
        let when = stretch(self.from, self.until, floor.zone);
        format!("overtime for {} {when}", names(floor, &self.whose))
    }

    fn condition(&self, floor: &Floor) -> String {
        format!("With {}", self.words(floor))
    }

    fn times(&self) -> Vec<DateTime<Utc>> {
        vec![self.from, self.until]
    }

    fn rows(&self) -> Vec<RowChange> {
        let row = |whose: &Resource| RowChange::AddOvertime {
            whose: *whose,
            from: self.from,
            until: self.until,
            why: self.why.clone(),
        };
        self.whose.iter().map(row).collect()
    }

    fn offers(subject: &Subject) -> Vec<Offer> {
        if subject.whose().is_none() {
            return Vec::new();
        }
        let mut fields = vec![
            FormField::new("day", "Day", Input::Date),
            FormField::new("time", "From", Input::Time),
            FormField::new("until", "Until", Input::Time),
            FormField::new("reason", "Why", Input::Text).optional(),
        ];
        if matches!(subject.about, About::Machine(_)) {
            let skilled = |p: &&FloorPerson| !p.skills.is_empty();
            let people = subject.floor.people.iter().filter(skilled);
            let people: Vec<(Uuid, String)> = people.map(|p| (p.id, p.name.clone())).collect();
            let stays = FormField::new("with", "Who stays", Input::Choice(people));
            fields.push(
                stays
                    .optional()
                    .hint("Leave blank for everybody at work that day"),
            );
        }
        vec![Offer::form("overtime", "Overtime", fields)]
    }

    fn forms() -> &'static [&'static str] {
        &["overtime"]
    }

    fn read(_form: &str, entered: &mut Entered) -> Option<PlanChange> {
        let zone = entered.floor.zone;
        let day = entered.date("day");
        let (time, until) = (entered.time("time"), entered.time("until"));
        let (day, time, until) = (day?, time?, until?);
        let (from, until) = to_come(
            entered,
            local_instant(zone, day.and_time(time)),
            local_instant(zone, day.and_time(until)),
        )?;
        let about = entered.whose();
        let stays = match about {
            Some(Resource::Person(_)) => Vec::new(),
            _ => match entered.optional("with", Entered::choice)? {
                Some(person) => vec![Resource::Person(person)],
                None => at_work(entered.floor, day),
            },
        };
        let whose: Vec<Resource> = about.into_iter().chain(stays).collect();
        if !whose
            .iter()
            .any(|whose| matches!(whose, Resource::Person(_)))
        {
            let why = "Nobody works that day. Choose who comes in";
            entered.complain("day", EntryError::Refused(why));
            return None;
        }
        let why = entered
            .text("reason")
            .chars()
            .take(LONGEST_REASON)
            .collect();
        Some(
            Self {
                whose,
                from,
                until,
                why,
            }
            .into(),
        )
    }
}

impl Kind for NoOvertime {
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange> {
        let span = (self.from, self.until);
        for whose in &self.whose {
            take_out(&mut hours_mut(floor, *whose)?.overtime, span)?;
            for machine in opened(floor, *whose) {
                take_out(&mut machine.hours.overtime, span)?;
            }
        }
        Ok(())
    }

    fn inverse(&self, _floor: &Floor) -> Option<PlanChange> {
        let Self {
            whose,
            from,
            until,
            why,
        } = self.clone();
        Some(
            Overtime {
                whose,
                from,
                until,
                why,
            }
            .into(),
        )
    }

    fn words(&self, floor: &Floor) -> String {
        let when = stretch(self.from, self.until, floor.zone);
        format!("no overtime for {} {when}", names(floor, &self.whose))
    }

    fn condition(&self, floor: &Floor) -> String {
        format!("With {}", self.words(floor))
    }

    fn times(&self) -> Vec<DateTime<Utc>> {
        vec![self.from, self.until]
    }

    fn rows(&self) -> Vec<RowChange> {
        let row = |whose: &Resource| RowChange::RemoveOvertime {
            whose: *whose,
            from: self.from,
            until: self.until,
        };
        self.whose.iter().map(row).collect()
    }
}

/// Those with a skill who are at work at some time of a day.
#[must_use]
pub fn at_work(floor: &Floor, day: NaiveDate) -> Vec<Resource> {
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
        .map(|person| Resource::Person(person.id))
        .collect()
}
