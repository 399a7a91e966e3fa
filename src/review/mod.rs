//! What work really took and cost, against what was said before. A shop quotes from its standards, books its hours, and at
//! the month's end asks the one question that pays: where did the time and the money go, and which figure must change so
//! that the next quote is truer? Everything here is worked out from what was booked; nothing is stored and nothing changes
//! by itself.

pub mod attended;
pub mod calibration;
pub mod changes;
pub mod decisions;
pub mod proposals;
pub mod rates;
pub mod ratios;
pub mod scatter;
pub mod spread;
pub mod variance;
pub mod wins;

/// The normal quantile of a two-sided interval of 90 %.
const Z_90: f64 = 1.644_853_626_951_472_7;

/// An element makes nearly all of an operation from this share of its standard minutes on.
pub const NEARLY_ALL: f64 = 0.8;
