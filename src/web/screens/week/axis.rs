//! Working time laid end to end: nights, weekends and holidays take no room on the picture.

use chrono::{DateTime, Utc};

/// A stretch of time; half open.
pub type Span = (DateTime<Utc>, DateTime<Utc>);

/// One open stretch and where it is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Piece {
    from: DateTime<Utc>,
    until: DateTime<Utc>,
    x: f64,
}

/// A place at which closed time has been cut out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cut {
    /// Where.
    pub x: f64,
    /// When it closes.
    pub closes: DateTime<Utc>,
    /// When it opens again.
    pub opens: DateTime<Utc>,
}

/// From instants to positions.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    pieces: Vec<Piece>,
    /// SVG units a minute.
    scale: f64,
    left: f64,
    right: f64,
}

impl Axis {
    /// Lays the open stretches that lie within `within` end to end between `left` and `right`. They may overlap and come
    /// in any order. `None` when nothing is open.
    #[must_use]
    pub fn new(
        open: impl IntoIterator<Item = Span>,
        within: Span,
        left: f64,
        right: f64,
    ) -> Option<Self> {
        let joined = joined(open.into_iter().filter_map(|span| clipped(span, within)));
        let minutes: f64 = joined.iter().map(|span| length(*span)).sum();
        if minutes <= 0.0 {
            return None;
        }
        let scale = (right - left) / minutes;
        let mut x = left;
        let pieces = joined
            .into_iter()
            .map(|(from, until)| {
                let piece = Piece { from, until, x };
                x += length((from, until)) * scale;
                piece
            })
            .collect();
        Some(Self {
            pieces,
            scale,
            left,
            right,
        })
    }

    /// Where an instant is; one in closed time is where that was cut, one outside at the edge.
    #[must_use]
    pub fn x(&self, at: DateTime<Utc>) -> f64 {
        let next = self.pieces.partition_point(|piece| piece.until <= at);
        match self.pieces.get(next) {
            Some(piece) if at <= piece.from => piece.x,
            Some(piece) => piece.x + length((piece.from, at)) * self.scale,
            None => self.right,
        }
    }

    /// Left and right end of a stretch, or `None` when no part of it is drawn.
    #[must_use]
    pub fn span(&self, (from, until): Span) -> Option<(f64, f64)> {
        let (a, b) = (self.x(from), self.x(until));
        (b > a).then_some((a, b))
    }

    /// Where closed time was cut out, from left to right.
    pub fn cuts(&self) -> impl Iterator<Item = Cut> + '_ {
        self.pieces
            .iter()
            .zip(self.pieces.iter().skip(1))
            .map(|(a, b)| Cut {
                x: b.x,
                closes: a.until,
                opens: b.from,
            })
    }

    /// The open stretches, as drawn.
    pub fn open(&self) -> impl Iterator<Item = Span> + '_ {
        self.pieces.iter().map(|piece| (piece.from, piece.until))
    }

    /// The open stretches with the position each begins at.
    pub fn places(&self) -> impl Iterator<Item = (f64, Span)> + '_ {
        self.pieces
            .iter()
            .map(|piece| (piece.x, (piece.from, piece.until)))
    }

    /// SVG units a minute.
    #[must_use]
    pub fn scale(&self) -> f64 {
        self.scale
    }

    /// What of the drawn time is not in `open`.
    #[must_use]
    pub fn closed(&self, open: &[Span]) -> Vec<(f64, f64)> {
        let open = joined(open.iter().copied());
        let mut closed: Vec<(f64, f64)> = Vec::new();
        let mut shade = |from, until| {
            if let Some((a, b)) = self.span((from, until)) {
                match closed.last_mut() {
                    Some(last) if a - last.1 < 0.01 => last.1 = b,
                    _ => closed.push((a, b)),
                }
            }
        };
        for piece in &self.pieces {
            let mut at = piece.from;
            let first = open.partition_point(|span| span.1 <= piece.from);
            for &(from, until) in open.iter().skip(first).take_while(|s| s.0 < piece.until) {
                if at < from {
                    shade(at, from);
                }
                at = at.max(until);
            }
            if at < piece.until {
                shade(at, piece.until);
            }
        }
        closed
    }

    /// The left and right edge.
    #[must_use]
    pub fn edges(&self) -> (f64, f64) {
        (self.left, self.right)
    }
}

