//! Public holidays read from an iCalendar file.
//!
//! Whole days are read, one or several at a stretch, once or every year (an RRULE of FREQ=YEARLY, expanded by a library).
//! What cannot be a holiday of the shop (part of a day, weekly, cancelled) is named with the reason and left out.

use chrono::{
    DateTime, Datelike, Days, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, TimeZone, Utc,
};
use chrono_tz::Tz;
use icalendar::parser::{Component, Property, read_calendar, unfold};
use rrule::{Frequency, RRule, RRuleSet, Unvalidated};
use std::collections::BTreeSet;

/// Largest file, in bytes.
pub const LARGEST: usize = 256 * 1024;
/// Most entries in a file.
const MOST_ENTRIES: usize = 2_000;
/// Longest stretch of days that is taken for a holiday.
const LONGEST_STRETCH: i64 = 31;
/// Longest name, in characters.
const LONGEST_NAME: usize = 80;
/// Most days of one yearly entry.
const MOST_TIMES: u16 = 100;

/// Why a file gives nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ReadError {
    /// Too large.
    #[error("This file is larger than {} kB; a calendar of public holidays is small", LARGEST / 1024)]
    TooLarge,
    /// Not text.
    #[error("This file is not text in UTF-8, which a calendar file is")]
    NotText,
    /// Some other kind of file.
    #[error("This is not a calendar file: it does not begin with BEGIN:VCALENDAR")]
    NotACalendar,
    /// It breaks off or does not keep to the grammar.
    #[error("This calendar file does not read: {0}")]
    Malformed(String),
    /// More than a calendar of holidays has.
    #[error(
        "This file holds more than {MOST_ENTRIES} entries; a calendar of public holidays is small"
    )]
    TooMany,
    /// A calendar without entries.
    #[error("This calendar file holds no entries")]
    Empty,
}

/// A day to be a holiday.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Day {
    /// The day.
    pub on: NaiveDate,
    /// Its name.
    pub name: String,
}

/// An entry that is left out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftOut {
    /// Its name.
    pub name: String,
    /// Why.
    pub why: String,
}

/// What a file holds.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Sheet {
    /// Days, in order, each once.
    pub days: Vec<Day>,
    /// Days that stand in the file again under another name; the first name counts.
    pub again: Vec<Day>,
    /// Entries that are left out.
    pub left_out: Vec<LeftOut>,
    /// How many days lie outside the years looked at.
    pub outside: usize,
}

/// Reads the holidays from `from` to `until`, both included, by the shop's clock.
///
/// # Errors
/// [`ReadError`], in words for whoever chose the file.
pub fn read(bytes: &[u8], zone: Tz, from: NaiveDate, until: NaiveDate) -> Result<Sheet, ReadError> {
    if bytes.len() > LARGEST {
        return Err(ReadError::TooLarge);
    }
    let text = std::str::from_utf8(bytes).map_err(|_| ReadError::NotText)?;
    let text = text.trim_start_matches('\u{feff}').trim_start();
    if !text
        .get(.."BEGIN:VCALENDAR".len())
        .is_some_and(|start| start.eq_ignore_ascii_case("BEGIN:VCALENDAR"))
    {
        return Err(ReadError::NotACalendar);
    }
    let unfolded = unfold(text);
    let whole = unfolded.trim_end().to_ascii_uppercase();
    if !whole.ends_with("END:VCALENDAR") {
        return Err(ReadError::Malformed(
            "it breaks off before END:VCALENDAR".to_owned(),
        ));
    }
    let calendar = read_calendar(&unfolded).map_err(|why| {
        // The parser draws the place over several lines; the first says what it is.
        let first = why.lines().find(|line| !line.trim().is_empty());
        ReadError::Malformed(first.unwrap_or("no reason is known").trim().to_owned())
    })?;
    let events: Vec<&Component> = calendar
        .components
        .iter()
        .filter(|component| component.name == "VEVENT")
        .collect();
    if events.is_empty() {
        return Err(ReadError::Empty);
    }
    if events.len() > MOST_ENTRIES {
        return Err(ReadError::TooMany);
    }
    let moved: Vec<(String, NaiveDate)> = events
        .iter()
        .filter_map(|event| {
            let of = event.find_prop("RECURRENCE-ID")?;
            Some((value(event, "UID")?, day_of(of, zone)?))
        })
        .collect();
    let mut sheet = Sheet::default();
    let mut found: Vec<Day> = Vec::new();
    for event in events {
        let name = name(event);
        match days(event, &moved, zone, (from, until)) {
            Ok(days) => found.extend(days.into_iter().map(|on| Day {
                on,
                name: name.clone(),
            })),
            Err(why) => sheet.left_out.push(LeftOut { name, why }),
        }
    }
    let all = found.len();
    found.retain(|day| (from..=until).contains(&day.on));
    sheet.outside = all - found.len();
    // Of several names of a day the one that stands first in the file counts.
    found.sort_by_key(|day| day.on);
    for day in found {
        match sheet.days.last() {
            Some(last) if last.on == day.on => {
                if last.name != day.name {
                    sheet.again.push(day);
                }
            }
            _ => sheet.days.push(day),
        }
    }
    Ok(sheet)
}

