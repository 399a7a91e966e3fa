//! Random whole numbers for the search.

use rand::Rng;

/// Uniform whole number below `n`, at least 0 for `n` = 0.
#[inline]
pub(crate) fn below(rng: &mut impl Rng, n: u32) -> u32 {
    ((u64::from(rng.next_u32()) * u64::from(n)) >> 32) as u32
}
