//! Parts, materials, tooling and castings: what a job needs before it can start, what stock covers, and which moves of a
//! casting are allowed. A job that is due first is served first; a casting counts only for the job that has it; a tool
//! that is out with another job is expected back when that is due.

mod level;
mod need;
mod route;
mod shelf;
mod supply;

pub use level::Level;
pub use need::{
    Arrival, Availability, Cover, Loan, NeedKind, NeedRefusal, Reserved, Source, Transfer,
};
pub use route::materials;
pub use shelf::{NotMovable, Outcome, Ownership, ShelfState};
pub use supply::{Delivery, Demand, Supply};
