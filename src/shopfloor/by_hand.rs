//! Hours written down away from the bench, a row each: who, which operation, how long, and from when if that is known.
//!
//! A row without a time goes on where the row above it of the same person and day ends, and the first of a day begins with
//! the person's shift. So a day copied from a sheet of paper needs no times at all.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use uuid::Uuid;

/// Which operation somebody means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Named {
    /// The number of the job.
    pub job: i64,
    /// The number of its operation; none when only the job is said.
    pub operation: Option<i32>,
}

impl Named {
    /// Reads `214-30`, `214/30`, `214 30` or `214`; words behind the numbers are for people. `None` when it is none of these.
    ///
    /// ```
    /// use borewright::shopfloor::Named;
    ///
    /// let named = Named { job: 214, operation: Some(30) };
    /// assert_eq!(Named::parse("214-30 Line bore the mains"), Some(named));
    /// assert_eq!(Named::parse("job 214"), Some(Named { operation: None, ..named }));
    /// assert_eq!(Named::parse("the mains"), None);
    /// ```
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        let plain = match text.get(..3) {
            Some(word) if word.eq_ignore_ascii_case("job") => text.get(3..)?.trim_start(),
            _ => text,
        };
        let (job, rest) = number(plain)?;
        let rest = rest.trim_start_matches([' ', '-', '–', '/', '.', ',']);
        let operation = number(rest).and_then(|(number, _)| i32::try_from(number).ok());
        Some(Self { job, operation })
    }
}

/// The number a text begins with, and what follows it.
fn number(text: &str) -> Option<(i64, &str)> {
    let end = text
        .find(|c: char| !c.is_ascii_digit())
        .unwrap_or(text.len());
    let (digits, rest) = text.split_at(end);
    Some((digits.parse().ok()?, rest))
}

/// A row as it was written down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Row {
    /// Whose time it is.
    pub person: Uuid,
    /// The day, by the shop's clock.
    pub day: NaiveDate,
    /// When it began, if that was written down.
    pub from: Option<DateTime<Utc>>,
    /// How long, in minutes.
    pub minutes: i64,
}

/// Why a row cannot be laid on the clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RowFault {
    /// It says no time, and the person has no shift that day.
    NoStart,
    /// It runs into another row of the same person: that row's place.
    Overlaps(usize),
    /// It ends later than now.
    ToCome,
}

/// From when until when a row lies.
pub type Span = (DateTime<Utc>, DateTime<Utc>);

/// Whether somebody can have worked in a span beside those of theirs before it, each with its place among the rows.
///
/// # Errors
/// [`RowFault::Overlaps`] with the first it runs into, [`RowFault::ToCome`].
pub fn fits(
    (from, until): Span,
    before: impl IntoIterator<Item = (usize, Span)>,
    now: DateTime<Utc>,
) -> Result<(), RowFault> {
    let met = before
        .into_iter()
        .find(|(_, (a, b))| *a < until && from < *b);
    match met {
        Some((other, _)) => Err(RowFault::Overlaps(other)),
        None if until > now => Err(RowFault::ToCome),
        None => Ok(()),
    }
}

/// Where each row lies, in order. `shift` says when a person's shift begins on a day, if they have one.
#[must_use]
pub fn lay(
    rows: &[Row],
    shift: impl Fn(Uuid, NaiveDate) -> Option<DateTime<Utc>>,
    now: DateTime<Utc>,
) -> Vec<Result<Span, RowFault>> {
    let mut laid: Vec<Result<Span, RowFault>> = Vec::new();
    for row in rows {
        let mine = |other: &Row| other.person == row.person;
        let before = rows.iter().zip(&laid).enumerate();
        let before: Vec<(usize, NaiveDate, DateTime<Utc>, DateTime<Utc>)> = before
            .filter(|(_, (other, _))| mine(other))
            .filter_map(|(at, (other, place))| place.ok().map(|(a, b)| (at, other.day, a, b)))
            .collect();
        let above = before.iter().rev().find(|(_, day, ..)| *day == row.day);
        let from = row
            .from
            .or_else(|| above.map(|(.., until)| *until))
            .or_else(|| shift(row.person, row.day));
        laid.push(match from {
            None => Err(RowFault::NoStart),
            Some(from) => {
                let span = (from, from + TimeDelta::minutes(row.minutes));
                let before = before.iter().map(|(at, _, a, b)| (*at, (*a, *b)));
                fits(span, before, now).map(|()| span)
            }
        });
    }
    laid
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        format!("2026-11-{text}:00Z").parse().unwrap()
    }

    #[test]
    fn rows_follow_one_another_from_the_beginning_of_the_shift() {
        let [col, wyn] = [1, 2].map(Uuid::from_u128);
        let day = |n| NaiveDate::from_ymd_opt(2026, 11, n).unwrap();
        let row = |person, day, from: Option<&str>, minutes| Row {
            person,
            day,
            from: from.map(at),
            minutes,
        };
        // Shifts begin at 08:00; nobody works on the 28th.
        let shift =
            |_, on: NaiveDate| (on != day(28)).then(|| at(&format!("{}T08:00", on.format("%d"))));
        let rows = [
            row(col, day(26), None, 90),
            row(wyn, day(26), None, 60),
            row(col, day(26), None, 30),
            row(col, day(27), None, 60),
            row(col, day(28), None, 60),
            row(col, day(26), Some("26T09:45"), 60),
            row(wyn, day(26), Some("26T09:00"), 60),
            row(wyn, day(27), Some("27T16:30"), 60),
        ];
        let laid = lay(&rows, shift, at("27T17:00"));
        assert_eq!(
            laid,
            [
                Ok((at("26T08:00"), at("26T09:30"))),
                Ok((at("26T08:00"), at("26T09:00"))),
                Ok((at("26T09:30"), at("26T10:00"))),
                Ok((at("27T08:00"), at("27T09:00"))),
                Err(RowFault::NoStart),
                Err(RowFault::Overlaps(2)),
                Ok((at("26T09:00"), at("26T10:00"))),
                Err(RowFault::ToCome),
            ]
        );
    }

    #[test]
    fn numbers_are_read_however_they_are_written() {
        let named = |job, operation| Some(Named { job, operation });
        assert_eq!(Named::parse("214/30"), named(214, Some(30)));
        assert_eq!(Named::parse(" 214 - 30 Deck"), named(214, Some(30)));
        assert_eq!(Named::parse("Job 214, 30"), named(214, Some(30)));
        assert_eq!(Named::parse("214 Deck the block"), named(214, None));
        assert_eq!(Named::parse("-30"), None);
        assert_eq!(Named::parse("99999999999999999999"), None);
    }
}
