//! What wins a quote: how the chance depends on the price over its cost, with what is not known left open.
//!
//! A logistic curve of the logarithm of price over cost, with Firth's penalty (1993, "Bias reduction of maximum likelihood
//! estimates"; for the logistic model Heinze and Schemper 2002, "A solution to the problem of separation in logistic
//! regression", equation 4; from memory): Jeffreys' prior, by which the curve stays finite where every quote below a price was
//! won and every one above it lost, and which matters less the more quotes there are.
//!
//! ```
//! use borewright::review::wins::{Offer, curve};
//!
//! // Dearer quotes are won less often.
//! let offers: Vec<Offer> = (0..60)
//!     .map(|i| {
//!         let over_cost = 1.2 + 0.01 * f64::from(i);
//!         Offer { over_cost, won: i % 3 == 0 || i < 20 }
//!     })
//!     .collect();
//! let curve = curve(&offers).ok_or("too few")?;
//! assert!(curve.chance(1.25).likely > curve.chance(1.7).likely);
//! # Ok::<(), &str>(())
//! ```

use super::ratios::Interval;
use crate::estimating::variation::normal_quantile;

/// A quote that was decided.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Offer {
    /// Its price over its cost, both before tax.
    pub over_cost: f64,
    /// Whether it was won.
    pub won: bool,
}

/// Fewer decided quotes than this have no curve: common practice, no source.
pub const LEAST_OFFERS: usize = 20;
/// Prices that differ less than this among themselves (deviation of the logarithm) say nothing of price.
const LEAST_DIFFERENCE: f64 = 0.01;

/// The chance to win by price over cost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    fit: Fit,
    /// Price over cost in the middle: the geometric mean.
    pub middle: f64,
    /// The lowest and the highest price over cost that was asked.
    pub ends: (f64, f64),
    /// Quotes it rests on.
    pub offers: usize,
}

/// Intercept and slope about `centre`, with their covariance.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Fit {
    centre: f64,
    intercept: f64,
    slope: f64,
    /// Variances of intercept and slope, and their covariance.
    covariance: [f64; 3],
}

fn chance(logit: f64) -> f64 {
    1.0 / (1.0 + (-logit).exp())
}

/// Newton's method on the likelihood, or on it with Firth's penalty. None when it does not settle.
fn fit(points: &[(f64, bool)], firth: bool) -> Option<Fit> {
    let n = points.len() as f64;
    let centre = points.iter().map(|p| p.0).sum::<f64>() / n;
    let (mut a, mut b) = (0.0_f64, 0.0_f64);
    for _ in 0..200 {
        let each: Vec<(f64, f64, f64)> = points
            .iter()
            .map(|(x, won)| {
                let p = chance(a + b * (x - centre));
                (x - centre, p, if *won { 1.0 } else { 0.0 })
            })
            .collect();
        let (mut i00, mut i01, mut i11) = (0.0, 0.0, 0.0);
        for (x, p, _) in &each {
            let w = p * (1.0 - p);
            i00 += w;
            i01 += w * x;
            i11 += w * x * x;
        }
        let determinant = i00 * i11 - i01 * i01;
        if determinant.is_nan() || determinant <= 0.0 {
            return None;
        }
        let inverse = [i11 / determinant, i00 / determinant, -i01 / determinant];
        let (mut u0, mut u1) = (0.0, 0.0);
        for (x, p, y) in &each {
            let w = p * (1.0 - p);
            let leverage = w * (inverse[0] + 2.0 * x * inverse[2] + x * x * inverse[1]);
            let penalty = if firth { leverage * (0.5 - p) } else { 0.0 };
            u0 += y - p + penalty;
            u1 += x * (y - p + penalty);
        }
        let step = (
            inverse[0] * u0 + inverse[2] * u1,
            inverse[2] * u0 + inverse[1] * u1,
        );
        // A step is never so long that it leaps over the curve.
        let most = step.0.abs().max(step.1.abs() * (i11 / i00).sqrt());
        let shorter = if most > 2.0 { 2.0 / most } else { 1.0 };
        a += step.0 * shorter;
        b += step.1 * shorter;
        if most < 1e-10 {
            return Some(Fit {
                centre,
                intercept: a,
                slope: b,
                covariance: inverse,
            });
        }
    }
    None
}

