//! Checks and what follows from a failed one. A measurement is held against its limits, a limit gauge goes or does not
//! go; what fails puts its job on hold until somebody decides: measure again, rework, concession or scrap. A scrapped
//! casting means that the operations done on it are done again on another. A new rule for scrap belongs in `decision`.

mod again;
mod check;
mod decision;
mod record;

pub use again::{Again, again};
pub use check::{Limits, Verdict, limit_gauge, may_be_gauged, reading};
pub use decision::{
    CallReason, Decision, DecisionKind, Rework, RouteChange, call_after_scrap, do_again, rework,
};
pub use record::{CheckRefusal, Failure, Found, Judged, hold_reason, judge};
