//! The verdict of a check: what was found, held against what the check asks for.

use super::{Limits, Verdict, limit_gauge};
use crate::estimating::Check;
use rust_decimal::Decimal;
use std::fmt;

/// What a check found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Found {
    /// A measurement, in the unit of the limits.
    Measured(Decimal),
    /// Gauged or judged: whether it goes.
    Gauged(bool),
}

/// Why a check is not recorded, however often it is sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum CheckRefusal {
    /// The operation has no such check.
    #[error("the operation has no such check")]
    NoSuchCheck,
    /// It has limits and no limit gauge: it needs a measurement.
    #[error("the check needs a measurement")]
    NeedsMeasurement,
    /// It has no limits: it needs go or no-go.
    #[error("the check needs go or no-go")]
    NeedsGauging,
    /// Its key was used for another check.
    #[error("the key was used for another check")]
    KeyUsed,
}

/// How a check failed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Failure {
    /// Below the smallest that passes: the measurement and its unit.
    Small(Decimal, String),
    /// Above the largest that passes: the measurement and its unit.
    Large(Decimal, String),
    /// Its limit gauge does not go, or goes on the no-go side.
    Gauge,
    /// Judged by eye or hand.
    Judged,
}

/// As it is noted in the record of a hold, after the name of the check.
impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Self::Small(measured, unit) => write!(f, "{measured} {unit} is too small"),
            Self::Large(measured, unit) => write!(f, "{measured} {unit} is too large"),
            Self::Gauge => f.write_str("does not pass its gauge"),
            Self::Judged => f.write_str("does not pass"),
        }
    }
}

/// A check with its verdict.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Judged {
    /// The limits, when the check has some that are numbers.
    pub limits: Option<Limits>,
    /// The measurement; none when it was gauged or judged.
    pub measured: Option<Decimal>,
    /// How it failed; none when it passed.
    pub failure: Option<Failure>,
}

impl Judged {
    /// Whether it passed.
    #[must_use]
    pub fn passed(&self) -> bool {
        self.failure.is_none()
    }
}

/// The verdict of a check. A check with limits is measured; with a limit gauge it may be gauged instead; any other goes
/// or does not.
///
/// # Errors
/// [`CheckRefusal::NeedsMeasurement`], [`CheckRefusal::NeedsGauging`].
pub fn judge(check: &Check, found: Found) -> Result<Judged, CheckRefusal> {
    let limits = Limits::read(&check.limits);
    let (measured, failure) = match (&limits, found) {
        (Some(limits), Found::Measured(measured)) => {
            let unit = || limits.unit.clone();
            let failure = match limits.verdict(measured) {
                Verdict::Pass => None,
                Verdict::Small => Some(Failure::Small(measured, unit())),
                Verdict::Large => Some(Failure::Large(measured, unit())),
            };
            (Some(measured), failure)
        }
        (None, Found::Gauged(goes)) => (None, (!goes).then_some(Failure::Judged)),
        (Some(_), Found::Gauged(goes)) if limit_gauge(check).is_some() => {
            (None, (!goes).then_some(Failure::Gauge))
        }
        (Some(_), Found::Gauged(_)) => return Err(CheckRefusal::NeedsMeasurement),
        (None, Found::Measured(_)) => return Err(CheckRefusal::NeedsGauging),
    };
    Ok(Judged {
        limits,
        measured,
        failure,
    })
}

/// The record of why a job is on hold: the operation, the check, how it failed and its limits.
#[must_use]
pub fn hold_reason(operation: u32, check: &Check, failure: &Failure) -> String {
    format!(
        "operation {operation}: {} {failure} ({})",
        check.what, check.limits
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use rust_decimal::dec;

    fn check(limits: &str, instrument: &str) -> Check {
        Check {
            what: "dowel hole".to_owned(),
            limits: limits.to_owned(),
            instrument: instrument.to_owned(),
        }
    }

    #[test]
    fn a_check_takes_what_its_limits_and_instrument_allow() {
        let bored = check("12 H7: 12.000 to 12.018 mm", "bore gauge");
        let plugged = check("12 H7: 12.000 to 12.018 mm", "plug gauge");
        let thread = check("go enters by hand", "thread plug gauge");
        let failure = |check, found| judge(check, found).map(|j| j.failure);
        assert_eq!(failure(&bored, Found::Measured(dec!(12.018))), Ok(None));
        assert_eq!(
            failure(&bored, Found::Measured(dec!(11.999))),
            Ok(Some(Failure::Small(dec!(11.999), "mm".to_owned())))
        );
        assert_eq!(
            failure(&bored, Found::Gauged(true)),
            Err(CheckRefusal::NeedsMeasurement)
        );
        assert_eq!(failure(&plugged, Found::Gauged(true)), Ok(None));
        assert_eq!(
            failure(&plugged, Found::Gauged(false)),
            Ok(Some(Failure::Gauge))
        );
        assert_eq!(
            failure(&thread, Found::Gauged(false)),
            Ok(Some(Failure::Judged))
        );
        assert_eq!(
            failure(&thread, Found::Measured(dec!(1))),
            Err(CheckRefusal::NeedsGauging)
        );
        let large = judge(&bored, Found::Measured(dec!(12.019))).unwrap();
        assert_eq!(
            hold_reason(10, &bored, &large.failure.unwrap()),
            "operation 10: dowel hole 12.019 mm is too large (12 H7: 12.000 to 12.018 mm)"
        );
    }
}
