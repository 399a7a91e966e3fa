//! Calendar days as people and spreadsheets write them.

use chrono::{Datelike, NaiveDate};
use strum::{EnumString, IntoStaticStr, VariantArray};

/// Which figure comes first in a date of three figures: `3/12/2026` is 3 December or March 12.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum DateOrder {
    /// Day, month, year.
    #[default]
    DayFirst,
    /// Month, day, year.
    MonthFirst,
}

/// Why a text is no date.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("“{0}” is not a date from 1900 to 2199")]
pub struct NotADate(String);

/// A date that can mean one day only: `2026-12-03`, `3 Dec 2026`.
#[must_use]
pub fn written(text: &str) -> Option<NaiveDate> {
    ["%Y-%m-%d", "%d %b %Y", "%d %B %Y"]
        .iter()
        .find_map(|format| NaiveDate::parse_from_str(text.trim(), format).ok())
}

impl DateOrder {
    /// Reads a date: `2026-12-03`, `3 Dec 2026`, or three figures in this order with slashes, points or hyphens. A year of two
    /// figures is one of this century.
    ///
    /// ```
    /// use borewright::units::DateOrder;
    /// let day = DateOrder::DayFirst.read("3/12/2026")?;
    /// assert_eq!(day, DateOrder::MonthFirst.read("12.3.26")?);
    /// assert_eq!(day, DateOrder::MonthFirst.read("2026-12-03")?);
    /// assert_eq!(day, DateOrder::DayFirst.read("3 Dec 2026")?);
    /// assert!(DateOrder::DayFirst.read("12/31/2026").is_err());
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// [`NotADate`].
    pub fn read(self, text: &str) -> Result<NaiveDate, NotADate> {
        let text = text.trim();
        written(text)
            .or_else(|| self.three_figures(text))
            .filter(|day| (1900..2200).contains(&day.year()))
            .ok_or_else(|| NotADate(text.to_owned()))
    }

    fn three_figures(self, text: &str) -> Option<NaiveDate> {
        let figures: Option<Vec<u32>> = text
            .split(['/', '.', '-'])
            .map(|figure| figure.parse().ok().filter(|_| figure.len() <= 4))
            .collect();
        let &[first, second, year] = figures?.as_slice() else {
            return None;
        };
        let (day, month) = match self {
            Self::DayFirst => (first, second),
            Self::MonthFirst => (second, first),
        };
        let year = if year < 100 { 2000 + year } else { year };
        NaiveDate::from_ymd_opt(i32::try_from(year).ok()?, month, day)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_read_in_the_order_of_the_shop() {
        for (order, text, day) in [
            (DateOrder::DayFirst, "3/12/2026", Some("2026-12-03")),
            (DateOrder::MonthFirst, "3/12/2026", Some("2026-03-12")),
            (DateOrder::DayFirst, "3.12.26", Some("2026-12-03")),
            (DateOrder::DayFirst, "03-12-99", Some("2099-12-03")),
            (DateOrder::DayFirst, "3/12/100", None),
            (DateOrder::DayFirst, "3/12/1899", None),
            (DateOrder::DayFirst, "3/12/1900", Some("1900-12-03")),
            (DateOrder::DayFirst, "00003/12/2026", None),
            (DateOrder::DayFirst, "3/12", None),
            (DateOrder::DayFirst, "31/11/2026", None),
            (DateOrder::MonthFirst, "2026-12-03", Some("2026-12-03")),
        ] {
            let read = order.read(text).ok().map(|day| day.to_string());
            assert_eq!(read.as_deref(), day, "{text}");
        }
    }
}
