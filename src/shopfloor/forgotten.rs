//! Clocks that run past the end of a shift: somebody may have forgotten to stop. It is asked, never guessed.

use super::clock::{Clock, Entry, Kind};
use chrono::{DateTime, TimeDelta, Utc};
use uuid::Uuid;

/// Breaks shorter than this do not end a shift. Common practice, no source.
const LONGEST_BREAK: TimeDelta = TimeDelta::hours(3);

/// A clock about which somebody must be asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Forgotten {
    /// The clock.
    pub clock: Clock,
    /// When the shift ended during which it ran.
    pub shift_ended: DateTime<Utc>,
}

/// The end of the shift that is going on at a moment, from a person's working stretches in order. Breaks shorter than
/// three hours belong to the shift. Whoever works outside any shift is asked when the next one begins. `None` when no
/// stretch is left.
pub fn shift_end(
    stretches: impl Iterator<Item = (DateTime<Utc>, DateTime<Utc>)>,
    at: DateTime<Utc>,
) -> Option<DateTime<Utc>> {
    let mut end = None;
    for (from, until) in stretches.skip_while(|(_, until)| *until <= at) {
        match end {
            None if from - at >= LONGEST_BREAK => return Some(from),
            None => end = Some(until),
            Some(so_far) if from - so_far < LONGEST_BREAK => end = Some(until),
            Some(_) => break,
        }
    }
    end
}

/// The running clocks whose shift has ended. A person who has said since that the clock is right ([`Kind::Stands`]
/// pointing at the entry that started it) is asked again at the end of the next shift after that. `shift_end` gives the
/// end of a person's shift at a moment.
#[must_use]
pub fn forgotten(
    clocks: &[Clock],
    entries: &[Entry],
    now: DateTime<Utc>,
    shift_end: impl Fn(Uuid, DateTime<Utc>) -> Option<DateTime<Utc>>,
) -> Vec<Forgotten> {
    clocks
        .iter()
        .filter(|clock| clock.until.is_none())
        .filter_map(|clock| {
            let confirmed = entries
                .iter()
                .filter(|e| e.kind == Kind::Stands && e.corrects == Some(clock.start))
                .map(|e| e.at)
                .max();
            let since = confirmed.unwrap_or(clock.from);
            let shift_ended = shift_end(clock.person, since)?;
            (shift_ended <= now).then_some(Forgotten {
                clock: *clock,
                shift_ended,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shopfloor::clocks;

    fn at(text: &str) -> DateTime<Utc> {
        format!("2026-11-{text}:00Z").parse().unwrap()
    }

    /// Thursday and Friday with a lunch break each.
    fn week() -> impl Iterator<Item = (DateTime<Utc>, DateTime<Utc>)> {
        [
            ("26T08:00", "26T12:00"),
            ("26T12:30", "26T16:30"),
            ("27T08:00", "27T12:00"),
            ("27T12:30", "27T16:30"),
        ]
        .into_iter()
        .map(|(from, until)| (at(from), at(until)))
    }

    #[test]
    fn lunch_does_not_end_a_shift() {
        assert_eq!(shift_end(week(), at("26T09:00")), Some(at("26T16:30")));
        assert_eq!(shift_end(week(), at("26T12:10")), Some(at("26T16:30")));
        assert_eq!(shift_end(week(), at("27T07:40")), Some(at("27T16:30")));
        // Wednesday night: asked on Thursday morning.
        assert_eq!(shift_end(week(), at("25T21:00")), Some(at("26T08:00")));
        // Overtime on Thursday evening: asked on Friday morning.
        assert_eq!(shift_end(week(), at("26T18:00")), Some(at("27T08:00")));
        assert_eq!(shift_end(week(), at("28T08:00")), None);
        // Three hours off are no break: the shift ended before them; a minute less and it goes on.
        let day = |back: &str| {
            let stretches = [("26T08:00", "26T12:00"), (back, "26T19:00")];
            let stretches = stretches.map(|(from, until)| (at(from), at(until)));
            shift_end(stretches.into_iter(), at("26T09:00"))
        };
        assert_eq!(day("26T15:00"), Some(at("26T12:00")));
        assert_eq!(day("26T14:59"), Some(at("26T19:00")));
    }

    #[test]
    fn a_clock_past_the_shift_is_asked_about_until_it_is_answered() {
        let start = Entry {
            id: Uuid::from_u128(1),
            kind: Kind::Run,
            operation: Uuid::from_u128(2),
            person: Uuid::from_u128(3),
            machine: None,
            at: at("26T14:00"),
            sequence: 1,
            corrects: None,
        };
        let asked = |entries: &[Entry], now: &str| -> Vec<DateTime<Utc>> {
            let end = |_, at| shift_end(week(), at);
            let found = forgotten(&clocks(entries), entries, at(now), end);
            found.iter().map(|f| f.shift_ended).collect()
        };
        assert!(asked(&[start], "26T16:29").is_empty());
        assert_eq!(asked(&[start], "26T16:30"), [at("26T16:30")]);
        assert_eq!(asked(&[start], "27T11:00"), [at("26T16:30")]);
        // Still at it at five: asked again on Friday morning.
        let stands = Entry {
            id: Uuid::from_u128(4),
            kind: Kind::Stands,
            at: at("26T17:00"),
            sequence: 2,
            corrects: Some(start.id),
            ..start
        };
        // Within three and a bit hours of the shift's end it still counts as overtime into the night.
        assert!(asked(&[start, stands], "26T18:00").is_empty());
        assert_eq!(asked(&[start, stands], "27T09:00"), [at("27T08:00")]);
        // What was said of another clock answers nothing here.
        let of_another = Entry {
            corrects: Some(Uuid::from_u128(9)),
            ..stands
        };
        assert_eq!(asked(&[start, of_another], "26T18:00"), [at("26T16:30")]);
        // The answer is an entry like any other.
        let pause = Entry {
            id: Uuid::from_u128(5),
            kind: Kind::Pause,
            at: at("26T16:10"),
            sequence: 3,
            corrects: Some(start.id),
            ..start
        };
        assert!(asked(&[start, pause], "27T09:00").is_empty());
    }
}
