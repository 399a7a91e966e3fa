//! What a share of futures has proved to be worth, by the shop's own record.
//!
//! Futures leave out what nobody models, so a day that holds in 80 of 100 futures may hold in 65 of 100 weeks. A
//! recalibration map turns the one into the other (Kuleshov, Fenner and Ermon 2018, "Accurate uncertainties for deep
//! learning using calibrated regression"; here not a regression but the straight lines through one point that the record
//! gives, nothing and everything). All that is said of days goes through the one map: the day at a wanted confidence and
//! the chance of a wanted day cannot contradict each other.
//!
//! ```
//! use borewright::estimating::Recalibration;
//!
//! // 80 % sure has to be 90 % of the futures.
//! let map = Recalibration::new(0.8, 0.9);
//! assert!((map.share_of_futures(0.8) - 0.9).abs() < 1e-12);
//! assert!((map.chance(0.9) - 0.8).abs() < 1e-12);
//! assert!((map.chance(0.45) - 0.4).abs() < 1e-12);
//! assert!((Recalibration::none().share_of_futures(0.95) - 0.95).abs() < 1e-12);
//! ```

use serde::{Deserialize, Serialize};

/// The map between what is said and the share of futures that it takes. Both run from 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Recalibration {
    /// In parts of [`WHOLE`].
    stated: u16,
    /// In parts of [`WHOLE`].
    share: u16,
}

/// The parts of a whole in which the point of the map is kept: finer than any record can tell.
const WHOLE: f64 = 10_000.0;

impl Recalibration {
    /// What is said is the share of futures.
    #[must_use]
    pub const fn none() -> Self {
        Self {
            stated: 5_000,
            share: 5_000,
        }
    }

    /// The map by which `stated` takes that share of the futures. Both are kept inside 0 and 1, where never is never and
    /// always is always.
    #[must_use]
    pub fn new(stated: f64, share: f64) -> Self {
        let parts = |x: f64| (x * WHOLE).round().clamp(10.0, WHOLE - 10.0) as u16;
        if stated.is_nan() || share.is_nan() {
            return Self::none();
        }
        Self {
            stated: parts(stated),
            share: parts(share),
        }
    }

    /// Whether nothing changes by it.
    #[must_use]
    pub fn is_none(&self) -> bool {
        self.stated == self.share
    }

    fn point(&self) -> (f64, f64) {
        (
            f64::from(self.stated) / WHOLE,
            f64::from(self.share) / WHOLE,
        )
    }

    /// What is said as that sure takes this share of the futures.
    #[must_use]
    pub fn share_of_futures(&self, sure: f64) -> f64 {
        if self.is_none() {
            return sure.clamp(0.0, 1.0);
        }
        through(self.point(), sure)
    }

    /// How sure a share of the futures is.
    #[must_use]
    pub fn chance(&self, share: f64) -> f64 {
        if self.is_none() {
            return share.clamp(0.0, 1.0);
        }
        let (stated, on) = self.point();
        through((on, stated), share)
    }
}

/// The two straight lines from (0, 0) through a point inside to (1, 1).
fn through((x, y): (f64, f64), at: f64) -> f64 {
    let at = at.clamp(0.0, 1.0);
    if at <= x {
        y * at / x
    } else {
        1.0 - (1.0 - y) * (1.0 - at) / (1.0 - x)
    }
}

/// A share of futures in whole per cent, as it is said: never all of them, which would be certain.
#[must_use]
pub fn percent_of_futures(share: f64) -> u32 {
    (share * 100.0).round().min(99.0) as u32
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn there_and_back_is_where_one_was_and_more_stays_more(
            stated in 0.5..0.99_f64, share in 0.05..0.995_f64, a in 0.0..=1.0_f64, b in 0.0..=1.0_f64
        ) {
            let map = Recalibration::new(stated, share);
            prop_assert!((map.chance(map.share_of_futures(a)) - a).abs() < 1e-9);
            prop_assert!((map.share_of_futures(stated) - share).abs() < 0.02);
            prop_assert!((a <= b) == (map.share_of_futures(a) <= map.share_of_futures(b)) || (a - b).abs() < 1e-9);
            prop_assert!(map.chance(0.0).abs() < 1e-12 && (map.chance(1.0) - 1.0).abs() < 1e-12);
        }
    }

    /// A record that never failed is no certainty: the next day may, so always stays kept for the whole.
    #[test]
    fn a_perfect_record_is_no_certainty() {
        let share = |stated, share, sure| Recalibration::new(stated, share).share_of_futures(sure);
        assert!((share(0.9, 1.0, 0.9) - 0.999).abs() < 1e-12);
        assert!((share(0.9, 0.0, 0.9) - 0.001).abs() < 1e-12);
        assert!((Recalibration::new(0.0, 1.0).chance(0.999) - 0.001).abs() < 1e-12);
    }

    #[test]
    fn what_is_no_share_changes_nothing() {
        assert!(Recalibration::none().is_none());
        assert!(Recalibration::new(f64::NAN, f64::NAN).is_none());
        assert!((Recalibration::new(0.8, 0.8).chance(0.37) - 0.37).abs() < 1e-12);
    }
}
