//! The measures a shop speaks in: money, lengths, threads, fits, working minutes and how far they spread.

pub mod code;
pub mod day;
pub mod fit;
pub mod gauge;
pub mod length;
pub mod minutes;
pub mod money;
pub mod spread;
pub mod table;
pub mod text;
pub mod thread;

pub use code::Code;
pub use day::DateOrder;
pub use fit::{Fit, FitError, Limits};
pub use gauge::{Gauged, LimitGauge};
pub use length::{Length, LengthError, LengthUnit};
pub use minutes::{Minutes, MinutesError};
pub use money::{Currency, Money, MoneyError};
pub use spread::{RatioDistribution, Spread, SpreadError};
pub use thread::{TapDrill, Thread, ThreadError};

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

/// Out of an exact decimal into simulation. Every decimal has a nearest float.
#[must_use]
pub fn plain(exact: Decimal) -> f64 {
    exact.to_f64().unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_plain_figure_is_the_exact_one() {
        let exact = rust_decimal::Decimal::new(-125, 2);
        assert!((super::plain(exact) + 1.25).abs() < f64::EPSILON);
    }
}
