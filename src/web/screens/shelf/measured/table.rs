//! The tables that readings are entered in and shown in.

use super::outcome::{figure, roughness, roughness_unit};
use crate::castings::measured::{
    CLOCK, FLAT_LINES, HEIGHTS, LINER_PLACES, Layout, Reading, Readings, RecordKind, reading,
};
use crate::units::LengthUnit;
use crate::web::ui::FormErrors;
use crate::web::ui::record::Typed;
use maud::{Markup, html};

/// Directions in which a bore is measured.
const BORE_WAYS: [&str; 2] = ["along", "across"];
/// Where a housing is measured.
const EDGES: [&str; 2] = ["front edge", "rear edge"];
/// Directions in which a housing is measured.
const HOUSING_WAYS: [&str; 2] = ["upright", "near joint"];
/// Directions in which a housing may be off the line.
const OFF_WAYS: [&str; 2] = ["up", "right"];
/// What is measured of a cap.
const CAP: [&str; 2] = ["faced off", "tight in its register"];
/// Sides of a deck, seen from the rear.
const SIDES: [&str; 2] = ["left", "right"];
/// Ways in which flatness is measured.
const FLAT_WAYS: [&str; 2] = ["in the length", "anywhere"];
/// Where a journal is measured.
const JOURNAL_ENDS: [&str; 2] = ["front end", "rear end"];
/// Directions in which a journal is measured.
const JOURNAL_WAYS: [&str; 2] = ["with the throw", "across it"];
/// Directions in which a cam bearing is measured.
const CAM_WAYS: [&str; 2] = ["upright", "across"];
/// Where a lifter bore is measured.
const LIFTER_ENDS: [&str; 2] = ["top", "bottom"];

/// What is done before anything is measured.
pub(super) fn before(kind: RecordKind) -> &'static str {
    match kind {
        RecordKind::Cylinders => {
            "Clean and dry, gauge and casting equally warm. Measure below the ledge at the top, half-way, and below the rings’ travel, along and across the crankshaft. Bores honed with a torque plate are measured with it on, bolts tightened in stages to the head’s figure."
        }
        RecordKind::MainLine => {
            "Caps on in their own places, bolts tightened in stages to their final torque by the maker’s data, bearings out, housings clean. Near the joint means as close to it as the gauge clears."
        }
        RecordKind::Deck => {
            "Deck scraped clean, no burrs. Heights are from the centre of the main line: measure to the mandrel and add half of it. Surface finish where it is worst, across the lay. Lift and turn the block with the right gear."
        }
        RecordKind::Crankshaft => {
            "The crankshaft that goes with this casting, clean, crack-tested, at the temperature of the gauge. Measure each journal clear of its fillets and oil hole. Run-out: on vee blocks at the end mains, the whole swing of the indicator; 0 where it rests. Two to lift it, or a sling."
        }
        RecordKind::RearFace => {
            "Adaptor or gearbox housing bolted up at its torque, faces clean and free of burrs. Dial on the crankshaft flange, reading more as its tip is pushed in; turn the shaft by hand, plugs out, end float pushed one way. Set it to 0 at 12 o’clock, seen from the rear. The housing is heavy: hoist it on and off."
        }
        RecordKind::CamAndLifters => {
            "Tunnel without bushes, or bushes fitted, or both. Off the line as a bar or a dial on a mandrel shows it. Lifter bores near the top and near the bottom, clean and free of burrs. Leave out what is not measured."
        }
    }
}

/// What it is measured with.
pub(super) fn instrument(kind: RecordKind) -> &'static str {
    match kind {
        RecordKind::Cylinders => {
            "bore gauge and its setting ring, ultrasonic thickness gauge, surface tester, square"
        }
        RecordKind::MainLine => "bore gauge and micrometer, straight bar and dial",
        RecordKind::Deck => {
            "height gauge from the mandrel, straightedge and feelers, dial bridge, surface tester"
        }
        RecordKind::Crankshaft => "micrometer and its setting rod, vee blocks and dial",
        RecordKind::RearFace => {
            "dial on the crankshaft flange, bore gauge and micrometer for the dowels"
        }
        RecordKind::CamAndLifters => "bore gauge or telescopic gauge and micrometer, straight bar",
    }
}

/// The id of the first field.
pub(super) fn first(kind: RecordKind) -> String {
    match kind {
        RecordKind::Cylinders => "bore-0-0-0",
        RecordKind::MainLine => "main-0-0-0",
        RecordKind::Deck => "height-0-0",
        RecordKind::Crankshaft => "journal-0-0-0",
        RecordKind::CamAndLifters => "tunnel-0-0",
        RecordKind::RearFace => "face-0",
    }
    .to_owned()
}

