//! Complaints by field, and the reading of typed text that makes them.

use crate::db::DbError;
use crate::units::text::capitalised;
use crate::units::{Currency, Length, LengthUnit, Minutes, Money};
use crate::web::ui::words;
use chrono::{NaiveDate, NaiveTime};
use maud::{Markup, html};
use rust_decimal::Decimal;
use std::collections::BTreeMap;
use std::fmt::Display;
use std::ops::RangeInclusive;
use uuid::Uuid;

/// What is wrong with a form, field by field, in the order it was found.
///
/// The reading methods give `None` after noting a complaint, so that one pass finds them all:
///
/// ```
/// use borewright::web::ui::FormErrors;
/// let mut errors = FormErrors::default();
/// let name = errors.required_text("name", "  Edda Marsh ", 80);
/// let count = errors.int("count", "four", 1..=99);
/// assert_eq!(name.as_deref(), Some("Edda Marsh"));
/// assert_eq!(count, None);
/// assert_eq!(errors.get("count"), Some("Enter a whole number, for example 4"));
/// ```
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct FormErrors {
    found: Vec<(String, String)>,
    labels: BTreeMap<String, String>,
}

impl FormErrors {
    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.found.is_empty()
    }

    /// Field and message, in the order they were found.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        self.found
            .iter()
            .map(|(field, message)| (field.as_str(), message.as_str()))
    }

    /// The first complaint about a field.
    #[must_use]
    pub fn get(&self, field: &str) -> Option<&str> {
        self.iter()
            .find(|(name, _)| *name == field)
            .map(|(_, message)| message)
    }

    /// Adds a complaint.
    pub fn add(&mut self, field: &str, message: impl Display) {
        self.found.push((field.to_owned(), message.to_string()));
    }

    /// Says what a field is called on its page, so that messages can use the same words.
    pub fn label(&mut self, field: &str, label: &str) {
        self.labels.insert(field.to_owned(), label.to_owned());
    }

    /// A message under its field's label, for the top of the page; alone where it says the label itself.
    fn labelled(&self, field: &str, message: &str) -> String {
        let Some(label) = self.labels.get(field) else {
            return format!("{}: {message}", spoken(field));
        };
        if message.to_lowercase().contains(&label.to_lowercase()) {
            message.to_owned()
        } else {
            format!("{label}: {message}")
        }
    }

    /// Takes a duplicate as a complaint beside its field; gives any other error back.
    ///
    /// # Errors
    /// Whatever is not [`DbError::Duplicate`].
    pub fn absorb(&mut self, error: DbError) -> Result<(), DbError> {
        match error {
            DbError::Duplicate(what) => {
                let (field, message) = words::taken(what);
                self.add(field, message);
                Ok(())
            }
            other => Err(other),
        }
    }

    /// Reads with any parser whose error is words for the person.
    pub fn parsed<T, E: Display>(
        &mut self,
        field: &str,
        raw: &str,
        parse: impl FnOnce(&str) -> Result<T, E>,
    ) -> Option<T> {
        match parse(raw.trim()) {
            Ok(value) => Some(value),
            Err(error) => {
                self.add(field, error);
                None
            }
        }
    }

    /// Reads a field that may stay empty: `Some(None)` when it is, else what the reading gives.
    ///
    /// ```
    /// # use borewright::web::ui::FormErrors;
    /// # let mut errors = FormErrors::default();
    /// let depth = errors.optional("", |errors| errors.int("depth", "", 1..=9));
    /// assert_eq!(depth, Some(None));
    /// ```
    pub fn optional<T>(
        &mut self,
        raw: &str,
        read: impl FnOnce(&mut Self) -> Option<T>,
    ) -> Option<Option<T>> {
        if raw.trim().is_empty() {
            Some(None)
        } else {
            read(self).map(Some)
        }
    }

    /// Text that may be empty, trimmed, of at most `longest` characters.
    pub fn text(&mut self, field: &str, raw: &str, longest: usize) -> Option<String> {
        let text = raw.trim().replace("\r\n", "\n");
        let length = text.chars().count();
        if length > longest {
            self.add(
                field,
                format!("Shorten this to {longest} characters: it has {length}"),
            );
            return None;
        }
        if text
            .chars()
            .any(|c| c.is_control() && c != '\n' && c != '\t')
        {
            self.add(field, "Remove the character that cannot be printed");
            return None;
        }
        Some(text)
    }

    /// Text that must be there.
    pub fn required_text(&mut self, field: &str, raw: &str, longest: usize) -> Option<String> {
        if raw.trim().is_empty() {
            let message = match self.labels.get(field) {
                Some(label) => format!("Enter the {}", within_a_sentence(label)),
                None => "Required".to_owned(),
            };
            self.add(field, message);
            return None;
        }
        self.text(field, raw, longest)
    }

    /// A length; a bare number is in the shop's unit.
    pub fn length(&mut self, field: &str, raw: &str, unit: LengthUnit) -> Option<Length> {
        self.parsed(field, raw, |text| Length::parse(text, unit))
    }

    /// An amount of money, not below nothing.
    pub fn money(&mut self, field: &str, raw: &str, currency: Currency) -> Option<Money> {
        if raw.trim().is_empty() {
            self.add(field, "Enter an amount, for example 1250.00");
            return None;
        }
        let money = self.parsed(field, raw, |text| Money::parse(text, currency))?;
        if money.amount().is_sign_negative() && !money.amount().is_zero() {
            self.add(field, "Enter 0 or more");
            return None;
        }
        Some(money)
    }

    /// Working time, e.g. `90`, `1:30` or `1.5 h`.
    pub fn minutes(&mut self, field: &str, raw: &str) -> Option<Minutes> {
        self.parsed(field, raw, Minutes::parse)
    }

    /// A decimal number within bounds, at most six digits after the point.
    pub fn decimal(
        &mut self,
        field: &str,
        raw: &str,
        bounds: RangeInclusive<Decimal>,
    ) -> Option<Decimal> {
        let text = raw.trim();
        let plain = !text.is_empty()
            && text.len() <= 30
            && text
                .trim_start_matches(['+', '-'])
                .chars()
                .all(|c| c.is_ascii_digit() || c == '.');
        let Some(number) = plain
            .then(|| Decimal::from_str_exact(text).ok())
            .flatten()
            .filter(|number| number.normalize().scale() <= 6)
        else {
            self.add(field, "Enter a number, for example 12.5");
            return None;
        };
        self.within(field, number, bounds)
    }

    /// A percentage within bounds, with or without its sign.
    pub fn percent(
        &mut self,
        field: &str,
        raw: &str,
        bounds: RangeInclusive<Decimal>,
    ) -> Option<Decimal> {
        self.decimal(field, raw.trim().trim_end_matches('%'), bounds)
    }

    /// A whole number within bounds.
    pub fn int(&mut self, field: &str, raw: &str, bounds: RangeInclusive<i64>) -> Option<i64> {
        match raw.trim().parse::<i64>() {
            Ok(number) => self.within(field, number, bounds),
            Err(_) => {
                self.add(field, "Enter a whole number, for example 4");
                None
            }
        }
    }

    fn within<T: PartialOrd + Display>(
        &mut self,
        field: &str,
        value: T,
        bounds: RangeInclusive<T>,
    ) -> Option<T> {
        if bounds.contains(&value) {
            return Some(value);
        }
        self.add(
            field,
            format!("Enter a number from {} to {}", bounds.start(), bounds.end()),
        );
        None
    }

    /// A calendar day, as a date field sends it (`2026-12-03`) or as people write it (`3 Dec 2026`), from 1900 to 2199.
    pub fn date(&mut self, field: &str, raw: &str) -> Option<NaiveDate> {
        use chrono::Datelike;
        match crate::units::day::written(raw) {
            Some(day) if (1900..2200).contains(&day.year()) => Some(day),
            Some(_) => {
                self.add(field, "Enter a year from 1900 to 2199");
                None
            }
            None => {
                self.add(field, "Enter a date, for example 2026-12-03 or 3 Dec 2026");
                None
            }
        }
    }

    /// A time of day to the minute, as a time field sends it (`08:00`) or as people write it (`8:00`).
    pub fn time(&mut self, field: &str, raw: &str) -> Option<NaiveTime> {
        let time = NaiveTime::parse_from_str(raw.trim(), "%H:%M").ok();
        if time.is_none() {
            self.add(field, "Enter a time of day, for example 08:00");
        }
        time
    }

    /// One of a fixed set, by the word it is sent under.
    pub fn choice<T>(
        &mut self,
        field: &str,
        raw: &str,
        from_code: impl FnOnce(&str) -> Option<T>,
    ) -> Option<T> {
        let chosen = from_code(raw.trim());
        if chosen.is_none() {
            self.add(field, "Choose one");
        }
        chosen
    }

    /// A tick: `yes`, or nothing.
    pub fn yes(&mut self, field: &str, raw: &str) -> Option<bool> {
        match raw {
            "" => Some(false),
            "yes" => Some(true),
            _ => {
                self.add(field, "Send yes, or leave it out");
                None
            }
        }
    }

    /// A row chosen from a list, by its key. Whether the row is there is for the store to say.
    pub fn row(&mut self, field: &str, raw: &str) -> Option<Uuid> {
        self.choice(field, raw, |text| text.parse().ok())
    }

    /// The complaints above the form, each leading to its field. Nothing when there are none.
    #[must_use]
    pub fn summary(&self) -> Markup {
        html! {
            @if !self.is_empty() {
                section.notice.bad role="alert" aria-labelledby="errors-title" tabindex="-1" autofocus {
                    h2 #errors-title {
                        @match self.found.len() {
                            1 => "Correct one thing",
                            n => { "Correct " (n) " things" },
                        }
                    }
                    ul {
                        @for (field, message) in self.iter() {
                            li { a href={ "#" (field) } { (self.labelled(field, message)) } }
                        }
                    }
                }
            }
        }
    }
}

