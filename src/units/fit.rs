//! Limits and fits to ISO 286-1, for nominal sizes up to 500 mm.

use super::Length;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// Why a tolerance class was refused, or has no limits at a size.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FitError {
    /// It is not a tolerance class.
    #[error(
        "“{0}” is not a tolerance class; write a letter and a grade, like H7 for a hole or m6 for a shaft"
    )]
    NotUnderstood(String),
    /// A letter that is not in the table here.
    #[error(
        "deviation “{0}” is not in the table; use D, E, F, G, H, JS, K, M, N, P, R or S (small letters for shafts)"
    )]
    UnknownDeviation(String),
    /// A grade that is not in the table here.
    #[error("grade {0} is not in the table; use 4 to 13")]
    UnknownGrade(String),
    /// The size is outside the steps.
    #[error("limits are tabulated for sizes above 0 and up to 500 mm, not for {0}")]
    SizeOutside(Length),
    /// ISO 286-1 does not define this class at this size.
    #[error("ISO 286-1 gives no {0} at {1}")]
    NotDefined(String, Length),
}

/// The position of the tolerance zone, by its letter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Deviation {
    D,
    E,
    F,
    G,
    H,
    Js,
    K,
    M,
    N,
    P,
    R,
    S,
}

impl Deviation {
    fn from_letters(letters: &str) -> Option<Self> {
        Some(match letters.to_ascii_lowercase().as_str() {
            "d" => Self::D,
            "e" => Self::E,
            "f" => Self::F,
            "g" => Self::G,
            "h" => Self::H,
            "js" => Self::Js,
            "k" => Self::K,
            "m" => Self::M,
            "n" => Self::N,
            "p" => Self::P,
            "r" => Self::R,
            "s" => Self::S,
            _ => return None,
        })
    }

    fn letters(self) -> &'static str {
        match self {
            Self::D => "d",
            Self::E => "e",
            Self::F => "f",
            Self::G => "g",
            Self::H => "h",
            Self::Js => "js",
            Self::K => "k",
            Self::M => "m",
            Self::N => "n",
            Self::P => "p",
            Self::R => "r",
            Self::S => "s",
        }
    }
}

/// A tolerance class, e.g. `H7` or `m6`. Parses and prints.
///
/// ```
/// use borewright::units::{Fit, Length};
/// let bore: Fit = "H7".parse()?;
/// let limits = bore.limits("40".parse()?)?;
/// assert_eq!(limits.to_string(), "40.000 to 40.025 mm");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Fit {
    deviation: Deviation,
    hole: bool,
    grade: u8,
}

/// The smallest and the largest size a tolerance class lets through.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Limits {
    /// Smallest.
    pub lower: Length,
    /// Largest.
    pub upper: Length,
}

/// To a micrometre, or a part of one where JS or a gauge asks for it: `40.000 to 40.025 mm`.
impl fmt::Display for Limits {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = |length: Length| {
            let scale = length.mm().normalize().scale();
            usize::try_from(scale).unwrap_or(3).clamp(3, 6)
        };
        let digits = digits(self.lower).max(digits(self.upper));
        write!(
            f,
            "{:.digits$} to {:.digits$} mm",
            self.lower.mm(),
            self.upper.mm()
        )
    }
}

/// Upper ends of the main size steps, in millimetres (ISO 286-1, table 1).
const STEPS: [u32; 13] = [3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500];

/// Standard tolerances IT4 to IT13 in micrometres by main size step (ISO 286-1, table 1). They are the formula
/// i = 0.45·∛D + 0.001·D (IT5 7i, IT6 10i, then by the R5 series) after the standard's own rounding; where the rounding is
/// by hand the table is what counts.
const IT: [[i32; 13]; 10] = [
    [3, 4, 4, 5, 6, 7, 8, 10, 12, 14, 16, 18, 20],
    [4, 5, 6, 8, 9, 11, 13, 15, 18, 20, 23, 25, 27],
    [6, 8, 9, 11, 13, 16, 19, 22, 25, 29, 32, 36, 40],
    [10, 12, 15, 18, 21, 25, 30, 35, 40, 46, 52, 57, 63],
    [14, 18, 22, 27, 33, 39, 46, 54, 63, 72, 81, 89, 97],
    [25, 30, 36, 43, 52, 62, 74, 87, 100, 115, 130, 140, 155],
    [40, 48, 58, 70, 84, 100, 120, 140, 160, 185, 210, 230, 250],
    [60, 75, 90, 110, 130, 160, 190, 220, 250, 290, 320, 360, 400],
    [
        100, 120, 150, 180, 210, 250, 300, 350, 400, 460, 520, 570, 630,
    ],
    [
        140, 180, 220, 270, 330, 390, 460, 540, 630, 720, 810, 890, 970,
    ],
];

