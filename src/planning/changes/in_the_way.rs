//! What started and pinned work is in the way of an operation somebody wants at a time, and the times beside it.

use super::Place;
use crate::planning::engine::model::calendar::{NEVER, WorkingTime};
use crate::planning::engine::model::{Minute, Mode};
use crate::planning::floor::{Floor, FloorModel, IssueReason};
use crate::planning::words::{moment, operation_words};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// Work that may not move, where a place meets it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Met {
    /// The operation.
    operation: Uuid,
    /// When it begins and ends there, minutes of the model.
    span: (Minute, Minute),
}

/// An operation on one machine by one person, from a minute on.
struct Stay<'a> {
    machine: usize,
    person: Option<usize>,
    mode: &'a Mode,
    /// When both are there; the machine alone where nobody attends it.
    both: WorkingTime,
    alone: &'a WorkingTime,
}

impl Stay<'_> {
    /// Start, end of the attended part and end, when it begins as soon as it can from `from`.
    fn at(&self, from: Minute) -> (Minute, Minute, Minute) {
        let with = self.mode.setup + self.mode.attended;
        let rest = self.mode.run - self.mode.attended;
        let (start, attended_until) = self.both.pausing(from, with);
        let end = if rest > 0 {
            self.alone.pausing(attended_until, rest).1
        } else {
            attended_until
        };
        (start, attended_until, end)
    }

    /// The fixed work of others that it meets from `from` on.
    fn meets(&self, model: &FloorModel, operation: Uuid, from: Minute) -> Vec<Met> {
        let (start, attended_until, end) = self.at(from);
        let others = model.model.operations.iter().zip(&model.operations);
        others
            .filter(|(_, id)| **id != operation)
            .filter_map(|(other, &id)| {
                let fixed = other.fixed?;
                let machine = other.modes.get(fixed.mode).and_then(|mode| mode.machine);
                let on = machine == Some(self.machine) && fixed.start < end && start < fixed.end;
                let with = fixed.person.is_some()
                    && fixed.person == self.person
                    && fixed.start < attended_until
                    && start < fixed.attended_until;
                let until = if on { fixed.end } else { fixed.attended_until };
                (on || with).then_some(Met {
                    operation: id,
                    span: (fixed.start, until),
                })
            })
            .collect()
    }

    /// All that it meets from `from` on: fixed work, and pins that it would take the time of.
    fn all_met(
        &self,
        (floor, model): (&Floor, &FloorModel),
        operation: Uuid,
        from: Minute,
    ) -> Vec<Met> {
        let mut met = self.meets(model, operation, from);
        let (start, _, end) = self.at(from);
        let displaced = displaced(floor, model, operation).into_iter();
        met.extend(displaced.filter(|m| m.span.0 < end && start < m.span.1));
        met
    }

    /// The last minute from nought on from which it is over by `by`.
    fn over_by(&self, by: Minute) -> Option<Minute> {
        let fits = |from: Minute| self.at(from).2 <= by;
        if by <= 0 || !fits(0) {
            return None;
        }
        let (mut low, mut high) = (0, by);
        while low < high {
            let middle = low + (high - low + 1) / 2;
            if fits(middle) {
                low = middle;
            } else {
                high = middle - 1;
            }
        }
        Some(self.at(low).0).filter(|&start| start < NEVER && fits(start))
    }
}

/// Pins of others that are not kept because of an operation that is pinned, each where it was to be.
fn displaced(floor: &Floor, model: &FloorModel, operation: Uuid) -> Vec<Met> {
    let not_kept = model.issues.iter();
    let not_kept = not_kept.filter(|issue| issue.reason == IssueReason::PinTaken);
    let mut displaced = Vec::new();
    for other in not_kept.filter_map(|issue| issue.operation) {
        let pin = floor.operation(other).and_then(|(_, o)| o.pin);
        let Some((pin, at)) = pin.and_then(|pin| Some((pin, pin.start?))) else {
            continue;
        };
        let wanted = Place {
            operation: other,
            machine: pin.machine,
            person: pin.person,
            starts: Some(at),
        };
        let from = model.minute(at);
        let spans: Vec<(Minute, Minute)> = stays(floor, model, &wanted)
            .iter()
            .filter(|stay| {
                let met = stay.meets(model, other, from);
                met.iter().any(|m| m.operation == operation)
            })
            .map(|stay| (stay.at(from).0, stay.at(from).2))
            .collect();
        displaced.extend(spans.into_iter().min_by_key(|span| span.1).map(|span| Met {
            operation: other,
            span,
        }));
    }
    displaced
}

