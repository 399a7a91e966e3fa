//! Exact lengths in millimetres, decimal inches, fractions and thou.

use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;
use strum::{EnumString, IntoStaticStr, VariantArray};

/// The longest length that is believed, in millimetres either way: 10 m, more than any block and any machine bed.
const LONGEST_MM: Decimal = Decimal::from_parts(10_000, 0, 0, false, 0);
/// One inch in millimetres, exact since the international yard and pound agreement of 1959.
const INCH_MM: Decimal = Decimal::from_parts(254, 0, 0, false, 1);
/// Digits after the point that are read.
const MOST_DECIMALS: usize = 9;

/// Why a length was refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LengthError {
    /// Nothing was typed.
    #[error("a length is missing; write it like 12.5 mm, 0.5 in, 1 3/8 in or 5 thou")]
    Missing,
    /// The number is not one.
    #[error("“{part}” in “{text}” is not a number; write it like 12.5, 1/2 or 1 3/8")]
    NotANumber {
        /// What was typed.
        text: String,
        /// What was not understood.
        part: String,
    },
    /// A comma where a point belongs.
    #[error("“{0}” has a comma; write the decimals after a point, as in 12.5")]
    Comma(String),
    /// The unit is not one we know.
    #[error("“{unit}” in “{text}” is not a unit of length we know; use mm, in or thou")]
    UnknownUnit {
        /// What was typed.
        text: String,
        /// What was not understood.
        unit: String,
    },
    /// A fraction that no rule is marked in.
    #[error(
        "“{0}” is not a fraction of the rule; the lower number must be 2, 4, 8, 16, 32, 64 or 128"
    )]
    NotARuleFraction(String),
    /// A bare fraction in a shop that works in millimetres.
    #[error("“{0}” needs its unit here: write {0} in for inches, or the size in millimetres")]
    FractionNeedsUnit(String),
    /// More digits than can be kept exactly.
    #[error("“{0}” has more than 9 digits after the point")]
    TooFine(String),
    /// Beyond ten metres.
    #[error("“{0}” is more than 10 m, which is not believed")]
    TooLong(String),
}

/// The unit a shop works in, for bare numbers and for showing.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Hash,
    Default,
    Serialize,
    Deserialize,
    EnumString,
    IntoStaticStr,
    VariantArray,
)]
#[serde(rename_all = "snake_case")]
#[strum(serialize_all = "snake_case")]
pub enum LengthUnit {
    /// Millimetres.
    #[default]
    Mm,
    /// Inches.
    Inch,
}

/// An exact length, held in millimetres. An inch is 25.4 mm exactly, so every inch fraction down to 1/128 is exact too.
///
/// ```
/// use borewright::units::{Length, LengthUnit};
/// let half = Length::parse("1/2\"", LengthUnit::Mm)?;
/// assert_eq!(half.to_string(), "12.7 mm");
/// assert_eq!(half.show(LengthUnit::Inch), "1/2 in");
/// # Ok::<(), borewright::units::LengthError>(())
/// ```
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Length(Decimal);

impl Length {
    /// No length.
    pub const ZERO: Self = Self(Decimal::ZERO);

    /// From millimetres.
    #[must_use]
    pub const fn from_mm(mm: Decimal) -> Self {
        Self(mm)
    }

    /// From inches; exact. It stops at the largest decimal instead of overflowing.
    #[must_use]
    pub fn from_inches(inches: Decimal) -> Self {
        Self(inches.saturating_mul(INCH_MM).normalize())
    }

    /// From micrometres; exact.
    #[must_use]
    pub fn from_um(micrometres: i32) -> Self {
        Self(Decimal::new(i64::from(micrometres), 3).normalize())
    }

    /// In millimetres.
    #[must_use]
    pub fn mm(&self) -> Decimal {
        self.0
    }

    /// Whether it is no more than 10 m either way: more than any block and any machine bed.
    #[must_use]
    pub fn is_believed(&self) -> bool {
        self.0.abs() <= LONGEST_MM
    }

    /// In inches, to the 28 digits a decimal holds.
    #[must_use]
    pub fn inches(&self) -> Decimal {
        (self.0 / INCH_MM).normalize()
    }