/// The curve of decided quotes; none for fewer than [`LEAST_OFFERS`], or when all were priced alike.
#[must_use]
pub fn curve(offers: &[Offer]) -> Option<Curve> {
    let points: Vec<(f64, bool)> = offers
        .iter()
        .filter(|o| o.over_cost.is_finite() && o.over_cost > 0.0)
        .map(|o| (o.over_cost.ln(), o.won))
        .collect();
    if points.len() < LEAST_OFFERS {
        return None;
    }
    let n = points.len() as f64;
    let mean = points.iter().map(|p| p.0).sum::<f64>() / n;
    let variance = points.iter().map(|p| (p.0 - mean).powi(2)).sum::<f64>() / n;
    if variance.sqrt() < LEAST_DIFFERENCE {
        return None;
    }
    let ends = points
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), p| {
            (low.min(p.0), high.max(p.0))
        });
    Some(Curve {
        fit: fit(&points, true)?,
        middle: mean.exp(),
        ends: (ends.0.exp(), ends.1.exp()),
        offers: points.len(),
    })
}

impl Curve {
    /// The chance to win at a price over cost, with its 90 % interval: that of the logit by the curvature at the fit.
    #[must_use]
    pub fn chance(&self, over_cost: f64) -> Interval {
        let fit = &self.fit;
        let x = over_cost.ln() - fit.centre;
        let logit = fit.intercept + fit.slope * x;
        let [v0, v1, c] = fit.covariance;
        let half = normal_quantile(0.95) * (v0 + 2.0 * x * c + x * x * v1).max(0.0).sqrt();
        Interval {
            low: chance(logit - half),
            likely: chance(logit),
            high: chance(logit + half),
        }
    }

    /// Whether price makes a difference that is beyond chance: dearer quotes are won less often, nine in ten sure.
    #[must_use]
    pub fn price_counts(&self) -> bool {
        let half = normal_quantile(0.95) * self.fit.covariance[1].sqrt();
        self.fit.slope + half < 0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(serde::Deserialize)]
    struct Reference {
        logit: Data,
    }

    #[derive(serde::Deserialize)]
    struct Data {
        x: Vec<f64>,
        y: Vec<bool>,
        coefficients: [f64; 2],
        errors: [f64; 2],
        firth: [f64; 2],
    }

    fn data() -> (Vec<(f64, bool)>, Data) {
        let file = include_str!("../../tests/reference/learned.json");
        let Reference { logit } = serde_json::from_str(file).unwrap();
        (
            logit
                .x
                .iter()
                .copied()
                .zip(logit.y.iter().copied())
                .collect(),
            logit,
        )
    }

    /// Without the penalty, the coefficients and standard errors of statsmodels on its data set `spector`; with it, the
    /// maximum of the penalised likelihood by scipy. The script beside the data names the versions.
    #[test]
    fn the_fit_is_that_of_general_libraries() {
        let (points, theirs) = data();
        let near = |ours: f64, theirs: f64, within: f64| {
            assert!((ours - theirs).abs() < within, "{ours} for {theirs}");
        };
        let plain = fit(&points, false).unwrap();
        near(plain.slope, theirs.coefficients[1], 1e-6);
        near(
            plain.intercept - plain.slope * plain.centre,
            theirs.coefficients[0],
            1e-6,
        );
        near(plain.covariance[1].sqrt(), theirs.errors[1], 1e-6);
        let [v0, v1, c] = plain.covariance;
        let at_nought = v0 - 2.0 * plain.centre * c + plain.centre * plain.centre * v1;
        near(at_nought.sqrt(), theirs.errors[0], 1e-6);
        let firth = fit(&points, true).unwrap();
        near(firth.slope, theirs.firth[1], 1e-4);
        near(
            firth.intercept - firth.slope * firth.centre,
            theirs.firth[0],
            1e-3,
        );
    }

    /// Every cheap quote won and every dear one lost: likelihood alone has no end, and this does, with wide doubt.
    #[test]
    fn separation_does_no_harm() {
        let offers: Vec<Offer> = (0..24)
            .map(|i| Offer {
                over_cost: 1.2 + 0.02 * f64::from(i),
                won: i < 12,
            })
            .collect();
        let points: Vec<(f64, bool)> = offers.iter().map(|o| (o.over_cost.ln(), o.won)).collect();
        assert_eq!(fit(&points, false), None);
        let curve = curve(&offers).unwrap();
        let (cheap, dear) = (curve.chance(1.2), curve.chance(1.66));
        assert!(
            cheap.likely > 0.9 && dear.likely < 0.1,
            "{cheap:?} {dear:?}"
        );
        assert!(cheap.low < cheap.likely && cheap.high <= 1.0 && curve.price_counts());
        let alike = [Offer {
            over_cost: 1.4,
            won: true,
        }; 30];
        assert_eq!(super::curve(&alike), None);
        assert_eq!(super::curve(&offers[..LEAST_OFFERS - 1]), None);
    }
}
