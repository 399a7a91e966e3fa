//! The week of a machine or a person as an iCalendar feed.
//!
//! Times are written in UTC (RFC 5545, 3.3.5, form 2), so no client needs a time-zone definition of ours and the nights
//! in which clocks change can be read in one way only. There is no METHOD, so DTSTAMP says when an entry was last
//! revised (3.8.7.2), like LAST-MODIFIED; SEQUENCE counts its revisions (3.8.7.4).

use super::super::Calendar;
use chrono::{DateTime, Days, Duration, NaiveDate, Utc};
use icalendar::{Component, EventLike, EventStatus, Property};

/// How often a client should look again.
const REFRESH: Duration = Duration::minutes(15);

/// When an entry is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum When {
    /// From one moment until another.
    Between(DateTime<Utc>, DateTime<Utc>),
    /// A whole day of the shop's calendar.
    Day(NaiveDate),
}

/// One entry of a feed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// The same for the same thing in every reading of the feed, and for nothing else anywhere.
    pub uid: String,
    /// Grows with every revision.
    pub sequence: u32,
    /// When it was last revised.
    pub revised_at: DateTime<Utc>,
    /// When it is.
    pub when: When,
    /// What it is, in a line.
    pub summary: String,
    /// More of it.
    pub description: String,
    /// Where: the machine.
    pub location: String,
    /// Whether it is certain: begun, or pinned by hand. What is only planned may still move.
    pub certain: bool,
    /// Whether it keeps whoever's calendar it is from other work.
    pub busy: bool,
}

/// A stretch of work cut into what falls inside working hours, each piece with its number. Work that lies outside of all
/// hours stays whole.
#[must_use]
pub fn pieces(
    hours: &Calendar,
    starts: DateTime<Utc>,
    ends: DateTime<Utc>,
) -> Vec<(DateTime<Utc>, DateTime<Utc>)> {
    let inside: Vec<_> = hours
        .intervals()
        .map(|(from, until)| (from.max(starts), until.min(ends)))
        .filter(|(from, until)| from < until)
        .collect();
    if inside.is_empty() {
        vec![(starts, ends)]
    } else {
        inside
    }
}

/// A feed as iCalendar text: entries in the order given, lines folded and text escaped as the standard asks.
#[must_use]
pub fn write(name: &str, entries: &[Entry]) -> String {
    let mut calendar = icalendar::Calendar::empty();
    calendar
        .append_property(Property::new("VERSION", "2.0"))
        .append_property(Property::new("PRODID", "-//Borewright//Week//EN"))
        .append_property(Property::new("CALSCALE", "GREGORIAN"));
    // NAME is of RFC 7986; older clients know its forerunner.
    for key in ["NAME", "X-WR-CALNAME"] {
        calendar.append_property(
            Property::new(key, printable(name))
                .add_parameter("VALUE", "TEXT")
                .done(),
        );
    }
    calendar.ttl(&REFRESH);
    for entry in entries {
        calendar.push(event(entry));
    }
    calendar.to_string()
}

fn event(entry: &Entry) -> icalendar::Event {
    let mut event = icalendar::Event::with_uid(&entry.uid);
    event
        .timestamp(entry.revised_at)
        .last_modified(entry.revised_at)
        .sequence(entry.sequence)
        .summary(&printable(&entry.summary))
        .status(if entry.certain {
            EventStatus::Confirmed
        } else {
            EventStatus::Tentative
        })
        .add_property("TRANSP", if entry.busy { "OPAQUE" } else { "TRANSPARENT" });
    match entry.when {
        When::Between(starts, ends) => event.starts(starts).ends(ends),
        // The end of a whole day is the next one (3.6.1).
        When::Day(day) => event
            .starts(day)
            .ends(day.checked_add_days(Days::new(1)).unwrap_or(day)),
    };
    if !entry.description.is_empty() {
        event.description(&printable(&entry.description));
    }
    if !entry.location.is_empty() {
        event.location(&printable(&entry.location));
    }
    event
}

/// Text that may stand in iCalendar: no control characters but tabs and line breaks (RFC 5545, 3.1, CONTROL).
fn printable(text: &str) -> String {
    text.replace("\r\n", "\n")
        .chars()
        .filter(|c| !c.is_control() || matches!(c, '\n' | '\t'))
        .collect()
}

#[cfg(test)]
mod tests;