    /// In millimetres, for formulas that end in a rounded figure.
    #[must_use]
    pub fn mm_f64(&self) -> f64 {
        self.0.to_f64().unwrap_or(f64::NAN)
    }

    /// Reads a length exactly: `12.5`, `12.5 mm`, `0.5 in`, `.5"`, `1/2"`, `1 3/8 in`, `1-3/8"`, `5 thou`, `1.5 thou`.
    /// A bare number is in `default_unit`; a bare fraction is inches where the shop works in inches, and is refused
    /// where it works in millimetres, because there it could mean either.
    ///
    /// # Errors
    /// [`LengthError`], saying what was not understood.
    pub fn parse(text: &str, default_unit: LengthUnit) -> Result<Self, LengthError> {
        let typed = text.trim();
        if typed.is_empty() {
            return Err(LengthError::Missing);
        }
        if typed.contains(',') {
            return Err(LengthError::Comma(typed.to_owned()));
        }
        let (negative, unsigned) = match typed.strip_prefix(['-', '−']) {
            Some(rest) => (true, rest.trim_start()),
            None => (false, typed.strip_prefix('+').unwrap_or(typed).trim_start()),
        };
        let spelled = spell_fractions(unsigned);
        let number_end = spelled
            .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '/' | '-' | ' ')))
            .unwrap_or(spelled.len());
        let (number, unit) = spelled.split_at(number_end);
        let (number, unit) = (number.trim(), unit.trim());
        let is_fraction = number.contains('/');
        let factor = match unit.to_lowercase().as_str() {
            "" if is_fraction && default_unit == LengthUnit::Mm => {
                return Err(LengthError::FractionNeedsUnit(typed.to_owned()));
            }
            "" => match default_unit {
                LengthUnit::Mm => Decimal::ONE,
                LengthUnit::Inch => INCH_MM,
            },
            "mm" => Decimal::ONE,
            "in" | "in." | "inch" | "inches" | "\"" | "”" | "″" | "''" => INCH_MM,
            "thou" => Decimal::new(254, 4),
            _ => {
                return Err(LengthError::UnknownUnit {
                    text: typed.to_owned(),
                    unit: unit.to_owned(),
                });
            }
        };
        let value = read_number(typed, number)?;
        let mm = value
            .checked_mul(factor)
            .filter(|mm| *mm <= LONGEST_MM)
            .ok_or_else(|| LengthError::TooLong(typed.to_owned()))?;
        Ok(Self(if negative { -mm } else { mm }.normalize()))
    }

    /// For reading, in the shop's unit: `12.5 mm`; `1 3/8 in` when it is a fraction exactly down to 1/64, else a decimal
    /// inch, which is rounded to a ten-thousandth.
    #[must_use]
    pub fn show(&self, unit: LengthUnit) -> String {
        match unit {
            LengthUnit::Mm => self.to_string(),
            LengthUnit::Inch => {
                let sign = if self.0 < Decimal::ZERO { "-" } else { "" };
                match inch_fraction(self.0.abs()) {
                    Some(fraction) => format!("{sign}{fraction} in"),
                    None => {
                        let inches = self
                            .inches()
                            .abs()
                            .round_dp_with_strategy(4, RoundingStrategy::MidpointAwayFromZero);
                        format!("{sign}{} in", inches.normalize())
                    }
                }
            }
        }
    }

    /// For an entry field whose unit stands beside it: a bare number in the shop's unit that reads back to exactly this
    /// length, or millimetres with their unit where inches cannot say it exactly.
    #[must_use]
    pub fn entry(&self, unit: LengthUnit) -> String {
        let shown = match unit {
            LengthUnit::Mm => self.to_string(),
            LengthUnit::Inch => self.show(unit),
        };
        let exact = match unit {
            LengthUnit::Mm => self.0.normalize().to_string(),
            LengthUnit::Inch => self.inches().to_string(),
        };
        [shown.trim_end_matches([' ', 'm', 'i', 'n']), &exact]
            .into_iter()
            .find(|text| Self::parse(text, unit) == Ok(*self))
            .map_or_else(|| self.to_string(), str::to_owned)
    }
}

