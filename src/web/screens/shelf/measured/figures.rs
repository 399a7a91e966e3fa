//! The figures that follow from readings, in tables.

use super::outcome::{cell, roughness, roughness_unit, shown};
use crate::castings::measured::{
    BoreFinding, CamAndLifters, Cylinders, DeckFinding, HousingFinding, JournalFinding,
    LineFinding, Readings, RearFinding, RoundFinding, Sizes,
};
use crate::units::{Length, LengthUnit};
use maud::{Markup, html};

/// The unit of a table.
fn unit_word(unit: LengthUnit) -> &'static str {
    match unit {
        LengthUnit::Mm => "mm",
        LengthUnit::Inch => "in",
    }
}

pub(super) fn figures(readings: &Readings, sizes: &Sizes, unit: LengthUnit) -> Markup {
    match readings {
        Readings::Cylinders(record) => html! {
            (bore_table(&record.findings(&sizes.bores), unit))
            (bores_besides(record, unit))
        },
        Readings::MainLine(record) => html! {
            (housing_table(&record.findings(), unit))
            (line_figures(&record.line(), unit))
            (single("Width over the thrust faces", record.thrust, unit))
        },
        Readings::Deck(record) => html! {
            (deck_figures(&record.findings(&sizes.deck), unit))
            @if let Some(finish) = record.finish { (ra(&[("Surface finish Ra".to_owned(), finish)], unit)) }
        },
        Readings::Crankshaft(record) => {
            let [mains, pins] = record.findings(&sizes.crank);
            html! {
                (journal_table("Main", &mains, unit))
                (journal_table("Pin", &pins, unit))
                (single("Width between the thrust faces", record.thrust, unit))
                p.small.muted { "Wear is the largest size when new less the smallest reading. The next undersize is the first that leaves the allowance to clean up, about the axis of the shaft: what a journal runs out by is ground off it as well." }
            }
        }
        Readings::CamAndLifters(record) => cam_figures(record, unit),
        Readings::RearFace(record) => rear_figures(&record.findings(&sizes.rear), sizes, unit),
    }
}

fn bore_table(found: &[BoreFinding], unit: LengthUnit) -> Markup {
    html! {
        table.cells.small {
            thead { tr {
                th scope="col" { "Bore, " (unit_word(unit)) } th.number scope="col" { "Smallest" } th.number scope="col" { "Largest" }
                th.number scope="col" { "Wear" } th.number scope="col" { "Taper" } th.number scope="col" { "Ovality" }
                th.number scope="col" { "Next over" } th.number scope="col" { "Wall then" }
            } }
            tbody { @for (number, one) in (1..).zip(found) {
                tr {
                    th scope="row" { (number) }
                    td.number data-label="Smallest" { (cell(one.smallest, unit)) }
                    td.number data-label="Largest" { (cell(one.largest, unit)) }
                    td.number data-label="Wear" { (cell(one.wear, unit)) }
                    td.number data-label="Taper" { (cell(one.taper, unit)) }
                    td.number data-label="Ovality" { (cell(one.ovality, unit)) }
                    td.number data-label="Next over" { (cell(one.next.map(|next| next.over), unit)) }
                    td.number data-label="Wall then" { (cell(one.next.and_then(|next| next.wall), unit)) }
                }
            } }
        }
        p.small.muted { "Wear is the largest reading over the smallest size when new. Taper and ovality are differences of diameters. The next oversize is the first that is at least the largest reading and the allowance, and leaves wall enough." }
    }
}

