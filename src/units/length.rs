//! Exact lengths in millimetres, decimal inches, fractions and thou.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// An exact length, held in millimetres. An inch is 25.4 mm exactly, so every inch fraction down to 1/128 is exact too.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Length(Decimal);

impl Length {
    /// From millimetres.
    #[must_use]
    pub const fn from_mm(mm: Decimal) -> Self {
        Self(mm)
    }

    /// In millimetres.
    #[must_use]
    pub fn mm(&self) -> Decimal {
        self.0
    }
}