fn value(event: &Component, name: &str) -> Option<String> {
    event
        .find_prop(name)
        .map(|property| property.val.as_str().to_owned())
}

fn name(event: &Component) -> String {
    let text = event
        .find_prop("SUMMARY")
        .map(|summary| summary.val.clone().unescape_text().as_str().to_owned())
        .unwrap_or_default();
    let words: Vec<&str> = text.split_whitespace().collect();
    let name: String = words
        .join(" ")
        .chars()
        .filter(|c| !c.is_control())
        .take(LONGEST_NAME)
        .collect();
    if name.is_empty() {
        "Holiday".to_owned()
    } else {
        name
    }
}

/// The days of an entry in the years looked at, or why it gives none.
fn days(
    event: &Component,
    moved: &[(String, NaiveDate)],
    zone: Tz,
    years: (NaiveDate, NaiveDate),
) -> Result<Vec<NaiveDate>, String> {
    if value(event, "STATUS").is_some_and(|status| status.eq_ignore_ascii_case("CANCELLED")) {
        return Err("it is cancelled".to_owned());
    }
    let start = event
        .find_prop("DTSTART")
        .ok_or("it does not say when it is")?;
    let (first, length) = stretch(event, start, zone)?;
    let mut starts: BTreeSet<NaiveDate> = BTreeSet::from([first]);
    let mut rules = event.properties.iter().filter(|p| p.name == "RRULE");
    if let Some(rule) = rules.next() {
        if rules.next().is_some() {
            return Err("it repeats by more than one rule".to_owned());
        }
        starts.extend(yearly(rule.val.as_str(), first, years)?);
    }
    for more in listed(event, "RDATE", zone)? {
        starts.insert(more);
    }
    for less in listed(event, "EXDATE", zone)? {
        starts.remove(&less);
    }
    // A repetition that was moved stands in the file as an entry of its own.
    if let (Some(uid), None) = (value(event, "UID"), event.find_prop("RECURRENCE-ID")) {
        for (_, day) in moved.iter().filter(|(of, _)| *of == uid) {
            starts.remove(day);
        }
    }
    Ok(starts
        .into_iter()
        .flat_map(|first| (0..length).filter_map(move |n| first.checked_add_days(Days::new(n))))
        .collect())
}

/// The first day of an entry and how many it has.
fn stretch(event: &Component, start: &Property, zone: Tz) -> Result<(NaiveDate, u64), String> {
    let unreadable = || "its days do not read".to_owned();
    let end = event.find_prop("DTEND");
    let duration = value(event, "DURATION");
    let (first, last) = if let Some(first) = date(start) {
        let last = match (end, duration) {
            (Some(end), _) => date(end).ok_or_else(unreadable)?,
            (None, Some(duration)) => {
                let days = whole_days(&duration).ok_or_else(unreadable)?;
                first
                    .checked_add_days(Days::new(days))
                    .ok_or_else(unreadable)?
            }
            (None, None) => first.succ_opt().ok_or_else(unreadable)?,
        };
        (first, last)
    } else {
        let starts = wall_clock(start, zone).ok_or_else(unreadable)?;
        let ends = end.and_then(|end| wall_clock(end, zone));
        match ends {
            Some(ends) if starts.time() == NaiveTime::MIN && ends.time() == NaiveTime::MIN => {
                (starts.date(), ends.date())
            }
            _ => {
                return Err(format!(
                    "it is not a whole day but begins at {}; enter it as a stop",
                    starts.format("%H:%M")
                ));
            }
        }
    };
    // The end is not included; files of old programs give the day itself (as RFC 5545, 3.6.1, forbids).
    let length = (last - first).num_days().max(1);
    if last < first {
        return Err("it ends before it begins".to_owned());
    }
    if length > LONGEST_STRETCH {
        return Err(format!(
            "it lasts {length} days; more than {LONGEST_STRETCH} are no holiday"
        ));
    }
    Ok((first, length.unsigned_abs()))
}

