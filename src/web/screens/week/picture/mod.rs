//! The week, drawn: machines, then people, then what is sent out, against working hours only.
//!
//! Nothing is shown by colour alone. Setup is hatched and run is plain; started work has its corners cut, pinned work a
//! notch with a pin in it, a slot reserved for a quote a dashed edge; a promise is a flag, square when it is on time, half hatched
//! when it is at risk, swallow-tailed with the word when it is late. What a row cannot use is dotted over.

mod marks;
mod ticks;

use super::axis::{Axis, Span};
use crate::planning::floor::{PromiseStatus, Resource};
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use marks::{Drawing, draw_flag, flags_by_level, shapes};
use maud::{Markup, html};
use std::collections::BTreeSet;
use ticks::{breaks, now_line, ticks};
use uuid::Uuid;

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

/// How far a block has come, or why it may not move: shown by its shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BlockState {
    /// May still move.
    Queued,
    /// Has begun.
    Started,
    /// Pinned by hand.
    Pinned,
    /// A slot reserved for a quote.
    Reserved,
}

/// Which plan a block belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layer {
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
    /// What it is, for the keyboard to come back to, and for the same work on another row to say no more than this.
    pub key: String,
    /// Where Enter leads.
    pub href: String,
    /// Job number, and what is done.
    pub label: (String, String),
    /// Everything about it: a line that names it, then a line that says where and when.
    pub words: String,
    /// Start, end of the setup, end.
    pub times: [DateTime<Utc>; 3],
    /// Shape.
    pub state: BlockState,
    /// Its job is late.
    pub late: bool,
    /// Which plan.
    pub layer: Layer,
    /// It is the one looked at.
    pub chosen: bool,
    /// The rows it may be moved to, by key; empty when it may not be moved.
    pub rows: Vec<Uuid>,
}

/// A machine, a person, or work sent out.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Its name.
    pub name: String,
    /// Its own panel, if it has one.
    pub href: Option<String>,
    /// The machine or person; `None` for work sent out.
    pub whose: Option<Resource>,
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
    /// Whether Tab stops at its blocks; work that is in another group already is passed over.
    pub tab_stops: bool,
    /// Whether its blocks are drawn and lead nowhere: work that is in another group too, on a picture with too many.
    pub drawn_only: bool,
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
    /// How the job stands against it.
    pub status: PromiseStatus,
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
        (a.0.layer == Layer::Before)
            .cmp(&(b.0.layer == Layer::Before))
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
    let flags = flags_by_level(&picture.flags, &picture.axis);
    let levels = flags
        .iter()
        .map(|(_, _, level)| level + 1)
        .max()
        .unwrap_or(0);
    let top = HEAD + FLAG * levels as f64 + if levels > 0 { 8.0 } else { 0.0 };
    let mut y = top;
    let groups: Vec<LaidGroup> = picture
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
    let rows: Vec<&Laid> = groups.iter().flat_map(|(_, _, rows)| rows).collect();
    let sets = row_sets(&rows);
    let linked: BTreeSet<&str> = groups
        .iter()
        .filter(|(group, _, _)| group.tab_stops)
        .flat_map(|(_, _, rows)| rows)
        .flat_map(|laid| &laid.blocks)
        .filter(|(block, ..)| block.layer != Layer::Before)
        .map(|(block, ..)| block.key.as_str())
        .collect();
    let mut drawing = Drawing::new(&picture.axis, &sets);
    let boxes: Vec<Vec<Markup>> = groups
        .iter()
        .flat_map(|(group, _, rows)| rows.iter().map(move |laid| (group, laid)))
        .map(|(group, laid)| {
            let again = |block: &Block| !group.tab_stops && linked.contains(block.key.as_str());
            if group.drawn_only {
                return vec![shapes(&laid.blocks)];
            }
            let blocks = laid.blocks.iter();
            blocks
                .map(|&(block, a, b, y)| drawing.block(block, (a, b), y, again(block)))
                .collect()
        })
        .collect();
    html! {
        (names(&groups, height, levels > 0))
        svg.week-plot viewBox={ "0 0 " (PLOT) " " (n(height)) } preserveAspectRatio="xMinYMin meet" role="group"
            aria-labelledby={ (id) "-title " (id) "-desc" } data-open=(open_places(picture)) data-scale=(picture.axis.scale())
            data-sets=(sets_in_words(&sets)) {
            title id={ (id) "-title" } { (picture.title) }
            desc id={ (id) "-desc" } { (picture.desc) }
            (patterns(id))
            (draw_ticks(&ticks, floor))
            line.axis x1="0" x2=(RIGHT) y1=(n(HEAD - 8.0)) y2=(n(HEAD - 8.0)) {}
            (breaks(picture))
            @for laid in &rows {
                line.rule x1="0" x2=(RIGHT) y1=(n(laid.y)) y2=(n(laid.y)) {}
                (closed(id, laid, &picture.axis))
            }
            line.rule x1="0" x2=(RIGHT) y1=(n(floor)) y2=(n(floor)) {}
            (now_line(picture, floor))
            @for (flag, x, level) in &flags { (draw_flag(id, flag, *x, HEAD + FLAG * *level as f64)) }
            @for (laid, boxes) in rows.iter().zip(&boxes) {
                g.row data-machine=[machine(laid.row)] data-person=[person(laid.row)] data-name=(laid.row.name)
                    data-y=(n(laid.y)) data-height=(n(laid.height)) { @for block in boxes { (block) } }
            }
            (drawing.marks(id))
        }
    }
}

