//! it
