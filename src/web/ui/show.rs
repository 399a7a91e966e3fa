//! How values are written on a page.

pub use crate::enquiry::say::whole;
use crate::enquiry::say::with_year;
use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use rust_decimal::Decimal;

/// A calendar day: `Thu 3 Dec`, and `Thu 3 Dec 2026` when it is neither this year's nor within three months.
#[must_use]
pub fn day(day: NaiveDate, today: NaiveDate) -> String {
    if with_year(day, today) {
        full_day(day)
    } else {
        day.format("%a %-d %b").to_string()
    }
}

/// A calendar day with its year, for what is read long after: `Thu 3 Dec 2026`.
#[must_use]
pub fn full_day(day: NaiveDate) -> String {
    day.format("%a %-d %b %Y").to_string()
}

/// A moment by the shop's clock: `Thu 3 Dec, 14:05`, its day as [`day`] writes it. `today` is the shop's.
#[must_use]
pub fn moment(at: DateTime<Utc>, zone: Tz, today: NaiveDate) -> String {
    let local = at.with_timezone(&zone);
    let clock = local.format("%H:%M");
    format!("{}, {clock}", day(local.date_naive(), today))
}

/// A count with its noun: `1 hole`, `4 holes`.
#[must_use]
pub fn count(n: impl Into<i64>, one: &str, many: &str) -> String {
    let n = n.into();
    format!("{n} {}", if n == 1 { one } else { many })
}

/// A coordinate of a picture: one decimal is finer than anyone sees.
#[must_use]
pub fn coordinate(value: f64) -> String {
    format!("{value:.1}")
}

/// A whole number with commas between its thousands: `1,210`.
#[must_use]
pub fn grouped(whole: Decimal) -> String {
    let digits = whole.abs().trunc().to_string();
    let mut text = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    if whole.trunc() < Decimal::ZERO {
        text.insert(0, '−');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_are_by_the_shops_clock() {
        let at = "2026-07-01T23:30:00Z".parse().unwrap();
        let seen = |today: &str| moment(at, Tz::Europe__London, today.parse().unwrap());
        assert_eq!(seen("2026-12-31"), "Thu 2 Jul, 00:30");
        assert_eq!(seen("2027-01-01"), "Thu 2 Jul 2026, 00:30");
        assert_eq!(count(1, "hole", "holes"), "1 hole");
        assert_eq!(count(0, "hole", "holes"), "0 holes");
    }
}
