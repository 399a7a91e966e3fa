//! When work can be done: working calendars and the day a job can be ready.

pub mod calendar;
pub mod ready;

pub use calendar::Calendar;
pub use ready::{Candidate, ReadyDates};
