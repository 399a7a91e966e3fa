//! What readings say, in words and in a table.

use super::figures::figures;
use crate::castings::measured::{
    BoreSizes, CrankRemedy, CylinderRemedy, Cylinders, Deck, DeckFinding, Grind, Judgement, Liner,
    Outside, Purpose, Quantity, Readings, RearFace, Sizes, Verdict,
};
use crate::units::text::capitalised;
use crate::units::{Length, LengthUnit};
use maud::{Markup, html};
use rust_decimal::Decimal;

/// The verdict, what is outside, what it needs, and the figures.
pub(super) fn section(
    readings: &Readings,
    sizes: &Sizes,
    purpose: Purpose,
    unit: LengthUnit,
) -> Markup {
    let judged = readings.judgement(sizes, purpose);
    html! {
        h2 { (heading(readings, &judged)) }
        @if !readings.is_empty() {
            @if !judged.outside.is_empty() {
                ul.plain { @for outside in &judged.outside { li { span.sign aria-hidden="true" { "!" } " " (outside_words(outside, unit)) } } }
            }
            (needs(readings, sizes, purpose, unit))
            @if !judged.missing.is_empty() { p.muted { (missing_words(&judged)) } }
            (figures(readings, sizes, unit))
        }
    }
}

fn heading(readings: &Readings, judged: &Judgement) -> &'static str {
    match judged.verdict() {
        _ if readings.is_empty() => "Verdict: nothing entered yet",
        Verdict::Within => "Verdict: within limits",
        Verdict::Outside => "Verdict: outside limits",
        Verdict::Open => "Verdict: not decided",
    }
}

fn outside_words(outside: &Outside, unit: LengthUnit) -> String {
    let what = match outside.number {
        Some(number) => format!(
            "{} {number}: {}",
            capitalised(outside.part.word()),
            outside.what
        ),
        None => capitalised(outside.what.word()),
    };
    let written = |length: Length| match outside.what {
        Quantity::Finish => format!("{} {}", roughness(length, unit), roughness_unit(unit)),
        _ => length.show(unit),
    };
    format!(
        "{what} {}, limit {}",
        written(outside.found),
        written(outside.limit)
    )
}

fn missing_words(judged: &Judgement) -> String {
    let limits: Vec<&str> = judged
        .missing
        .iter()
        .filter(|what| !matches!(what, Quantity::Reading | Quantity::TorquePlate))
        .map(|what| what.word())
        .collect();
    let mut said = Vec::new();
    if judged.missing.contains(&Quantity::Reading) {
        said.push("Not every reading is entered.".to_owned());
    }
    if judged.missing.contains(&Quantity::TorquePlate) {
        said.push(
            "These bores are finished with a torque plate: bolt it on and measure again."
                .to_owned(),
        );
    }
    if !limits.is_empty() {
        said.push(format!("No limit is set for: {}.", limits.join(", ")));
    }
    said.join(" ")
}

/// What the casting needs, as far as the readings say.
fn needs(readings: &Readings, sizes: &Sizes, purpose: Purpose, unit: LengthUnit) -> Markup {
    match readings {
        Readings::Cylinders(record) if purpose == Purpose::Inspection => {
            html! { @if let Some(words) = cylinders_need(record, &sizes.bores, unit) { p.lead { (words) } } (walls(record, &sizes.bores)) }
        }
        Readings::MainLine(record) => {
            let outside = !record.judgement(&sizes.mains).outside.is_empty();
            html! { @if outside && purpose == Purpose::Inspection { p.lead { "Line bore or line hone it, or find why: a cap filed, swapped or not home." } } }
        }
        Readings::Deck(record) => deck_needs(record, sizes, purpose, unit),
        Readings::Crankshaft(record) if purpose == Purpose::Inspection => {
            crank_needs(&record.remedy(&sizes.crank), unit)
        }
        Readings::CamAndLifters(record) => {
            let outside = !record.judgement(&sizes.cam, purpose).outside.is_empty();
            html! { @if outside && purpose == Purpose::Inspection {
                p.lead { "Worn bushes: fit new ones and line ream them. A tunnel or lifter bore outside its size: bore it for a bush, or for the next oversize if the maker has one." }
            } }
        }
        Readings::RearFace(record) => rear_needs(record, sizes, unit),
        Readings::Cylinders(_) | Readings::Crankshaft(_) => html! {},
    }
}

