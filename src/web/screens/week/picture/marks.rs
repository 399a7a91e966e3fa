//! Blocks of work and flags of promises.

use super::super::axis::Axis;
use super::{BOX, Block, BlockState, FLAG, Flag, LETTER, Layer, RIGHT, n, shortened};
use crate::planning::floor::PromiseStatus;
use maud::{Markup, html};

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
            line.pole x1=(n(x)) x2=(n(x)) y1=(n(y + 1.0)) y2=(n(y + 15.0)) {}
            path.cloth d={ "M" (n(x)) " " (n(y + 1.5)) (shape) } {}
            @if flag.status == PromiseStatus::AtRisk {
                path d={ "M" (n(x)) " " (n(y + 1.5)) (shape) } fill={ "url(#" (id) "-risk)" } {}
            }
            text x=(n(x + 15.0 * d)) y=(n(y + 11.0)) text-anchor=[back.then_some("end")] { (flag.label) }
        }
    }
}

pub(super) fn draw_block(
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
    let cut = if block.state == BlockState::Started {
        6.0_f64.min(width / 3.0)
    } else {
        0.0
    };
    let outline = outline(
        a,
        y,
        width,
        cut,
        block.state == BlockState::Pinned && width > 14.0,
    );
    let class = match (block.layer, block.state) {
        (Layer::Before, _) => "block before",
        (Layer::After, _) => "block after",
        (Layer::Plain, BlockState::Reserved) => "block held",
        (Layer::Plain, BlockState::Started) => "block started",
        (Layer::Plain, _) => "block",
    };
    let left = if block.state == BlockState::Pinned && width > 14.0 {
        17.0
    } else {
        cut + 4.0
    };
    let label = (block.layer != Layer::Before)
        .then(|| label(&block.label, width - left - 2.0))
        .flatten();
    let inner = html! {
        title { (block.words) }
        path.body d=(outline) {}
        @if setup > 0.5 && block.layer != Layer::Before {
            rect.setup x=(n(a + cut.min(setup))) y=(n(y + 0.5)) width=(n((setup - cut).max(0.5))) height=(n(BOX - 1.0)) fill={ "url(#" (id) "-setup)" } {}
            line.seam x1=(n(a + setup)) x2=(n(a + setup)) y1=(n(y)) y2=(n(y + BOX)) {}
        }
        @if block.late && block.layer != Layer::Before { line.overdue x1=(n(a + 1.0)) x2=(n(a + width - 1.0)) y1=(n(y + BOX - 1.5)) y2=(n(y + BOX - 1.5)) {} }
        path.edge d=(outline) {}
        @if block.state == BlockState::Pinned && width > 14.0 {
            circle.pin cx=(n(a + 9.0)) cy=(n(y + 2.5)) r="3" {}
            line.pin x1=(n(a + 9.0)) x2=(n(a + 9.0)) y1=(n(y + 5.5)) y2=(n(y + 11.0)) {}
        }
        @if let Some(label) = label { text x=(n(a + left)) y=(n(y + 15.0)) { (label) } }
    };
    if block.layer == Layer::Before {
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