/// Whether a field may be below nought, so that its keyboard needs a minus.
fn is_signed(name: &str, zeroed: bool) -> bool {
    match reading(name) {
        Reading::Offset => true,
        Reading::Diameter => zeroed,
        Reading::Size | Reading::Deviation | Reading::Roughness => false,
    }
}

/// What a field is called: `Bore 1, top, along`.
pub(super) fn label(name: &str) -> String {
    let parts: Vec<&str> = name.split('-').collect();
    let nth = |at: usize| parts.get(at).and_then(|part| part.parse::<usize>().ok());
    let word = |words: &[&'static str], at: usize| {
        nth(at)
            .and_then(|n| words.get(n))
            .copied()
            .unwrap_or_default()
    };
    let number = nth(1).map_or(0, |n| n + 1);
    let two = |what: &str, places: &[&'static str], ways: &[&'static str]| {
        format!("{what} {number}, {}, {}", word(places, 2), word(ways, 3))
    };
    let one = |what: &str, ways: &[&'static str]| format!("{what} {number}, {}", word(ways, 2));
    match (parts.first().copied(), parts.get(2).copied()) {
        (Some("bore"), Some("wall")) => format!("Bore {number}, thinnest wall"),
        (Some("bore"), Some("finish")) => format!("Bore {number}, surface finish Ra"),
        (Some("bore"), Some("square")) => format!("Bore {number}, out of square"),
        (Some("bore"), Some("liner")) => {
            format!(
                "Bore {number}, liner above the deck, {}",
                word(&LINER_PLACES, 3)
            )
        }
        (Some("bore"), _) => two("Bore", &HEIGHTS, &BORE_WAYS),
        (Some("main"), Some("off")) => {
            format!("Main {number}, off the line, {}", word(&OFF_WAYS, 3))
        }
        (Some("main"), Some("cap")) => format!("Main {number}, cap, {}", word(&CAP, 3)),
        (Some("main"), _) => two("Main", &EDGES, &HOUSING_WAYS),
        (Some("journal"), Some("run")) => format!("Main journal {number}, run-out"),
        (Some("journal"), _) => two("Main journal", &JOURNAL_ENDS, &JOURNAL_WAYS),
        (Some("pin"), _) => two("Pin", &JOURNAL_ENDS, &JOURNAL_WAYS),
        (Some("tunnel"), _) => one("Cam tunnel", &CAM_WAYS),
        (Some("bush"), _) => one("Cam bush", &CAM_WAYS),
        (Some("camline"), _) => {
            format!("Cam bearing {number}, off the line, {}", word(&OFF_WAYS, 2))
        }
        (Some("lifter"), _) => two("Lifter bore", &LIFTER_ENDS, &BORE_WAYS),
        (Some("height"), _) => one("Height", &SIDES),
        (Some("flat"), _) => format!(
            "Flatness, {}, {}",
            word(&FLAT_LINES, 1),
            word(&FLAT_WAYS, 2)
        ),
        (Some("face"), _) => format!("Dial on the face, {}", word(&CLOCK, 1)),
        (Some("register"), _) => format!("Dial in the bore, {}", word(&CLOCK, 1)),
        (Some("dowelhole"), _) => one("Dowel hole", &CAM_WAYS),
        (Some("dowelpin"), _) => one("Dowel", &CAM_WAYS),
        (Some("thrust"), _) => "Width of the thrust faces".to_owned(),
        (Some("deck"), _) => "Surface finish of the deck, Ra".to_owned(),
        _ => format!("Piston {number}"),
    }
}

/// The rows of one small table: its heading, its columns, and each row with the names of its fields.
struct Block {
    heading: String,
    columns: Vec<&'static str>,
    rows: Vec<(String, Vec<String>)>,
}

fn pair(prefix: &str) -> Vec<String> {
    (0..2).map(|way| format!("{prefix}-{way}")).collect()
}

/// Rows of one field each pair of readings, under a name and a number.
fn pairs(prefix: &str, words: &[&'static str]) -> Vec<(String, Vec<String>)> {
    let rows = words.iter().enumerate();
    rows.map(|(at, word)| ((*word).to_owned(), pair(&format!("{prefix}-{at}"))))
        .collect()
}

fn single(word: String, name: impl Into<String>) -> (String, Vec<String>) {
    (word, vec![name.into()])
}

fn blocks(kind: RecordKind, layout: &Layout, unit: LengthUnit) -> Vec<Block> {
    match kind {
        RecordKind::Cylinders => (0..layout.cylinders)
            .map(|at| bore_block(at, layout, unit))
            .collect(),
        RecordKind::MainLine => {
            let mains = (0..layout.mains).map(main_block);
            mains.chain([thrust_block()]).collect()
        }
        RecordKind::Deck => deck_blocks(layout.cylinders, unit),
        RecordKind::Crankshaft => crank_blocks(layout),
        RecordKind::CamAndLifters => cam_blocks(layout),
        RecordKind::RearFace => rear_blocks(),
    }
}

fn rear_blocks() -> Vec<Block> {
    let dial = |heading: &str, name: &str| {
        let clock = CLOCK.iter().enumerate();
        Block {
            heading: heading.to_owned(),
            columns: vec!["dial"],
            rows: clock
                .map(|(at, word)| single((*word).to_owned(), format!("{name}-{at}")))
                .collect(),
        }
    };
    let dowels = (0..2).map(|at| Block {
        heading: format!("Dowel {}", at + 1),
        columns: CAM_WAYS.to_vec(),
        rows: vec![
            ("hole".to_owned(), pair(&format!("dowelhole-{at}"))),
            ("dowel".to_owned(), pair(&format!("dowelpin-{at}"))),
        ],
    });
    let dials = [dial("On the face", "face"), dial("In the bore", "register")];
    dials.into_iter().chain(dowels).collect()
}

fn thrust_block() -> Block {
    Block {
        heading: "Thrust bearing".to_owned(),
        columns: vec!["width"],
        rows: vec![single("over the faces".to_owned(), "thrust")],
    }
}

fn bore_block(at: usize, layout: &Layout, unit: LengthUnit) -> Block {
    let mut rows = pairs(&format!("bore-{at}"), &HEIGHTS);
    rows.push(single(
        "thinnest wall".to_owned(),
        format!("bore-{at}-wall"),
    ));
    let finish = format!("surface finish Ra, {}", roughness_unit(unit));
    rows.push(single(finish, format!("bore-{at}-finish")));
    rows.push(single(
        "out of square".to_owned(),
        format!("bore-{at}-square"),
    ));
    if layout.liner.is_some() {
        for (word, first) in [("liner: front, rear", 0), ("liner: left, right", 2)] {
            let names = (first..first + 2).map(|place| format!("bore-{at}-liner-{place}"));
            rows.push((word.to_owned(), names.collect()));
        }
    }
    Block {
        heading: format!("Bore {}", at + 1),
        columns: BORE_WAYS.to_vec(),
        rows,
    }
}

fn crank_blocks(layout: &Layout) -> Vec<Block> {
    let journal = |prefix: &str, word: &str, at: usize| Block {
        heading: format!("{word} {}", at + 1),
        columns: JOURNAL_WAYS.to_vec(),
        rows: pairs(&format!("{prefix}-{at}"), &JOURNAL_ENDS),
    };
    let mains = (0..layout.mains).map(|at| {
        let mut main = journal("journal", "Main", at);
        let run_out = format!("journal-{at}-run");
        main.rows.push(single("run-out".to_owned(), run_out));
        main
    });
    let pins = (0..layout.pins).map(|at| journal("pin", "Pin", at));
    mains.chain(pins).chain([thrust_block()]).collect()
}

fn cam_blocks(layout: &Layout) -> Vec<Block> {
    let bearings = (0..layout.cam_bearings).map(|at| Block {
        heading: format!("Cam bearing {}", at + 1),
        columns: CAM_WAYS.to_vec(),
        rows: vec![
            ("tunnel".to_owned(), pair(&format!("tunnel-{at}"))),
            ("bush".to_owned(), pair(&format!("bush-{at}"))),
            (
                "off the line: up, right".to_owned(),
                pair(&format!("camline-{at}")),
            ),
        ],
    });
    let lifters = (0..layout.lifters).map(|at| Block {
        heading: format!("Lifter bore {}", at + 1),
        columns: BORE_WAYS.to_vec(),
        rows: pairs(&format!("lifter-{at}"), &LIFTER_ENDS),
    });
    bearings.chain(lifters).collect()
}

fn main_block(at: usize) -> Block {
    let mut rows = pairs(&format!("main-{at}"), &EDGES);
    rows.push((
        "off the line: up, right".to_owned(),
        pair(&format!("main-{at}-off")),
    ));
    rows.push((
        format!("cap: {}", CAP.join(", ")),
        pair(&format!("main-{at}-cap")),
    ));
    Block {
        heading: format!("Main {}", at + 1),
        columns: HOUSING_WAYS.to_vec(),
        rows,
    }
}

fn deck_blocks(cylinders: usize, unit: LengthUnit) -> Vec<Block> {
    let station = |at: usize| match at {
        0 => "front".to_owned(),
        at if at == cylinders => "rear".to_owned(),
        at => format!("between {at} and {}", at + 1),
    };
    let heights = (0..=cylinders).map(|at| (station(at), pair(&format!("height-{at}"))));
    let pistons =
        (0..cylinders).map(|at| single(format!("piston {}", at + 1), format!("piston-{at}")));
    vec![
        Block {
            heading: "Height above the main line".to_owned(),
            columns: SIDES.to_vec(),
            rows: heights.collect(),
        },
        Block {
            heading: "Thickest feeler under a straightedge".to_owned(),
            columns: FLAT_WAYS.to_vec(),
            rows: pairs("flat", &FLAT_LINES),
        },
        Block {
            heading: "Piston above the deck".to_owned(),
            columns: vec!["height"],
            rows: pistons.collect(),
        },
        Block {
            heading: "Surface finish".to_owned(),
            columns: vec![roughness_unit(unit)],
            rows: vec![single("Ra, where worst".to_owned(), "deck-finish")],
        },
    ]
}

/// The fields.
pub(super) fn inputs(
    kind: RecordKind,
    (layout, unit): (&Layout, LengthUnit),
    typed: &Typed,
    errors: &FormErrors,
) -> Markup {
    let blocks = blocks(kind, layout, unit);
    let zeroed = !typed.get("zero").trim().is_empty();
    draw(&blocks, |name| {
        let error = errors.get(name);
        let mode = if is_signed(name, zeroed) {
            "text"
        } else {
            "decimal"
        };
        html! {
            input id=(name) name=(name) type="text" inputmode=(mode) autocomplete="off" enterkeyhint="next"
                value=(typed.get(name)) aria-label=(label(name)) aria-invalid=[error.map(|_| "true")]
                aria-describedby=[error.map(|_| format!("{name}-error"))];
            @if let Some(error) = error { p.error id={ (name) "-error" } { span.sign aria-hidden="true" { "!" } " " (error) } }
        }
    })
}

/// The same tables with what was read.
pub(super) fn readings(record: &Readings, unit: LengthUnit) -> Markup {
    let mut record = record.clone();
    let (kind, layout) = (record.kind(), record.layout());
    let written = |name: &str, value| match reading(name) {
        Reading::Roughness => roughness(value, unit),
        _ => figure(value, unit),
    };
    let shown: std::collections::HashMap<String, String> = record
        .fields()
        .into_iter()
        .filter_map(|(name, value)| {
            let figure = written(&name, (*value)?);
            Some((name, figure))
        })
        .collect();
    draw(&blocks(kind, &layout, unit), |name| {
        html! { (shown.get(name).map_or("–", String::as_str)) }
    })
}

fn draw(blocks: &[Block], cell: impl Fn(&str) -> Markup) -> Markup {
    html! {
        div.measure-blocks {
            @for block in blocks {
                table.measure-block {
                    caption { (block.heading) }
                    thead { tr { td {} @for column in &block.columns { th scope="col" { (column) } } } }
                    tbody { @for (word, names) in &block.rows {
                        tr {
                            th scope="row" { (word) }
                            @for name in names { td { (cell(name)) } }
                        }
                    } }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::castings::measured::Liner;
    use crate::units::Code;
    use std::collections::BTreeSet;

    #[test]
    fn the_table_has_every_field_of_the_record_once_under_a_name_of_its_own() {
        let layout = Layout {
            cylinders: 4,
            mains: 5,
            pins: 4,
            cam_bearings: 3,
            lifters: 8,
            liner: Some(Liner::Wet),
        };
        for kind in RecordKind::ALL {
            let rows = blocks(*kind, &layout, LengthUnit::Mm)
                .into_iter()
                .flat_map(|b| b.rows);
            let mut drawn: Vec<String> = rows.flat_map(|(_, names)| names).collect();
            let mut wanted: Vec<String> = Readings::blank(*kind, &layout)
                .fields()
                .into_iter()
                .map(|(name, _)| name)
                .collect();
            let labels: BTreeSet<String> = drawn.iter().map(|name| label(name)).collect();
            assert_eq!(labels.len(), drawn.len());
            assert!(drawn.contains(&first(*kind)));
            drawn.sort();
            wanted.sort();
            assert_eq!(drawn, wanted);
        }
        assert_eq!(label("bore-1-0-1"), "Bore 2, top, across");
        assert_eq!(label("main-0-off-0"), "Main 1, off the line, up");
        assert_eq!(label("main-1-cap-1"), "Main 2, cap, tight in its register");
        assert_eq!(
            label("bore-0-liner-3"),
            "Bore 1, liner above the deck, right"
        );
    }
}
