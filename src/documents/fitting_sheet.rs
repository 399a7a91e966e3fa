//! The fitting sheet: what goes out with a job, or with a kit, for whoever fits it.

use super::sheet::{Paper, Sheet, SheetError, Style};
use crate::jobs::FittingText;

/// What a fitting sheet is about, in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FittingJob {
    /// The shop's name.
    pub shop: String,
    /// The job's number.
    pub number: i64,
    /// What was done.
    pub title: String,
    /// The customer; empty where none is named.
    pub customer: String,
    /// Numbers of its castings.
    pub castings: Vec<i64>,
    /// What was measured here when it left, a line each, with its limits.
    pub measured: Vec<String>,
}

/// Sets a fitting sheet: what to do and check when fitting, what to look at after the first run, and what was measured here.
///
/// # Errors
/// [`SheetError`] when the PDF cannot be written.
pub fn fitting_sheet(
    job: &FittingJob,
    texts: &[&FittingText],
    paper: Paper,
) -> Result<Vec<u8>, SheetError> {
    let mut sheet = Sheet::new(paper)?;
    sheet.paragraph(Style::Small, 0.0, &job.shop);
    sheet.paragraph(
        Style::Title,
        0.0,
        &format!("Fitting sheet: job {}", job.number),
    );
    sheet.paragraph(Style::Heading, 0.0, &job.title);
    if !job.customer.is_empty() {
        sheet.paragraph(Style::Text, 0.0, &job.customer);
    }
    sheet.castings(&job.castings);
    sheet.paragraph(
        Style::Small,
        0.0,
        "Figures are starting points. The engine maker’s data, local codes and qualified people come first. Keep this sheet \
         with the engine.",
    );
    for text in texts {
        sheet.together(|sheet| {
            section(sheet, text);
            Ok(())
        })?;
    }
    if !job.measured.is_empty() {
        sheet.together(|sheet| {
            sheet.rule();
            sheet.paragraph(Style::Heading, 0.0, "Measured here before it left");
            for line in &job.measured {
                sheet.paragraph(Style::Text, 2.0, &format!("• {line}"));
            }
            Ok(())
        })?;
    }
    sheet.rule();
    sheet.paragraph(
        Style::Text,
        0.0,
        "Fitted by ____________________   on ____________   first run on ____________",
    );
    sheet.finish(&format!("Fitting sheet, job {}", job.number))
}

fn section(sheet: &mut Sheet, text: &FittingText) {
    sheet.rule();
    sheet.paragraph(Style::Heading, 0.0, &text.heading);
    for line in lines(&text.fit) {
        sheet.tick(line);
    }
    let after: Vec<&str> = lines(&text.first_run).collect();
    if !after.is_empty() {
        sheet.paragraph(Style::Small, 0.0, "After the first run");
        for line in after {
            sheet.tick(line);
        }
    }
}

fn lines(text: &str) -> impl Iterator<Item = &str> {
    text.lines().map(str::trim).filter(|line| !line.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::jobs::aftercare;
    use uuid::Uuid;

    #[test]
    fn every_starting_text_is_set_on_either_paper() {
        let texts = aftercare::starting(Uuid::nil).unwrap();
        let all: Vec<&FittingText> = texts.iter().collect();
        let job = FittingJob {
            shop: "Harrow Quay Engine Works".to_owned(),
            number: 117,
            title: "Convert to a marine block".to_owned(),
            customer: "J. Hartle".to_owned(),
            castings: vec![3, 8],
            measured: vec!["Nip of the seal: 0.05 mm (0.04 to 0.06 mm)".to_owned()],
        };
        for paper in [Paper::A4, Paper::A5] {
            let pdf = fitting_sheet(&job, &all, paper).unwrap();
            assert!(pdf.starts_with(b"%PDF"));
            let none = fitting_sheet(&job, &[], paper).unwrap();
            assert!(pdf.len() > none.len());
        }
    }
}