/// Upper ends of the intermediate size steps that r and s need above 50 mm.
const FINE_STEPS: [u32; 20] = [
    3, 6, 10, 18, 30, 50, 65, 80, 100, 120, 140, 160, 180, 200, 225, 250, 280, 315, 355, 400,
];

/// Fundamental deviations of shafts in micrometres by main size step (ISO 286-1, tables 4 and 5): es for d to g, ei for k
/// (grades 4 to 7) to p.
const SHAFT_D: [i32; 13] = [
    -20, -30, -40, -50, -65, -80, -100, -120, -145, -170, -190, -210, -230,
];
const SHAFT_E: [i32; 13] = [
    -14, -20, -25, -32, -40, -50, -60, -72, -85, -100, -110, -125, -135,
];
const SHAFT_F: [i32; 13] = [
    -6, -10, -13, -16, -20, -25, -30, -36, -43, -50, -56, -62, -68,
];
const SHAFT_G: [i32; 13] = [-2, -4, -5, -6, -7, -9, -10, -12, -14, -15, -17, -18, -20];
const SHAFT_K: [i32; 13] = [0, 1, 1, 1, 2, 2, 2, 3, 3, 4, 4, 4, 5];
const SHAFT_M: [i32; 13] = [2, 4, 6, 7, 8, 9, 11, 13, 15, 17, 20, 21, 23];
const SHAFT_N: [i32; 13] = [4, 8, 10, 12, 15, 17, 20, 23, 27, 31, 34, 37, 40];
const SHAFT_P: [i32; 13] = [6, 12, 15, 18, 22, 26, 32, 37, 43, 50, 56, 62, 68];
/// r and s by intermediate step; the last two are 400 to 450 and 450 to 500 mm.
const SHAFT_R: [i32; 22] = [
    10, 15, 19, 23, 28, 34, 41, 43, 51, 54, 63, 65, 68, 77, 80, 84, 94, 98, 108, 114, 126, 132,
];
const SHAFT_S: [i32; 22] = [
    14, 19, 23, 28, 35, 43, 53, 59, 71, 79, 92, 100, 108, 122, 130, 140, 158, 170, 190, 208, 232,
    252,
];

impl Fit {
    /// Whether it is for a hole (capital letter) rather than a shaft.
    #[must_use]
    pub fn is_hole(&self) -> bool {
        self.hole
    }

    /// The standard tolerance of its grade at a size: the width of the zone.
    ///
    /// # Errors
    /// [`FitError::SizeOutside`].
    pub fn tolerance(&self, size: Length) -> Result<Length, FitError> {
        Ok(Length::from_um(it(self.grade, main_step(size)?)))
    }

    /// The limits of a nominal size (ISO 286-1, clause 4.3 and tables 1 to 5).
    ///
    /// # Errors
    /// [`FitError::SizeOutside`], [`FitError::NotDefined`].
    pub fn limits(&self, size: Length) -> Result<Limits, FitError> {
        let step = main_step(size)?;
        let width = it(self.grade, step);
        if self.deviation == Deviation::Js {
            let half = Length::from_mm(Decimal::new(i64::from(width) * 5, 4).normalize());
            return Ok(Limits {
                lower: size - half,
                upper: size + half,
            });
        }
        let (lower, upper) = if self.hole {
            self.hole_deviations(size, step, width)?
        } else {
            self.shaft_deviations(size, step, width)
        };
        Ok(Limits {
            lower: size + Length::from_um(lower),
            upper: size + Length::from_um(upper),
        })
    }

    /// Lower and upper deviation of a shaft.
    fn shaft_deviations(&self, size: Length, step: usize, width: i32) -> (i32, i32) {
        let fundamental = shaft_fundamental(self.deviation, self.grade, size, step);
        match self.deviation {
            Deviation::D | Deviation::E | Deviation::F | Deviation::G | Deviation::H => {
                (fundamental - width, fundamental)
            }
            _ => (fundamental, fundamental + width),
        }
    }

