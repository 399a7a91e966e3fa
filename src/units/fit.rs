//! Limits and fits to ISO 286-1.

use serde::{Deserialize, Serialize};

/// A tolerance class, e.g. `H7` or `m6`. Parses and prints.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Fit(String);
