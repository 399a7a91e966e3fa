//! The week, drawn: machines, then people, then what is sent out, against working hours only.
//!
//! Nothing is told by colour alone. Setup is hatched and run is plain; started work has its corners cut, pinned work a
//! notch with a pin in it, a slot held for a quote a dashed edge; a promise is a flag, square when it holds, half hatched
//! when it is at risk, swallow-tailed with the word when it is late. What a row cannot use is dotted over.

use super::axis::{Axis, Span};
use crate::web::ui::show;
use chrono::{DateTime, Datelike, NaiveDate, Utc};
use chrono_tz::Tz;
use maud::{Markup, html};

/// Width of the names beside the rows, in SVG units; one unit is a CSS pixel on a wide screen.
pub const NAMES: f64 = 150.0;
/// Width of the time axis.
pub const PLOT: f64 = 1176.0;
const RIGHT: f64 = PLOT - 6.0;
const LANE: f64 = 28.0;
const BOX: f64 = 22.0;
const HEAD: f64 = 42.0;
const FLAG: f64 = 17.0;
const GROUP: f64 = 24.0;
/// Width of a letter of a label, about.
const LETTER: f64 = 6.3;

/// The axis of a picture of this stretch of time.
#[must_use]
pub fn axis(open: impl IntoIterator<Item = Span>, within: Span) -> Option<Axis> {
    Axis::new(open, within, 2.0, RIGHT)
}

/// How far a block has come, or why it may not move: told by its shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// May still move.
    Queued,
    /// Has begun.
    Started,
    /// Pinned by hand.
    Pinned,
    /// A slot held for a quote.
    Held,
}

/// Which plan a block belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// The plan as it is, or where nothing moves.
    Plain,
    /// Where it was before the change.
    Before,
    /// Where it is after the change.
    After,
}

/// An operation on a row.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// What it is, for the keyboard to come back to.
    pub key: String,
    /// Where Enter leads.
    pub href: String,
    /// Job number, and what is done.
    pub label: (String, String),
    /// Everything about it, in a sentence.
    pub words: String,
    /// Start, end of the setup, end.
    pub times: [DateTime<Utc>; 3],
    /// Shape.
    pub standing: Standing,
    /// Its job is late.
    pub late: bool,
    /// Which plan.
    pub side: Side,
    /// It is the one looked at.
    pub chosen: bool,
}

/// A machine, a person, or work sent out.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Its name.
    pub name: String,
    /// Its own panel, if it has one.
    pub href: Option<String>,
    /// When it is there; `None` when it keeps no hours.
    pub open: Option<Vec<Span>>,
    /// What is on it.
    pub blocks: Vec<Block>,
}

/// Rows of a kind.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// What they are.
    pub name: &'static str,
    /// The rows.
    pub rows: Vec<Row>,
    /// Whether Tab stops at its blocks; work that stands in another group already is passed over.
    pub tab_stops: bool,
}

/// How a promise stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Keeping {
    /// It holds.
    Holds,
    /// It may not hold.
    AtRisk,
    /// The plan is later.
    Late,
}

/// A job's promise.
#[derive(Debug, Clone, PartialEq)]
pub struct Flag {
    /// The job's page.
    pub href: String,
    /// Job number, with how late it is.
    pub label: String,
    /// In a sentence.
    pub words: String,
    /// The moment promised.
    pub at: DateTime<Utc>,
    /// How it stands.
    pub keeping: Keeping,
}

/// Everything on the sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// The time drawn.
    pub axis: Axis,
    /// The shop's clock.
    pub zone: Tz,
    /// Calendar days from end to end.
    pub days: i64,
    /// Now.
    pub now: DateTime<Utc>,
    /// Rows.
    pub groups: Vec<Group>,
    /// Promises.
    pub flags: Vec<Flag>,
    /// What it is a picture of.
    pub title: String,
    /// What it says, in words.
    pub desc: String,
}

/// A row with the lane of each of its blocks.
struct Laid<'a> {
    row: &'a Row,
    y: f64,
    height: f64,
    blocks: Vec<(&'a Block, f64, f64, f64)>,
}

