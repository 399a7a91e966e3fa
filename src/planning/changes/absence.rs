//! A machine down or a person away for a while; and back after all.

use super::form::About;
use super::parts::{LONGEST_AWAY, LONGEST_REASON, entered_span, hours_mut, short, span, take_out};
use super::{CannotChange, Entered, FormField, Input, Kind, Offer, PlanChange, RowChange, Subject};
use crate::planning::floor::{Floor, Resource};
use crate::planning::words::{machine_name, person_name, stretch};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

/// A machine or a person is not there for a while.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Away {
    /// Who or what.
    pub whose: Resource,
    /// From.
    pub from: DateTime<Utc>,
    /// Until.
    pub until: DateTime<Utc>,
    /// Why.
    pub why: String,
}

/// They are there after all.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Back {
    /// Who or what.
    pub whose: Resource,
    /// From.
    pub from: DateTime<Utc>,
    /// Until.
    pub until: DateTime<Utc>,
    /// Why they were to be away.
    pub why: String,
}

impl Kind for Away {
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange> {
        span(floor, self.from, self.until, LONGEST_AWAY)?;
        short(&self.why)?;
        let hours = hours_mut(floor, self.whose)?;
        hours.stops.push((self.from, self.until));
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
            Back {
                whose,
                from,
                until,
                why,
            }
            .into(),
        )
    }

    fn words(&self, floor: &Floor) -> String {
        let who = match self.whose {
            Resource::Machine(id) => format!("{} is down", machine_name(floor, id)),
            Resource::Person(id) => format!("{} is away", person_name(floor, id)),
        };
        let when = stretch(self.from, self.until, floor.zone);
        format!("{who} {when} ({})", self.why)
    }

    fn times(&self) -> Vec<DateTime<Utc>> {
        vec![self.from, self.until]
    }

    fn leaves_the_rest(&self) -> bool {
        true
    }

    fn rows(&self) -> Vec<RowChange> {
        vec![RowChange::AddStop {
            whose: self.whose,
            from: self.from,
            until: self.until,
            why: self.why.clone(),
        }]
    }

    fn offers(subject: &Subject) -> Vec<Offer> {
        let label = match subject.about {
            About::Operation(..) => return Vec::new(),
            About::Machine(_) => "Down for a while",
            About::Person(_) => "Time off",
        };
        let fields = vec![
            FormField::new("day", "Day", Input::Date),
            FormField::new("time", "From", Input::Time)
                .optional()
                .hint("Leave blank for the whole day"),
            FormField::new("until_day", "Until day", Input::Date)
                .optional()
                .hint("Leave blank for the same day"),
            FormField::new("until", "Until", Input::Time).optional(),
            FormField::new("reason", "Why", Input::Text),
        ];
        vec![Offer::form("away", label, fields)]
    }

    fn forms() -> &'static [&'static str] {
        &["away"]
    }

    fn read(_form: &str, entered: &mut Entered) -> Option<PlanChange> {
        let span = entered_span(entered);
        let why = entered.required("reason", LONGEST_REASON);
        let (from, until) = span?;
        Some(
            Self {
                whose: entered.whose()?,
                from,
                until,
                why: why?,
            }
            .into(),
        )
    }
}

impl Kind for Back {
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange> {
        let hours = hours_mut(floor, self.whose)?;
        take_out(&mut hours.stops, (self.from, self.until))
    }

    fn inverse(&self, _floor: &Floor) -> Option<PlanChange> {
        let Self {
            whose,
            from,
            until,
            why,
        } = self.clone();
        Some(
            Away {
                whose,
                from,
                until,
                why,
            }
            .into(),
        )
    }

    fn words(&self, floor: &Floor) -> String {
        let who = match self.whose {
            Resource::Machine(id) => format!("{} runs", machine_name(floor, id)),
            Resource::Person(id) => format!("{} is in", person_name(floor, id)),
        };
        format!(
            "{who} {} after all",
            stretch(self.from, self.until, floor.zone)
        )
    }

    fn times(&self) -> Vec<DateTime<Utc>> {
        vec![self.from, self.until]
    }

    fn rows(&self) -> Vec<RowChange> {
        vec![RowChange::RemoveStop {
            whose: self.whose,
            from: self.from,
            until: self.until,
        }]
    }
}
