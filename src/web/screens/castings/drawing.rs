//! A face drawn: its outline, what is machined in it, and marks on what a conversion changes. A pure function to SVG.
//!
//! Drawn at the width of a phone, so that the lettering is legible there; on a wider screen the whole grows.
//! A tapped hole is drawn as ISO 6410-1 has the end view of an internal thread (from memory): the crests as a thick
//! circle, the roots as a thin three-quarter circle, open in the right-hand upper quadrant. Every mark is a shape of its
//! own with its word in the label, so that nothing hangs on colour.

use super::labels::{self, Circle, Label, Rect, Wanted};
use crate::castings::{Action, Feature, FeatureKind, Outline};
use crate::units::{Length, LengthUnit};
use maud::{Markup, html};

/// Width of the sheet in its own units.
const WIDTH: f64 = 300.0;
/// Margin round the outline, for the datum and the lettering.
const MARGIN: f64 = 15.0;
/// Tallest outline.
const TALLEST: f64 = 360.0;
/// Height of lettering.
const LETTERING: f64 = 10.0;
/// The smallest hole is drawn this large, however small the scale makes it.
const SMALLEST_RADIUS: f64 = 3.0;

/// From this radius a circle is wide: its mark stands at its middle.
const WIDE: f64 = 20.0;

/// What is said of a feature on a drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Marked<'a> {
    /// The feature.
    pub feature: &'a Feature,
    /// What is done about it; `None` where nothing is.
    pub action: Option<Action>,
}

/// One face to draw.
#[derive(Debug)]
pub struct Drawing<'a> {
    /// Unique on the page, for the picture's title.
    pub id: &'a str,
    /// What it shows, e.g. "Rear face, as wanted: Tarn 4/90 marine".
    pub title: &'a str,
    /// The face.
    pub outline: &'a Outline,
    /// What is on it.
    pub features: &'a [Marked<'a>],
    /// The shop's unit, for sizes.
    pub unit: LengthUnit,
}

/// A mark's word in labels and the legend.
#[must_use]
pub fn mark_word(action: Action) -> &'static str {
    match action {
        Action::Machine => "make",
        Action::Rework => "rework",
        Action::PlugAndRedo => "redo",
        Action::Plug => "plug",
        Action::Leave => "leave",
        Action::Caution => "caution",
        Action::Impossible => "cannot",
    }
}

/// A feature's size as a drawing writes it: `M10x1.5`, `⌀12 H7`, `6× ⌀8.5`, in the shop's unit.
#[must_use]
pub fn size_label(feature: &Feature, unit: LengthUnit) -> String {
    let size = match &feature.thread {
        Some(thread) => thread.to_string(),
        None => format!("⌀{}", bare(feature.size, unit)),
    };
    let count = match feature.count {
        1 => String::new(),
        count => format!("{count}× "),
    };
    let fit = feature
        .fit
        .as_ref()
        .map(|fit| format!(" {fit}"))
        .unwrap_or_default();
    format!("{count}{size}{fit}")
}

/// A length without its unit in millimetres, with the inch mark in inches.
fn bare(length: Length, unit: LengthUnit) -> String {
    let shown = length.show(unit);
    match shown.strip_suffix(" in") {
        Some(inches) => format!("{inches}\""),
        None => shown.strip_suffix(" mm").unwrap_or(&shown).to_owned(),
    }
}

