//! Working time: shifts by weekday in the shop's time zone, less holidays and stops.
//!
//! A shift is what a clock on the shop's wall shows; work is counted in minutes that really pass. The two part company
//! when clocks change. A wall-clock time that is skipped is read with the offset from before the gap, and one that
//! comes twice means its first coming, the convention of calendar standards (RFC 5545, 3.3.5, as told in the
//! documentation of the `whenever` package, "Ambiguity"). So a night shift from 22:00 to 06:00 lasts seven hours in the
//! night clocks go forward and nine in the night they go back.

use chrono::{
    DateTime, Days, MappedLocalTime, NaiveDate, NaiveDateTime, NaiveTime, Offset, TimeZone, Utc,
    Weekday,
};
use chrono_tz::Tz;
use std::collections::BTreeSet;

/// Minutes in a day: what a shift's end may be at most past its start.
const DAY: i64 = 24 * 60;

/// A weekly shift, as the clock on the wall shows it. An end at or before the start is on the next day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Shift {
    /// The day on which it starts.
    pub weekday: Weekday,
    /// When it starts.
    pub start: NaiveTime,
    /// When it ends.
    pub end: NaiveTime,
}

/// The hours of a machine or a person, from which a [`Calendar`] is worked out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hours {
    /// The shop's time zone.
    pub zone: Tz,
    /// Weekly shifts; they may touch or overlap.
    pub shifts: Vec<Shift>,
    /// Days on which no shift starts.
    pub holidays: BTreeSet<NaiveDate>,
    /// Stretches in which work is done whatever shifts and holidays say: overtime.
    pub overtime: Vec<(DateTime<Utc>, DateTime<Utc>)>,
    /// Stretches in which no work is done whatever the shifts say: a service, a power cut.
    pub stops: Vec<(DateTime<Utc>, DateTime<Utc>)>,
}

impl Hours {
    /// Working minutes of a plain week: no holiday, no stop, no change of clocks.
    #[must_use]
    pub fn weekly_minutes(&self) -> i64 {
        let plain = Self {
            zone: Tz::UTC,
            shifts: self.shifts.clone(),
            holidays: BTreeSet::new(),
            overtime: Vec::new(),
            stops: Vec::new(),
        };
        // The second week after the epoch, so that a night shift of the week before reaches into it.
        let week = 7 * DAY * 60;
        match (
            DateTime::from_timestamp(week, 0),
            DateTime::from_timestamp(2 * week, 0),
        ) {
            (Some(from), Some(until)) => Calendar::build(&plain, from, until).total(),
            _ => 0,
        }
    }
}

/// Working intervals of one machine or person over a horizon, sorted and apart, in whole minutes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Calendar {
    /// Start and end of each interval, minutes since 1970 UTC.
    intervals: Vec<(i64, i64)>,
    /// Working minutes before each interval.
    before: Vec<i64>,
}

impl Calendar {
    /// Works out the intervals from `from` to `until`.
    #[must_use]
    pub fn build(hours: &Hours, from: DateTime<Utc>, until: DateTime<Utc>) -> Self {
        let (from, until) = (ceil_minute(from), floor_minute(until));
        let mut raw: Vec<(i64, i64)> = hours
            .overtime
            .iter()
            .map(|&(a, b)| (ceil_minute(a).max(from), floor_minute(b).min(until)))
            .filter(|(a, b)| a < b)
            .collect();
        // A shift that began the day before may reach into the horizon.
        let first = date_in(hours.zone, from).checked_sub_days(Days::new(1));
        let last = date_in(hours.zone, until);
        let days = first.into_iter().flat_map(|date| date.iter_days());
        for date in days.take_while(|date| *date <= last) {
            if hours.holidays.contains(&date) {
                continue;
            }
            let weekday = chrono::Datelike::weekday(&date);
            for shift in hours.shifts.iter().filter(|s| s.weekday == weekday) {
                let ends_on = if shift.end > shift.start {
                    Some(date)
                } else {
                    date.succ_opt()
                };
                let Some(ends_on) = ends_on else { continue };
                let start = instant(hours.zone, date.and_time(shift.start)).max(from);
                let end = instant(hours.zone, ends_on.and_time(shift.end)).min(until);
                if start < end {
                    raw.push((start, end));
                }
            }
        }
        let stops = hours
            .stops
            .iter()
            .map(|&(a, b)| (floor_minute(a), ceil_minute(b)))
            .filter(|(a, b)| a < b)
            .collect();
        Self::from_minutes(subtract(&merge(raw), &merge(stops)))
    }

    fn from_minutes(intervals: Vec<(i64, i64)>) -> Self {
        let before = intervals
            .iter()
            .scan(0, |sum, (start, end)| {
                let here = *sum;
                *sum += end - start;
                Some(here)
            })
            .collect();
        Self { intervals, before }
    }

