//! Hunting a scarce casting: what sightings say about how long it takes, what it costs and whether it is any good.

pub mod sighting;

pub use sighting::{Fate, Sighting};
