//! What a job takes and what it costs: cutting time, elements with standard times, routes in the trade's order of
//! work, machine-hour rates and the build-up of a price.

pub mod cost;
pub mod cutting;
pub mod element;
pub mod rates;
pub mod route;

pub use cost::{CostBuildUp, CostLine, Policy};
pub use element::{Element, TimeSource};
pub use rates::{MachineRate, Rates};
pub use route::{Operation, Route};
