//! Working time: shifts by weekday in the shop's time zone, less holidays and stops.
//!
//! A shift is given in local clock time; work is counted in elapsed minutes. The two differ when clocks change. A
//! wall-clock time that is skipped is read with the offset from before the gap, and one that comes twice means its
//! first coming, the convention of calendar standards (RFC 5545, 3.3.5, as told in the documentation of the `whenever`
//! package, "Ambiguity"). So a night shift from 22:00 to 06:00 lasts seven hours in the night clocks go forward and
//! nine in the night they go back.

#[cfg(test)]
mod tests;

use chrono::{
    DateTime, Days, MappedLocalTime, NaiveDate, NaiveDateTime, NaiveTime, Offset, TimeZone, Utc,
    Weekday,
};
use chrono_tz::Tz;
use std::collections::BTreeSet;

/// Minutes in a day: what a shift's end may be at most past its start.
const DAY: i64 = 24 * 60;

/// A weekly shift, in local clock time. An end at or before the start is on the next day.
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
    /// Minutes of a usual working day: those of a plain week over the days it has shifts on; eight hours without any.
    #[must_use]
    pub fn usual_day(&self) -> i64 {
        let days: BTreeSet<u32> = self
            .shifts
            .iter()
            .map(|shift| shift.weekday.num_days_from_monday())
            .collect();
        let days = i64::try_from(days.len()).unwrap_or(i64::MAX);
        match self.weekly_minutes().checked_div(days) {
            Some(minutes) if minutes > 0 => minutes,
            _ => DAY / 3,
        }
    }

    /// Whether any work is done on a day of the shop's calendar.
    #[must_use]
    pub fn works_on(&self, day: NaiveDate) -> bool {
        whole_day(self.zone, day)
            .is_some_and(|(from, until)| Calendar::build(self, from, until).total() > 0)
    }

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

/// Midnight to midnight of a day by the shop's clock.
#[must_use]
pub fn whole_day(zone: Tz, day: NaiveDate) -> Option<(DateTime<Utc>, DateTime<Utc>)> {
    let midnight = |day: NaiveDate| local_instant(zone, day.and_time(NaiveTime::MIN));
    Some((midnight(day), midnight(day.succ_opt()?)))
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
