//! How far a standard time spreads in practice, as ratios of the standard.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// The spread of a time as a ratio of its standard, so that a revised standard keeps its spread.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Spread {
    /// Three-point estimate: lowest, likeliest and highest ratio to the standard time, e.g. 0.8, 1.0, 1.6.
    ThreePoint {
        /// Lowest ratio.
        low: Decimal,
        /// Likeliest ratio.
        likely: Decimal,
        /// Highest ratio.
        high: Decimal,
    },
    /// Coefficient of variation about a mean ratio of one, log-normal.
    Cv {
        /// Standard deviation over mean.
        cv: Decimal,
    },
}
