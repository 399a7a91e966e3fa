//! The verdict of a check: what was found, held against what the check asks for.

use super::{Limits, Verdict, may_be_gauged};
use crate::estimating::Check;
use rust_decimal::Decimal;
use std::fmt;

/// What a check found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Found {
    /// A measurement, in the unit of the limits.
    Measured(Decimal),
    /// Several, one for each place of the check, in order.
    Readings(Vec<Decimal>),
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
    /// It takes so many readings, and another number came.
    #[error("the check takes {0} readings")]
    WrongCount(usize),
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
    /// The measurement, the worst where there are several; none when it was gauged or judged.
    pub measured: Option<Decimal>,
    /// Every reading, in the order of the check's places, where there are several.
    pub readings: Vec<Decimal>,
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

/// The verdict of a check. A check with limits is measured, at each of its places; with a limit gauge it may be gauged
/// instead; any other goes or does not. Of several readings the worst decides.
///
/// # Errors
/// [`CheckRefusal::NeedsMeasurement`], [`CheckRefusal::NeedsGauging`], [`CheckRefusal::WrongCount`].
pub fn judge(check: &Check, found: &Found) -> Result<Judged, CheckRefusal> {
    let limits = Limits::of(check);
    let gauged = |failure| Judged {
        limits: limits.clone(),
        measured: None,
        readings: Vec::new(),
        failure,
    };
    match (&limits, found) {
        (Some(limits), Found::Measured(one)) => measured(check, limits, &[*one]),
        (Some(limits), Found::Readings(readings)) => measured(check, limits, readings),
        (None, Found::Gauged(goes)) => Ok(gauged((!goes).then_some(Failure::Judged))),
        (Some(_), Found::Gauged(goes)) if may_be_gauged(check) => {
            Ok(gauged((!goes).then_some(Failure::Gauge)))
        }
        (Some(_), Found::Gauged(_)) => Err(CheckRefusal::NeedsMeasurement),
        (None, Found::Measured(_) | Found::Readings(_)) => Err(CheckRefusal::NeedsGauging),
    }
}

fn measured(check: &Check, limits: &Limits, readings: &[Decimal]) -> Result<Judged, CheckRefusal> {
    let wanted = check.readings();
    let worst = limits
        .worst(readings)
        .filter(|_| readings.len() == wanted)
        .ok_or(CheckRefusal::WrongCount(wanted))?;
    let unit = || limits.unit.clone();
    Ok(Judged {
        limits: Some(limits.clone()),
        measured: Some(worst),
        readings: if wanted > 1 {
            readings.to_vec()
        } else {
            Vec::new()
        },
        failure: match limits.verdict(worst) {
            Verdict::Pass => None,
            Verdict::Small => Some(Failure::Small(worst, unit())),
            Verdict::Large => Some(Failure::Large(worst, unit())),
        },
    })
}

/// The record of why a job is on hold: the operation, the check, how it failed and its limits.
#[must_use]
pub fn hold_reason(operation: u32, check: &Check, failure: &Failure) -> String {
    format!(
        "operation {operation}: {} {failure} ({})",
        check.what,
        check.limits_in_words()
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimating::Gauge;
    use rust_decimal::dec;

    fn hole(gauge: Gauge) -> Check {
        Check {
            nominal: Some(dec!(12)),
            fit: "H7".to_owned(),
            gauge,
            ..Check::range("dowel hole", dec!(12.000), dec!(12.018), "bore gauge")
        }
    }

    #[test]
    fn a_check_takes_what_its_limits_and_instrument_allow() {
        let bored = hole(Gauge::None);
        let plugged = hole(Gauge::Plug);
        let thread = Check::yes_no("Thread", "go enters by hand", "thread plug gauge");
        let failure = |check, found| judge(check, &found).map(|j| j.failure);
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
        let large = judge(&bored, &Found::Measured(dec!(12.019))).unwrap();
        assert_eq!(
            hold_reason(10, &bored, &large.failure.unwrap()),
            "operation 10: dowel hole 12.019 mm is too large (12 H7: 12.000 to 12.018 mm)"
        );
    }

    #[test]
    fn every_place_has_its_reading_and_one_bad_one_fails_them_all() {
        let across = Check {
            places: vec!["upright".to_owned(), "across".to_owned()],
            ..hole(Gauge::None)
        };
        let judged = |readings: &[Decimal]| judge(&across, &Found::Readings(readings.to_vec()));
        let good = judged(&[dec!(12.004), dec!(12.010)]).unwrap();
        assert!(good.passed());
        assert_eq!(good.readings, [dec!(12.004), dec!(12.010)]);
        let oval = judged(&[dec!(12.004), dec!(12.030)]).unwrap();
        assert_eq!(oval.measured, Some(dec!(12.030)));
        assert_eq!(
            oval.failure,
            Some(Failure::Large(dec!(12.030), "mm".to_owned()))
        );
        assert_eq!(judged(&[dec!(12.004)]), Err(CheckRefusal::WrongCount(2)));
        assert_eq!(
            judge(&across, &Found::Measured(dec!(12.004))),
            Err(CheckRefusal::WrongCount(2))
        );
    }
}
