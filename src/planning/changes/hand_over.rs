//! Work that one person has begun, gone on with by another: somebody is off sick, or is wanted elsewhere.

use super::cannot;
use super::parts::{GONE, operation_mut};
use super::{CannotChange, Entered, FormField, Input, Kind, Offer, PlanChange, RowChange, Subject};
use crate::planning::floor::{Floor, Progress};
use crate::planning::words::{operation_words, person_name};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Somebody goes on with work that was begun.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct HandOver {
    /// The operation.
    pub operation: Uuid,
    /// Who goes on with it; `None` where nobody was named when it was begun.
    pub person: Option<Uuid>,
}

/// Who is at an operation that has begun; `None` when it has not.
fn at_it(floor: &Floor, operation: Uuid) -> Option<Option<Uuid>> {
    match floor.operation(operation)?.1.progress {
        Progress::Started { person, .. } => Some(person),
        Progress::Queued | Progress::Done => None,
    }
}

impl Kind for HandOver {
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange> {
        let Some((_, operation)) = floor.operation(self.operation) else {
            return cannot("operation", GONE);
        };
        let Some(now) = at_it(floor, self.operation) else {
            return cannot("operation", "This operation has not started");
        };
        if now == self.person {
            return cannot("to", "They are at it already");
        }
        if let Some(id) = self.person {
            match floor.person(id) {
                None => return cannot("to", "This person no longer works here"),
                Some(person) if !person.can(&operation.skill) => {
                    return cannot(
                        "to",
                        format!(
                            "{} does not have the skill “{}”",
                            person.name, operation.skill
                        ),
                    );
                }
                Some(_) => {}
            }
        }
        let to = self.person;
        if let Progress::Started { person, .. } =
            &mut operation_mut(floor, self.operation)?.progress
        {
            *person = to;
        }
        Ok(())
    }

    fn inverse(&self, floor: &Floor) -> Option<PlanChange> {
        Some(
            Self {
                operation: self.operation,
                person: at_it(floor, self.operation)?,
            }
            .into(),
        )
    }

    fn words(&self, floor: &Floor) -> String {
        let operation = operation_words(floor, self.operation);
        match self.person {
            Some(person) => format!(
                "{operation} is handed over to {}",
                person_name(floor, person)
            ),
            None => format!("{operation} is handed over to nobody in particular"),
        }
    }

    fn leaves_the_rest(&self) -> bool {
        true
    }

    fn rows(&self) -> Vec<RowChange> {
        vec![RowChange::SetPerson {
            operation: self.operation,
            person: self.person,
        }]
    }

    fn offers(subject: &Subject) -> Vec<Offer> {
        let Some((_, operation)) = subject.of_job() else {
            return Vec::new();
        };
        let Some(now) = at_it(subject.floor, operation.id) else {
            return Vec::new();
        };
        let people = subject.floor.people.iter();
        let others: Vec<(Uuid, String)> = people
            .filter(|person| Some(person.id) != now && person.can(&operation.skill))
            .map(|person| (person.id, person.name.clone()))
            .collect();
        if others.is_empty() || operation.skill.is_empty() || operation.outside_days.is_some() {
            return Vec::new();
        }
        let to = FormField::new("to", "Person", Input::Choice(others));
        vec![Offer::form("hand_over", "Hand it over", vec![to])]
    }

    fn forms() -> &'static [&'static str] {
        &["hand_over"]
    }

    fn read(_form: &str, entered: &mut Entered) -> Option<PlanChange> {
        let operation = entered.operation()?.1.id;
        let person = Some(entered.choice("to")?);
        Some(Self { operation, person }.into())
    }
}
