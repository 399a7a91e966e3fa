//! The shop floor in the terms of the shop, and its translation to the engine and back.
//!
//! A machinist names machines, people, jobs with their operations, and what a job still waits for. The engine wants
//! indices and whole minutes. [`Floor::model`] makes the engine's model of a [`Floor`] ([`FloorModel`]), and what the
//! engine answers comes back as a [`Timetable`] in times of day. What cannot be planned is reported as
//! a [`SchedulingIssue`] that says which job and why.
//!
//! Rules of the translation:
//! - Minutes are whole, rounded up. After the same setup key a quarter of the setup remains ([`SAME_KEY_REMAINS`]).
//! - A started operation keeps its machine and its person. What is left of it is what it takes in the mean, given that it
//!   takes longer than the working minutes since it was begun, less those minutes; where its time does not vary, what was
//!   planned less those minutes, but at least a tenth of it ([`LEAST_LEFT`]), for it is not done yet.
//! - Whoever began an operation and is away for so long that it would end half a day later or more hands it over to
//!   whoever can do it and ends it soonest ([`StandIn`]).
//! - On one machine one started operation is being worked; others begun there stand half done and go on when the plan
//!   says so, on that machine.
//! - A pin with a start is an appointment; once its start has passed, only its machine and person are kept.
//! - An operation that was put behind another waits for it, as long as that is still to be done and planned.
//! - A held job, and one that waits for something nobody can date, is not planned; only what was started goes on.
//! - A job put first is due at once and outweighs every other.

mod in_place;
mod model;
mod operation;
mod promises;
mod snapshot;
#[cfg(test)]
mod tests;
mod timetable;

pub use in_place::Held;
pub use model::{FloorModel, IssueReason, SchedulingIssue, StandIn};
pub use operation::{FloorOperation, Pin, Progress, attended_part};
pub use promises::{OpenPromise, PromiseStatus};
pub use snapshot::{
    Floor, FloorJob, FloorMachine, FloorPerson, Gate, GateState, HORIZON_DAYS, LEAST_LEFT, Order,
    PROMISE_WEIGHT, Resource, SAME_KEY_REMAINS,
};
pub use timetable::{DayLoad, JobDates, Slot, SlotState, Timetable};
