//! The time axis: days, hours or weeks, where closed time has been cut out, and now.

use super::{HEAD, Picture, n};
use crate::web::ui::show;
use chrono::{DateTime, Datelike, NaiveDate, Utc};
use maud::{Markup, html};

/// A line of the time axis.
pub(super) struct Tick {
    pub x: f64,
    /// Begins a week, or each day of a short stretch.
    pub strong: bool,
    /// What is written beside it, on the upper and the lower line.
    pub words: [Option<String>; 2],
}

/// Days, with hours when there is room for them, or weeks when there is none for days.
pub(super) fn ticks(picture: &Picture) -> Vec<Tick> {
    let local = |at: DateTime<Utc>| at.with_timezone(&picture.zone);
    let mut days: Vec<(NaiveDate, f64)> = Vec::new();
    for (from, until) in picture.axis.open() {
        let (first, last) = (
            local(from).date_naive(),
            local(until - chrono::Duration::seconds(1)).date_naive(),
        );
        for day in first.iter_days().take_while(|day| *day <= last) {
            if days.last().is_none_or(|(before, _)| *before < day) {
                let midnight = crate::planning::local_instant(
                    picture.zone,
                    day.and_time(chrono::NaiveTime::MIN),
                );
                days.push((day, picture.axis.x(from.max(midnight))));
            }
        }
    }
    let (_, right) = picture.axis.edges();
    let mut ticks = Vec::new();
    let mut before: Option<NaiveDate> = None;
    for (i, &(day, x)) in days.iter().enumerate() {
        let room = days.get(i + 1).map_or(right, |next| next.1) - x;
        let new_week = before.is_none_or(|b| b.iso_week() != day.iso_week());
        let week = format!("Week of {}", day.format("%-d %b"));
        let short_week = day.format("%-d %b").to_string();
        let words = if picture.days <= 14 && room > 78.0 {
            [None, Some(day.format("%a %-d %b").to_string())]
        } else if picture.days <= 14 {
            [
                None,
                (room > 26.0).then(|| day.format("%a %-d").to_string()),
            ]
        } else if picture.days <= 28 {
            [
                new_week.then_some(week),
                (room > 16.0).then(|| day.format("%-d").to_string()),
            ]
        } else {
            [None, new_week.then_some(short_week)]
        };
        before = Some(day);
        if picture.days <= 28 || new_week {
            ticks.push(Tick {
                x,
                strong: new_week || picture.days <= 7,
                words,
            });
        }
    }
    if picture.days <= 1 {
        for (from, until) in picture.axis.open() {
            let first = from.timestamp().div_euclid(3600) + 1;
            let hours = (first..)
                .map_while(|h| DateTime::from_timestamp(h * 3600, 0).filter(|at| *at < until));
            ticks.extend(hours.map(|at| Tick {
                x: picture.axis.x(at),
                strong: false,
                words: [Some(local(at).format("%H:%M").to_string()), None],
            }));
        }
    }
    ticks
}

/// A pair of strokes where time has been cut out of the axis.
pub(super) fn breaks(picture: &Picture) -> Markup {
    let shown = picture.axis.cuts().filter(|cut| {
        let closed = (cut.opens - cut.closes).num_hours();
        match picture.days {
            ..=7 => true,
            8..=14 => closed >= 4,
            _ => closed >= 40,
        }
    });
    let today = picture.now.with_timezone(&picture.zone).date_naive();
    html! {
        @for cut in shown {
            path.break d={ "M" (n(cut.x - 4.0)) " " (n(HEAD - 3.0)) "l4 -10M" (n(cut.x)) " " (n(HEAD - 3.0)) "l4 -10" } {
                title { "Closed from " (show::moment(cut.closes, picture.zone, today)) " to " (show::moment(cut.opens, picture.zone, today)) }
            }
        }
    }
}

pub(super) fn now_line(picture: &Picture, floor: f64) -> Markup {
    let (left, right) = picture.axis.edges();
    let x = picture.axis.x(picture.now);
    let inside = picture
        .axis
        .open()
        .next()
        .is_some_and(|span| span.0 <= picture.now)
        && x < right
        && x >= left;
    html! {
        @if inside {
            line.now x1=(n(x)) x2=(n(x)) y1=(n(HEAD - 8.0)) y2=(n(floor)) {}
            path.now d={ "M" (n(x - 5.0)) " " (n(HEAD - 8.0)) "h10l-5 7z" } { title { "Now" } }
        }
    }
}
