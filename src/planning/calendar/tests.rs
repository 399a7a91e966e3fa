//! Working time against hours counted by hand, and its properties.

use super::*;
use chrono::Weekday::{Fri, Mon, Sat, Sun, Thu, Tue, Wed};
use proptest::prelude::*;

const LONDON: Tz = chrono_tz::Europe::London;
const NEW_YORK: Tz = chrono_tz::America::New_York;

fn time(text: &str) -> NaiveTime {
    NaiveTime::parse_from_str(text, "%H:%M").unwrap()
}

fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

fn shifts(days: &[Weekday], start: &str, end: &str) -> Vec<Shift> {
    days.iter()
        .map(|&weekday| Shift {
            weekday,
            start: time(start),
            end: time(end),
        })
        .collect()
}

fn hours(zone: Tz, shifts: Vec<Shift>) -> Hours {
    Hours {
        zone,
        shifts,
        holidays: BTreeSet::new(),
        overtime: Vec::new(),
        stops: Vec::new(),
    }
}

const WEEK: [Weekday; 5] = [Mon, Tue, Wed, Thu, Fri];

#[test]
fn a_plain_week() {
    let mut hours = hours(LONDON, shifts(&WEEK, "08:00", "12:00"));
    hours.shifts.extend(shifts(&WEEK, "12:30", "17:00"));
    hours.holidays.insert("2026-11-25".parse().unwrap());
    hours
        .stops
        .push((utc("2026-11-26T09:59:30Z"), utc("2026-11-26T11:00:01Z")));
    let week = Calendar::build(
        &hours,
        utc("2026-11-23T00:00:00Z"),
        utc("2026-11-30T00:00:00Z"),
    );
    // Four days of 8.5 h, less the minutes 09:59 to 11:01 that the stop touches.
    assert_eq!(week.total(), 4 * 510 - 62);
    let monday_noon = utc("2026-11-23T12:10:00Z");
    assert_eq!(
        week.next_working(monday_noon),
        Some(utc("2026-11-23T12:30:00Z"))
    );
    // 270 minutes on Monday afternoon, 30 on Tuesday.
    assert_eq!(
        week.add_working(monday_noon, 300),
        Some(utc("2026-11-24T08:30:00Z"))
    );
    // Work that fills the day ends at its end, not at the next day's start.
    assert_eq!(
        week.add_working(monday_noon, 270),
        Some(utc("2026-11-23T17:00:00Z"))
    );
    assert_eq!(week.add_working(monday_noon, 0), Some(monday_noon));
    assert_eq!(
        week.add_working(utc("2026-11-23T00:00:00Z"), 1978),
        Some(utc("2026-11-27T17:00:00Z"))
    );
    assert_eq!(week.add_working(utc("2026-11-23T00:00:00Z"), 1979), None);
}

/// Clocks in Europe/London go forward on 2026-03-29 at 01:00 UTC and back on 2026-10-25 at 01:00 UTC; in
/// America/New_York on 2026-03-08 at 07:00 UTC and 2026-11-01 at 06:00 UTC (tz database). Hours counted by hand.
#[test]
fn weeks_in_which_clocks_change() {
    let every = [Mon, Tue, Wed, Thu, Fri, Sat, Sun];
    let nights = |zone, from: &str, until: &str| {
        Calendar::build(
            &hours(zone, shifts(&every, "22:00", "06:00")),
            utc(from),
            utc(until),
        )
        .total()
    };
    // Saturday 22:00 GMT to Sunday 06:00 BST: seven hours, not eight.
    assert_eq!(
        nights(LONDON, "2026-03-28T12:00:00Z", "2026-03-29T12:00:00Z"),
        7 * 60
    );
    assert_eq!(
        nights(LONDON, "2026-10-24T12:00:00Z", "2026-10-25T12:00:00Z"),
        9 * 60
    );
    assert_eq!(
        nights(NEW_YORK, "2026-03-07T17:00:00Z", "2026-03-08T17:00:00Z"),
        7 * 60
    );
    assert_eq!(
        nights(NEW_YORK, "2026-10-31T17:00:00Z", "2026-11-01T17:00:00Z"),
        9 * 60
    );

    // A day shift keeps its hours on the wall: 08:00 is 08:00Z before and 07:00Z after in London.
    let days = Calendar::build(
        &hours(LONDON, shifts(&every, "08:00", "17:00")),
        utc("2026-03-28T00:00:00Z"),
        utc("2026-03-30T00:00:00Z"),
    );
    let spans: Vec<_> = days.intervals().collect();
    assert_eq!(
        spans,
        [
            (utc("2026-03-28T08:00:00Z"), utc("2026-03-28T17:00:00Z")),
            (utc("2026-03-29T07:00:00Z"), utc("2026-03-29T16:00:00Z")),
        ]
    );
    // The week of the change has the hours of any other when nobody works through it.
    assert_eq!(days.total(), 2 * 9 * 60);
}

