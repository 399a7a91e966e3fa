//! The state of a job and of its operations, and what may follow on what.

pub use crate::shopfloor::OperationState;
use strum::{EnumString, IntoStaticStr, VariantArray};

/// The state of a job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum JobState {
    /// To be done.
    Open,
    /// Done.
    Done,
    /// Given up.
    Cancelled,
}

/// How a job ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Ending {
    /// All its work is done; the castings set aside for it are used.
    Done,
    /// It is given up; the castings set aside for it are free again.
    Cancelled,
}

/// Why a job cannot be changed or ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotPossible {
    /// It is closed already.
    #[error("the job is closed")]
    Closed(JobState),
    /// So many of its operations are not done.
    #[error("{0} operations are not done")]
    OperationsLeft(usize),
}

impl JobState {
    /// Refuses whatever only an open job allows: new operations, bookings that count, needs, other dates.
    ///
    /// # Errors
    /// [`NotPossible::Closed`].
    pub fn must_be_open(self) -> Result<(), NotPossible> {
        match self {
            Self::Open => Ok(()),
            closed => Err(NotPossible::Closed(closed)),
        }
    }

    /// The state of a job after it ends. A closed job stays closed, and one that is done has no operation left to do.
    ///
    /// # Errors
    /// [`NotPossible`].
    pub fn end(self, how: Ending, operations_left: usize) -> Result<Self, NotPossible> {
        self.must_be_open()?;
        match (how, operations_left) {
            (Ending::Cancelled, _) => Ok(Self::Cancelled),
            (Ending::Done, 0) => Ok(Self::Done),
            (Ending::Done, left) => Err(NotPossible::OperationsLeft(left)),
        }
    }
}

/// An operation of a job, as far as its place among the others goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place<'a> {
    /// Its number.
    pub number: u32,
    /// The numbers of those that come before it.
    pub after: &'a [u32],
    /// Its state.
    pub state: OperationState,
}

/// The index of the operation a job is at: the first one started, else the first that can be begun; `None` when nothing
/// is left to do or nothing can be begun. A number that no operation has holds nothing up.
#[must_use]
pub fn current(operations: &[Place]) -> Option<usize> {
    let undone = |number: &u32| {
        operations
            .iter()
            .find(|o| o.number == *number)
            .is_some_and(|o| o.state != OperationState::Done)
    };
    operations
        .iter()
        .position(|o| o.state == OperationState::Started)
        .or_else(|| {
            operations
                .iter()
                .position(|o| o.state == OperationState::Queued && !o.after.iter().any(undone))
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_an_open_job_ends_and_only_a_finished_one_is_done() {
        let open = JobState::Open;
        assert_eq!(open.end(Ending::Done, 0), Ok(JobState::Done));
        assert_eq!(
            open.end(Ending::Done, 2),
            Err(NotPossible::OperationsLeft(2))
        );
        assert_eq!(open.end(Ending::Cancelled, 2), Ok(JobState::Cancelled));
        for closed in [JobState::Done, JobState::Cancelled] {
            let refused = Err(NotPossible::Closed(closed));
            assert_eq!(closed.end(Ending::Cancelled, 0), refused);
        }
    }

    #[test]
    fn a_job_is_at_what_is_started_or_else_at_what_can_be_begun() {
        use OperationState::{Done, Queued, Started};
        let at = |states: [OperationState; 3]| {
            let after: [&[u32]; 3] = [&[], &[10, 7], &[20]];
            let places: Vec<Place> = [10, 20, 30]
                .into_iter()
                .zip(after)
                .zip(states)
                .map(|((number, after), state)| Place {
                    number,
                    after,
                    state,
                })
                .collect();
            current(&places)
        };
        assert_eq!(at([Queued, Queued, Queued]), Some(0));
        assert_eq!(at([Done, Queued, Queued]), Some(1));
        assert_eq!(at([Queued, Queued, Started]), Some(2));
        assert_eq!(at([Done, Done, Done]), None);
    }
}