/// The pins of others that would not be kept any more because of a place, in words. `None` when there are none.
pub(super) fn displaces(floor: &Floor, model: &FloorModel, place: &Place) -> Option<String> {
    let displaced = displaced(floor, model, place.operation);
    let names: Vec<String> = displaced
        .iter()
        .map(|met| said(floor, model, met))
        .collect();
    (!names.is_empty()).then(|| names.join("; "))
}

/// The machines and people a place leaves open.
fn stays<'a>(floor: &Floor, model: &'a FloorModel, place: &Place) -> Vec<Stay<'a>> {
    let found = model.operation(place.operation);
    let Some(operation) = found.and_then(|i| model.model.operations.get(i)) else {
        return Vec::new();
    };
    let named = |person: &usize| {
        let id = floor.people.get(*person).map(|p| p.id);
        place.person.is_none() || id == place.person
    };
    let people: Vec<Option<usize>> = if operation.people.is_empty() {
        vec![None]
    } else {
        operation
            .people
            .iter()
            .copied()
            .filter(named)
            .map(Some)
            .collect()
    };
    let mut stays = Vec::new();
    for mode in &operation.modes {
        let Some(machine) = mode.machine else {
            continue;
        };
        let id = model.machines.get(machine).copied();
        if place.machine.is_some() && id != place.machine {
            continue;
        }
        let Some(alone) = model.model.machines.get(machine).map(|m| &m.calendar) else {
            continue;
        };
        for &person in &people {
            let both = match person.and_then(|p| model.model.people.get(p)) {
                Some(person) => alone.and(&person.calendar),
                None => alone.clone(),
            };
            stays.push(Stay {
                machine,
                person,
                mode,
                both,
                alone,
            });
        }
    }
    stays
}

/// The work that is in the way of a place, in words: of the machines and people it could have, those that are free again
/// first. `None` when nothing is.
pub(super) fn words(floor: &Floor, model: &FloorModel, place: &Place) -> Option<String> {
    let from = model.minute(place.starts?);
    let all = stays(floor, model, place);
    let met = all
        .iter()
        .map(|stay| stay.meets(model, place.operation, from))
        .filter(|met| !met.is_empty())
        .min_by_key(|met| met.iter().map(|m| m.span.1).max())?;
    let named: Vec<String> = met.iter().map(|met| said(floor, model, met)).collect();
    Some(named.join("; "))
}

/// `op 20 of job 214 for Asa Pemberly, pinned from … to …`.
fn said(floor: &Floor, model: &FloorModel, met: &Met) -> String {
    let at = model.instant(met.span.0.max(0)).unwrap_or(floor.now);
    let until = model.instant(met.span.1).unwrap_or(floor.now);
    let name = named(floor, met.operation);
    let until = moment(until, floor.zone);
    if met.span.0 <= 0 {
        format!("{name}, running until {until}")
    } else {
        format!("{name}, pinned from {} to {until}", moment(at, floor.zone))
    }
}

/// `op 20 of job 214 for Asa Pemberly`.
fn named(floor: &Floor, operation: Uuid) -> String {
    let words = operation_words(floor, operation);
    match floor.operation(operation) {
        Some((job, _)) if !job.customer.is_empty() => format!("{words} for {}", job.customer),
        _ => words,
    }
}

/// When a place could begin at the soonest from an instant on, going by the hours of its machines and people.
pub(super) fn begins(
    floor: &Floor,
    model: &FloorModel,
    place: &Place,
    at: DateTime<Utc>,
) -> Option<DateTime<Utc>> {
    let from = model.minute(at);
    let stays = stays(floor, model, place);
    let soonest = stays.iter().map(|stay| stay.at(from).0).min()?;
    model.instant(soonest)
}

/// The times nearest before and after the work that is in the way of a place.
pub(super) fn beside(floor: &Floor, model: &FloorModel, place: &Place) -> Vec<DateTime<Utc>> {
    let Some(from) = place.starts.map(|at| model.minute(at)) else {
        return Vec::new();
    };
    let mut times = Vec::new();
    for stay in stays(floor, model, place) {
        let met = stay.all_met((floor, model), place.operation, from);
        let behind = met.iter().map(|m| m.span.1).max();
        times.extend(behind.map(|at| stay.at(at).0));
        let before = met.iter().map(|m| m.span.0).min();
        times.extend(before.and_then(|at| stay.over_by(at)));
    }
    times.sort_unstable();
    times.dedup();
    times
        .into_iter()
        .filter_map(|at| model.instant(at))
        .collect()
}