    /// Lower and upper deviation of a hole. Up to H a hole mirrors its shaft (EI = −es). From K on it mirrors the shaft of
    /// the next finer grade, ES = −ei + Δ with Δ = ITn − IT(n−1), for K, M and N up to grade 8 and P to S up to grade 7,
    /// above 3 mm; otherwise ES = −ei (ISO 286-1, clause 4.3.2.5 of the 2010 text, from memory of the numbering).
    fn hole_deviations(
        &self,
        size: Length,
        step: usize,
        width: i32,
    ) -> Result<(i32, i32), FitError> {
        let shaft = shaft_fundamental(self.deviation, self.grade, size, step);
        let delta = |finest_with_rule: u8| {
            if step > 0 && self.grade <= finest_with_rule {
                width - it(self.grade - 1, step)
            } else {
                0
            }
        };
        let upper = match self.deviation {
            Deviation::D | Deviation::E | Deviation::F | Deviation::G | Deviation::H => {
                return Ok((-shaft, width - shaft));
            }
            Deviation::K if step > 0 && self.grade > 8 => {
                return Err(FitError::NotDefined(self.to_string(), size));
            }
            Deviation::K => -SHAFT_K[step] + delta(8),
            // The one exception of the standard's table: M6 from 250 to 315 mm is −9, not −11.
            Deviation::M if self.grade == 6 && STEPS[step] == 315 => -9,
            Deviation::M => -shaft + delta(8),
            Deviation::N if step > 0 && self.grade > 8 => 0,
            Deviation::N => -shaft + delta(8),
            _ => -shaft + delta(7),
        };
        Ok((upper - width, upper))
    }
}

/// The main size step that a size is in.
pub(super) fn main_step(size: Length) -> Result<usize, FitError> {
    let mm = size.mm();
    if mm <= Decimal::ZERO {
        return Err(FitError::SizeOutside(size));
    }
    STEPS
        .iter()
        .position(|end| mm <= Decimal::from(*end))
        .ok_or(FitError::SizeOutside(size))
}

/// Standard tolerance of a grade, which is 3 to 13, at a step. IT3 serves Δ of grade 4 only.
pub(super) fn it(grade: u8, step: usize) -> i32 {
    const IT3: [i32; 13] = [2, 3, 3, 3, 4, 4, 5, 6, 8, 10, 12, 13, 15];
    match grade {
        0..=3 => IT3[step],
        _ => IT[usize::from(grade - 4).min(IT.len() - 1)][step],
    }
}

/// Fundamental deviation of a shaft: es up to h, ei from k on.
fn shaft_fundamental(deviation: Deviation, grade: u8, size: Length, step: usize) -> i32 {
    let fine_step = || {
        let mm = size.mm();
        FINE_STEPS
            .iter()
            .position(|end| mm <= Decimal::from(*end))
            .unwrap_or(if mm <= Decimal::from(450) { 20 } else { 21 })
    };
    match deviation {
        Deviation::D => SHAFT_D[step],
        Deviation::E => SHAFT_E[step],
        Deviation::F => SHAFT_F[step],
        Deviation::G => SHAFT_G[step],
        Deviation::H | Deviation::Js => 0,
        Deviation::K if (4..=7).contains(&grade) => SHAFT_K[step],
        Deviation::K => 0,
        Deviation::M => SHAFT_M[step],
        Deviation::N => SHAFT_N[step],
        Deviation::P => SHAFT_P[step],
        Deviation::R => SHAFT_R[fine_step()],
        Deviation::S => SHAFT_S[fine_step()],
    }
}

impl FromStr for Fit {
    type Err = FitError;
    fn from_str(text: &str) -> Result<Self, FitError> {
        let typed = text.trim();
        let not_understood = || FitError::NotUnderstood(typed.to_owned());
        let split = typed
            .find(|c: char| !c.is_ascii_alphabetic())
            .ok_or_else(not_understood)?;
        let (letters, grade) = typed.split_at(split);
        let grade = grade.trim();
        let upper = letters.bytes().all(|b| b.is_ascii_uppercase());
        let lower = letters.bytes().all(|b| b.is_ascii_lowercase());
        if letters.is_empty()
            || letters.len() > 2
            || !(upper || lower)
            || grade.is_empty()
            || grade.len() > 2
            || !grade.bytes().all(|b| b.is_ascii_digit())
        {
            return Err(not_understood());
        }
        let deviation = Deviation::from_letters(letters)
            .ok_or_else(|| FitError::UnknownDeviation(letters.to_owned()))?;
        let grade_number = grade
            .parse()
            .ok()
            .filter(|g| (4..=13).contains(g))
            .ok_or_else(|| FitError::UnknownGrade(grade.to_owned()))?;
        Ok(Self {
            deviation,
            hole: upper,
            grade: grade_number,
        })
    }
}

impl fmt::Display for Fit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let letters = self.deviation.letters();
        if self.hole {
            write!(f, "{}{}", letters.to_ascii_uppercase(), self.grade)
        } else {
            write!(f, "{letters}{}", self.grade)
        }
    }
}

impl TryFrom<String> for Fit {
    type Error = FitError;
    fn try_from(text: String) -> Result<Self, FitError> {
        text.parse()
    }
}

impl From<Fit> for String {
    fn from(fit: Fit) -> Self {
        fit.to_string()
    }
}

#[cfg(test)]
mod tests;
