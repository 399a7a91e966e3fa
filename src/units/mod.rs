//! The measures a shop speaks in: money, lengths, threads, fits, working minutes and how far they spread.

pub mod code;
pub mod fit;
pub mod gauge;
pub mod length;
pub mod minutes;
pub mod money;
pub mod spread;
pub mod thread;

pub use code::Code;
pub use fit::{Fit, FitError, Limits};
pub use gauge::{Gauged, LimitGauge};
pub use length::{Length, LengthError, LengthUnit};
pub use minutes::{Minutes, MinutesError};
pub use money::{Currency, Money, MoneyError};
pub use spread::{RatioDistribution, Spread, SpreadError};
pub use thread::{TapDrill, Thread, ThreadError};
