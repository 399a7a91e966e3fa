//! Screw-thread designations: metric, Unified, BSP parallel, and BSW and BSF for old work.

use serde::{Deserialize, Serialize};

/// A thread by its designation, e.g. `M10x1.5`, `1/2-13 UNC`, `G 3/8`, `3/8 BSW`. Parses and prints.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Thread(String);
