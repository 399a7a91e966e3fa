//! Working minutes: how long work takes, not where it stands on a clock.

use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// The longest time that is believed: 1 000 000 minutes, some eight working years.
const LONGEST: Decimal = Decimal::from_parts(1_000_000, 0, 0, false, 0);

/// Why a time was refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MinutesError {
    /// The text is not a time.
    #[error(
        "“{0}” is not a working time; write minutes (90), hours and minutes (1:30 or 1h30) or hours (1.5 h)"
    )]
    NotATime(String),
    /// Less than nothing.
    #[error("a working time cannot be negative")]
    Negative,
    /// Longer than anyone works.
    #[error("a working time of more than 1 000 000 minutes is not believed")]
    TooLong,
}

/// An exact count of working minutes, fractions allowed.
///
/// ```
/// use borewright::units::Minutes;
/// assert_eq!(Minutes::parse("1h30")?, Minutes::parse("90")?);
/// assert_eq!(Minutes::parse("1.5 h")?.to_string(), "1 h 30 min");
/// # Ok::<(), borewright::units::MinutesError>(())
/// ```
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Minutes(pub Decimal);

impl Minutes {
    /// No time at all.
    pub const ZERO: Self = Self(Decimal::ZERO);

    /// A count of minutes, checked: not negative and not beyond 1 000 000.
    ///
    /// # Errors
    /// [`MinutesError::Negative`], [`MinutesError::TooLong`].
    pub fn new(minutes: Decimal) -> Result<Self, MinutesError> {
        if minutes < Decimal::ZERO {
            return Err(MinutesError::Negative);
        }
        if minutes > LONGEST {
            return Err(MinutesError::TooLong);
        }
        Ok(Self(minutes))
    }

    /// Reads a time as people type it: `90`, `90 min`, `1:30`, `1h30`, `1 h 30 min`, `1.5 h`, `2h`. A bare number is minutes.
    ///
    /// # Errors
    /// [`MinutesError`], with what was not understood.
    pub fn parse(text: &str) -> Result<Self, MinutesError> {
        let typed = text.trim();
        let not_a_time = || MinutesError::NotATime(typed.to_owned());
        if typed.starts_with(['-', '−']) {
            return Err(MinutesError::Negative);
        }
        let lower = typed.to_lowercase();
        let (hours, minutes) = if let Some((hours, minutes)) = lower.split_once(':') {
            let two_digits = minutes.len() == 2 && minutes.bytes().all(|b| b.is_ascii_digit());
            let whole_hours = !hours.is_empty() && hours.bytes().all(|b| b.is_ascii_digit());
            if !two_digits || !whole_hours || minutes >= "60" {
                return Err(not_a_time());
            }
            (hours, minutes)
        } else if let Some((hours, rest)) = lower.split_once('h') {
            let rest = ["ours", "our", "rs", "r"]
                .iter()
                .find_map(|end| rest.strip_prefix(end))
                .unwrap_or(rest);
            if hours.trim().is_empty() {
                return Err(not_a_time());
            }
            (hours, strip_minute_unit(rest))
        } else {
            let minutes = strip_minute_unit(&lower);
            if minutes.trim().is_empty() {
                return Err(not_a_time());
            }
            ("", minutes)
        };
        let hours = plain_number(hours).ok_or_else(not_a_time)?;
        let minutes = plain_number(minutes).ok_or_else(not_a_time)?;
        hours
            .checked_mul(Decimal::from(60))
            .and_then(|in_minutes| in_minutes.checked_add(minutes))
            .ok_or(MinutesError::TooLong)
            .and_then(|total| Self::new(total.normalize()))
    }

    /// To the whole minute, halves upwards, as a wall clock shows it.
    #[must_use]
    pub fn rounded(&self) -> Self {
        Self(
            self.0
                .round_dp_with_strategy(0, RoundingStrategy::MidpointAwayFromZero),
        )
    }

    /// The same time in hours.
    #[must_use]
    pub fn hours(&self) -> Decimal {
        self.0 / Decimal::from(60)
    }
}

/// Takes `min`, `mins`, `minutes`, `m` or `\'` off the end.
fn strip_minute_unit(text: &str) -> &str {
    let text = text.trim();
    ["minutes", "minute", "mins", "min", "m", "\'"]
        .iter()
        .find_map(|unit| text.strip_suffix(unit))
        .unwrap_or(text)
}

/// A plain decimal number of at most six places; nothing at all is zero.
fn plain_number(text: &str) -> Option<Decimal> {
    let text = text.trim();
    if text.is_empty() {
        return Some(Decimal::ZERO);
    }
    let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
    let digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    if !digits(whole) || !digits(fraction) || fraction.len() > 6 || whole.len() > 12 {
        return None;
    }
    if whole.is_empty() && fraction.is_empty() {
        return None;
    }
    format!("0{whole}.{fraction}0").parse().ok()
}

