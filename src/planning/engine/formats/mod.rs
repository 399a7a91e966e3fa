//! Where models come from: published instances, JSON files, random samples.

pub mod classical;
pub mod sample;
pub mod shopfile;
