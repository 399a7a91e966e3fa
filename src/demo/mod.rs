//! The invented demo scenario: Harrow Quay Engine Works, written into the store.
//!
//! The readable half stands in `demo-seed/`; what there is a lot of (live jobs, a past year of calls and jobs, two years of sightings) is drawn from it
//! with a fixed seed, so that every demo is the same but for its days, which count from the day it is made. Everything
//! is invented.

mod bench;
mod draw;
mod files;
mod fill;
mod live_calls;
mod live_castings;
mod measured;
mod past;
mod past_calls;
mod past_floor;
mod past_truth;
mod past_write;
mod photo;
mod seed;
mod stock;

pub use draw::{LiveJob, live_jobs, sightings};
pub use fill::{Demo, DemoError, SignIn, run};
pub use seed::{Seed, SeedError};
