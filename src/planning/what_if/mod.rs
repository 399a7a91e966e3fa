//! What would come of it: a change to the plan, worked out before it is made.
//!
//! Whoever runs a shop moves a job to another machine, holds one until a customer has paid, lets somebody go home. Each
//! such [`PlanChange`](super::changes::PlanChange) is made to a copy of the floor, the current plan is mended for it
//! ([`Baseline::try_out`]), and what comes of it is an [`Effect`]: which promises move and by how much, and one sentence
//! that says so. Every change has an inverse that gives the floor back as it was.
//!
//! Mending stays near the current plan: an operation that ends up on another machine, with another person or behind
//! another operation has to bring [`PRICE_OF_A_MOVE`], so nobody's day is turned over for a few minutes.

mod absences;
mod combine;
mod effect;
mod helps;
mod sentence;
mod sooner;

#[cfg(test)]
mod kept;
#[cfg(test)]
pub(super) mod tests;

pub use absences::{Absence, absences};
pub use combine::{Combination, combinations};
pub use effect::{Baseline, Effect, PromiseMove, Settings, TryError, WhatIf};
pub use helps::{Found, Help, helps};
pub use sooner::{Sooner, sooner};

/// What moving one operation must bring, in weighted minutes of lateness: an hour against a customer's promise. Common
/// practice, no source.
pub const PRICE_OF_A_MOVE: i64 = 60 * super::floor::PROMISE_WEIGHT;

/// An operation that keeps its machine and its person and begins less than so many working minutes earlier or later has
/// not been moved, only shifted: nobody in the shop goes by the minute. Common practice, no source.
pub const SMALL_SHIFT: i64 = 120;
