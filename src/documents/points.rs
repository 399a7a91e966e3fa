//! The features of a face as points from its datum: a table for a mill's digital readout, and a drawing for programs that
//! read DXF.
//!
//! The DXF is of release 12, plain text that everything reads: millimetres, the datum at 0, 0, a circle for each size that
//! is cut and the label of its place. Its reader in the tests is the Python library ezdxf (`tests/reference/points.py`).

use crate::castings::{Feature, Outline, Pattern, Point};
use crate::units::{Length, LengthUnit};
use rust_decimal::Decimal;
use std::fmt::Write as _;

/// The head of the table.
const HEAD: [&str; 10] = [
    "Place",
    "Feature",
    "Across",
    "Up",
    "Size",
    "Depth",
    "Drill",
    "Drill deep",
    "Count",
    "Note",
];

/// The table: the head with the unit, and a row for each feature. Of several alike it is the first that the position is of.
/// Where the pattern says how far the metal goes, the drill stops for it as on the route card.
#[must_use]
pub fn table(pattern: &Pattern, features: &[&Feature], unit: LengthUnit) -> Vec<Vec<String>> {
    let lengths = ["Across", "Up", "Size", "Depth", "Drill", "Drill deep"];
    let head = HEAD.map(|name| match lengths.contains(&name) {
        true => format!("{name}, {}", short(unit)),
        false => name.to_owned(),
    });
    let rows = features.iter().map(|feature| {
        let deepest = pattern.boss(&feature.place).and_then(|boss| boss.deepest);
        let depths = feature.depths(deepest);
        let drill = feature.first_drill();
        let drilled = [
            (drill.as_ref()).map_or_else(String::new, |drill| figure(drill.diameter, unit)),
            match (&drill, depths) {
                (Some(_), Some(depths)) => figure(depths.shoulder(), unit),
                (Some(_), None) => "through".to_owned(),
                (None, _) => String::new(),
            },
            feature.count.to_string(),
            feature.note.clone(),
        ];
        place_and_size(feature, unit)
            .into_iter()
            .chain(drilled)
            .collect()
    });
    std::iter::once(head.into()).chain(rows).collect()
}

/// The table of a card, where the text says how it is drilled: the head, and a row for each feature.
pub(super) fn short_table(features: &[Feature], unit: LengthUnit) -> Vec<Vec<String>> {
    let head = HEAD[..6].iter().chain(&HEAD[8..9]);
    let head = head.map(|name| (*name).to_owned()).collect();
    let rows = features.iter().map(|feature| {
        let count = feature.count.to_string();
        place_and_size(feature, unit)
            .into_iter()
            .chain([count])
            .collect()
    });
    std::iter::once(head).chain(rows).collect()
}

/// The first six of [`HEAD`].
fn place_and_size(feature: &Feature, unit: LengthUnit) -> [String; 6] {
    let at = |one: fn(Point) -> Length| {
        (feature.at).map_or_else(String::new, |at| figure(one(at), unit))
    };
    [
        feature.place.label.clone(),
        feature.kind.to_string(),
        at(|at| at.x),
        at(|at| at.y),
        match (&feature.thread, feature.fit) {
            (Some(thread), _) => thread.to_string(),
            (None, Some(fit)) => format!("{} {fit}", figure(feature.size, unit)),
            (None, None) => figure(feature.size, unit),
        },
        (feature.depth).map_or_else(|| "through".to_owned(), |depth| figure(depth, unit)),
    ]
}

fn figure(length: Length, unit: LengthUnit) -> String {
    match unit {
        LengthUnit::Mm => length.mm().normalize().to_string(),
        LengthUnit::Inch => length.inches().round_dp(4).normalize().to_string(),
    }
}

/// The unit as the head of a column has it.
pub(super) fn short(unit: LengthUnit) -> &'static str {
    match unit {
        LengthUnit::Mm => "mm",
        LengthUnit::Inch => "in",
    }
}

/// The drawing, in millimetres from the datum.
#[must_use]
pub fn dxf(outline: Option<&Outline>, features: &[&Feature]) -> String {
    let mut out = Dxf(String::new());
    out.pair(999, "millimetres from the datum of the face");
    out.section("HEADER");
    out.pair(9, "$ACADVER");
    out.pair(1, "AC1009");
    out.pair(0, "ENDSEC");
    out.section("ENTITIES");
    if let Some(outline) = outline {
        let (zero, right, top) = (Decimal::ZERO, outline.width.mm(), outline.height.mm());
        let corners = [(zero, zero), (right, zero), (right, top), (zero, top)];
        for (from, to) in corners.iter().zip(corners.iter().cycle().skip(1)) {
            out.entity("LINE", "OUTLINE");
            out.point(0, *from);
            out.point(1, *to);
        }
    }
    for feature in features {
        // What was not measured can't be drawn; the table names it.
        let Some(at) = feature.at.map(|at| (at.x.mm(), at.y.mm())) else {
            continue;
        };
        let layer = match feature.thread {
            Some(_) => "THREAD",
            None => "SIZE",
        };
        out.circle(layer, at, feature.size);
        let drill = feature.first_drill().map(|drill| drill.diameter);
        if let Some(drill) = drill.filter(|drill| *drill != feature.size) {
            out.circle("DRILL", at, drill);
        }
        out.entity("TEXT", "LABEL");
        out.point(0, at);
        out.pair(40, "5");
        out.pair(1, &plain(&feature.place.label));
    }
    out.pair(0, "ENDSEC");
    out.pair(0, "EOF");
    out.0
}

