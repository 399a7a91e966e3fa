//! The question a caller asks: when would it be ready? One interface, whatever answers it.

use chrono::{DateTime, Utc};

/// One operation of a candidate job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CandidateOperation {
    /// Route number.
    pub number: u32,
    /// The kind of machine it needs; `outside` for work sent out.
    pub machine_kind: String,
    /// The skill it needs.
    pub skill: String,
    /// What must be on the table.
    pub setup_key: String,
    /// Indices of the operations that must be done before.
    pub after: Vec<usize>,
    /// Calendar days away, for outside work.
    pub outside_days: Option<u32>,
}

/// A job that is not in the plan yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Candidate {
    /// Its operations.
    pub operations: Vec<CandidateOperation>,
}

/// Something that can say when a candidate would be ready.
pub trait ReadyDates {
    /// Ready times, one per future.
    ///
    /// `release[k]` is when the work can start in future `k` (a donor on the shelf now, a hunted block when it comes);
    /// `minutes[k * n + i]` is the working time of operation `i` of `n` in future `k`, setup included.
    /// A future in which the horizon ends before the job does gives `None`.
    fn ready(
        &self,
        candidate: &Candidate,
        release: &[DateTime<Utc>],
        minutes: &[f64],
    ) -> Vec<Option<DateTime<Utc>>>;

    /// What stands behind the dates, in words for the screen.
    fn basis(&self) -> &'static str;
}
