//! The route card: what goes with the block from machine to machine.

use super::sheet::{Paper, Sheet, SheetError, Style};
use crate::bench::limit_gauge;
use crate::estimating::Operation;
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
/// [`SheetError`] when an address is too long for a code.
pub fn route_card(
    job: &CardJob,
    operations: &[CardOperation],
    paper: Paper,
) -> Result<Vec<u8>, SheetError> {
    let mut sheet = Sheet::new(paper);
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
    Ok(sheet.finish(&format!("Job {}", job.number)))
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
    }
    for check in &operation.checks {
        let with = if check.instrument.is_empty() {
            String::new()
        } else {
            format!(" ({})", check.instrument)
        };
        sheet.tick(&format!("______  {}: {}{with}", check.what, check.limits));
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimating::Check;
    use lopdf::Document;
    use lopdf::content::Content;

    fn card(count: u32, paper: Paper) -> Vec<u8> {
        let operations: Vec<CardOperation> = (1..=count)
            .map(|n| {
                let mut operation = crate::bench::tests::operation(n * 10, &[]);
                operation.checks = vec![Check {
                    what: "dowel hole at rear A1".to_owned(),
                    limits: "12 H7: 12.000 to 12.018 mm".to_owned(),
                    instrument: "plug gauge".to_owned(),
                }];
                operation.cautions =
                    vec!["Guards closed; keep clear of the rotating cutter.".to_owned()];
                CardOperation {
                    operation,
                    done: n == 1,
                    address: address(n),
                }
            })
            .collect();
        let job = CardJob {
            shop: "Harrow Quay Engine Works".to_owned(),
            number: 17,
            title: "Tarn 4/90 farm made into Tarn 4/90 marine".to_owned(),
            days: "Work to Mon 30 Nov 2026".to_owned(),
            castings: vec![4],
            held: None,
        };
        route_card(&job, &operations, paper).unwrap()
    }

    fn address(n: u32) -> String {
        format!("https://quay.example/bench/op/0192f0c1-7a00-7000-8000-0000000000{n:02}")
    }

    /// The filled squares of each code, as a picture in black and white that a decoder reads.
    fn codes(page: &[u8]) -> Vec<String> {
        let content = Content::decode(page).unwrap();
        let mut squares: Vec<[f32; 3]> = Vec::new();
        let mut found = Vec::new();
        for operation in content.operations {
            match operation.operator.as_str() {
                "re" => {
                    let number = |at: usize| operation.operands[at].as_float().unwrap();
                    squares.push([number(0), number(1), number(2)]);
                }
                "f" => found.push(decoded(&std::mem::take(&mut squares))),
                "S" => squares.clear(),
                _ => {}
            }
        }
        found
    }

    fn decoded(squares: &[[f32; 3]]) -> String {
        let side = squares[0][2];
        let left = squares.iter().map(|s| s[0]).fold(f32::MAX, f32::min);
        let bottom = squares.iter().map(|s| s[1]).fold(f32::MAX, f32::min);
        let module = |at: f32, from: f32| ((at - from) / side).round() as usize;
        let size = squares.iter().map(|s| module(s[0], left)).max().unwrap() + 1;
        let mut dark = vec![vec![false; size]; size];
        for square in squares {
            dark[size - 1 - module(square[1], bottom)][module(square[0], left)] = true;
        }
        let pixels = (size + 8) * 4;
        let mut image = rqrr::PreparedImage::prepare_from_greyscale(pixels, pixels, |x, y| {
            let at = |p: usize| (p / 4).checked_sub(4).filter(|m| *m < size);
            match (at(x), at(y)) {
                (Some(x), Some(y)) if dark[y][x] => 0,
                _ => 255,
            }
        });
        let grids = image.detect_grids();
        assert_eq!(grids.len(), 1);
        grids[0].decode().unwrap().1
    }

    #[test]
    fn the_card_reads_back_and_its_codes_open_each_operation() {
        for (paper, wide) in [(Paper::A4, 595.0_f32), (Paper::A5, 420.0)] {
            let pdf = card(9, paper);
            let document = Document::load_mem(&pdf).unwrap();
            let pages = document.get_pages();
            assert!(pages.len() > 1, "{paper:?} has {} pages", pages.len());
            let numbers: Vec<u32> = pages.keys().copied().collect();
            let text = document.extract_text(&numbers).unwrap();
            let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
            for words in [
                "Route card: job 17",
                "Harrow Quay Engine Works",
                "90 Operation 90",
                "10 Operation 10 – done",
                "Casting 4",
                "12 H7: 12.000 to 12.018 mm (plug gauge)",
                "New gauge: go 12.001 to 12.004 mm, no-go 12.0165 to 12.0195 mm, worn out at 11.998 mm",
                "CAUTION: Guards closed",
            ] {
                assert!(text.contains(words), "{words} is not in {text}");
            }
            let mut opened = Vec::new();
            for page in pages.values() {
                let media = document
                    .get_dictionary(*page)
                    .unwrap()
                    .get(b"MediaBox")
                    .unwrap();
                let right = media.as_array().unwrap()[2].as_float().unwrap();
                assert!((right - wide).abs() < 1.0, "{right}");
                opened.extend(codes(&document.get_page_content(*page)));
            }
            let expected: Vec<String> = (1..=9).map(address).collect();
            assert_eq!(opened, expected);
        }
    }
}