/// Gives each block the first lane that is free where it begins, so that nothing covers anything.
fn lay<'a>(row: &'a Row, axis: &Axis, y: f64) -> Laid<'a> {
    let mut drawn: Vec<(&Block, f64, f64)> = row
        .blocks
        .iter()
        .filter_map(|block| {
            let (a, b) = axis.span((block.times[0], block.times[2]))?;
            Some((block, a, b))
        })
        .collect();
    drawn.sort_by(|a, b| {
        (a.0.side == Side::Before)
            .cmp(&(b.0.side == Side::Before))
            .then(a.1.total_cmp(&b.1))
    });
    let mut lanes: Vec<Vec<(f64, f64)>> = Vec::new();
    let blocks = drawn
        .into_iter()
        .map(|(block, a, b)| {
            let free = lanes
                .iter()
                .position(|lane| {
                    lane.iter()
                        .all(|&(from, to)| b <= from + 0.2 || to - 0.2 <= a)
                })
                .unwrap_or(lanes.len());
            match lanes.get_mut(free) {
                Some(lane) => lane.push((a, b)),
                None => lanes.push(vec![(a, b)]),
            }
            (block, a, b, y + LANE * free as f64 + (LANE - BOX) / 2.0)
        })
        .collect();
    Laid {
        row,
        y,
        height: LANE * lanes.len().max(1) as f64,
        blocks,
    }
}

/// The two drawings side by side: names that stay in sight, and the time axis.
#[must_use]
pub fn draw(id: &str, picture: &Picture) -> Markup {
    let flags = fly(&picture.flags, &picture.axis);
    let levels = flags
        .iter()
        .map(|(_, _, level)| level + 1)
        .max()
        .unwrap_or(0);
    let top = HEAD + FLAG * levels as f64 + if levels > 0 { 8.0 } else { 0.0 };
    let mut y = top;
    let groups: Vec<(&Group, f64, Vec<Laid>)> = picture
        .groups
        .iter()
        .map(|group| {
            let heading = y;
            y += GROUP;
            let rows = group
                .rows
                .iter()
                .map(|row| {
                    let laid = lay(row, &picture.axis, y);
                    y += laid.height;
                    laid
                })
                .collect();
            (group, heading, rows)
        })
        .collect();
    let floor = y;
    let height = floor + 8.0;
    let ticks = ticks(picture);
    html! {
        svg.week-names viewBox={ "0 0 " (NAMES) " " (n(height)) } preserveAspectRatio="xMaxYMin meet" role="group" aria-label="Rows" {
            title { "Machines, people and work sent out" }
            @if levels > 0 { text.group x="2" y=(n(HEAD + 12.0)) { "Promised" } }
            @for (group, heading, rows) in &groups {
                text.group x="2" y=(n(heading + 16.0)) { (group.name) }
                @for laid in rows {
                    line.rule x1="0" x2=(NAMES) y1=(n(laid.y)) y2=(n(laid.y)) {}
                    @let name = html! { text.name x="2" y=(n(laid.y + 18.5)) { (shortened(&laid.row.name, 22)) } };
                    @match &laid.row.href {
                        Some(href) => a href=(href) aria-label=(laid.row.name) { rect.hit x="0" y=(n(laid.y + 1.0)) width=(NAMES) height=(n(laid.height - 2.0)) {} (name) },
                        None => (name),
                    }
                }
            }
        }
        svg.week-plot viewBox={ "0 0 " (PLOT) " " (n(height)) } preserveAspectRatio="xMinYMin meet" role="group"
            aria-labelledby={ (id) "-title " (id) "-desc" } {
            title id={ (id) "-title" } { (picture.title) }
            desc id={ (id) "-desc" } { (picture.desc) }
            (patterns(id))
            @for tick in &ticks {
                line class=(if tick.strong { "day strong" } else { "day" }) x1=(n(tick.x)) x2=(n(tick.x)) y1=(n(HEAD - 8.0)) y2=(n(floor)) {}
                @for (line, word) in tick.words.iter().enumerate() {
                    @if let Some(word) = word {
                        text class=(if line == 0 { "tick upper" } else { "tick" }) x=(n(tick.x + 4.0)) y=(n(12.0 + 15.0 * line as f64)) { (word) }
                    }
                }
            }
            line.axis x1="0" x2=(RIGHT) y1=(n(HEAD - 8.0)) y2=(n(HEAD - 8.0)) {}
            (breaks(picture))
            @for (_, _, rows) in &groups {
                @for laid in rows {
                    line.rule x1="0" x2=(RIGHT) y1=(n(laid.y)) y2=(n(laid.y)) {}
                    @if let Some(open) = &laid.row.open {
                        @for (a, b) in picture.axis.closed(open) {
                            rect.closed x=(n(a)) y=(n(laid.y + 1.0)) width=(n(b - a)) height=(n(laid.height - 1.0)) fill={ "url(#" (id) "-closed)" } {}
                        }
                    }
                }
            }
            line.rule x1="0" x2=(RIGHT) y1=(n(floor)) y2=(n(floor)) {}
            (now_line(picture, floor))
            @for (flag, x, level) in &flags { (draw_flag(id, flag, *x, HEAD + FLAG * *level as f64)) }
            @for (group, _, rows) in &groups {
                @for laid in rows {
                    g.row { @for &(block, a, b, y) in &laid.blocks { (draw_block(id, block, &picture.axis, (a, b), y, group.tab_stops)) } }
                }
            }
        }
    }
}