/// What the crankshaft needs, and what to ask before it is ground.
fn crank_needs(remedy: &CrankRemedy, unit: LengthUnit) -> Markup {
    let set = |what: &str, one: &str, grind: &Grind| match grind {
        Grind::None | Grind::Unknown => None,
        Grind::To(under) => Some(format!(
            "Grind all {what} to {} under standard.",
            under.show(unit)
        )),
        Grind::TooSmall(all) => Some(format!(
            "{one} {}: no undersize of the list is enough. Build it up, or find another shaft.",
            numbers(all)
        )),
    };
    let said: Vec<String> = [
        remedy.bent.then(|| "The shaft is bent. Have it straightened by somebody who is qualified to, or find another; crack-test it again after.".to_owned()),
        set("mains", "Main", &remedy.mains),
        set("big-end pins", "Pin", &remedy.pins),
    ]
    .into_iter()
    .flatten()
    .collect();
    let grinds = [&remedy.mains, &remedy.pins]
        .iter()
        .any(|one| matches!(one, Grind::To(_)));
    html! {
        @for one in &said { p.lead { (one) } }
        @if grinds {
            p.notice.warn { span.sign aria-hidden="true" { "!" } " Keep the fillet radius as it was. A hardened shaft may need hardening again: ask the maker’s data before you grind." }
        }
    }
}

/// What makes the bore run true.
fn rear_needs(record: &RearFace, sizes: &Sizes, unit: LengthUnit) -> Markup {
    let found = record.findings(&sizes.rear);
    let judged = record.judgement(&sizes.rear);
    let outside = |what: Quantity| judged.outside.iter().any(|one| one.what == what);
    html! {
        @if outside(Quantity::FaceRunOut) {
            p.lead { "Lift it off, look for burrs and dirt on both faces, and dial it again. Then face the adaptor true. Dial the face before the bore." }
        }
        @if outside(Quantity::Ovality) {
            p.lead { "Opposite readings do not agree: the bore is not round, or the dial moved. Read it again before you order dowels." }
        } @else if let Some(off) = found.off.filter(|_| outside(Quantity::BoreRunOut)) {
            p.lead {
                @match found.dowels {
                    Some(dowels) => {
                        "Fit offset dowels of " (dowels.offset.show(unit)) ", both turned so that the housing moves towards "
                        (off.hour_back()) " o’clock. About " (dowels.left.show(unit)) " of run-out is left."
                    }
                    None => {
                        "The housing has to move " (off.distance.show(unit)) " towards " (off.hour_back())
                        " o’clock. None of the offset dowels in the list brings it nearer: get or turn a pair of that offset."
                    }
                }
            }
            p.notice.warn { span.sign aria-hidden="true" { "!" } " Turn both dowels alike, bolt the housing up at its torque and dial it again before the gearbox goes on." }
        }
    }
}

fn numbers(all: &[usize]) -> String {
    let each: Vec<String> = all.iter().map(ToString::to_string).collect();
    each.join(", ")
}

/// What is done where no oversize cleans a bore up.
fn sleeve_words(all: &[usize], liner: Option<Liner>) -> String {
    let numbers = numbers(all);
    match liner {
        Some(_) => {
            format!("Fit a new liner in bore {numbers}: no oversize cleans it up with wall enough.")
        }
        None => format!("Sleeve bore {numbers}: no oversize cleans it up with wall enough."),
    }
}

fn cylinders_need(record: &Cylinders, sizes: &BoreSizes, unit: LengthUnit) -> Option<String> {
    match record.remedy(sizes) {
        CylinderRemedy::None => {
            Some("No boring needed. Break the glaze and fit new rings.".to_owned())
        }
        CylinderRemedy::Bore { over, sleeve } => {
            let mut words = format!("Bore and hone all to {} over standard.", over.show(unit));
            if sizes.torque_plate {
                words.push_str(" Hone with the torque plate on.");
            }
            if !sleeve.is_empty() {
                words = format!("{words} {}", sleeve_words(&sleeve, record.liner));
            }
            let found = record.findings(sizes);
            let centre = found.iter().filter_map(|f| f.next);
            if centre
                .clone()
                .any(|next| next.on_old_centre.is_none_or(|size| size > over))
            {
                words.push_str(" If the wear is all on one side and the bore is cut on its old centre, that is not enough: check with the bar before you order pistons.");
            }
            Some(words)
        }
        CylinderRemedy::Sleeve(all) => Some(sleeve_words(&all, record.liner)),
        CylinderRemedy::Unknown => None,
    }
}

