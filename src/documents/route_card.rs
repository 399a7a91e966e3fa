//! The route card: what goes with the block from machine to machine.

use super::points;
use super::sheet::{Paper, Sheet, SheetError, Style};
use crate::castings::{Feature, Outline, Pattern, Place, Variant};
use crate::estimating::Operation;
use crate::quality::limit_gauge;
use crate::units::text::capitalised;
use crate::units::{Length, LengthUnit, Minutes};
use std::collections::BTreeSet;

/// The job a card is for, in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CardJob {
    /// The shop's name.
    pub shop: String,
    /// Its number.
    pub number: i64,
    /// What is to be done.
    pub title: String,
    /// The day the shop works to, and the day promised, as the shop writes days.
    pub days: String,
    /// Numbers of the castings set aside for it.
    pub castings: Vec<i64>,
    /// Anything that stops it.
    pub held: Option<String>,
}

/// An operation, and where its code leads.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CardOperation {
    /// The operation.
    pub operation: Operation,
    /// Whether it is done.
    pub done: bool,
    /// The address that opens it at the bench.
    pub address: String,
    /// The face it is done on, where the block is on the register.
    pub face: Option<CardFace>,
}

/// A face with what an operation machines in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CardFace {
    /// The face as drawn.
    pub outline: Outline,
    /// What is machined, in the order of its labels.
    pub features: Vec<Feature>,
    /// The unit of positions.
    pub unit: LengthUnit,
}

impl CardFace {
    /// The face of an operation: the one on which its steps are, with the features of the wanted variant at their places.
    /// `None` where its steps are on several faces, or nobody has drawn the face or measured any of the places.
    #[must_use]
    pub fn of(
        operation: &Operation,
        pattern: &Pattern,
        wanted: &Variant,
        unit: LengthUnit,
    ) -> Option<Self> {
        let places: BTreeSet<&Place> = operation
            .steps
            .iter()
            .filter_map(|s| s.place.as_ref())
            .collect();
        let face = places.first()?.face;
        let features: Vec<Feature> = places
            .iter()
            .filter_map(|place| wanted.feature(place))
            .filter(|feature| feature.at.is_some())
            .cloned()
            .collect();
        let one_face = places.iter().all(|place| place.face == face);
        (one_face && !features.is_empty()).then(|| {
            pattern.outline(face).map(|outline| Self {
                outline: outline.clone(),
                features,
                unit,
            })
        })?
    }

    /// The face drawn, and a table of positions for the mill's readout.
    fn set(&self, sheet: &mut Sheet) {
        let mm = |length: Length| length.mm_f64() as f32;
        let holes: Vec<(f32, f32, f32, &str)> = self
            .features
            .iter()
            .filter_map(|f| {
                let at = f.at?;
                Some((mm(at.x), mm(at.y), mm(f.size), f.place.label.as_str()))
            })
            .collect();
        sheet.face((mm(self.outline.width), mm(self.outline.height)), &holes);
        let words = format!(
            "{}: {} across and up from the datum at its lower left. Of several alike the position is of the first.",
            capitalised(self.outline.face.word()),
            points::short(self.unit)
        );
        sheet.paragraph(Style::Small, 2.0, &words);
        sheet.table(2.0, &points::short_table(&self.features, self.unit));
    }
}

/// Sets a route card: each operation with its setup key, steps and features, checks with their limits and instruments,
/// cautions, and a code that opens it at the bench.
///
/// # Errors
/// [`SheetError`] when an address is too long for a code, or the PDF cannot be written.
pub fn route_card(
    job: &CardJob,
    operations: &[CardOperation],
    paper: Paper,
) -> Result<Vec<u8>, SheetError> {
    let mut sheet = Sheet::new(paper)?;
    sheet.paragraph(Style::Small, 0.0, &job.shop);
    sheet.paragraph(
        Style::Title,
        0.0,
        &format!("Route card: job {}", job.number),
    );
    sheet.paragraph(Style::Heading, 0.0, &job.title);
    sheet.paragraph(Style::Text, 0.0, &job.days);
    sheet.castings(&job.castings);
    if let Some(held) = &job.held {
        sheet.paragraph(Style::Heading, 0.0, &format!("ON HOLD: {held}"));
    }
    sheet.paragraph(
        Style::Small,
        0.0,
        "Times, speeds and feeds are starting points. The tool maker’s and engine maker’s data, local codes and qualified \
         people come first.",
    );
    let side = match paper {
        Paper::A4 => 30.0,
        Paper::A5 => 24.0,
    };
    for one in operations {
        sheet.together(|sheet| operation(sheet, one, side))?;
    }
    sheet.finish(&format!("Job {}", job.number))
}

/// One operation, with its code at the right.
fn operation(sheet: &mut Sheet, one: &CardOperation, side: f32) -> Result<(), SheetError> {
    let operation = &one.operation;
    sheet.rule();
    sheet.code(&one.address, side)?;
    let done = if one.done { " – done" } else { "" };
    sheet.paragraph(
        Style::Heading,
        0.0,
        &format!("{} {}{done}", operation.number, operation.title),
    );
    let setup = if operation.setup > Minutes::ZERO {
        format!(
            "Set up {}, run {}",
            operation.setup.rounded(),
            operation.run.rounded()
        )
    } else {
        format!("Run {}", operation.run.rounded())
    };
    sheet.paragraph(
        Style::Text,
        0.0,
        &format!("{setup}. On the table: {}.", operation.setup_key),
    );
    if let [first, rest @ ..] = operation.after.as_slice() {
        let rest: String = rest.iter().map(|n| format!(", {n}")).collect();
        sheet.paragraph(Style::Small, 0.0, &format!("After {first}{rest}."));
    }
    for step in &operation.steps {
        let place = step
            .place
            .as_ref()
            .map_or(String::new(), |place| format!(", at {place}"));
        let times = if step.count > 1 {
            format!(", {} times", step.count)
        } else {
            String::new()
        };
        sheet.paragraph(Style::Text, 2.0, &format!("• {}{place}{times}", step.name));
        if !step.sizes.is_empty() {
            sheet.paragraph(Style::Text, 6.0, &step.sizes);
        }
        for setting in &step.settings {
            sheet.paragraph(Style::Small, 6.0, setting);
        }
    }
    if let Some(face) = &one.face {
        face.set(sheet);
    }
    for check in &operation.checks {
        let with = if check.instrument.is_empty() {
            String::new()
        } else {
            format!(" ({})", check.instrument)
        };
        let limits = check.limits_in_words();
        sheet.tick(&format!("______  {}: {limits}{with}", check.what));
        if check.readings() > 1 {
            let places: Vec<String> = (check.places.iter())
                .map(|at| format!("{at} ________"))
                .collect();
            sheet.paragraph(Style::Text, 6.0, &places.join("   "));
        }
        if let Some(gauge) = limit_gauge(check) {
            sheet.paragraph(Style::Small, 6.0, &format!("New gauge: {gauge}."));
        }
    }
    for caution in &operation.cautions {
        sheet.paragraph(Style::Text, 2.0, &format!("CAUTION: {caution}"));
    }
    sheet.below_code();
    Ok(())
}