/// A face as SVG with its title and description.
#[must_use]
pub fn face(drawing: &Drawing<'_>) -> Markup {
    let sheet = Sheet::new(drawing.outline);
    let drawn: Vec<(&Marked<'_>, Circle)> = drawing
        .features
        .iter()
        .filter_map(|one| Some((one, sheet.circle(one.feature)?)))
        .collect();
    let labels = sheet.labels(drawing.unit, &drawn);
    let title_id = format!("{}-title", drawing.id);
    let desc_id = format!("{}-desc", drawing.id);
    html! {
        svg.face-drawing role="img" viewBox={ "0 0 " (n(WIDTH)) " " (n(sheet.height)) }
            aria-labelledby={ (title_id) " " (desc_id) } xmlns="http://www.w3.org/2000/svg" {
            title id=(title_id) { (drawing.title) }
            desc id=(desc_id) { (description(drawing)) }
            rect.outline x=(n(sheet.left)) y=(n(sheet.top)) rx="3"
                width=(n(sheet.right - sheet.left)) height=(n(sheet.bottom - sheet.top)) {}
            (sheet.datum())
            @for (one, circle) in &drawn {
                g.feature { title { (spoken(one, drawing.unit)) } (hole(one.feature, circle))
                    @if let Some(action) = one.action { (mark(action, circle)) } }
            }
            @for (label, marked) in &labels { (lettering(label, *marked)) }
            text.extent x=(n(sheet.right)) y=(n(sheet.height - 5.0)) text-anchor="end" {
                (bare(drawing.outline.width, drawing.unit)) " × " (drawing.outline.height.show(drawing.unit))
            }
        }
    }
}

/// A mark on its own, beside its word.
#[must_use]
pub fn symbol(action: Action) -> Markup {
    let circle = Circle {
        x: 14.0,
        y: 14.0,
        r: 4.0,
    };
    html! {
        svg.face-drawing.symbol viewBox="0 0 28 28" width="28" height="28" aria-hidden="true" {
            circle.edge cx="14" cy="14" r="4" {} (mark(action, &circle))
        }
    }
}

/// The marks used, each drawn and in words.
#[must_use]
pub fn legend(actions: impl IntoIterator<Item = Action>) -> Markup {
    html! {
        ul.drawing-legend {
            @for action in actions {
                li { (symbol(action)) span { b { (mark_word(action)) } ": " (legend_words(action)) } }
            }
        }
    }
}

fn legend_words(action: Action) -> &'static str {
    match action {
        Action::Machine => "to be made in sound metal",
        Action::Rework => "to be opened out to the new size",
        Action::PlugAndRedo => "to be plugged or sleeved, then made anew",
        Action::Plug => "to be closed",
        Action::Leave => "left as it is; harmless",
        Action::Caution => "left as it is; the customer must hear of it",
        Action::Impossible => "cannot be done; the list says why",
    }
}

/// Where things lie on the sheet.
struct Sheet {
    left: f64,
    top: f64,
    right: f64,
    bottom: f64,
    height: f64,
    scale: f64,
}

impl Sheet {
    fn new(outline: &Outline) -> Self {
        let (width, height) = (
            outline.width.mm_f64().max(1.0),
            outline.height.mm_f64().max(1.0),
        );
        let scale = ((WIDTH - 2.0 * MARGIN) / width).min(TALLEST / height);
        let left = (WIDTH - width * scale) / 2.0;
        Self {
            left,
            top: MARGIN,
            right: left + width * scale,
            bottom: MARGIN + height * scale,
            height: 2.0 * MARGIN + height * scale,
            scale,
        }
    }

    /// A feature in end view; `None` where nobody has measured its position.
    fn circle(&self, feature: &Feature) -> Option<Circle> {
        let at = feature.at?;
        Some(Circle {
            x: self.left + at.x.mm_f64() * self.scale,
            y: self.bottom - at.y.mm_f64() * self.scale,
            r: (feature.size.mm_f64() * self.scale / 2.0).max(SMALLEST_RADIUS),
        })
    }

    /// The datum from which positions are given: across and up.
    fn datum(&self) -> Markup {
        let (x, y) = (self.left, self.bottom);
        html! {
            g.datum {
                title { "Datum: positions are across and up from this corner" }
                path d={ "M" (n(x)) " " (n(y)) "h22m-5 -2.5l5 2.5l-5 2.5M" (n(x)) " " (n(y)) "v-22m-2.5 5l2.5 -5l2.5 5" } {}
                circle cx=(n(x)) cy=(n(y)) r="2.5" {}
                text x=(n(x)) y=(n(y + 13.0)) text-anchor="middle" { "0" }
            }
        }
    }