fn housing_table(found: &[HousingFinding], unit: LengthUnit) -> Markup {
    let caps = found.iter().any(|one| one.cap.iter().any(Option::is_some));
    html! {
        table.cells.small {
            thead { tr {
                th scope="col" { "Main, " (unit_word(unit)) } th.number scope="col" { "Smallest" } th.number scope="col" { "Largest" }
                th.number scope="col" { "Taper" } th.number scope="col" { "Ovality" }
                @if caps { th.number scope="col" { "Cap faced" } th.number scope="col" { "Cap tight by" } }
            } }
            tbody { @for (number, one) in (1..).zip(found) {
                tr {
                    th scope="row" { (number) }
                    td.number data-label="Smallest" { (cell(one.smallest, unit)) }
                    td.number data-label="Largest" { (cell(one.largest, unit)) }
                    td.number data-label="Taper" { (cell(one.taper, unit)) }
                    td.number data-label="Ovality" { (cell(one.ovality, unit)) }
                    @if caps {
                        @let [faced, tight] = one.cap;
                        td.number data-label="Cap faced" { (cell(faced, unit)) }
                        td.number data-label="Cap tight by" { (cell(tight, unit)) }
                    }
                }
            } }
        }
    }
}

fn line_figures(line: &[Option<LineFinding>; 2], unit: LengthUnit) -> Markup {
    let known = line.iter().any(Option::is_some);
    html! {
        @if known {
            dl.figures {
                @for (way, found) in ["up and down", "sideways"].iter().zip(line) {
                    @if let Some(found) = found {
                        div { dt { "Straightness " (way) } dd { (found.straightness.show(unit)) } }
                        div { dt { "Largest step " (way) } dd { (found.step.show(unit)) } }
                    }
                }
            }
            p.small.muted { "Straightness is the least distance between two parallel lines that hold all centres; a step is between neighbours, off the line through the first and the last. Bearings are taken as evenly spaced." }
        }
    }
}

fn single(what: &str, value: Option<Length>, unit: LengthUnit) -> Markup {
    html! {
        @if value.is_some() { dl.figures { div { dt { (what) } dd { (shown(value, unit)) } } } }
    }
}

fn ra(found: &[(String, Length)], unit: LengthUnit) -> Markup {
    html! {
        dl.figures { @for (what, value) in found { div { dt { (what) } dd { (roughness(*value, unit)) " " (roughness_unit(unit)) } } } }
        p.small.muted { "Ra by ISO 21920-2:2021, earlier ISO 4287. Two surfaces of one Ra can differ: for plateau honing the ring maker’s own figures go before it." }
    }
}

/// Surface finish and squareness of the bores, where they were measured.
fn bores_besides(record: &Cylinders, unit: LengthUnit) -> Markup {
    let numbered = || (1..).zip(&record.bores);
    let finish: Vec<(String, Length)> = numbered()
        .filter_map(|(n, bore)| Some((format!("Bore {n}, surface finish Ra"), bore.finish?)))
        .collect();
    html! {
        @if !finish.is_empty() { (ra(&finish, unit)) }
        @for (number, bore) in numbered() {
            (single(&format!("Bore {number}, out of square with the main line"), bore.square, unit))
        }
    }
}

fn journal_table(what: &str, found: &[JournalFinding], unit: LengthUnit) -> Markup {
    let known = found.iter().any(|one| one.smallest.is_some());
    html! {
        @if known {
            table.cells.small {
                thead { tr {
                    th scope="col" { (what) ", " (unit_word(unit)) } th.number scope="col" { "Smallest" } th.number scope="col" { "Largest" }
                    th.number scope="col" { "Wear" } th.number scope="col" { "Taper" } th.number scope="col" { "Ovality" }
                    th.number scope="col" { "Run-out" } th.number scope="col" { "Next under" }
                } }
                tbody { @for (number, one) in (1..).zip(found) {
                    tr {
                        th scope="row" { (number) }
                        td.number data-label="Smallest" { (cell(one.smallest, unit)) }
                        td.number data-label="Largest" { (cell(one.largest, unit)) }
                        td.number data-label="Wear" { (cell(one.wear, unit)) }
                        td.number data-label="Taper" { (cell(one.taper, unit)) }
                        td.number data-label="Ovality" { (cell(one.ovality, unit)) }
                        td.number data-label="Run-out" { (cell(one.run_out, unit)) }
                        td.number data-label="Next under" { (cell(one.next, unit)) }
                    }
                } }
            }
        }
    }
}

