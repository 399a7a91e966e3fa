//! Castings from one pattern have metal in the same places; what differs is what was machined.
//! Laying two machined variants side by side, feature by feature, says what it takes to turn one into the other.

pub mod difference;
pub mod feature;
pub mod pattern;
pub mod remedy;

pub use difference::{Difference, differences};
pub use feature::{Face, Feature, FeatureKind, Place};
pub use pattern::{Boss, Pattern, Variant};
pub use remedy::{Action, Conversion, Remedy, RemedyRule};