    /// The labels that found room, and whether each is of a marked feature; marked ones are placed first.
    fn labels(&self, unit: LengthUnit, drawn: &[(&Marked<'_>, Circle)]) -> Vec<(Label, bool)> {
        // Inside the marks' shapes nothing is written either.
        let marks: Vec<Circle> = drawn
            .iter()
            .filter(|(one, _)| one.action.is_some())
            .map(|(_, circle)| Circle {
                r: mark_radius(circle) * 1.3,
                ..*circle
            })
            .collect();
        let circles = drawn.iter().map(|(_, circle)| *circle);
        let kept_free: Vec<Circle> = circles.chain(marks).collect();
        let mut ranked: Vec<&(&Marked<'_>, Circle)> = drawn.iter().collect();
        ranked.sort_by_key(|(one, _)| one.action.is_none());
        let wanted: Vec<Wanted> = ranked
            .iter()
            .map(|(one, circle)| {
                let label = &one.feature.place.label;
                let size = size_label(one.feature, unit);
                let forms = match one.action.map(mark_word) {
                    Some(word) => vec![format!("{word} {label} {size}"), format!("{word} {label}")],
                    None => vec![format!("{label} {size}"), label.clone()],
                };
                let r = match one.action {
                    Some(_) if circle.r <= WIDE => mark_radius(circle) * 1.3,
                    _ => circle.r,
                };
                Wanted {
                    beside: Circle { r, ..*circle },
                    forms,
                }
            })
            .collect();
        let inside = Rect {
            left: self.left + 1.0,
            top: self.top + 1.0,
            right: self.right - 1.0,
            bottom: self.bottom - 1.0,
        };
        let whole = Rect {
            left: 1.0,
            top: 1.0,
            right: WIDTH - 1.0,
            bottom: self.bottom - 1.0,
        };
        labels::place([inside, whole], &kept_free, &wanted, LETTERING)
            .into_iter()
            .zip(ranked)
            .filter_map(|(label, (one, _))| Some((label?, one.action.is_some())))
            .collect()
    }
}

fn lettering(label: &Label, marked: bool) -> Markup {
    let class = if marked { "label marked" } else { "label" };
    html! {
        @if let Some([from, to]) = label.leader {
            line.leader x1=(n(from.0)) y1=(n(from.1)) x2=(n(to.0)) y2=(n(to.1)) {}
        }
        text class=(class) x=(n((label.area.left + label.area.right) / 2.0)) y=(n(label.area.bottom - 2.2))
            text-anchor="middle" { (label.text) }
    }
}

/// A feature in end view, with its centre lines.
fn hole(feature: &Feature, circle: &Circle) -> Markup {
    let Circle { x, y, r } = *circle;
    let reach = r + 3.5;
    html! {
        path.centre-line d={ "M" (n(x - reach)) " " (n(y)) "H" (n(x + reach)) "M" (n(x)) " " (n(y - reach)) "V" (n(y + reach)) } {}
        @match feature.kind {
            FeatureKind::TappedHole => {
                circle.edge cx=(n(x)) cy=(n(y)) r=(n(r * 0.78)) {}
                path.thread d={ "M" (n(x + r)) " " (n(y)) "A" (n(r)) " " (n(r)) " 0 1 1 " (n(x)) " " (n(y - r)) } {}
            }
            FeatureKind::DowelHole => {
                circle.edge cx=(n(x)) cy=(n(y)) r=(n(r)) {}
                path.dowel d={ "M" (n(x)) " " (n(y)) "V" (n(y - r)) "A" (n(r)) " " (n(r)) " 0 0 1 " (n(x + r)) " " (n(y)) "Z"
                    "M" (n(x)) " " (n(y)) "V" (n(y + r)) "A" (n(r)) " " (n(r)) " 0 0 1 " (n(x - r)) " " (n(y)) "Z" } {}
            }
            FeatureKind::Counterbore | FeatureKind::Spotface | FeatureKind::SealSeat => {
                circle.edge cx=(n(x)) cy=(n(y)) r=(n(r)) {}
                circle.edge cx=(n(x)) cy=(n(y)) r=(n(r * 0.55)) {}
            }
            FeatureKind::Register => {
                circle.edge cx=(n(x)) cy=(n(y)) r=(n(r)) {}
                circle.thread cx=(n(x)) cy=(n(y)) r=(n((r - 2.5).max(1.0))) {}
            }
            FeatureKind::CorePlugBore => {
                circle.edge cx=(n(x)) cy=(n(y)) r=(n(r)) {}
                circle.edge cx=(n(x)) cy=(n(y)) r=(n(r * 0.8)) {}
            }
            FeatureKind::PlainHole | FeatureKind::Bore => { circle.edge cx=(n(x)) cy=(n(y)) r=(n(r)) {} }
        }
    }
}

/// How far a mark's shape reaches from the centre: round a hole, or at the middle of a wide bore.
fn mark_radius(circle: &Circle) -> f64 {
    if circle.r > WIDE {
        8.0
    } else {
        (circle.r + 3.0).max(8.0)
    }
}

/// The shape of a mark round a hole: square, diamond, hexagon, hatch, dotted ring, triangle, cross.
fn mark(action: Action, circle: &Circle) -> Markup {
    let Circle { x, y, .. } = *circle;
    let r = mark_radius(circle);
    let around = |turn: f64, corners: u32, reach: f64| {
        let points: Vec<String> = (0..corners)
            .map(|i| {
                let angle =
                    turn.to_radians() + std::f64::consts::TAU * f64::from(i) / f64::from(corners);
                format!(
                    "{} {}",
                    n(x + reach * angle.cos()),
                    n(y + reach * angle.sin())
                )
            })
            .collect();
        format!("M{}Z", points.join("L"))
    };
    let cross = |reach: f64| {
        format!(
            "M{} {}l{} {}m0 {}l{} {}",
            n(x - reach),
            n(y - reach),
            n(2.0 * reach),
            n(2.0 * reach),
            n(-2.0 * reach),
            n(-2.0 * reach),
            n(2.0 * reach)
        )
    };
    html! {
        @match action {
            Action::Machine => { path.mark.work d=(around(45.0, 4, r * 1.2)) {} }
            Action::Rework => { path.mark.work d=(around(0.0, 4, r * 1.3)) {} }
            Action::PlugAndRedo => { path.mark.work d=(around(0.0, 6, r * 1.15)) {}
                path.mark.work d={ "M" (n(x - r * 0.5)) " " (n(y + r * 0.5)) "L" (n(x + r * 0.5)) " " (n(y - r * 0.5)) } {} }
            Action::Plug => { circle.mark.work cx=(n(x)) cy=(n(y)) r=(n(r)) {}
                path.mark.work d={ "M" (n(x - r * 0.7)) " " (n(y + r * 0.7)) "L" (n(x + r * 0.7)) " " (n(y - r * 0.7)) } {} }
            Action::Leave => { circle.mark.leave cx=(n(x)) cy=(n(y)) r=(n(r)) {} }
            Action::Caution => { path.mark.caution d=(around(-90.0, 3, r * 1.5)) {} }
            Action::Impossible => { path.mark.impossible d=(cross(r * 0.9)) {} }
        }
    }
}

/// A feature in words, for those who listen to the picture or hover over it.
fn spoken(one: &Marked<'_>, unit: LengthUnit) -> String {
    let feature = one.feature;
    let depth = match feature.depth {
        Some(depth) => format!("{} deep", depth.show(unit)),
        None => "through".to_owned(),
    };
    let action = one
        .action
        .map(|action| format!(": {}", mark_word(action)))
        .unwrap_or_default();
    format!(
        "{} {} {}, {depth}{action}",
        feature.place.label,
        feature.kind,
        size_label(feature, unit)
    )
}

fn description(drawing: &Drawing<'_>) -> String {
    if drawing.features.is_empty() {
        return "Nothing is machined on this face.".to_owned();
    }
    let (marked, plain): (Vec<&Marked<'_>>, Vec<&Marked<'_>>) = drawing
        .features
        .iter()
        .partition(|one| one.action.is_some());
    let list = |of: &[&Marked<'_>]| {
        let each: Vec<String> = of.iter().map(|one| spoken(one, drawing.unit)).collect();
        each.join("; ")
    };
    match (marked.is_empty(), plain.is_empty()) {
        (true, _) => format!("{}.", list(&plain)),
        (false, true) => format!("Differing: {}.", list(&marked)),
        (false, false) => format!(
            "Differing: {}. The same in both: {}.",
            list(&marked),
            list(&plain)
        ),
    }
}

/// A coordinate with as many digits as a screen can show.
fn n(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests;
