//! What a job takes and what it costs: cutting time, elements with standard times, routes in the trade's order of
//! work, machine-hour rates and the build-up of a price.

pub mod cost;
pub mod cutting;
pub mod cutting_data;
pub mod element;
pub mod rates;
pub mod route;

pub use cost::{CostBuildUp, CostLine, Policy};
pub use cutting::{Cut, CuttingError, CuttingTime, Process, Recipe};
pub use cutting_data::{CuttingData, ToolData};
pub use element::{Element, TimeSource};
pub use rates::{MachineRate, RateError, Rates};
pub use route::{Operation, Route};