/// A label within a sentence: without its capital, unless it begins with an abbreviation.
fn within_a_sentence(label: &str) -> String {
    let mut letters = label.chars();
    match (letters.next(), letters.clone().next()) {
        (Some(first), Some(second)) if second.is_lowercase() => {
            first.to_lowercase().chain(letters).collect()
        }
        _ => label.to_owned(),
    }
}

/// A field's name as words: `setup_minutes` is "Setup minutes".
pub(in crate::web) fn spoken(field: &str) -> String {
    let words = field.replace(['_', '-', '.'], " ");
    capitalised(&words)
}

impl From<FormErrors> for crate::web::shell::error::WebError {
    fn from(errors: FormErrors) -> Self {
        Self::Invalid(errors.found)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn d(text: &str) -> Decimal {
        text.parse().unwrap()
    }

    #[test]
    fn numbers_are_bounded_and_never_overflow() {
        let mut errors = FormErrors::default();
        assert_eq!(
            errors.decimal("a", " 12.50 ", d("0")..=d("100")),
            Some(d("12.50"))
        );
        assert_eq!(
            errors.percent("a", "20 %", d("0")..=d("100")),
            Some(d("20"))
        );
        for raw in [
            "",
            "1e5",
            "1,5",
            "99999999999999999999999999999999",
            "101",
            "-1",
            "0.0000001",
            "--1",
            ".",
        ] {
            assert_eq!(errors.decimal(raw, raw, d("0")..=d("100")), None, "{raw}");
            assert!(errors.get(raw).is_some(), "{raw}");
        }
        assert_eq!(errors.int("n", "9223372036854775808", 0..=9), None);
        assert_eq!(errors.int("n", "10", 0..=9), None);
        assert_eq!(errors.int("n", "9", 0..=9), Some(9));
    }

    #[test]
    fn dates_in_two_ways_and_no_others() {
        let mut errors = FormErrors::default();
        let day = NaiveDate::from_ymd_opt(2026, 12, 3);
        assert_eq!(errors.date("d", "2026-12-03"), day);
        assert_eq!(errors.date("d", "3 Dec 2026"), day);
        assert_eq!(errors.date("d", "3 December 2026"), day);
        for raw in ["", "03/12/2026", "2026-02-30", "262143-01-01", "0026-12-03"] {
            assert_eq!(errors.date("d", raw), None, "{raw}");
        }
        for raw in ["-262143-01-01", "+262142-12-31", "1899-12-31", "1 Jan 2200"] {
            assert_eq!(errors.date(raw, raw), None, "{raw}");
            assert_eq!(errors.get(raw), Some("Enter a year from 1900 to 2199"));
        }
    }

    #[test]
    fn times_of_day_to_the_minute() {
        let mut errors = FormErrors::default();
        assert_eq!(errors.time("t", " 8:05 "), NaiveTime::from_hms_opt(8, 5, 0));
        assert_eq!(errors.time("t", "00:00"), NaiveTime::from_hms_opt(0, 0, 0));
        for raw in ["", "24:00", "8", "08:60", "08:00:30", "8 pm"] {
            assert_eq!(errors.time("t", raw), None, "{raw}");
        }
    }

    #[test]
    fn text_is_trimmed_counted_in_characters_and_printable() {
        let mut errors = FormErrors::default();
        assert_eq!(errors.text("t", " é\r\nb ", 3).as_deref(), Some("é\nb"));
        assert_eq!(errors.text("t", "abcd", 3), None);
        assert_eq!(errors.text("t", "a\u{7}", 3), None);
        assert_eq!(errors.required_text("t", " \n", 3), None);
        assert_eq!(errors.optional(" ", |e| e.int("n", " ", 0..=1)), Some(None));
        assert_eq!(errors.optional("x", |e| e.int("n", "x", 0..=1)), None);
    }

    #[test]
    fn the_summary_leads_to_the_fields_and_escapes() {
        let mut errors = FormErrors::default();
        assert_eq!(errors.summary().into_string(), "");
        errors.add("name", "“<b>” is not a name");
        let html = errors.summary().into_string();
        assert!(html.contains(r##"href="#name""##), "{html}");
        assert!(html.contains("Name: “&lt;b&gt;”"), "{html}");
    }
}