fn draw_ticks(ticks: &[ticks::Tick], floor: f64) -> Markup {
    html! {
        @for tick in ticks {
            line class=(if tick.strong { "day strong" } else { "day" }) x1=(n(tick.x)) x2=(n(tick.x)) y1=(n(HEAD - 8.0)) y2=(n(floor)) {}
            @for (line, word) in tick.words.iter().enumerate() {
                @if let Some(word) = word {
                    text class=(if line == 0 { "tick upper" } else { "tick" }) x=(n(tick.x + 4.0)) y=(n(12.0 + 15.0 * line as f64)) { (word) }
                }
            }
        }
    }
}

/// A position: one decimal is finer than anyone sees, and a whole number needs none.
fn n(value: f64) -> String {
    let text = crate::web::ui::show::coordinate(value);
    match text.strip_suffix(".0") {
        Some("-0") => "0".to_owned(),
        Some(whole) => whole.to_owned(),
        None => text,
    }
}

/// What a row cannot use: a line as thick as the row is high, broken where it can.
fn closed(id: &str, laid: &Laid, axis: &Axis) -> Markup {
    let closed = laid.row.open.as_ref().map(|open| axis.closed(open));
    let mut strokes = String::new();
    // Each from where the last ended, in tenths, so that no rounding adds up.
    let tenths = |x: f64| (x * 10.0).round();
    let mut at = None;
    for (a, b) in closed.iter().flatten() {
        let (a, b) = (tenths(*a), tenths(*b));
        strokes += &match at {
            None => format!("M{} {}", n(a / 10.0), n(laid.y + (laid.height + 1.0) / 2.0)),
            Some(before) => format!("m{} 0", n((a - before) / 10.0)),
        };
        strokes += &format!("h{}", n((b - a) / 10.0));
        at = Some(b);
    }
    html! {
        @if !strokes.is_empty() {
            path.closed d=(strokes) stroke-width=(n(laid.height - 1.0)) stroke={ "url(#" (id) "-closed)" } {}
        }
    }
}

/// The different sets of rows that blocks may be moved to: keys with the numbers of their rows from the top.
type RowSets<'a> = Vec<(&'a [Uuid], Vec<usize>)>;

fn row_sets<'a>(rows: &[&Laid<'a>]) -> RowSets<'a> {
    let numbers = |keys: &[Uuid]| -> Vec<usize> {
        let may = |laid: &Laid| matches!(laid.row.whose, Some(Resource::Machine(id) | Resource::Person(id)) if keys.contains(&id));
        let numbered = rows.iter().enumerate();
        numbered
            .filter(|(_, laid)| may(laid))
            .map(|(i, _)| i)
            .collect()
    };
    let mut sets: RowSets = Vec::new();
    for (block, ..) in rows.iter().flat_map(|laid| &laid.blocks) {
        if !block.rows.is_empty() && !sets.iter().any(|(keys, _)| *keys == block.rows) {
            sets.push((&block.rows, numbers(&block.rows)));
        }
    }
    sets
}

/// The same for the script that moves boxes: `0 9 10;1 9`.
fn sets_in_words(sets: &RowSets) -> String {
    let set = |(_, rows): &(&[Uuid], Vec<usize>)| {
        let rows: Vec<String> = rows.iter().map(usize::to_string).collect();
        rows.join(" ")
    };
    sets.iter().map(set).collect::<Vec<_>>().join(";")
}

/// The open stretches for the script that moves boxes: position, beginning by the shop's clock, minutes.
fn open_places(picture: &Picture) -> String {
    let places = picture.axis.places().map(|(x, (from, until))| {
        let begins = from.with_timezone(&picture.zone).format("%Y-%m-%dT%H:%M");
        format!("{} {begins} {}", n(x), (until - from).num_minutes())
    });
    places.collect::<Vec<_>>().join(";")
}

fn machine(row: &Row) -> Option<Uuid> {
    match row.whose {
        Some(Resource::Machine(id)) => Some(id),
        _ => None,
    }
}

fn person(row: &Row) -> Option<Uuid> {
    match row.whose {
        Some(Resource::Person(id)) => Some(id),
        _ => None,
    }
}

/// A group of rows as it is laid out: its heading's place, and its rows.
type LaidGroup<'a> = (&'a Group, f64, Vec<Laid<'a>>);

/// The names beside the rows.
fn names(groups: &[LaidGroup], height: f64, flags: bool) -> Markup {
    html! {
        svg.week-names viewBox={ "0 0 " (NAMES) " " (n(height)) } preserveAspectRatio="xMaxYMin meet" role="group" aria-label="Rows" {
            title { "Machines, people and work sent out" }
            @if flags { text.group x="2" y=(n(HEAD + 12.0)) { "Promised" } }
            @for (group, heading, rows) in groups {
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

fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}
