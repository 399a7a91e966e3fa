//! What the futures of a plan are drawn from, beside each operation's own spread.

use super::Minute;
use crate::estimating::variation::Shares;

/// Why a plan turns out otherwise. The default: each operation varies by its own spread, and nothing else happens.
#[derive(Debug, Clone, Default)]
pub struct Uncertainty {
    /// How much the causes that operations share vary, and how often things happen.
    pub shares: Shares,
    /// By operation; those beyond its end share no causes with others.
    pub operations: Vec<OperationCauses>,
    /// By job; those beyond its end come on their minute.
    pub jobs: Vec<JobCauses>,
}

/// What makes an operation take longer or shorter.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct OperationCauses {
    /// A number of its own, the same in every model of the same work.
    pub key: u64,
    /// The kind of work that it is: a number that is equal for the same kind.
    pub element: u64,
    /// Coefficient of variation of its setup.
    pub setup_spread: f64,
    /// Working minutes (for work sent out: minutes) already spent on it, when it has been started.
    pub worked: Minute,
    /// Minutes that the whole of it takes as planned, when it has been started: its time is known to be longer than
    /// `worked`, and what is left varies accordingly.
    pub whole: Minute,
}

/// What makes a job late before it begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct JobCauses {
    /// A number of its own, the same in every model of the same work.
    pub key: u64,
    /// Its release is the expected arrival of something; then it varies as deliveries do.
    pub arrives: bool,
}

impl Uncertainty {
    /// What an operation shares with others.
    #[must_use]
    pub fn operation(&self, op: usize) -> OperationCauses {
        let unknown = OperationCauses {
            key: op as u64,
            element: u64::MAX - op as u64,
            ..OperationCauses::default()
        };
        self.operations.get(op).copied().unwrap_or(unknown)
    }

    /// What a job shares with others.
    #[must_use]
    pub fn job(&self, job: usize) -> JobCauses {
        let unknown = JobCauses {
            key: job as u64,
            arrives: false,
        };
        self.jobs.get(job).copied().unwrap_or(unknown)
    }
}
