//! How values are written on a page.

use crate::store::history::Change;
use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use maud::{Markup, html};

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

/// What happened to a row, newest first, folded away: who, when, and each field before and after.
#[must_use]
pub fn history(changes: &[Change], zone: Tz) -> Markup {
    html! {
        details.card #history {
            summary { "History (" (changes.len()) ")" }
            ol.history { @for change in changes {
                li {
                    p { strong { (moment(change.at, zone)) } " · " (change.person.as_deref().unwrap_or("the program")) " · " (action(&change.action)) }
                    @if change.action == "update" {
                        ul { @for field in &change.fields {
                            li { (field.field.replace('_', " ")) ": " del { (value(field.before.as_deref())) } " → " ins { (value(field.after.as_deref())) } }
                        } }
                    }
                }
            } }
        }
    }
}

fn action(action: &str) -> &str {
    match action {
        "insert" => "entered",
        "update" => "changed",
        "delete" => "removed",
        other => other,
    }
}

/// A stored value; long ones are cut.
fn value(value: Option<&str>) -> String {
    let text = value.unwrap_or("nothing");
    if text.chars().count() > 120 {
        return text.chars().take(119).chain(std::iter::once('…')).collect();
    }
    text.to_owned()
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
