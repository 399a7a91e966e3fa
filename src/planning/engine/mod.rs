//! The planning engine.
mod bounds;
mod build;
pub mod calendar;
pub mod classical;
mod graph;
mod late;
pub mod model;
pub mod plan;
mod relink;
mod rules;
pub mod sample;
pub mod solve;
mod tabu;
mod timing;
pub mod validator;
#[cfg(test)]
mod property;
