//! An operation pinned to a machine, a person or a time; and unpinned.

use super::in_the_way;
use super::parts::{operation_mut, waiting};
use super::{
    CannotChange, Entered, FormField, Input, Kind, Offer, PlanChange, RowChange, Subject, cannot,
};
use crate::planning::calendar::local_instant;
use crate::planning::engine::model::plan::Plan;
use crate::planning::floor::{
    Floor, FloorModel, FloorOperation, FloorPerson, IssueReason, Pin, Progress, SchedulingIssue,
    Slot, Timetable,
};
use crate::planning::words::{machine_name, moment, operation_words, person_name};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// This operation there, by this person, then. What is left out is left to the plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Place {
    /// The operation.
    pub operation: Uuid,
    /// The machine.
    pub machine: Option<Uuid>,
    /// Who does it.
    pub person: Option<Uuid>,
    /// When its setup starts.
    pub starts: Option<DateTime<Utc>>,
}

/// This operation where the plan puts it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Unpin {
    /// The operation.
    pub operation: Uuid,
}

impl Place {
    fn pin(&self) -> Pin {
        Pin {
            machine: self.machine,
            person: self.person,
            start: self.starts,
        }
    }

    /// Whether the operation may be pinned so, going by the floor alone.
    pub(super) fn check(&self, floor: &Floor) -> Result<(), CannotChange> {
        let operation = waiting(floor, self.operation)?;
        if let Some(id) = self.machine {
            check_machine(floor, operation, id)?;
        }
        if let Some(id) = self.person {
            check_person(floor, operation, id)?;
        }
        if self.starts.is_some_and(|starts| starts < floor.now) {
            return cannot("time", "This time has passed");
        }
        if self.machine.is_none() && self.person.is_none() && self.starts.is_none() {
            return cannot("time", "Enter a machine, a person or a time");
        }
        Ok(())
    }
}

/// When an operation is done by a plan.
fn planned_end(model: &FloorModel, plan: &Plan, operation: Uuid) -> Option<DateTime<Utc>> {
    let index = model.operation(operation)?;
    model.instant(plan.assignments.get(index)?.end)
}

impl Place {
    /// The operation of its route that ends after the time it is pinned to, and when: the last of them.
    fn waits<'a>(
        &self,
        floor: &'a Floor,
        ends: impl Fn(Uuid) -> Option<DateTime<Utc>>,
    ) -> Option<(&'a FloorOperation, DateTime<Utc>)> {
        let starts = self.starts?;
        let (job, placed) = floor.operation(self.operation)?;
        let route = job.operations.iter();
        let before = route.filter(|o| placed.after.contains(&o.number));
        before
            .filter_map(|before| {
                let ends = ends(before.id)?;
                (ends > starts).then_some((before, ends))
            })
            .max_by_key(|(_, ends)| *ends)
    }
}

fn check_machine(floor: &Floor, operation: &FloorOperation, id: Uuid) -> Result<(), CannotChange> {
    let Some(machine) = floor.machine(id) else {
        return cannot("on", "This machine is no longer in use");
    };
    if operation.outside_days.is_some() {
        return cannot("on", "This work is sent out and needs no machine here");
    }
    if machine.kind != operation.machine_kind {
        return cannot(
            "on",
            format!("This operation needs a {}", operation.machine_kind),
        );
    }
    Ok(())
}

fn check_person(floor: &Floor, operation: &FloorOperation, id: Uuid) -> Result<(), CannotChange> {
    let Some(person) = floor.person(id) else {
        return cannot("with", "This person no longer works here");
    };
    if operation.skill.is_empty() {
        return cannot("with", "This operation runs unattended");
    }
    if !person.can(&operation.skill) {
        return cannot(
            "with",
            format!(
                "{} does not have the skill “{}”",
                person.name, operation.skill
            ),
        );
    }
    Ok(())
}

