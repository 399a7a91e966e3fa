//! What a job takes and what it costs: cutting time, elements with standard times, routes in the trade's order of
//! work, machine-hour rates and the build-up of a price.

pub mod allowed;
mod card;
mod chain;
pub mod check;
pub mod cost;
pub mod cutting;
pub mod cutting_data;
pub mod element;
pub mod futures;
pub mod machine;
pub mod made;
pub mod order;
pub mod policy;
pub mod rates;
pub mod rates_over_time;
mod recalibration;
mod restate;
pub mod route;
mod routing;
pub mod starting;
pub mod template;
#[cfg(test)]
mod tests;
mod together;
pub mod variation;
pub mod work_list;

pub use allowed::{Allowed, Progress, Spent};
pub use check::{Check, CheckKind, Gauge};
pub use cost::{CostBuildUp, CostError, CostLine, Costing, Donor};
pub use cutting::{Cut, CuttingError, CuttingTime, Process, Recipe};
pub use cutting_data::{CuttingData, ToolData};
pub use element::{Basis, Element, Inclusion, Material, Stage, TimeSource};
pub use futures::{CostSampler, TimeSampler, percentile};
pub use machine::{LabourRate, Machine, RatesError};
pub use made::{MadePart, Makes, Making, MakingStep};
pub use order::{OrderError, OrderOfWork, Precedence};
pub use policy::Policy;
pub use rates::{MachineRate, RateError, Rates};
pub use rates_over_time::RatesOverTime;
pub use recalibration::{Recalibration, percent_of_futures};
pub use route::{Operation, Route, Step};
pub use routing::RouteError;
pub use template::WorkTemplate;
pub use together::Together;
pub use variation::Variation;
pub use work_list::{WorkList, WorkListError};
