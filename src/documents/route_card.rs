//! The route card: what goes with the block from machine to machine.

use super::sheet::{Paper, Sheet, SheetError, Style};
use crate::estimating::Operation;
use crate::quality::limit_gauge;
use crate::units::Minutes;

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
    if let [first, rest @ ..] = job.castings.as_slice() {
        let rest: String = rest.iter().map(|n| format!(", {n}")).collect();
        sheet.paragraph(Style::Text, 0.0, &format!("Casting {first}{rest}"));
    }
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
