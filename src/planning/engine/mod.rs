//! The planning engine.
mod bounds;
mod build;
pub mod calendar;
pub mod classical;
pub mod explain;
pub mod futures;
mod graph;
mod anneal;
pub mod model;
pub mod plan;
mod relink;
pub mod promise;
pub mod repair;
mod rules;
pub mod sample;
pub mod shopfile;
pub mod solve;
mod tabu;
mod timing;
pub mod validator;
#[cfg(test)]
mod property;
