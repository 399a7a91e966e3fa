//! How values are written on a page.

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;

/// A calendar day: `Thu 3 Dec 2026`.
#[must_use]
pub fn day(day: NaiveDate) -> String {
    day.format("%a %-d %b %Y").to_string()
}

/// A moment by the shop's clock: `Thu 3 Dec 2026, 14:05`.
#[must_use]
pub fn moment(at: DateTime<Utc>, zone: Tz) -> String {
    at.with_timezone(&zone)
        .format("%a %-d %b %Y, %H:%M")
        .to_string()
}

/// A count with its noun: `1 hole`, `4 holes`.
#[must_use]
pub fn count(n: impl Into<i64>, one: &str, many: &str) -> String {
    let n = n.into();
    format!("{n} {}", if n == 1 { one } else { many })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_are_by_the_shops_clock() {
        let at = "2026-07-01T23:30:00Z".parse().unwrap();
        assert_eq!(moment(at, Tz::Europe__London), "Thu 2 Jul 2026, 00:30");
        assert_eq!(count(1, "hole", "holes"), "1 hole");
        assert_eq!(count(0, "hole", "holes"), "0 holes");
    }
}
