//! Working time: shifts by weekday in the shop's time zone, less holidays and stops.

use chrono::{DateTime, Utc};

/// Working intervals of one machine or person over a horizon, sorted and apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Calendar {
    intervals: Vec<(DateTime<Utc>, DateTime<Utc>)>,
}

impl Calendar {
    /// The working intervals.
    #[must_use]
    pub fn intervals(&self) -> &[(DateTime<Utc>, DateTime<Utc>)] {
        &self.intervals
    }
}
