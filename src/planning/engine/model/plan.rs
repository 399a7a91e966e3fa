//! A plan and what it is worth.

use std::cmp::Ordering;

use super::{Goal, Minute};

/// Minutes of lateness after which more does not count, about 760 years: what is never done must not overflow.
pub(crate) const LATEST: Minute = 400_000_000;

/// When, where and by whom one operation is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Assignment {
    /// Index into the operation's modes.
    pub mode: usize,
    /// Who attends it; `None` when there is nothing to attend.
    pub person: Option<usize>,
    /// Start of the setup.
    pub start: Minute,
    /// Setup minutes, after what the machine did before.
    pub setup: Minute,
    /// End of the attended part: the person is free again.
    pub attended_until: Minute,
    /// End: the machine is free again.
    pub end: Minute,
}

/// A plan: one assignment for each operation of the model.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    /// By operation.
    pub assignments: Vec<Assignment>,
    /// What it is worth.
    pub value: Value,
}

/// What a plan is worth, in minutes; less is better everywhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Value {
    /// Minutes by which longest lags and fixed starts are missed, and a great sum for each operation that the calendars
    /// never let finish. Zero in a plan that can be carried out.
    pub broken: Minute,
    /// Σ weight × minutes late against the promise (total weighted tardiness), of no job more than 760 years.
    pub lateness: Minute,
    /// Σ setup minutes.
    pub setup: Minute,
    /// Σ minutes from a job's release to its completion. By Little's law (1961) this over the length of the plan is
    /// the mean number of jobs in the shop: work in progress.
    pub in_progress: Minute,
    /// End of the last operation.
    pub makespan: Minute,
}

impl Value {
    /// Compares two plans under a goal, in its order.
    #[inline]
    #[must_use]
    pub fn compare(&self, other: &Self, goal: Goal) -> Ordering {
        let key = |v: &Self| match goal {
            Goal::Makespan => [v.broken, v.makespan, v.setup, v.in_progress],
            Goal::Promises => [v.broken, v.lateness, v.setup, v.in_progress],
        };
        key(self).cmp(&key(other))
    }

    /// The first figure of the goal, that a bound is compared with.
    #[must_use]
    pub fn main(&self, goal: Goal) -> Minute {
        match goal {
            Goal::Makespan => self.makespan,
            Goal::Promises => self.lateness,
        }
    }
}
