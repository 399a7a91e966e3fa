//! How far the standard times are off, from what was booked.
//!
//! A machinist books an operation: "mill, rear face, 3 h 10". The standard behind it is a sum: so many holes drilled, so
//! many tapped, two dowels. Nobody books a hole. Whether it is the tapping that is short or the dowels shows only in many
//! operations side by side, and only when it is allowed for that Col is quicker than the others, that one block was a bad
//! one, that nothing went well in March, and that somebody forgot to clock off.
//!
//! The model, for the setup and for the run of each finished operation:
//!
//! log minutes = log Σₑ standardₑ · exp(θₑ) + person + job + month + scatter
//!
//! with θₑ normal about a common mean (so that an element seen three times is not believed as one seen three hundred times:
//! partial pooling; Gelman and Hill 2007, "Data analysis using regression and multilevel/hierarchical models", chapter
//! 12), person, job and month normal about nought, and the scatter Student's t with few degrees of freedom, so that a clock
//! that ran all night moves nothing. Setup and run of an element have a ratio each.
//!
//! What is given out as an element's **ratio** is what the shop takes over the standard **in the mean**, with the people who
//! do this element and over the months that were seen: the figure that the standard must be multiplied by for quotes to
//! come out. exp(θ) alone is a median; half the variance of jobs and of the scatter is added to its logarithm.
//!
//! How it is computed: the mode (`mode`) by restricted maximum likelihood, then draws (`draws`) from the posterior about it. The
//! result depends on the evidence and the seed alone, and not on the order of the evidence.
//!
//! ```
//! use borewright::review::ratios::{infer, sample::Shop};
//!
//! let shop = Shop::default();
//! let (evidence, truth) = shop.year(3);
//! let found = infer(&evidence, 1).ok_or("not enough was booked")?;
//! let within = found.elements.iter().filter(|e| {
//!     let true_ratio = truth.ratio(e.part, &e.codes[0]).unwrap_or(f64::NAN);
//!     (e.ratio.low..=e.ratio.high).contains(&true_ratio)
//! });
//! assert!(within.count() * 10 >= found.elements.len() * 7);
//! # Ok::<(), &str>(())
//! ```

mod dense;
mod design;
mod draws;
mod findings;
mod mode;
pub mod sample;
mod system;
#[cfg(test)]
mod tests;

pub use findings::{ElementRatio, Findings, Interval, Point, Shares};

use mode::Effort;
use uuid::Uuid;

/// Which part of an operation.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    strum::EnumString,
    strum::IntoStaticStr,
    strum::VariantArray,
)]
#[strum(serialize_all = "snake_case")]
pub enum Part {
    /// Setting up.
    Setup,
    /// Machining, attended or not.
    Run,
}

/// What was booked on one part of a finished operation.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// The operation.
    pub operation: Uuid,
    /// The job or casting.
    pub job: Uuid,
    /// Setup or run.
    pub part: Part,
    /// Minutes booked; of a run, those attended and those that the machine ran by itself.
    pub minutes: f64,
    /// What is expected of each element by the standard that is to be judged: code and minutes.
    pub expected: Vec<(String, f64)>,
    /// Whose time it was, in what proportion; empty where nobody is known.
    pub people: Vec<(Uuid, f64)>,
    /// A number for the month, the same for all work of one month.
    pub period: i32,
}

/// Fewer booked parts than this say nothing.
pub const LEAST_ROWS: usize = 12;

/// The degrees of freedom with which the mode is sought.
const FREEDOM: f64 = 4.0;

/// The ratios and the shares of variation; none when fewer than [`LEAST_ROWS`] parts with minutes and standards are booked.
///
/// Evidence without minutes, or without a standard, is left out. `seed` is that of the draws.
#[must_use]
pub fn infer(evidence: &[Evidence], seed: u64) -> Option<Findings> {
    let design = design::Design::new(evidence);
    if design.rows.len() < LEAST_ROWS {
        return None;
    }
    let effort = Effort {
        rounds: 40,
        tolerance: 0.01,
    };
    let mode = mode::mode(&design, Some(FREEDOM), effort)?;
    let draws = draws::draws(&design, &mode, seed)?;
    Some(findings::findings(&design, &draws))
}