/// Writes the one-character fractions out: `1½` becomes `1 1/2`.
fn spell_fractions(text: &str) -> String {
    let mut spelled = String::with_capacity(text.len() + 4);
    for c in text.chars() {
        let fraction = match c {
            '½' => "1/2",
            '¼' => "1/4",
            '¾' => "3/4",
            '⅛' => "1/8",
            '⅜' => "3/8",
            '⅝' => "5/8",
            '⅞' => "7/8",
            '⁄' => "/",
            _ => {
                spelled.push(c);
                continue;
            }
        };
        if fraction.len() > 1 && !spelled.is_empty() {
            spelled.push(' ');
        }
        spelled.push_str(fraction);
    }
    spelled
}

/// Reads `12.5`, `1/2`, `1 3/8` or `1-3/8`.
fn read_number(typed: &str, number: &str) -> Result<Decimal, LengthError> {
    let not_a_number = |part: &str| LengthError::NotANumber {
        text: typed.to_owned(),
        part: if part.is_empty() { typed } else { part }.to_owned(),
    };
    let whole_number = |part: &str| -> Result<Decimal, LengthError> {
        let part = part.trim();
        if part.is_empty() || !part.bytes().all(|b| b.is_ascii_digit()) {
            return Err(not_a_number(part));
        }
        let significant = part.trim_start_matches('0');
        if significant.len() > 9 {
            return Err(LengthError::TooLong(typed.to_owned()));
        }
        format!("0{significant}")
            .parse()
            .map_err(|_| not_a_number(part))
    };
    if let Some((above, below)) = number.split_once('/') {
        let above = above.trim();
        let (whole, above) = match above.rsplit_once([' ', '-']) {
            Some((whole, above)) => (whole_number(whole)?, above),
            None => (Decimal::ZERO, above),
        };
        let (above, below) = (whole_number(above)?, whole_number(below)?);
        let on_the_rule = [2, 4, 8, 16, 32, 64, 128]
            .iter()
            .any(|d| below == Decimal::from(*d));
        if !on_the_rule {
            return Err(LengthError::NotARuleFraction(number.to_owned()));
        }
        // Exact: the divisor is a power of two.
        return Ok(whole + above / below);
    }
    let (whole, fraction) = number.split_once('.').unwrap_or((number, ""));
    if (whole.is_empty() && fraction.is_empty()) || !fraction.bytes().all(|b| b.is_ascii_digit()) {
        return Err(not_a_number(number));
    }
    let fraction = fraction.trim_end_matches('0');
    if fraction.len() > MOST_DECIMALS {
        return Err(LengthError::TooFine(typed.to_owned()));
    }
    let whole = if whole.is_empty() {
        Decimal::ZERO
    } else {
        whole_number(whole)?
    };
    let fraction: Decimal = format!("0.{fraction}0")
        .parse()
        .map_err(|_| not_a_number(number))?;
    Ok(whole + fraction)
}

/// The inch fraction that a positive length is exactly, down to 1/64 and up to 400 in.
fn inch_fraction(mm: Decimal) -> Option<String> {
    let sixty_fourths = mm.checked_mul(Decimal::from(64))? / INCH_MM;
    if !sixty_fourths.fract().is_zero() {
        return None;
    }
    let sixty_fourths = sixty_fourths.to_u32().filter(|n| *n <= 64 * 400)?;
    let (whole, rest) = (sixty_fourths / 64, sixty_fourths % 64);
    if rest == 0 {
        return Some(whole.to_string());
    }
    let halvings = rest.trailing_zeros();
    let fraction = format!("{}/{}", rest >> halvings, 64 >> halvings);
    Some(if whole == 0 {
        fraction
    } else {
        format!("{whole} {fraction}")
    })
}

impl FromStr for Length {
    type Err = LengthError;
    /// With bare numbers in millimetres.
    fn from_str(text: &str) -> Result<Self, LengthError> {
        Self::parse(text, LengthUnit::Mm)
    }
}

/// In millimetres, exactly: `12.5 mm`.
impl fmt::Display for Length {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} mm", self.0.normalize())
    }
}

/// The sum; it stops at the largest decimal instead of overflowing, far beyond any length that is read.
impl std::ops::Add for Length {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

/// The difference; it stops at the largest decimal instead of overflowing.
impl std::ops::Sub for Length {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

#[cfg(test)]
mod tests;
