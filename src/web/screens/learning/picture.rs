//! The evidence for a standard as a picture: a dot for each finished operation, on a scale of actual over standard.

use super::words::{names, range, took};
use crate::review::proposals::Proposal;
use crate::review::ratios::Interval;
use crate::web::ui::show::coordinate as n;
use maud::{Markup, html};

const WIDTH: f64 = 640.0;
const LEFT: f64 = 24.0;
const RIGHT: f64 = 616.0;
/// Dots of one column stand on each other; a column is this wide.
const STEP: f64 = 9.0;
/// The highest column that is drawn in full; above it dots are closer together.
const MOST: f64 = 130.0;

/// Ends of the scale, and where it is marked: half to twice the standard, farther where dots lie farther out.
const ENDS: [f64; 4] = [1.6, 2.1, 3.2, 5.2];
const MARKS: [f64; 11] = [0.2, 0.25, 0.33, 0.5, 0.67, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0];

/// A ratio in words of the standard: "half", "× 1.5".
fn mark(ratio: f64) -> String {
    if (ratio - 1.0).abs() < 1e-9 {
        "standard".to_owned()
    } else {
        format!("× {ratio}")
    }
}

/// One column of dots.
struct Column {
    x: f64,
    /// For each dot whether it hardly counts.
    odd: Vec<bool>,
}

fn columns(proposal: &Proposal, x: impl Fn(f64) -> f64) -> Vec<Column> {
    let mut columns: Vec<Column> = Vec::new();
    let mut points: Vec<(f64, bool)> = proposal
        .found
        .points
        .iter()
        .map(|p| (x(p.ratio), p.odd))
        .collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    for (at, odd) in points {
        let place = ((at - LEFT) / STEP).round() * STEP + LEFT;
        match columns
            .last_mut()
            .filter(|c| (c.x - place).abs() < STEP / 2.0)
        {
            Some(column) => column.odd.push(odd),
            None => columns.push(Column {
                x: place,
                odd: vec![odd],
            }),
        }
    }
    columns
}

/// Dots for operations, crosses for those that hardly count, the standard as a line, the figure with its interval below.
pub(super) fn evidence(proposal: &Proposal) -> Markup {
    let found = &proposal.found;
    let farthest = found
        .points
        .iter()
        .filter(|p| !p.odd)
        .map(|p| p.ratio.ln().abs())
        .chain([found.ratio.high.ln().abs(), found.ratio.low.ln().abs()])
        .fold(0.0, f64::max);
    let end = ENDS
        .into_iter()
        .find(|end: &f64| end.ln() > farthest)
        .unwrap_or(ENDS[3]);
    let x = |ratio: f64| {
        let share = (ratio.ln() / end.ln()).clamp(-1.0, 1.0);
        LEFT + (RIGHT - LEFT) * (share + 1.0) / 2.0
    };
    let columns = columns(proposal, x);
    let tallest = columns.iter().map(|c| c.odd.len()).max().unwrap_or(1);
    let rise = (MOST / tallest as f64).min(STEP);
    let base = (tallest as f64 * rise).max(40.0) + 24.0;
    let height = base + 78.0;
    html! {
        svg.picture.evidence viewBox={ "0 0 " (WIDTH) " " (n(height)) } role="img" aria-labelledby="evidence-title evidence-desc" {
            title #evidence-title { "Actual time over standard time: " (names(&proposal.changes)) }
            desc #evidence-desc {
                (found.points.len()) " operations of which it is at least a quarter. In the mean it " (took(found.ratio.likely))
                ", nine times in ten " (range(found.ratio)) "."
            }
            @for at in MARKS.into_iter().filter(|m| m.ln().abs() <= end.ln()) {
                line.grid x1=(n(x(at))) x2=(n(x(at))) y1="10" y2=(n(base)) {}
                text.small x=(n(x(at))) y=(n(base + 18.0)) text-anchor="middle" { (mark(at)) }
            }
            line.curve x1=(n(x(1.0))) x2=(n(x(1.0))) y1="6" y2=(n(base + 4.0)) {}
            @for column in &columns {
                @for (i, odd) in column.odd.iter().enumerate() {
                    @let y = base - rise * (i as f64 + 0.5);
                    @if *odd { (cross(column.x, y)) } @else { circle.seen cx=(n(column.x)) cy=(n(y)) r="3.5" {} }
                }
            }
            (bar(found.ratio, x, base + 34.0))
            text.small x=(n(x(found.ratio.likely))) y=(n(base + 62.0)) text-anchor="middle" { "with the time it took, 9 in 10 sure" }
        }
    }
}

fn cross(x: f64, y: f64) -> Markup {
    let d = format!(
        "M{} {}L{} {}M{} {}L{} {}",
        n(x - 3.0),
        n(y - 3.0),
        n(x + 3.0),
        n(y + 3.0),
        n(x - 3.0),
        n(y + 3.0),
        n(x + 3.0),
        n(y - 3.0)
    );
    html! { path.passed d=(d) {} }
}

/// An interval as a bar with its figure as a stroke.
fn bar(ratio: Interval, x: impl Fn(f64) -> f64, y: f64) -> Markup {
    let (low, high) = (x(ratio.low), x(ratio.high));
    html! {
        rect.core x=(n(low)) y=(n(y - 4.0)) width=(n((high - low).max(2.0))) height="8" {}
        line.likely x1=(n(x(ratio.likely))) x2=(n(x(ratio.likely))) y1=(n(y - 9.0)) y2=(n(y + 9.0)) {}
    }
}

/// An interval on a short scale from half to twice the standard, for a table.
pub(super) fn small(ratio: Interval) -> Markup {
    let x = |r: f64| 60.0 + 58.0 * (r.ln() / 2_f64.ln()).clamp(-1.0, 1.0);
    html! {
        svg.picture.small-range viewBox="0 0 120 22" width="120" height="22" aria-hidden="true" {
            line.grid x1="60" x2="60" y1="1" y2="21" {}
            (bar(ratio, x, 11.0))
        }
    }
}
