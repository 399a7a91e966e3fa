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
    /// It is open already.
    #[error("the job is open")]
    Open,
    /// So many of its operations are not done.
    #[error("{0} operations are not done")]
    OperationsLeft(usize),
    /// So many of its failed checks are not decided.
    #[error("{0} failed checks are not decided")]
    HoldsOpen(usize),
    /// So many clocks run on its operations.
    #[error("{0} clocks are running")]
    ClocksRunning(usize),
}

/// What of a job is not settled yet: counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Unsettled {
    /// Operations that are not done.
    pub operations: usize,
    /// Failed checks that nobody has decided about: until then nobody knows what its casting is worth.
    pub holds: usize,
    /// Clocks that run on its operations: somebody is at work on it.
    pub clocks: usize,
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

    /// The state of a job after it ends. One that is closed does not end again, none ends while somebody is at work on it
    /// or a failed check is undecided, and one that is done has no operation left to do.
    ///
    /// # Errors
    /// [`NotPossible`].
    pub fn end(self, how: Ending, unsettled: Unsettled) -> Result<Self, NotPossible> {
        self.must_be_open()?;
        match (unsettled.clocks, unsettled.holds, how, unsettled.operations) {
            (1.., ..) => Err(NotPossible::ClocksRunning(unsettled.clocks)),
            (0, 1.., ..) => Err(NotPossible::HoldsOpen(unsettled.holds)),
            (0, 0, Ending::Cancelled, _) => Ok(Self::Cancelled),
            (0, 0, Ending::Done, 0) => Ok(Self::Done),
            (0, 0, Ending::Done, left) => Err(NotPossible::OperationsLeft(left)),
        }
    }

    /// The state of a closed job after it is opened again.
    ///
    /// # Errors
    /// [`NotPossible::Open`].
    pub fn reopen(self) -> Result<Self, NotPossible> {
        match self {
            Self::Open => Err(NotPossible::Open),
            Self::Done | Self::Cancelled => Ok(Self::Open),
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
    use crate::units::Code;
    use proptest::prelude::*;

    fn left(operations: usize) -> Unsettled {
        Unsettled {
            operations,
            ..Unsettled::default()
        }
    }

    #[test]
    fn only_an_open_job_ends_and_only_a_finished_one_is_done() {
        let open = JobState::Open;
        assert_eq!(open.end(Ending::Done, left(0)), Ok(JobState::Done));
        assert_eq!(
            open.end(Ending::Done, left(2)),
            Err(NotPossible::OperationsLeft(2))
        );
        assert_eq!(
            open.end(Ending::Cancelled, left(2)),
            Ok(JobState::Cancelled)
        );
        for closed in [JobState::Done, JobState::Cancelled] {
            let refused = Err(NotPossible::Closed(closed));
            assert_eq!(closed.end(Ending::Cancelled, left(0)), refused);
            assert_eq!(closed.reopen(), Ok(open));
        }
        assert_eq!(open.reopen(), Err(NotPossible::Open));
    }

    #[test]
    fn no_job_ends_under_somebodys_hands_or_with_a_failed_check_undecided() {
        let busy = Unsettled {
            clocks: 1,
            holds: 2,
            operations: 3,
        };
        let held = Unsettled { clocks: 0, ..busy };
        for how in [Ending::Done, Ending::Cancelled] {
            let end = |unsettled| JobState::Open.end(how, unsettled);
            assert_eq!(end(busy), Err(NotPossible::ClocksRunning(1)));
            assert_eq!(end(held), Err(NotPossible::HoldsOpen(2)));
        }
    }

    #[derive(Debug, Clone, Copy)]
    enum Step {
        End(Ending, Unsettled),
        Reopen,
    }

    fn step() -> impl Strategy<Value = Step> {
        let end = (any::<bool>(), 0_usize..3, 0_usize..2, 0_usize..2).prop_map(
            |(done, operations, holds, clocks)| {
                let how = if done {
                    Ending::Done
                } else {
                    Ending::Cancelled
                };
                Step::End(
                    how,
                    Unsettled {
                        operations,
                        holds,
                        clocks,
                    },
                )
            },
        );
        prop_oneof![4 => end, 1 => Just(Step::Reopen)]
    }

    proptest! {
        /// Whatever is tried in whatever order: a refusal changes nothing, every step leads where it says, and a closed job
        /// changes only by being opened again.
        #[test]
        fn a_job_goes_only_where_it_may(steps in prop::collection::vec(step(), 0..40)) {
            let mut state = JobState::Open;
            for step in steps {
                let next = match step {
                    Step::End(how, unsettled) => state.end(how, unsettled),
                    Step::Reopen => state.reopen(),
                };
                match (step, next) {
                    (Step::End(how, unsettled), Ok(next)) => {
                        prop_assert_eq!(state, JobState::Open);
                        prop_assert_eq!((unsettled.clocks, unsettled.holds), (0, 0));
                        prop_assert_eq!(next == JobState::Done, how == Ending::Done);
                        prop_assert!(next != JobState::Open);
                        prop_assert!(how == Ending::Cancelled || unsettled.operations == 0);
                    }
                    (Step::Reopen, Ok(next)) => {
                        prop_assert!(state != JobState::Open && next == JobState::Open);
                    }
                    (_, Err(NotPossible::Closed(closed))) => {
                        prop_assert!(closed == state && state != JobState::Open);
                    }
                    (_, Err(_)) => prop_assert_eq!(state, JobState::Open),
                }
                state = next.unwrap_or(state);
                prop_assert_eq!(state.must_be_open().is_ok(), state == JobState::Open);
            }
            prop_assert!(JobState::ALL.contains(&state));
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