impl FromStr for Minutes {
    type Err = MinutesError;
    fn from_str(text: &str) -> Result<Self, MinutesError> {
        Self::parse(text)
    }
}

/// `45 min`, `1 h 30 min`, `2 h`, `12.5 min`; to a hundredth of a minute.
impl fmt::Display for Minutes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let rounded = self.0.round_dp(2);
        let sign = if rounded < Decimal::ZERO { "−" } else { "" };
        let sixty = Decimal::from(60);
        let hours = (rounded.abs() / sixty).floor();
        let minutes = (rounded.abs() - hours * sixty).normalize();
        if hours.is_zero() {
            write!(f, "{sign}{minutes} min")
        } else if minutes.is_zero() {
            write!(f, "{sign}{} h", hours.normalize())
        } else {
            write!(f, "{sign}{} h {minutes} min", hours.normalize())
        }
    }
}

/// The sum; it stops at the largest decimal instead of overflowing, far beyond any time [`Minutes::new`] lets in.
impl std::ops::Add for Minutes {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

/// The difference; it stops at the largest decimal instead of overflowing.
impl std::ops::Sub for Minutes {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl std::iter::Sum for Minutes {
    fn sum<I: Iterator<Item = Self>>(iter: I) -> Self {
        iter.fold(Self::ZERO, |a, b| a + b)
    }
}

/// The product with a count or a ratio; it stops at the largest decimal instead of overflowing.
impl std::ops::Mul<Decimal> for Minutes {
    type Output = Self;
    fn mul(self, factor: Decimal) -> Self {
        Self(self.0.saturating_mul(factor))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn reads_what_people_type() {
        for (text, hundredths) in [
            ("90", 9_000),
            ("90 min", 9_000),
            ("12.5", 1_250),
            ("1h30", 9_000),
            ("1 h 30 min", 9_000),
            ("1:30", 9_000),
            ("0:05", 500),
            ("1.5 h", 9_000),
            ("1.5 hours", 9_000),
            ("2h", 12_000),
            ("2 hrs 5m", 12_500),
            ("0", 0),
        ] {
            assert_eq!(
                Minutes::parse(text),
                Ok(Minutes(Decimal::new(hundredths, 2))),
                "{text}"
            );
        }
    }

    #[test]
    fn refuses_the_rest_with_a_reason() {
        for text in [
            "", "h", "min", "1:5", "1:60", "1:2:3", "an hour", "1,5", "1e3", ":30", "1h30h",
        ] {
            assert!(
                matches!(Minutes::parse(text), Err(MinutesError::NotATime(_))),
                "{text}"
            );
        }
        assert_eq!(Minutes::parse("-5"), Err(MinutesError::Negative));
        assert_eq!(Minutes::parse("99999999"), Err(MinutesError::TooLong));
        assert_eq!(Minutes::parse("1000000.01"), Err(MinutesError::TooLong));
        assert_eq!(Minutes::new(LONGEST), Ok(Minutes(LONGEST)));
        assert!(Minutes::parse("0.123456").is_ok() && Minutes::parse("0.1234567").is_err());
    }

    #[test]
    fn sixty_minutes_are_an_hour_and_half_a_minute_counts_as_one() {
        let hours = |minutes: i64| Minutes(minutes.into()).hours();
        assert_eq!((hours(60), hours(90)), (Decimal::ONE, Decimal::new(15, 1)));
        let whole = |minutes: i64| Minutes(minutes.into());
        assert_eq!(
            [whole(20), whole(25)].into_iter().sum::<Minutes>(),
            whole(45)
        );
        let rounded = |tenths| Minutes(Decimal::new(tenths, 1)).rounded();
        assert_eq!(
            [rounded(14), rounded(15)],
            [1, 2].map(|m: i64| Minutes(m.into()))
        );
    }

    #[test]
    fn prints_in_hours_and_minutes() {
        let show = |hundredths| Minutes(Decimal::new(hundredths, 2)).to_string();
        assert_eq!(show(4_500), "45 min");
        assert_eq!(show(9_000), "1 h 30 min");
        assert_eq!(show(12_000), "2 h");
        assert_eq!(show(1_250), "12.5 min");
        assert_eq!(show(0), "0 min");
    }

    proptest! {
        #[test]
        fn printed_time_reads_back(hundredths in 0_i64..100_000_000) {
            let time = Minutes(Decimal::new(hundredths, 2));
            prop_assert_eq!(Minutes::parse(&time.to_string()), Ok(time));
        }

        #[test]
        fn nothing_panics(text in ".{0,30}", a in any::<i128>(), b in any::<i128>()) {
            drop(Minutes::parse(&text));
            if let (Ok(a), Ok(b)) = (Decimal::try_from_i128_with_scale(a, 3), Decimal::try_from_i128_with_scale(b, 9)) {
                let _ = (Minutes(a) + Minutes(b) - Minutes(a)) * b;
                drop(Minutes(a).to_string());
                let _ = Minutes(a).hours();
            }
        }
    }
}