/// Boring into a wall that nobody has measured is a question.
fn walls(record: &Cylinders, sizes: &BoreSizes) -> Markup {
    let bores = matches!(record.remedy(sizes), CylinderRemedy::Bore { .. });
    let unknown = record.bores.iter().any(|bore| bore.wall.is_none()) || sizes.wall.is_none();
    html! {
        @if bores && unknown { p.notice.warn { span.sign aria-hidden="true" { "!" } " The wall is not known everywhere. Measure it with the ultrasonic gauge before you bore." } }
    }
}

fn deck_needs(record: &Deck, sizes: &Sizes, purpose: Purpose, unit: LengthUnit) -> Markup {
    let found = record.findings(&sizes.deck);
    let inspecting = purpose == Purpose::Inspection;
    html! {
        @if inspecting && found.wants_facing() { p.lead { (facing_words(&found, sizes, unit)) } }
    }
}

fn facing_words(found: &DeckFinding, sizes: &Sizes, unit: LengthUnit) -> String {
    let Some(faced) = found.faced else {
        return "Face the deck. Set an allowance to face to see what height is left.".to_owned();
    };
    let mut words = format!(
        "Face the deck parallel to the main line, to {}.",
        faced.show(unit)
    );
    match sizes.deck.least {
        Some(least) if faced < least => {
            words.push_str(
                " That is below the least height: do not face it without the maker’s word.",
            );
        }
        Some(_) => {}
        None => words.push_str(" No least height is set: ask the maker’s data first."),
    }
    if let Some(piston) = found.piston_after {
        words = format!(
            "{words} The highest piston then stands at {}.",
            piston.show(unit)
        );
        if sizes.deck.piston_highest.is_some_and(|most| piston > most) {
            words.push_str(" That is too high: a thicker gasket or shorter pistons are needed.");
        }
    }
    words
}

pub(super) fn shown(length: Option<Length>, unit: LengthUnit) -> String {
    length.map_or_else(|| "–".to_owned(), |length| length.show(unit))
}

/// A figure of a table, whose unit stands above it: as fine as a gauge shows it, to a micrometre or a ten-thousandth of an
/// inch, and with hundredths or thousandths at least, so that figures stand under one another.
pub(super) fn figure(length: Length, unit: LengthUnit) -> String {
    let (value, least, most) = match unit {
        LengthUnit::Mm => (length.mm(), 2, 3),
        LengthUnit::Inch => (length.inches(), 3, 4),
    };
    let mut value = value.round_dp(most).normalize();
    if value.scale() < least {
        value.rescale(least);
    }
    value.to_string()
}

pub(super) fn cell(length: Option<Length>, unit: LengthUnit) -> String {
    length.map_or_else(|| "–".to_owned(), |length| figure(length, unit))
}

/// A roughness as a number of [`roughness_unit`].
pub(in crate::web) fn roughness(ra: Length, unit: LengthUnit) -> String {
    let value = ra.mm() / roughness_division(unit);
    value.round_dp(2).normalize().to_string()
}

/// What roughness is said in: micrometres, or microinches where the shop works in inches.
pub(in crate::web) fn roughness_unit(unit: LengthUnit) -> &'static str {
    match unit {
        LengthUnit::Mm => "µm",
        LengthUnit::Inch => "µin",
    }
}

/// One of [`roughness_unit`], in mm.
pub(in crate::web) fn roughness_division(unit: LengthUnit) -> Decimal {
    match unit {
        LengthUnit::Mm => Decimal::new(1, 3),
        LengthUnit::Inch => Decimal::new(254, 7),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_stand_under_one_another() {
        let written = |text: &str, unit| figure(text.parse().unwrap(), unit);
        assert_eq!(written("90.1", LengthUnit::Mm), "90.10");
        assert_eq!(written("6.2675", LengthUnit::Mm), "6.268");
        assert_eq!(written("-0.005", LengthUnit::Mm), "-0.005");
        assert_eq!(written("3.5 in", LengthUnit::Inch), "3.500");
        assert_eq!(written("90.02", LengthUnit::Inch), "3.5441");
        let ra = |text: &str, unit| roughness(text.parse().unwrap(), unit);
        assert_eq!(ra("0.0008", LengthUnit::Mm), "0.8");
        // 0.8 µm is 31.5 µin; 32 µin is what shops write for it.
        assert_eq!(ra("0.0008", LengthUnit::Inch), "31.5");
    }
}
