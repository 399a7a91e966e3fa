//! A job: its state and what may follow on it, the operation it is at, what its work has cost to date against the
//! estimate, and what it will cost when it is done.

pub mod aftercare;
mod by_hand;
pub mod evidence;
pub mod forecast;
mod making;
mod overview;
mod route_edit;
mod stage;
mod state;

pub use aftercare::{Aftercare, AftercareFault, CallKind, Cause, FittingText, PaidBy, fitting_for};
pub use by_hand::{ChangeRefusal, DayInShop, DueDoubt, JobDetails, StepKind, due_doubts};
pub use making::make_before;
pub use overview::{Costs, LineCost, Overview, Worked, overview};
pub use route_edit::{RouteEdit, RouteRefusal, Routed, parts};
pub use stage::{Lateness, Stage, Standing, lateness};
pub use state::{Ending, JobState, NotPossible, OperationState, Place, Unsettled, current};
