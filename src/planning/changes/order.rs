//! Which of two operations goes first on their machine; and that left to the plan again.

use super::parts::{GONE, operation_mut, waiting};
use super::place::Place;
use super::{CannotChange, Kind, Offer, PlanChange, RowChange, Side, Subject, cannot};
use crate::planning::floor::{self, Floor, Pin, Timetable};
use crate::planning::words::{job_words, operation_words};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// This operation before or directly behind that one, on its machine. Kept is which of them goes first, and the
/// machine, where it is another.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Order {
    /// The operation that changes its place.
    pub operation: Uuid,
    /// The one it goes by.
    pub other: Uuid,
    /// On which side.
    pub side: Side,
    /// The machine, when it is not the one the operation is on.
    pub machine: Option<Uuid>,
}

/// The order of two operations left to the plan again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NoOrder {
    /// The operation that was moved beside the other.
    pub operation: Uuid,
    /// The other.
    pub other: Uuid,
    /// On which side.
    pub side: Side,
    /// The machine it was moved to, when that was another.
    pub machine: Option<Uuid>,
    /// What it was pinned to before, which is given back with the machine.
    pub was: Option<Pin>,
}

/// So many of the operations before and behind one are looked at for one that it can go by.
const NEAR: usize = 5;

impl Kind for Order {
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange> {
        let (first, second) = self.side.ordered(self.operation, self.other);
        waiting(floor, self.operation)?;
        waiting(floor, second)?;
        for id in [first, second] {
            match floor.operation(id).map(|(job, _)| &job.order) {
                Some(floor::Order::Job | floor::Order::Wish) => {}
                Some(floor::Order::HeldSlot { .. }) => {
                    return cannot(
                        "operation",
                        "A slot reserved for a quote has no fixed order yet",
                    );
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
        let place = self.machine.map(|machine| Place {
            operation: self.operation,
            machine: Some(machine),
            person: None,
            starts: None,
        });
        let behind = &mut operation_mut(floor, second)?.behind;
        if behind.contains(&first) {
            return cannot("operation", "This order is fixed already");
        }
        behind.push(first);
        match place {
            Some(place) => place.apply(floor),
            None => Ok(()),
        }
    }

    fn inverse(&self, floor: &Floor) -> Option<PlanChange> {
        Some(
            NoOrder {
                operation: self.operation,
                other: self.other,
                side: self.side,
                machine: self.machine,
                was: floor.operation(self.operation)?.1.pin,
            }
            .into(),
        )
    }

    fn words(&self, floor: &Floor) -> String {
        let side = match self.side {
            Side::Before => "before",
            Side::Behind => "straight after",
        };
        format!(
            "{} goes {side} {}",
            operation_words(floor, self.operation),
            operation_words(floor, self.other)
        )
    }

    fn rows(&self) -> Vec<RowChange> {
        let (first, second) = self.side.ordered(self.operation, self.other);
        let pin = self.machine.map(|machine| RowChange::SetPin {
            operation: self.operation,
            pin: Pin {
                machine: Some(machine),
                person: None,
                start: None,
            },
        });
        let order = RowChange::SetOrder { first, second };
        std::iter::once(order).chain(pin).collect()
    }

    fn reordered(&self, floor: &Floor, before: &Timetable) -> Option<Timetable> {
        let by = before.slot(self.other)?.clone();
        let (job, _) = floor.operation(self.operation)?;
        let mut ordered = before.clone();
        let minute = chrono::Duration::minutes(1);
        match self.side {
            Side::Behind => {
                let mine = |s: &&mut floor::Slot| s.operation == self.operation;
                let slot = ordered.slots.iter_mut().find(mine)?;
                slot.starts = by.starts + minute;
                slot.machine = by.machine;
            }
            Side::Before => {
                // What it waits for in its job goes with it.
                let mut goes = vec![self.operation];
                while let Some(id) = goes.pop() {
                    let Some(moving) = job.operations.iter().find(|o| o.id == id) else {
                        continue;
                    };
                    if let Some(slot) = ordered.slots.iter_mut().find(|s| s.operation == id) {
                        slot.starts = slot.starts.min(by.starts - minute);
                    }
                    let route = job.operations.iter();
                    let waits = route.filter(|o| moving.after.contains(&o.number));
                    goes.extend(waits.map(|o| o.id));
                }
            }
        }
        Some(ordered)
    }

    /// Before the work that is planned before it on its machine, and straight after the work behind it.
    fn offers(subject: &Subject) -> Vec<Offer> {
        let Some((_, operation)) = subject.of_job() else {
            return Vec::new();
        };
        let (floor, slots) = (subject.floor, &subject.timetable.slots);
        let Some(mine) = slots.iter().position(|s| s.operation == operation.id) else {
            return Vec::new();
        };
        let (before, behind) = slots.split_at(mine);
        let machine = behind.first().and_then(|slot| slot.machine);
        let near = |slot: &&floor::Slot| slot.machine.is_some() && slot.machine == machine;
        // The first that it can go by: what it waits for, it cannot.
        let offer = |code, word: &str, other: &floor::Slot, side| {
            let other = other.operation;
            let change = Self {
                operation: operation.id,
                other,
                side,
                machine: None,
            };
            change.apply(&mut floor.clone()).ok()?;
            let by = operation_words(floor, other);
            Some(Offer::change(code, format!("{word} {by}"), change))
        };
        let earlier = before.iter().rev().filter(near).take(NEAR);
        let earlier =
            earlier.filter_map(|other| offer("earlier", "Earlier, before", other, Side::Before));
        let later = behind.iter().skip(1).filter(near).take(NEAR);
        let later = later.filter_map(|other| offer("later", "Later, after", other, Side::Behind));
        earlier.take(1).chain(later.take(1)).collect()
    }
}

impl Kind for NoOrder {
    fn apply(&self, floor: &mut Floor) -> Result<(), CannotChange> {
        let (first, second) = self.side.ordered(self.operation, self.other);
        let behind = &mut operation_mut(floor, second)?.behind;
        if !behind.contains(&first) {
            return cannot("operation", "This order is no longer fixed");
        }
        behind.retain(|id| *id != first);
        if self.machine.is_some()
            && let Some(operation) = floor.operation_mut(self.operation)
        {
            operation.pin = self.was;
        }
        Ok(())
    }

    fn inverse(&self, _floor: &Floor) -> Option<PlanChange> {
        Some(
            Order {
                operation: self.operation,
                other: self.other,
                side: self.side,
                machine: self.machine,
            }
            .into(),
        )
    }

    fn words(&self, floor: &Floor) -> String {
        format!(
            "{} and {} go in any order",
            operation_words(floor, self.operation),
            operation_words(floor, self.other)
        )
    }

    fn times(&self) -> Vec<DateTime<Utc>> {
        self.was.and_then(|pin| pin.start).into_iter().collect()
    }

    fn rows(&self) -> Vec<RowChange> {
        let (first, second) = self.side.ordered(self.operation, self.other);
        let operation = self.operation;
        let pin = self.machine.map(|_| match self.was {
            Some(pin) => RowChange::SetPin { operation, pin },
            None => RowChange::ClearPin { operation },
        });
        let order = RowChange::ClearOrder { first, second };
        std::iter::once(order).chain(pin).collect()
    }

    /// Each order that was fixed by hand and that the operation is in.
    fn offers(subject: &Subject) -> Vec<Offer> {
        let Some((_, operation)) = subject.of_job() else {
            return Vec::new();
        };
        let floor = subject.floor;
        let behind = operation.behind.iter().map(|id| (*id, Side::Behind));
        let before = floor
            .jobs
            .iter()
            .flat_map(|job| &job.operations)
            .filter(|other| other.behind.contains(&operation.id))
            .map(|other| (other.id, Side::Before));
        behind
            .chain(before)
            .filter_map(|(other, side)| {
                let (job, at) = floor.operation(other)?;
                let place = match side {
                    Side::Behind => "after",
                    Side::Before => "before",
                };
                let words = format!(
                    "No longer {place} op {} of {}",
                    at.number,
                    job_words(floor, job.id)
                );
                let change = Self {
                    operation: operation.id,
                    other,
                    side,
                    machine: None,
                    was: None,
                };
                Some(Offer::change("no_order", words, change))
            })
            .collect()
    }
}