#[test]
fn a_shift_that_starts_in_the_gap_or_ends_in_the_fold() {
    let one = |zone, start, end, from: &str, until: &str| -> Vec<_> {
        Calendar::build(
            &hours(zone, shifts(&[Sun], start, end)),
            utc(from),
            utc(until),
        )
        .intervals()
        .collect()
    };
    // 01:30 is skipped in London on 2026-03-29; read with the offset from before it is 01:30Z, 02:30 on the wall.
    assert_eq!(
        one(
            LONDON,
            "01:30",
            "05:00",
            "2026-03-29T00:00:00Z",
            "2026-03-29T12:00:00Z"
        ),
        [(utc("2026-03-29T01:30:00Z"), utc("2026-03-29T04:00:00Z"))]
    );
    // A shift that lies in the gap's shadow altogether does not take place.
    assert_eq!(
        one(
            LONDON,
            "01:30",
            "02:15",
            "2026-03-29T00:00:00Z",
            "2026-03-29T12:00:00Z"
        ),
        []
    );
    // 01:30 comes twice in New York on 2026-11-01; the first is 05:30Z.
    assert_eq!(
        one(
            NEW_YORK,
            "00:00",
            "01:30",
            "2026-11-01T00:00:00Z",
            "2026-11-01T12:00:00Z"
        ),
        [(utc("2026-11-01T04:00:00Z"), utc("2026-11-01T05:30:00Z"))]
    );
}

#[test]
fn a_night_shift_from_before_the_horizon_is_cut_at_it() {
    let night = hours(LONDON, shifts(&[Sun], "22:00", "06:00"));
    let monday = Calendar::build(
        &night,
        utc("2026-11-23T01:00:00Z"),
        utc("2026-11-23T04:00:00Z"),
    );
    assert_eq!(monday.total(), 180);
    // Round the clock: an end equal to the start is a full day later.
    let round = hours(LONDON, shifts(&[Sun, Mon], "06:00", "06:00"));
    let two = Calendar::build(
        &round,
        utc("2026-11-20T00:00:00Z"),
        utc("2026-11-28T00:00:00Z"),
    );
    assert_eq!((two.total(), two.intervals().count()), (2880, 1));
}

#[test]
fn no_shifts_no_work() {
    let none = Calendar::build(
        &hours(LONDON, vec![]),
        utc("2026-01-01T00:00:00Z"),
        utc("2027-01-01T00:00:00Z"),
    );
    assert_eq!(none.add_working(utc("2026-02-01T00:00:00Z"), 1), None);
    assert_eq!(none.next_working(utc("2026-02-01T00:00:00Z")), None);
    assert_eq!(none.total(), 0);
}

prop_compose! {
    fn any_hours()(
        zone in prop::sample::select(vec![LONDON, NEW_YORK, chrono_tz::Australia::Lord_Howe, chrono_tz::UTC]),
        list in prop::collection::vec((0_u8..7, 0_u32..1440, 0_u32..1440), 1..8),
        holidays in prop::collection::btree_set(0_u64..120, 0..6),
        stops in prop::collection::vec((0_i64..170_000, 1_i64..3_000), 0..4),
    ) -> Hours {
        let start = utc("2026-02-01T00:00:00Z");
        let clock = |m: u32| NaiveTime::from_hms_opt(m / 60, m % 60, 0).unwrap();
        Hours {
            zone,
            shifts: list.into_iter().map(|(d, a, b)| Shift {
                weekday: Weekday::try_from(d).unwrap(), start: clock(a), end: clock(b),
            }).collect(),
            holidays: holidays.into_iter().map(|d| start.date_naive() + Days::new(d)).collect(),
            overtime: Vec::new(),
            stops: stops.into_iter().map(|(a, n)| (
                start + chrono::Duration::minutes(a), start + chrono::Duration::minutes(a + n),
            )).collect(),
        }
    }
}

proptest! {
    #[test]
    fn adding_then_counting_gives_back_the_minutes(hours in any_hours(), at in 0_i64..140_000, minutes in 1_u32..20_000) {
        let calendar = Calendar::build(&hours, utc("2026-02-01T00:00:00Z"), utc("2026-06-01T00:00:00Z"));
        let start = utc("2026-02-01T00:00:00Z") + chrono::Duration::minutes(at);
        match calendar.add_working(start, minutes) {
            Some(done) => {
                prop_assert_eq!(calendar.working_between(start, done), i64::from(minutes));
                // And it is the first such instant.
                let sooner = done - chrono::Duration::minutes(1);
                prop_assert_eq!(calendar.working_between(start, sooner), i64::from(minutes) - 1);
            }
            None => prop_assert!(
                calendar.working_between(start, utc("2026-06-01T00:00:00Z")) < i64::from(minutes)
            ),
        }
    }

    #[test]
    fn intervals_are_sorted_apart_and_clear_of_stops(hours in any_hours()) {
        let calendar = Calendar::build(&hours, utc("2026-02-01T00:00:00Z"), utc("2026-06-01T00:00:00Z"));
        let spans: Vec<_> = calendar.intervals().collect();
        prop_assert!(spans.iter().all(|(a, b)| a < b));
        prop_assert!(spans.windows(2).all(|pair| pair[0].1 < pair[1].0));
        for &(a, b) in &hours.stops {
            prop_assert!(spans.iter().all(|&(start, end)| end <= a || b <= start));
        }
        let sum: i64 = spans.iter().map(|(a, b)| (*b - *a).num_minutes()).sum();
        prop_assert_eq!(sum, calendar.total());
    }
}
