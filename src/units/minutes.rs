//! Working minutes: how long work takes, not where it stands on a clock.

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// An exact count of working minutes, fractions allowed.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Minutes(pub Decimal);

impl Minutes {
    /// No time at all.
    pub const ZERO: Self = Self(Decimal::ZERO);

    /// The same time in hours.
    #[must_use]
    pub fn hours(&self) -> Decimal {
        self.0 / Decimal::from(60)
    }
}

impl std::ops::Add for Minutes {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl std::iter::Sum for Minutes {
    fn sum<I: Iterator<Item = Self>>(iter: I) -> Self {
        iter.fold(Self::ZERO, |a, b| a + b)
    }
}

impl std::ops::Mul<Decimal> for Minutes {
    type Output = Self;
    fn mul(self, factor: Decimal) -> Self {
        Self(self.0 * factor)
    }
}
