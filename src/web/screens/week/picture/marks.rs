//! Blocks of work and flags of promises.

use super::super::axis::Axis;
use super::{BOX, Block, BlockState, FLAG, Flag, LETTER, Layer, RIGHT, RowSets, n, shortened};
use crate::planning::floor::PromiseStatus;
use maud::{Markup, html};
use std::fmt::Write;

/// Flags with their level: each on the first on which its words do not meet another's.
pub(super) fn flags_by_level<'a>(flags: &'a [Flag], axis: &Axis) -> Vec<(&'a Flag, f64, usize)> {
    let (left, right) = axis.edges();
    let mut ends: Vec<f64> = Vec::new();
    let mut sorted: Vec<&Flag> = flags.iter().collect();
    sorted.sort_by_key(|flag| flag.at);
    sorted
        .into_iter()
        .map(|flag| {
            let x = axis.x(flag.at).clamp(left, right - 1.0);
            let width = flag_width(flag);
            // Near the right edge the words go to the left of the pole.
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

pub(super) fn draw_flag(id: &str, flag: &Flag, x: f64, y: f64) -> Markup {
    let back = x + flag_width(flag) > RIGHT;
    let d = if back { -1.0 } else { 1.0 };
    let (kind, shape) = match flag.status {
        PromiseStatus::OnTime => ("holds", format!("h{}v8h{}z", n(10.0 * d), n(-10.0 * d))),
        PromiseStatus::AtRisk => ("risk", format!("h{}v8h{}z", n(10.0 * d), n(-10.0 * d))),
        PromiseStatus::Late => (
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
            path.cloth d={ "M" (n(x)) " " (n(y + 15.0)) "V" (n(y + 1.5)) (shape) } {}
            @if flag.status == PromiseStatus::AtRisk {
                path d={ "M" (n(x)) " " (n(y + 1.5)) (shape) } fill={ "url(#" (id) "-risk)" } {}
            }
            text x=(n(x + 15.0 * d)) y=(n(y + 11.0)) text-anchor=[back.then_some("end")] { (flag.label) }
        }
    }
}

/// Blocks as they are drawn, with what is drawn over them all: a texture or a stroke is one shape for the whole picture,
/// however many blocks have it.
pub(super) struct Drawing<'a> {
    axis: &'a Axis,
    sets: &'a RowSets<'a>,
    setups: String,
    seams: String,
    overdue: String,
    labels: Vec<Markup>,
}

impl<'a> Drawing<'a> {
    pub(super) fn new(axis: &'a Axis, sets: &'a RowSets<'a>) -> Self {
        Self {
            axis,
            sets,
            setups: String::new(),
            seams: String::new(),
            overdue: String::new(),
            labels: Vec::new(),
        }
    }

    /// A block from `a` to `b`. One that is on another row `again` says no more than which it is: the script gives it what
    /// the first has.
    pub(super) fn block(
        &mut self,
        block: &Block,
        (a, b): (f64, f64),
        y: f64,
        again: bool,
    ) -> Markup {
        // However short, it is to be seen.
        let width = (b - a).max(2.5);
        let cut = if block.state == BlockState::Started {
            6.0_f64.min(width / 3.0)
        } else {
            0.0
        };
        let pinned = block.state == BlockState::Pinned && width > 14.0;
        let class = match (block.layer, block.state) {
            (Layer::Before, _) => "block before",
            (Layer::After, _) => "block after",
            (Layer::Plain, BlockState::Reserved) => "block held",
            (Layer::Plain, BlockState::Started) => "block started",
            (Layer::Plain, _) => "block",
        };
        let outline = html! { path d=(outline(a, y, width, cut, pinned)) {} };
        if block.layer == Layer::Before {
            return html! { g class=(class) { title { (block.words) } (outline) } };
        }
        self.over(block, (a, width), y, cut, pinned);
        let current = block.chosen.then_some("true");
        if again {
            return html! { g class=(class) data-again=(block.key) aria-current=[current] { (outline) } };
        }
        let set = self.sets.iter().position(|(keys, _)| *keys == block.rows);
        html! {
            a class=(class) href=(block.href) data-block=(block.key) data-rows=[set] aria-current=[current] {
                title { (block.words) }
                (outline)
            }
        }
    }

    /// What is drawn over a block: the setup, the stroke of a late job, the pin, the label.
    fn over(&mut self, block: &Block, (a, width): (f64, f64), y: f64, cut: f64, pinned: bool) {
        let setup = (self.axis.x(block.times[1]) - a).clamp(0.0, width);
        if setup > 0.5 {
            let (from, long) = (a + cut.min(setup), (setup - cut).max(0.5));
            let high = BOX - 1.0;
            let _ = write!(
                self.setups,
                "M{} {}h{}v{}h{}z",
                n(from),
                n(y + 0.5),
                n(long),
                n(high),
                n(-long)
            );
            let _ = write!(self.seams, "M{} {}v{}", n(a + setup), n(y), n(BOX));
        }
        if block.late {
            let _ = write!(
                self.overdue,
                "M{} {}H{}",
                n(a + 1.0),
                n(y + BOX - 1.5),
                n(a + width - 1.0)
            );
        }
        let left = if pinned { 17.0 } else { cut + 4.0 };
        let class = match (block.layer, block.state) {
            (Layer::After, _) => Some("after"),
            (_, BlockState::Started) => Some("started"),
            _ => None,
        };
        let label = label(&block.label, width - left - 2.0);
        self.labels.push(html! {
            @if pinned {
                circle.pin cx=(n(a + 9.0)) cy=(n(y + 2.5)) r="3" {}
                path.pin d={ "M" (n(a + 9.0)) " " (n(y + 5.5)) "v5.5" } {}
            }
            @if let Some(label) = label { text class=[class] x=(n(a + left)) y=(n(y + 15.0)) { (label) } }
        });
    }

    /// What is drawn over the blocks, once all of them are drawn. Their links say the same.
    pub(super) fn marks(&self, id: &str) -> Markup {
        html! {
            g.marks aria-hidden="true" {
                path d=(self.setups) fill={ "url(#" (id) "-setup)" } {}
                path.seam d=(self.seams) {}
                path.overdue d=(self.overdue) {}
                @for label in &self.labels { (label) }
            }
        }
    }
}

/// Blocks as one shape that leads nowhere.
pub(super) fn shapes(blocks: &[(&Block, f64, f64, f64)]) -> Markup {
    let shapes: String = blocks
        .iter()
        .map(|&(_, a, b, y)| outline(a, y, (b - a).max(2.5), 0.0, false))
        .collect();
    html! { g.block { path d=(shapes) {} } }
}

/// A box; with cut corners at its left when started, with a notch in its top edge when pinned.
fn outline(x: f64, y: f64, width: f64, cut: f64, notch: bool) -> String {
    let (from, top, right, high) = (n(x + cut), n(y), n(x + width), n(BOX));
    let notch = if notch { "h5.5l3.5 5l3.5 -5" } else { "" };
    let corners = if cut > 0.0 {
        format!("l{0} {0}v{1}", n(-cut), n(2.0 * cut - BOX))
    } else {
        String::new()
    };
    format!("M{from} {top}{notch}H{right}v{high}H{from}{corners}z")
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
