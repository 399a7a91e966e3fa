//! What the program itself notes in records that people read and edit as text: the note of an enquiry it opens, the
//! reason it puts a job on hold for, the casting a job needs.

use crate::castings::measured::{Judgement, RecordKind};
use crate::enquiry::quote::DonorSource;

/// The note of an enquiry in which a job is quoted again because its casting is scrap: why, then what the earlier note
/// said.
#[must_use]
pub fn quoted_again(job: i64, why: &str, before: &str) -> String {
    let note = format!("Job {job} is quoted again because its casting is scrap: {why}.\n{before}");
    note.trim().to_owned()
}

/// The caller of such an enquiry when the job came from none.
#[must_use]
pub fn customer_of(job: i64) -> String {
    format!("Customer of job {job}")
}

/// Why a job is on hold until its new quote is decided; it follows "on hold".
#[must_use]
pub fn waits_for_quote(enquiry: i64) -> String {
    format!("to be quoted again: enquiry {enquiry}")
}

/// The need of a job for the part that its customer brings.
#[must_use]
pub fn customers_part(part: &str) -> String {
    match part.trim() {
        "" => "The customer’s part".to_owned(),
        part => format!("The customer’s part: {part}"),
    }
}

/// The need of a job for its casting.
#[must_use]
pub fn donor_need(donor: DonorSource) -> &'static str {
    match donor {
        DonorSource::Shelf(_) => "Casting from the shelf",
        DonorSource::Brought => "The customer’s own casting",
        DonorSource::Bought => "A casting, to be found and bought",
    }
}

/// Why a job is on hold whose finished work was measured outside its limits; it follows "on hold".
#[must_use]
pub fn outside_when_measured(kind: RecordKind, casting: i64, judged: &Judgement) -> String {
    let said: Vec<String> = judged.outside.iter().map(ToString::to_string).collect();
    format!(
        "{kind} of casting {casting} outside limits: {}",
        said.join("; ")
    )
}

/// What is noted when parts are made in a job that needs them.
#[must_use]
pub fn made_here(part: &str, pieces: u32) -> String {
    format!("{part} × {pieces} is made in this job")
}

/// The title of a job that makes parts for the shelf.
#[must_use]
pub fn for_the_shelf(part: &str, pieces: u32) -> String {
    format!("{part} × {pieces}, for the shelf")
}