/// Release 12 has one code page; what is not plain becomes a question mark.
fn plain(text: &str) -> String {
    let sure = |c: char| if (' '..='~').contains(&c) { c } else { '?' };
    text.chars().map(sure).collect()
}

/// Text of group codes and values, one a line.
struct Dxf(String);

impl Dxf {
    fn pair(&mut self, code: u32, value: &str) {
        // Writing to a string does not fail.
        let _ = writeln!(self.0, "{code}\n{value}");
    }

    fn section(&mut self, name: &str) {
        self.pair(0, "SECTION");
        self.pair(2, name);
    }

    fn entity(&mut self, kind: &str, layer: &str) {
        self.pair(0, kind);
        self.pair(8, layer);
    }

    /// A point: the first of an entity is 0, the second 1.
    fn point(&mut self, which: u32, (x, y): (Decimal, Decimal)) {
        self.pair(10 + which, &x.normalize().to_string());
        self.pair(20 + which, &y.normalize().to_string());
        self.pair(30 + which, "0");
    }

    fn circle(&mut self, layer: &str, at: (Decimal, Decimal), diameter: Length) {
        self.entity("CIRCLE", layer);
        self.point(0, at);
        let radius = diameter.mm() / Decimal::TWO;
        self.pair(40, &radius.normalize().to_string());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::castings::Face;
    use crate::castings::samples::{at, fitted, length, on, pattern, tapped};

    fn features() -> [Feature; 2] {
        let dowel = on(fitted("12", "H7"), Face::Rear, "R2");
        let thread = on(tapped("M10"), Face::Rear, "R4");
        let deep = |feature: Feature, depth: &str| Feature {
            depth: Some(length(depth)),
            ..feature
        };
        [
            deep(at(dowel, "45", "165"), "22"),
            deep(at(thread, "60.5", "260"), "24"),
        ]
    }

    #[test]
    fn the_table_has_what_the_readout_and_the_quill_are_set_by() {
        let [dowel, thread] = features();
        let mut pattern = pattern();
        let rows = table(&pattern, &[&dowel, &thread], LengthUnit::Mm);
        assert_eq!(rows[0][2], "Across, mm");
        assert_eq!(
            rows[1][..8],
            ["R2", "dowel hole", "45", "165", "12 H7", "22", "11.7", "24"]
        );
        assert_eq!(
            rows[2][2..8],
            ["60.5", "260", "M10x1.5", "24", "8.5", "31.3"]
        );
        // The point would reach 33.9 mm with the usual run-out; with the short one of 4.6 mm it stays in the metal.
        for boss in pattern
            .bosses
            .iter_mut()
            .filter(|b| b.place == thread.place)
        {
            boss.deepest = Some(length("33"));
        }
        assert_eq!(table(&pattern, &[&thread], LengthUnit::Mm)[1][7], "28.6");
        let inches = table(&pattern, &[&dowel], LengthUnit::Inch);
        assert_eq!(
            inches[1][2..4],
            ["1.7717", "6.4961"],
            "45/25.4 and 165/25.4"
        );
    }

    /// What ezdxf reads of the same file is in `tests/reference/points.json`.
    #[test]
    fn an_independent_reader_finds_every_circle_where_it_belongs() {
        let [dowel, thread] = features();
        let outline = Outline {
            face: Face::Rear,
            width: length("300"),
            height: length("320"),
        };
        let drawn = dxf(Some(&outline), &[&dowel, &thread]);
        assert_eq!(drawn, include_str!("../../tests/reference/points.dxf"));
        let read = include_str!("../../tests/reference/points.json");
        let read: serde_json::Value = serde_json::from_str(read).unwrap();
        let circles = read["circles"].as_array().unwrap();
        let wanted = [
            ("SIZE", 45.0, 165.0, 6.0),
            ("DRILL", 45.0, 165.0, 5.85),
            ("THREAD", 60.5, 260.0, 5.0),
            ("DRILL", 60.5, 260.0, 4.25),
        ];
        assert_eq!(circles.len(), wanted.len());
        for (circle, (layer, x, y, radius)) in circles.iter().zip(wanted) {
            assert_eq!(circle["layer"], layer);
            assert_eq!(circle["x"], x);
            assert_eq!(circle["y"], y);
            assert_eq!(circle["radius"], radius);
        }
        assert_eq!(read["lines"], 4);
        assert_eq!(read["labels"], serde_json::json!(["R2", "R4"]));
        assert_eq!(read["faults"], 0);
    }
}
