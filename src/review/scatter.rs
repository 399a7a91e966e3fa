//! How much single operations of one element differ by themselves, by bookings, beside the spread of its standard.
//!
//! What is left of the logarithm of actual over standard when the element, who did it, its job and its month are allowed
//! for is the operation's own scatter. Its variance has the interval of a normal sample's (χ², Cochran 1934, from memory).
//! Only operations of which the element makes nearly all count, and none that lies so far out that it hardly counts for
//! the ratio either: a clock that was forgotten is no scatter of the work.

use super::NEARLY_ALL;
use super::ratios::{Interval, Point};
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;
use statrs::distribution::{ContinuousCDF, Gamma};

/// Fewer finished operations than this propose nothing: common practice, no source.
pub const LEAST_OPERATIONS: usize = 20;
/// A spread that is nearer than this to what is set is right: common practice, no source.
const LEAST_CHANGE: f64 = 0.05;

/// The own scatter of an element's operations, as a coefficient of variation (0.1 is ten per cent).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// With its interval of nine in ten.
    pub cv: Interval,
    /// Finished operations it rests on.
    pub operations: usize,
}

impl Scatter {
    /// The coefficient of variation to set in place of `present`, in whole per cent: none when too little is known, or what is
    /// set is right as far as can be seen.
    #[must_use]
    pub fn proposed(&self, present: f64) -> Option<Decimal> {
        let Interval { low, likely, high } = self.cv;
        let off = !(low..=high).contains(&present) && (likely - present).abs() >= LEAST_CHANGE;
        let percent = Decimal::from_f64((likely * 100.0).round())?;
        (self.operations >= LEAST_OPERATIONS && off)
            .then(|| (percent / Decimal::ONE_HUNDRED).normalize())
    }
}

/// The own scatter that the points of an element show; none of fewer than two.
#[must_use]
pub fn scatter(points: &[Point]) -> Option<Scatter> {
    let logs: Vec<f64> = points
        .iter()
        .filter(|point| point.part >= NEARLY_ALL && !point.odd && point.ratio > 0.0)
        .map(|point| point.ratio.ln())
        .collect();
    if logs.len() < 2 {
        return None;
    }
    let n = logs.len() as f64;
    let mean = logs.iter().sum::<f64>() / n;
    let squares: f64 = logs.iter().map(|log| (log - mean).powi(2)).sum();
    // χ² with n − 1 degrees of freedom is twice a gamma of half of them.
    let chi = Gamma::new((n - 1.0) / 2.0, 0.5).ok()?;
    let cv = |variance: f64| variance.exp_m1().sqrt();
    Some(Scatter {
        cv: Interval {
            low: cv(squares / chi.inverse_cdf(0.95)),
            likely: cv(squares / (n - 1.0)),
            high: cv(squares / chi.inverse_cdf(0.05)),
        },
        operations: logs.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::super::ratios::{infer, sample::Shop};
    use super::*;
    use rust_decimal::dec;
    use uuid::Uuid;

    fn point(ratio: f64, part: f64, odd: bool) -> Point {
        Point {
            operation: Uuid::nil(),
            ratio,
            part,
            odd,
        }
    }

    /// By hand: the logarithms −0.1, 0 and 0.1 have the variance 0.01; χ² of two degrees of freedom is 5.991 and 0.1026.
    #[test]
    fn the_scatter_and_its_interval_come_out_as_by_hand() {
        let mut points: Vec<Point> = [-0.1_f64, 0.0, 0.1]
            .map(|log| point(log.exp(), 1.0, false))
            .to_vec();
        // Neither what is only a part of its operation nor a forgotten clock counts.
        points.push(point(3.0, 0.5, false));
        points.push(point(9.0, 1.0, true));
        let found = scatter(&points).unwrap();
        let cv = |variance: f64| variance.exp_m1().sqrt();
        assert_eq!(found.operations, 3);
        assert!((found.cv.likely - cv(0.01)).abs() < 1e-9);
        assert!((found.cv.low - cv(0.02 / 5.991_465)).abs() < 1e-5);
        assert!((found.cv.high - cv(0.02 / 0.102_587)).abs() < 1e-5);
        assert_eq!(found.proposed(2.0), None, "three are too few");
        assert_eq!(scatter(&points[3..]), None);
    }

    /// In a drawn shop the elements' own scatter comes out near the truth, a little below it: what one operation of a job
    /// has of its own is partly taken for the job's.
    #[test]
    fn a_drawn_shop_s_scatter_is_found() {
        let shop = Shop {
            jobs: 300,
            ..Shop::default()
        };
        let truth = (shop.scatter * shop.scatter).exp_m1().sqrt();
        let (evidence, _) = shop.year(7);
        let findings = infer(&evidence, 1).unwrap();
        let found: Vec<Scatter> = findings
            .elements
            .iter()
            .filter_map(|element| scatter(&element.points))
            .filter(|scatter| scatter.operations >= LEAST_OPERATIONS)
            .collect();
        assert!(found.len() > 5, "{}", found.len());
        let mut over: Vec<f64> = found.iter().map(|s| s.cv.likely / truth).collect();
        over.sort_by(f64::total_cmp);
        let middle = over[over.len() / 2];
        assert!((0.75..=1.15).contains(&middle), "{over:?}");
        // A standard that says three times as much is told so.
        assert!(
            found
                .iter()
                .all(|s| s.proposed(truth * 3.0 + 0.05).is_some())
        );
        let some = found[0].proposed(1.5).unwrap();
        assert!(some < dec!(0.5) && some.scale() <= 2);
    }
}
