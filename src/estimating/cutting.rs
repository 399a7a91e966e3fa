//! Cutting time by the textbook formulas.

use crate::units::Length;
use serde::{Deserialize, Serialize};

/// How an element's cutting time is calculated from the feature it makes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Recipe {
    /// The cuts, in order.
    pub cuts: Vec<Cut>,
}

/// One cut.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cut {
    /// Which process.
    pub process: Process,
    /// The tool, as the cutting-data table names it.
    pub tool: String,
    /// Passes.
    pub passes: u32,
    /// Diameter where it is not the feature's own.
    pub diameter: Option<Length>,
}

/// A cutting process.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Process {
    /// Drilling.
    Drill,
    /// Reaming.
    Ream,
    /// Tapping.
    Tap,
    /// Boring.
    Bore,
    /// Milling.
    Mill,
}
