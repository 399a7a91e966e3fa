//! What is written is read back by a parser that had no part in writing it (the `calcard` crate).

use super::*;
use crate::planning::{Hours, Shift};
use calcard::icalendar::{
    ICalendar, ICalendarComponent, ICalendarComponentType, ICalendarProperty, ICalendarValue,
};
use chrono::{NaiveTime, TimeZone, Weekday};
use chrono_tz::Europe::London;

fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

fn entry(summary: &str, starts: &str, ends: &str) -> Entry {
    Entry {
        uid: "0190b5a0.machine@harrow-quay".to_owned(),
        sequence: 3,
        revised_at: at("2026-03-20T09:15:00Z"),
        when: When::Between(at(starts), at(ends)),
        summary: summary.to_owned(),
        description: String::new(),
        location: String::new(),
        certain: false,
        busy: true,
    }
}

fn parsed(text: &str) -> ICalendar {
    ICalendar::parse(text).unwrap_or_else(|entry| panic!("{entry:?} in\n{text}"))
}

fn events(calendar: &ICalendar) -> Vec<&ICalendarComponent> {
    calendar
        .components
        .iter()
        .filter(|c| c.component_type == ICalendarComponentType::VEvent)
        .collect()
}

fn value(component: &ICalendarComponent, name: &ICalendarProperty) -> ICalendarValue {
    let found: Vec<_> = component
        .entries
        .iter()
        .filter(|e| e.name == *name)
        .collect();
    assert_eq!(found.len(), 1, "{name:?}");
    assert_eq!(found[0].values.len(), 1, "{name:?}");
    found[0].values[0].clone()
}

fn text(component: &ICalendarComponent, name: &ICalendarProperty) -> String {
    match value(component, name) {
        ICalendarValue::Text(text) => text,
        other => panic!("{name:?} is {other:?}"),
    }
}

fn timestamp(component: &ICalendarComponent, name: &ICalendarProperty) -> DateTime<Utc> {
    let ICalendarValue::PartialDateTime(time) = value(component, name) else {
        panic!("{name:?} is no time");
    };
    Utc.timestamp_opt(time.to_timestamp().unwrap(), 0).unwrap()
}

#[test]
fn text_with_every_awkward_character_comes_back_as_it_was() {
    let summary = "Job 7; bore, hone: “Tarn 4/90” \\ café, \n second line — Übermaß ".repeat(6);
    let mut one = entry(&summary, "2026-03-23T08:00:00Z", "2026-03-23T09:30:00Z");
    one.description = "a\r\nb\u{7}c;d,e\\n".to_owned();
    one.location = "Mill, by the door".to_owned();
    let written = write("Wyn Tarrant; week, all of it", &[one]);

    // Lines end in CR LF and hold at most 75 octets (RFC 5545, 3.1).
    assert!(written.ends_with("END:VCALENDAR\r\n"));
    assert_eq!(
        written.matches('\n').count(),
        written.matches("\r\n").count()
    );
    for line in written.split("\r\n") {
        assert!(line.len() <= 75, "{} octets: {line}", line.len());
    }

    let calendar = parsed(&written);
    let root = &calendar.components[0];
    assert_eq!(
        text(root, &ICalendarProperty::Name),
        "Wyn Tarrant; week, all of it"
    );
    let event = events(&calendar)[0];
    assert_eq!(text(event, &ICalendarProperty::Summary), summary);
    assert_eq!(text(event, &ICalendarProperty::Description), "a\nbc;d,e\\n");
    assert_eq!(
        text(event, &ICalendarProperty::Location),
        "Mill, by the door"
    );
    assert_eq!(
        text(event, &ICalendarProperty::Uid),
        "0190b5a0.machine@harrow-quay"
    );
    assert_eq!(
        value(event, &ICalendarProperty::Sequence),
        ICalendarValue::Integer(3)
    );
    for stamp in [ICalendarProperty::Dtstamp, ICalendarProperty::LastModified] {
        assert_eq!(timestamp(event, &stamp), at("2026-03-20T09:15:00Z"));
    }
}

