//! The week.
pub mod axis;
pub mod picture;
#[cfg(test)]
mod preview;
