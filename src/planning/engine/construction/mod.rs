//! A feasible plan at once: priority rules in a dispatcher.

pub(super) mod dispatch;
pub(super) mod rules;