fn length((from, until): Span) -> f64 {
    (until - from).num_seconds() as f64 / 60.0
}

fn clipped(span: Span, within: Span) -> Option<Span> {
    let span = (span.0.max(within.0), span.1.min(within.1));
    (span.0 < span.1).then_some(span)
}

/// Sorted; touching and overlapping ones joined.
fn joined(spans: impl Iterator<Item = Span>) -> Vec<Span> {
    let mut spans: Vec<Span> = spans.collect();
    spans.sort_unstable();
    let mut joined: Vec<Span> = Vec::with_capacity(spans.len());
    for span in spans {
        match joined.last_mut() {
            Some(last) if span.0 <= last.1 => last.1 = last.1.max(span.1),
            _ => joined.push(span),
        }
    }
    joined
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(text: &str) -> DateTime<Utc> {
        format!("2026-11-{text}:00Z").parse().unwrap()
    }

    /// Two days of eight hours with a night between, drawn a hundred wide: an hour is 6.25.
    #[test]
    #[expect(clippy::float_cmp, reason = "eighths are exact in binary")]
    fn nights_take_no_room() {
        let open = [
            (at("24T08:00"), at("24T16:00")),
            (at("23T08:00"), at("23T12:00")),
            (at("23T12:00"), at("23T16:00")),
        ];
        let axis = Axis::new(open, (at("23T00:00"), at("30T00:00")), 0.0, 100.0).unwrap();
        assert_eq!(axis.x(at("23T12:00")), 25.0);
        assert_eq!(axis.x(at("23T20:00")), 50.0);
        assert_eq!(axis.x(at("24T10:00")), 62.5);
        assert_eq!(axis.x(at("29T10:00")), 100.0);
        assert_eq!(axis.span((at("23T16:00"), at("24T08:00"))), None);
        let cuts: Vec<Cut> = axis.cuts().collect();
        assert_eq!((cuts.len(), cuts[0].x), (1, 50.0));
        // A machine that starts at ten on both days: two hours shaded on each.
        let own = [
            (at("23T10:00"), at("23T16:00")),
            (at("24T10:00"), at("24T20:00")),
        ];
        assert_eq!(axis.closed(&own), [(0.0, 12.5), (50.0, 62.5)]);
        assert!(Axis::new([], (at("23T00:00"), at("30T00:00")), 0.0, 1.0).is_none());
    }

    proptest! {
        /// Later is never further left, and all open time fills the width.
        #[test]
        fn time_runs_to_the_right(
            spans in prop::collection::vec((0_i64..5000, 1_i64..900), 1..12),
            mut times in prop::collection::vec(-500_i64..7000, 2..20),
        ) {
            let start = at("23T00:00");
            let minute = |m: i64| start + chrono::Duration::minutes(m);
            let open: Vec<Span> = spans.iter().map(|&(a, n)| (minute(a), minute(a + n))).collect();
            let axis = Axis::new(open.clone(), (start, minute(6000)), 10.0, 90.0).unwrap();
            times.sort_unstable();
            let xs: Vec<f64> = times.iter().map(|&m| axis.x(minute(m))).collect();
            prop_assert!(xs.windows(2).all(|pair| pair[0] <= pair[1] + 1e-9));
            prop_assert!(xs.iter().all(|x| (10.0..=90.0 + 1e-9).contains(x)));
            prop_assert!(axis.closed(&open).is_empty());
        }
    }
}