    /// The working intervals.
    pub fn intervals(&self) -> impl Iterator<Item = (DateTime<Utc>, DateTime<Utc>)> + '_ {
        self.intervals
            .iter()
            .filter_map(|&(start, end)| Some((from_minute(start)?, from_minute(end)?)))
    }

    /// When `minutes` of work begun at `start` are done: the first instant by which so many working minutes have
    /// passed. No work takes no time, at any hour. `None` when the horizon ends first.
    #[must_use]
    pub fn add_working(&self, start: DateTime<Utc>, minutes: u32) -> Option<DateTime<Utc>> {
        if minutes == 0 {
            return Some(start);
        }
        from_minute(self.add_minutes(ceil_minute(start), i64::from(minutes))?)
    }

    /// Working minutes between two instants; none when the second is not after the first.
    #[must_use]
    pub fn working_between(&self, a: DateTime<Utc>, b: DateTime<Utc>) -> i64 {
        (self.worked_by(floor_minute(b)) - self.worked_by(ceil_minute(a))).max(0)
    }

    /// The first instant at or after `at` at which work is done; `None` past the horizon.
    #[must_use]
    pub fn next_working(&self, at: DateTime<Utc>) -> Option<DateTime<Utc>> {
        let at = ceil_minute(at);
        let (start, _) = self.intervals.get(self.at_or_after(at))?;
        from_minute((*start).max(at))
    }

    /// [`Calendar::add_working`] in minutes since 1970.
    pub(super) fn add_minutes(&self, start: i64, minutes: i64) -> Option<i64> {
        if minutes <= 0 {
            return Some(start);
        }
        let target = self.worked_by(start).checked_add(minutes)?;
        // The last interval before which fewer than `target` minutes are worked holds the target.
        let index = self
            .before
            .partition_point(|&sum| sum < target)
            .checked_sub(1)?;
        let (from, to) = *self.intervals.get(index)?;
        let done = from.checked_add(target - self.before.get(index)?)?;
        (done <= to).then_some(done)
    }

    /// Working minutes from the start of the horizon to `at`.
    fn worked_by(&self, at: i64) -> i64 {
        let index = self.at_or_after(at);
        match (self.intervals.get(index), self.before.get(index)) {
            (Some((start, _)), Some(sum)) => sum + (at - start).max(0),
            _ => self.total(),
        }
    }

    /// Index of the first interval that ends after `at`.
    fn at_or_after(&self, at: i64) -> usize {
        self.intervals.partition_point(|&(_, end)| end <= at)
    }

    /// All working minutes of the horizon.
    #[must_use]
    pub fn total(&self) -> i64 {
        match (self.intervals.last(), self.before.last()) {
            (Some((start, end)), Some(sum)) => sum + end - start,
            _ => 0,
        }
    }
}

/// Whole minutes since 1970, down.
pub(super) fn floor_minute(at: DateTime<Utc>) -> i64 {
    at.timestamp().div_euclid(60)
}

/// Whole minutes since 1970, up.
pub(super) fn ceil_minute(at: DateTime<Utc>) -> i64 {
    let whole = floor_minute(at);
    let exact = at.timestamp() == whole * 60 && at.timestamp_subsec_nanos() == 0;
    whole + i64::from(!exact)
}

/// The instant of a minute; `None` beyond the calendar of the program.
pub(super) fn from_minute(minute: i64) -> Option<DateTime<Utc>> {
    DateTime::from_timestamp(minute.checked_mul(60)?, 0)
}

/// The shop's calendar day of a minute.
fn date_in(zone: Tz, minute: i64) -> NaiveDate {
    from_minute(minute)
        .unwrap_or(DateTime::UNIX_EPOCH)
        .with_timezone(&zone)
        .date_naive()
}

/// Whether an instant lies in the years 1970 to 2199, within which a shop's dates may be typed. Near the ends of the
/// calendar of the program (some 262,000 years either way) the local time of a zone overflows.
#[must_use]
pub fn in_reach(at: DateTime<Utc>) -> bool {
    (1970..2200).contains(&chrono::Datelike::year(&at))
}

/// The instant, to the minute, at which a clock of the zone shows a local time; see above for a time it shows never or
/// twice.
#[must_use]
pub fn local_instant(zone: Tz, local: NaiveDateTime) -> DateTime<Utc> {
    from_minute(instant(zone, local)).unwrap_or(DateTime::UNIX_EPOCH)
}

/// [`local_instant`] in minutes since 1970.
fn instant(zone: Tz, local: NaiveDateTime) -> i64 {
    let seconds = local.and_utc().timestamp();
    match zone.from_local_datetime(&local) {
        MappedLocalTime::Single(at) | MappedLocalTime::Ambiguous(at, _) => {
            floor_minute(at.to_utc())
        }
        MappedLocalTime::None => {
            // Any instant a day earlier is before the gap, so its offset is the one from before.
            let day_before = DateTime::from_timestamp(seconds - DAY * 60, 0)
                .unwrap_or(DateTime::UNIX_EPOCH)
                .naive_utc();
            let offset = zone.offset_from_utc_datetime(&day_before).fix();
            (seconds - i64::from(offset.local_minus_utc())).div_euclid(60)
        }
    }
}

/// Sorts intervals and joins those that touch or overlap.
fn merge(mut intervals: Vec<(i64, i64)>) -> Vec<(i64, i64)> {
    intervals.sort_unstable();
    let mut merged: Vec<(i64, i64)> = Vec::with_capacity(intervals.len());
    for (start, end) in intervals {
        match merged.last_mut() {
            Some(last) if start <= last.1 => last.1 = last.1.max(end),
            _ => merged.push((start, end)),
        }
    }
    merged
}

/// What is left of sorted, separate intervals outside sorted, separate stops.
fn subtract(intervals: &[(i64, i64)], stops: &[(i64, i64)]) -> Vec<(i64, i64)> {
    let mut left = Vec::with_capacity(intervals.len());
    for &(mut start, end) in intervals {
        let first = stops.partition_point(|&(_, stop_end)| stop_end <= start);
        for &(a, b) in stops.iter().skip(first).take_while(|(a, _)| *a < end) {
            if start < a {
                left.push((start, a));
            }
            start = start.max(b);
        }
        if start < end {
            left.push((start, end));
        }
    }
    left
}

#[cfg(test)]
mod tests {
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
}