fn cam_figures(record: &CamAndLifters, unit: LengthUnit) -> Markup {
    let found = record.findings();
    html! {
        (round_table("Cam tunnel", &found.tunnel, unit))
        (round_table("Cam bush", &found.bushes, unit))
        (line_figures(&found.line, unit))
        (round_table("Lifter bore", &found.lifters, unit))
    }
}

/// How tight a dowel is, in words: `0.004 to 0.018 mm tight`, `0.011 mm loose to 0.018 mm tight`.
fn tightness((least, most): (Length, Length), unit: LengthUnit) -> String {
    let loose = |length: Length| (Length::ZERO - length).show(unit);
    match (least < Length::ZERO, most < Length::ZERO) {
        (false, _) => format!("{} to {} tight", least.show(unit), most.show(unit)),
        (true, false) => format!("{} loose to {} tight", loose(least), most.show(unit)),
        (true, true) => format!("{} to {} loose", loose(most), loose(least)),
    }
}

fn rear_figures(found: &RearFinding, sizes: &Sizes, unit: LengthUnit) -> Markup {
    let rear = &sizes.rear;
    let wanted = rear.interference().map(|both| tightness(both, unit));
    html! {
        dl.figures {
            @if found.face.is_some() { div { dt { "Run-out of the face" } dd { (shown(found.face, unit)) } } }
            @if found.bore.is_some() { div { dt { "Run-out of the bore" } dd { (shown(found.bore, unit)) } } }
            @if let Some(off) = found.off { div { dt { "Bore off the shaft" } dd { (off.distance.show(unit)) " towards " (off.hour()) " o’clock" } } }
            @if found.ovality.is_some() { div { dt { "Ovality of the bore" } dd { (shown(found.ovality, unit)) } } }
            @for (number, one) in (1..).zip(&found.interference) {
                @if let Some(both) = one { div { dt { "Dowel " (number) " in its hole" } dd { (tightness(*both, unit)) } } }
            }
        }
        @if let (Some(wanted), Some(dowel), Some(hole), Some(pin)) = (wanted, rear.dowel, rear.hole_fit, rear.pin_fit) {
            p.small { "By their limits (ISO 286): " (dowel.show(unit)) " " (hole) "/" (pin) ", " (wanted) "." }
        }
        @if found.bore.is_some() {
            p.small.muted { "The bore is off the axis of the shaft by half the swing, in the direction where the dial reads least. Opposite readings of a round bore add up to the same; what they differ by is shown as ovality." }
        }
    }
}

fn round_table(what: &str, found: &[RoundFinding], unit: LengthUnit) -> Markup {
    let known = found.iter().any(|one| one.smallest.is_some());
    let tapers = found.iter().any(|one| one.taper.is_some());
    html! {
        @if known {
            table.cells.small {
                thead { tr {
                    th scope="col" { (what) ", " (unit_word(unit)) } th.number scope="col" { "Smallest" } th.number scope="col" { "Largest" }
                    @if tapers { th.number scope="col" { "Taper" } } th.number scope="col" { "Ovality" }
                } }
                tbody { @for (number, one) in (1..).zip(found) {
                    tr {
                        th scope="row" { (number) }
                        td.number data-label="Smallest" { (cell(one.smallest, unit)) }
                        td.number data-label="Largest" { (cell(one.largest, unit)) }
                        @if tapers { td.number data-label="Taper" { (cell(one.taper, unit)) } }
                        td.number data-label="Ovality" { (cell(one.ovality, unit)) }
                    }
                } }
            }
        }
    }
}

fn deck_figures(found: &DeckFinding, unit: LengthUnit) -> Markup {
    let rows = [
        ("Lowest height", found.lowest),
        ("Highest height", found.highest),
        ("Difference along", found.along),
        ("Difference across", found.across),
        ("Flatness in the length", found.flat_step),
        ("Flatness, whole deck", found.flat),
        ("Above the least height", found.spare),
        ("Piston clearance", found.clearance),
    ];
    html! {
        dl.figures { @for (what, value) in rows { @if value.is_some() { div { dt { (what) } dd { (shown(value, unit)) } } } } }
    }
}
