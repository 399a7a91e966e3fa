//! Castings from one pattern have metal in the same places; what differs is what was machined.
//! Laying two machined variants side by side, feature by feature, says what it takes to turn one into the other.

pub mod clears;
pub mod conversion;
pub mod difference;
pub mod fault;
pub mod feature;
pub mod pattern;
pub mod remedy;
#[cfg(test)]
pub(crate) mod samples;
mod words;

pub use clears::Trace;
pub use conversion::{Conversion, ConversionError};
pub use difference::{Difference, differences};
pub use fault::Fault;
pub use feature::{Face, Feature, FeatureKind, Place};
pub use pattern::{Boss, NoMetal, Outline, Pattern, Variant};
pub use remedy::{Action, Remedy, RemedyRule, When};