/// The change that gives an operation its present pin back, or none.
fn as_it_is(floor: &Floor, operation: Uuid) -> Option<PlanChange> {
    Some(match floor.operation(operation)?.1.pin {
        Some(pin) => Place {
            operation,
            machine: pin.machine,
            person: pin.person,
            starts: pin.start,
        }
        .into(),
        None => Unpin { operation }.into(),
    })
}

impl Kind for Place {
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange> {
        self.check(floor)?;
        operation_mut(floor, self.operation)?.pin = Some(self.pin());
        Ok(())
    }

    fn inverse(&self, floor: &Floor) -> Option<PlanChange> {
        as_it_is(floor, self.operation)
    }

    fn words(&self, floor: &Floor) -> String {
        let mut words = operation_words(floor, self.operation);
        match self.machine {
            Some(machine) => words += &format!(" goes on {}", machine_name(floor, machine)),
            None => words += " is pinned",
        }
        if let Some(person) = self.person {
            words += &format!(" with {}", person_name(floor, person));
        }
        if let Some(starts) = self.starts {
            words += &format!(" on {}", moment(starts, floor.zone));
        }
        words
    }

    fn times(&self) -> Vec<DateTime<Utc>> {
        self.starts.into_iter().collect()
    }

    fn leaves_the_rest(&self) -> bool {
        true
    }

    fn rows(&self) -> Vec<RowChange> {
        vec![RowChange::SetPin {
            operation: self.operation,
            pin: self.pin(),
        }]
    }

    /// Pinned and started work may leave no room for it.
    fn fits(&self, floor: &Floor, model: &FloorModel) -> Result<(), CannotChange> {
        let mine = |issue: &&SchedulingIssue| {
            issue.operation == Some(self.operation) && !issue.reason.leaves_out()
        };
        match model.issues.iter().find(mine).map(|issue| &issue.reason) {
            Some(why @ IssueReason::PinTaken) => cannot(
                "time",
                match in_the_way::words(floor, model, self) {
                    Some(words) => format!("This time is taken by {words}"),
                    None => format!("Other work is pinned there or running: {why}"),
                },
            ),
            Some(why) => cannot("on", format!("It cannot go there: {why}")),
            None => match in_the_way::displaces(floor, model, self) {
                Some(words) => cannot("time", format!("This time is taken by {words}")),
                None => Ok(()),
            },
        }
    }

    /// It may be pinned before the operations that must be done first.
    fn keeps(&self, floor: &Floor, model: &FloorModel, plan: &Plan) -> Result<(), CannotChange> {
        match self.waits(floor, |id| planned_end(model, plan, id)) {
            Some((before, ends)) => cannot(
                "time",
                format!(
                    "{} {}, which comes before it, is done on {}",
                    before.number,
                    before.what,
                    moment(ends, floor.zone)
                ),
            ),
            None => Ok(()),
        }
    }

    /// Before or behind what is in the way; or when what comes before it is done.
    fn instead(
        &self,
        floor: &Floor,
        model: &FloorModel,
        plan: &Plan,
        before: &Timetable,
    ) -> Vec<PlanChange> {
        // Where it is planned now it holds up nothing that comes before it, as it may where it was refused.
        let planned = |id| Some(before.slot(id)?.ends);
        let waits = self
            .waits(floor, planned)
            .or_else(|| self.waits(floor, |id| planned_end(model, plan, id)));
        let waits = waits.and_then(|(_, ends)| in_the_way::begins(floor, model, self, ends));
        let times = in_the_way::beside(floor, model, self)
            .into_iter()
            .chain(waits);
        times
            .filter(|at| *at >= floor.now)
            .map(|at| {
                Self {
                    starts: Some(at),
                    ..self.clone()
                }
                .into()
            })
            .collect()
    }

    fn offers(subject: &Subject) -> Vec<Offer> {
        let Some((_, operation)) = subject.of_job() else {
            return Vec::new();
        };
        if operation.progress != Progress::Queued {
            return Vec::new();
        }
        let slot = subject.slot(operation);
        let mut offers = vec![Offer::form(
            "place",
            "Move it",
            fields(subject.floor, operation, slot),
        )];
        if operation.pin.is_none() && slot.is_some() {
            offers.push(Offer::button("pin", "Pin it where it is"));
        }
        offers
    }