/// The days of a yearly rule, from a stretch before the years looked at, which may reach into them.
fn yearly(
    rule: &str,
    first: NaiveDate,
    (from, until): (NaiveDate, NaiveDate),
) -> Result<Vec<NaiveDate>, String> {
    let unreadable = |_| "how it repeats does not read".to_owned();
    // The library asks for UNTIL as a moment; a whole-day entry gives a day (RFC 5545, 3.3.10).
    let parts: Vec<String> = rule
        .split(';')
        .map(|part| match part.split_once('=') {
            Some((key, day)) if key.eq_ignore_ascii_case("UNTIL") && day.len() == 8 => {
                format!("UNTIL={day}T000000Z")
            }
            _ => part.to_owned(),
        })
        .collect();
    let rule: RRule<Unvalidated> = parts.join(";").parse().map_err(unreadable)?;
    let frequency = match rule.get_freq() {
        Frequency::Yearly => None,
        Frequency::Monthly => Some("every month"),
        Frequency::Weekly => Some("every week"),
        Frequency::Daily => Some("every day"),
        _ => Some("within a day"),
    };
    if let Some(often) = frequency {
        return Err(format!(
            "it repeats {often}; a public holiday comes once a year"
        ));
    }
    let midnight = |day: NaiveDate| rrule::Tz::UTC.from_utc_datetime(&day.and_time(NaiveTime::MIN));
    let start = midnight(first);
    let rule = rule.validate(start).map_err(unreadable)?;
    let times = RRuleSet::new(start)
        .rrule(rule)
        .after(midnight(from - TimeDelta::days(LONGEST_STRETCH)))
        .before(midnight(until))
        .all(MOST_TIMES);
    Ok(times
        .dates
        .into_iter()
        .map(|time| time.date_naive())
        .collect())
}

/// The days that a list of dates names.
fn listed(event: &Component, key: &str, zone: Tz) -> Result<Vec<NaiveDate>, String> {
    let mut days = Vec::new();
    for property in event.properties.iter().filter(|p| p.name == key) {
        for one in property.val.as_str().split(',') {
            let mut single = property.clone();
            single.val = one.to_owned().into();
            days.push(day_of(&single, zone).ok_or("a date it lists does not read")?);
        }
    }
    Ok(days)
}

fn day_of(property: &Property, zone: Tz) -> Option<NaiveDate> {
    date(property).or_else(|| wall_clock(property, zone).map(|time| time.date()))
}

/// A date without a time, e.g. `20261225`, of a year people live in.
fn date(property: &Property) -> Option<NaiveDate> {
    NaiveDate::parse_from_str(property.val.as_str().trim(), "%Y%m%d")
        .ok()
        .filter(|day| (1900..2200).contains(&day.year()))
}

/// A time as the clock on the shop's wall shows it: given in UTC, in a named zone, or floating (RFC 5545, 3.3.5).
fn wall_clock(property: &Property, zone: Tz) -> Option<NaiveDateTime> {
    let text = property.val.as_str().trim();
    let read = |text: &str| {
        NaiveDateTime::parse_from_str(text, "%Y%m%dT%H%M%S")
            .ok()
            .filter(|time| (1900..2200).contains(&time.year()))
    };
    let local = |at: DateTime<Utc>| at.with_timezone(&zone).naive_local();
    if let Some(utc) = text.strip_suffix('Z') {
        return read(utc).map(|time| local(time.and_utc()));
    }
    let time = read(text)?;
    let named = property
        .params
        .iter()
        .find(|param| param.key == "TZID")
        .and_then(|param| param.val.as_ref())
        .and_then(|name| name.as_str().trim_matches('"').parse::<Tz>().ok());
    Some(match named {
        Some(there) => local(crate::planning::local_instant(there, time)),
        None => time,
    })
}

/// A duration of whole days, `P1D` or `P2W` (RFC 5545, 3.3.6).
fn whole_days(duration: &str) -> Option<u64> {
    let rest = duration.trim().trim_start_matches('+').strip_prefix('P')?;
    let (count, factor) = match (rest.strip_suffix('D'), rest.strip_suffix('W')) {
        (Some(days), _) => (days, 1),
        (None, Some(weeks)) => (weeks, 7),
        (None, None) => return None,
    };
    count.parse::<u16>().ok().map(|n| u64::from(n) * factor)
}

#[cfg(test)]
mod tests;