/// Textures. Their lines take their colour from the style sheet.
fn patterns(id: &str) -> Markup {
    html! {
        defs {
            pattern id={ (id) "-setup" } width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                rect.ground width="5" height="5" {}
                line.hatch x1="0" x2="0" y1="0" y2="5" {}
            }
            pattern id={ (id) "-closed" } width="6" height="6" patternUnits="userSpaceOnUse" {
                circle.dot cx="1.5" cy="1.5" r="0.8" {}
                circle.dot cx="4.5" cy="4.5" r="0.8" {}
            }
            pattern id={ (id) "-risk" } width="4" height="4" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)" {
                line.hatch x1="0" x2="0" y1="0" y2="4" {}
            }
        }
    }
}

struct Tick {
    x: f64,
    strong: bool,
    words: [Option<String>; 2],
}

/// Days, with hours when there is room for them, or weeks when there is none for days.
fn ticks(picture: &Picture) -> Vec<Tick> {
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
fn breaks(picture: &Picture) -> Markup {
    let shown = picture.axis.cuts().filter(|cut| {
        let closed = (cut.opens - cut.closes).num_hours();
        match picture.days {
            ..=7 => true,
            8..=14 => closed >= 4,
            _ => closed >= 40,
        }
    });
    html! {
        @for cut in shown {
            path.break d={ "M" (n(cut.x - 4.0)) " " (n(HEAD - 3.0)) "l4 -10M" (n(cut.x)) " " (n(HEAD - 3.0)) "l4 -10" } {
                title { "Closed from " (show::moment(cut.closes, picture.zone)) " to " (show::moment(cut.opens, picture.zone)) }
            }
        }
    }
}

fn now_line(picture: &Picture, floor: f64) -> Markup {
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

/// Flags with their level: each on the first on which its words do not meet another's.
fn fly<'a>(flags: &'a [Flag], axis: &Axis) -> Vec<(&'a Flag, f64, usize)> {
    let (left, right) = axis.edges();
    let mut ends: Vec<f64> = Vec::new();
    let mut sorted: Vec<&Flag> = flags.iter().collect();
    sorted.sort_by_key(|flag| flag.at);
    sorted
        .into_iter()
        .map(|flag| {
            let x = axis.x(flag.at).clamp(left, right - 1.0);
            let width = flag_width(flag);
            // Near the right edge the words stand to the left of the pole.
            let from = if x + width > right { x - width } else { x };
            let level = ends
                .iter()
                .position(|end| *end <= from)
                .unwrap_or(ends.len());
            match ends.get_mut(level) {
                Some(end) => *end = from + width,
                None => ends.push(from + width),
            }
            (flag, x, level)
        })
        .collect()
}

fn flag_width(flag: &Flag) -> f64 {
    22.0 + LETTER * flag.label.chars().count() as f64
}

fn draw_flag(id: &str, flag: &Flag, x: f64, y: f64) -> Markup {
    let back = x + flag_width(flag) > RIGHT;
    let d = if back { -1.0 } else { 1.0 };
    let (kind, shape) = match flag.keeping {
        Keeping::Holds => ("holds", format!("h{}v8h{}z", n(10.0 * d), n(-10.0 * d))),
        Keeping::AtRisk => ("risk", format!("h{}v8h{}z", n(10.0 * d), n(-10.0 * d))),
        Keeping::Late => (
            "late",
            format!(
                "h{}l{} 4l{} 4h{}z",
                n(12.0 * d),
                n(-4.0 * d),
                n(4.0 * d),
                n(-12.0 * d)
            ),
        ),
    };
    html! {
        a class={ "flag " (kind) } href=(flag.href) {
            title { (flag.words) }
            rect.hit x=(n(if back { x - flag_width(flag) } else { x })) y=(n(y)) width=(n(flag_width(flag))) height=(FLAG) {}
            line.pole x1=(n(x)) x2=(n(x)) y1=(n(y + 1.0)) y2=(n(y + 15.0)) {}
            path.cloth d={ "M" (n(x)) " " (n(y + 1.5)) (shape) } {}
            @if flag.keeping == Keeping::AtRisk {
                path d={ "M" (n(x)) " " (n(y + 1.5)) (shape) } fill={ "url(#" (id) "-risk)" } {}
            }
            text x=(n(x + 15.0 * d)) y=(n(y + 11.0)) text-anchor=[back.then_some("end")] { (flag.label) }
        }
    }
}

fn draw_block(
    id: &str,
    block: &Block,
    axis: &Axis,
    (a, b): (f64, f64),
    y: f64,
    tab_stop: bool,
) -> Markup {
    // However short, it is to be seen.
    let width = (b - a).max(2.5);
    let setup = (axis.x(block.times[1]) - a).clamp(0.0, width);
    let cut = if block.standing == Standing::Started {
        6.0_f64.min(width / 3.0)
    } else {
        0.0
    };
    let outline = outline(
        a,
        y,
        width,
        cut,
        block.standing == Standing::Pinned && width > 14.0,
    );
    let class = match (block.side, block.standing) {
        (Side::Before, _) => "block before",
        (Side::After, _) => "block after",
        (Side::Plain, Standing::Held) => "block held",
        (Side::Plain, Standing::Started) => "block started",
        (Side::Plain, _) => "block",
    };
    let left = if block.standing == Standing::Pinned && width > 14.0 {
        17.0
    } else {
        cut + 4.0
    };
    let label = (block.side != Side::Before)
        .then(|| label(&block.label, width - left - 2.0))
        .flatten();
    let inner = html! {
        title { (block.words) }
        path.body d=(outline) {}
        @if setup > 0.5 && block.side != Side::Before {
            rect.setup x=(n(a + cut.min(setup))) y=(n(y + 0.5)) width=(n((setup - cut).max(0.5))) height=(n(BOX - 1.0)) fill={ "url(#" (id) "-setup)" } {}
            line.seam x1=(n(a + setup)) x2=(n(a + setup)) y1=(n(y)) y2=(n(y + BOX)) {}
        }
        @if block.late && block.side != Side::Before { line.overdue x1=(n(a + 1.0)) x2=(n(a + width - 1.0)) y1=(n(y + BOX - 1.5)) y2=(n(y + BOX - 1.5)) {} }
        path.edge d=(outline) {}
        @if block.standing == Standing::Pinned && width > 14.0 {
            circle.pin cx=(n(a + 9.0)) cy=(n(y + 2.5)) r="3" {}
            line.pin x1=(n(a + 9.0)) x2=(n(a + 9.0)) y1=(n(y + 5.5)) y2=(n(y + 11.0)) {}
        }
        @if let Some(label) = label { text x=(n(a + left)) y=(n(y + 15.0)) { (label) } }
    };
    if block.side == Side::Before {
        return html! { g class=(class) { (inner) } };
    }
    html! {
        a class=(class) href=(block.href) data-block=(block.key) aria-current=[block.chosen.then_some("true")]
            tabindex=[(!tab_stop).then_some("-1")] { (inner) }
    }
}

/// A box; with cut corners at its left when started, with a notch in its top edge when pinned.
fn outline(x: f64, y: f64, width: f64, cut: f64, notch: bool) -> String {
    let (r, b) = (x + width, y + BOX);
    let top = if notch {
        format!("H{}l3.5 5l3.5 -5", n(x + 5.5))
    } else {
        String::new()
    };
    if cut > 0.0 {
        format!(
            "M{} {}{top}H{}V{}H{}L{} {}V{}z",
            n(x + cut),
            n(y),
            n(r),
            n(b),
            n(x + cut),
            n(x),
            n(b - cut),
            n(y + cut)
        )
    } else {
        format!("M{} {}{top}H{}V{}H{}z", n(x), n(y), n(r), n(b), n(x))
    }
}

/// As much of the label as there is room for: number and words, the number, nothing.
fn label((number, what): &(String, String), room: f64) -> Option<String> {
    let letters = (room / LETTER).floor().max(0.0) as usize;
    let short = number.chars().count();
    if letters < short {
        return None;
    }
    let words = letters - short;
    if words < 6 || what.is_empty() {
        return Some(number.clone());
    }
    Some(format!("{number} {}", shortened(what, words - 1)))
}

fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

/// A coordinate with one decimal.
fn n(value: f64) -> String {
    format!("{value:.1}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_gives_way_step_by_step() {
        let of = |room| label(&("214".into(), "Line bore the mains".into()), room);
        assert_eq!(of(300.0).as_deref(), Some("214 Line bore the mains"));
        assert_eq!(of(LETTER * 14.5).as_deref(), Some("214 Line bore…"));
        assert_eq!(of(LETTER * 5.0).as_deref(), Some("214"));
        assert_eq!(of(LETTER * 2.9), None);
        assert_eq!(of(-5.0), None);
    }
}