#[test]
fn the_same_entries_make_the_same_text() {
    let one = entry("Bore", "2026-03-23T08:00:00Z", "2026-03-23T09:30:00Z");
    let entries = [one];
    assert_eq!(write("Mill", &entries), write("Mill", &entries));
    let empty = parsed(&write("Mill", &[]));
    assert!(events(&empty).is_empty());
}

#[test]
fn a_whole_day_ends_on_the_next() {
    let day = NaiveDate::from_ymd_opt(2026, 12, 25).unwrap();
    let mut one = entry(
        "Christmas Day",
        "2026-03-23T08:00:00Z",
        "2026-03-23T09:30:00Z",
    );
    one.when = When::Day(day);
    let written = write("Mill", &[one]);
    assert!(
        written.contains("DTSTART;VALUE=DATE:20261225\r\n"),
        "{written}"
    );
    assert!(
        written.contains("DTEND;VALUE=DATE:20261226\r\n"),
        "{written}"
    );
    parsed(&written);
}

/// Clocks in Europe/London go forward at 01:00 UTC on Sunday 29 March 2026 and back at 01:00 UTC on Sunday 25 October
/// 2026 (IANA time zone database, rule EU: last Sundays of March and October).
fn hours() -> Hours {
    let clock = |h| NaiveTime::from_hms_opt(h, 0, 0).unwrap();
    let mut shifts: Vec<Shift> = [Weekday::Mon, Weekday::Fri]
        .into_iter()
        .map(|weekday| Shift {
            weekday,
            start: clock(8),
            end: clock(16),
        })
        .collect();
    shifts.push(Shift {
        weekday: Weekday::Sat,
        start: clock(22),
        end: clock(6),
    });
    Hours {
        zone: London,
        shifts,
        holidays: Default::default(),
        overtime: vec![],
        stops: vec![],
    }
}

fn local(written: &str) -> Vec<(String, String, i64)> {
    let calendar = parsed(written);
    events(&calendar)
        .iter()
        .map(|event| {
            let starts = timestamp(event, &ICalendarProperty::Dtstart);
            let ends = timestamp(event, &ICalendarProperty::Dtend);
            let clock = |t: DateTime<Utc>| t.with_timezone(&London).format("%a %H:%M").to_string();
            (clock(starts), clock(ends), (ends - starts).num_minutes())
        })
        .collect()
}

fn week(from: &str, until: &str) -> Vec<(String, String, i64)> {
    let (from, until) = (at(from), at(until));
    let calendar = Calendar::build(&hours(), from, until);
    let entries: Vec<Entry> = pieces(&calendar, from, until)
        .into_iter()
        .map(|(starts, ends)| Entry {
            when: When::Between(starts, ends),
            ..entry("Bore", "2026-03-23T08:00:00Z", "2026-03-23T09:30:00Z")
        })
        .collect();
    local(&write("Mill", &entries))
}

fn shift(starts: &str, ends: &str, hours: i64) -> (String, String, i64) {
    (starts.to_owned(), ends.to_owned(), hours * 60)
}

#[test]
fn the_spring_week_keeps_the_clock_on_the_wall_and_loses_an_hour_of_the_night() {
    assert_eq!(
        week("2026-03-27T00:00:00Z", "2026-03-31T00:00:00Z"),
        [
            shift("Fri 08:00", "Fri 16:00", 8),
            shift("Sat 22:00", "Sun 06:00", 7),
            shift("Mon 08:00", "Mon 16:00", 8),
        ]
    );
}

#[test]
fn the_autumn_week_keeps_the_clock_on_the_wall_and_gains_an_hour_of_the_night() {
    assert_eq!(
        week("2026-10-23T00:00:00Z", "2026-10-27T00:00:00Z"),
        [
            shift("Fri 08:00", "Fri 16:00", 8),
            shift("Sat 22:00", "Sun 06:00", 9),
            shift("Mon 08:00", "Mon 16:00", 8),
        ]
    );
}

#[test]
fn work_outside_of_all_hours_stays_whole() {
    let (from, until) = (at("2026-03-24T18:00:00Z"), at("2026-03-24T20:00:00Z"));
    let calendar = Calendar::build(&hours(), from, until);
    assert_eq!(pieces(&calendar, from, until), [(from, until)]);
}
