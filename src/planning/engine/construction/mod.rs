//! A feasible plan at once: priority rules in a dispatcher.

mod blocks;
pub(super) mod dispatch;
pub(super) mod rules;