    fn forms() -> &'static [&'static str] {
        &["place", "pin"]
    }

    fn read(form: &str, entered: &mut Entered) -> Option<PlanChange> {
        let operation = entered.operation()?.1.id;
        if form == "pin" {
            let slot = entered.timetable.slot(operation)?;
            return Some(
                Self {
                    operation,
                    machine: slot.machine,
                    person: slot.person,
                    starts: Some(slot.starts),
                }
                .into(),
            );
        }
        let machine = entered.optional("on", Entered::choice)?;
        let person = entered.optional("with", Entered::choice)?;
        let starts = if entered.text("day").is_empty() && entered.text("time").is_empty() {
            None
        } else {
            let (day, time) = (entered.date("day"), entered.time("time"));
            Some(local_instant(entered.floor.zone, day?.and_time(time?)))
        };
        Some(
            Self {
                operation,
                machine,
                person,
                starts,
            }
            .into(),
        )
    }
}

/// What is asked for to move an operation, beginning with where it is planned.
fn fields(floor: &Floor, operation: &FloorOperation, slot: Option<&Slot>) -> Vec<FormField> {
    let key = |id: Option<Uuid>| id.map(|id| id.to_string()).unwrap_or_default();
    let starts = |format: &str| {
        let at = slot.map(|s| s.starts.with_timezone(&floor.zone));
        at.map(|at| at.format(format).to_string())
            .unwrap_or_default()
    };
    let can = |person: &&FloorPerson| person.can(&operation.skill);
    let people: Vec<(Uuid, String)> = floor
        .people
        .iter()
        .filter(can)
        .map(|p| (p.id, p.name.clone()))
        .collect();
    let machines = floor
        .machines
        .iter()
        .filter(|m| m.kind == operation.machine_kind)
        .map(|m| (m.id, m.name.clone()))
        .collect();
    let mut fields = Vec::new();
    if operation.outside_days.is_none() {
        let on = FormField::new("on", "Machine", Input::Choice(machines)).optional();
        fields.push(on.value(key(slot.and_then(|s| s.machine))));
        if !people.is_empty() {
            let with = FormField::new("with", "Person", Input::Choice(people)).optional();
            let with = with.hint("Leave blank and the plan picks one");
            fields.push(with.value(key(slot.and_then(|s| s.person))));
        }
    }
    let day = FormField::new("day", "Day", Input::Date).optional();
    let day = day.hint("Leave day and time blank and the plan picks them");
    fields.push(day.value(starts("%Y-%m-%d")));
    let time = FormField::new("time", "Starts at", Input::Time).optional();
    fields.push(time.value(starts("%H:%M")));
    fields
}

impl Kind for Unpin {
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange> {
        match operation_mut(floor, self.operation)?.pin.take() {
            Some(_) => Ok(()),
            None => cannot("operation", "This operation is not pinned"),
        }
    }

    fn inverse(&self, floor: &Floor) -> Option<PlanChange> {
        as_it_is(floor, self.operation)
    }

    fn words(&self, floor: &Floor) -> String {
        format!("{} is unpinned", operation_words(floor, self.operation))
    }

    fn leaves_the_rest(&self) -> bool {
        true
    }

    fn rows(&self) -> Vec<RowChange> {
        vec![RowChange::ClearPin {
            operation: self.operation,
        }]
    }

    fn offers(subject: &Subject) -> Vec<Offer> {
        match subject.of_job() {
            Some((_, operation))
                if operation.progress == Progress::Queued && operation.pin.is_some() =>
            {
                vec![Offer::button("unpin", "Unpin it")]
            }
            _ => Vec::new(),
        }
    }

    fn forms() -> &'static [&'static str] {
        &["unpin"]
    }

    fn read(_form: &str, entered: &mut Entered) -> Option<PlanChange> {
        let operation = entered.operation()?.1.id;
        Some(Self { operation }.into())
    }
}
