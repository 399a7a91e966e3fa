//! Screw-thread designations: metric, Unified, BSP parallel, taper pipe threads, BSW and BSF for old work, and the larger
//! threads that wire inserts are wound into.

mod parse;
mod pipe;
mod tables;
mod tap_drill;

pub use pipe::Gauging;

pub use tap_drill::TapDrill;

use super::Length;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Why a thread designation was refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ThreadError {
    /// It reads like no system we know.
    #[error(
        "“{0}” is not a thread we know; write it like M10x1.5, 1/2-13 UNC, #10-32 UNF, G 1/2, Rc 1/4, 1/4 NPT, 3/8 BSW, 3/8 BSF or M10 insert"
    )]
    NotUnderstood(String),
    /// A part of it does not read.
    #[error("“{part}” in “{text}” is not {expected}")]
    BadPart {
        /// What was typed.
        text: String,
        /// What was not understood.
        part: String,
        /// What was expected there.
        expected: &'static str,
    },
    /// The standard has no such size in the series, or none whose pitch goes without saying.
    #[error("{series} has no standard pitch for {size}; write the pitch too")]
    NoStandardPitch {
        /// The series.
        series: &'static str,
        /// The size as typed.
        size: String,
    },
    /// The standard has no such size in the series at all.
    #[error("{series} has no size {size}")]
    NoSuchSize {
        /// The series.
        series: &'static str,
        /// The size as typed.
        size: String,
    },
    /// The threads per inch are not those of the series.
    #[error("{size} {series} has {standard} threads per inch, not {typed}")]
    OtherPitch {
        /// The series.
        series: &'static str,
        /// The size.
        size: String,
        /// Threads per inch of the standard.
        standard: Decimal,
        /// Threads per inch typed.
        typed: Decimal,
    },
    /// A pitch too coarse or too fine for the diameter.
    #[error("a pitch of {0} mm does not go with that diameter")]
    SillyPitch(Decimal),
    /// The outside one of a pair of pipe threads.
    #[error("“{0}” is an outside pipe thread; a tapped hole is Rc (taper) or Rp (parallel)")]
    Outside(String),
    /// A pipe thread of another kind than those that are known.
    #[error("“{0}” is not among the pipe threads we know: G, Rc, Rp and NPT")]
    OtherPipe(String),
    /// A thread that no wire insert of a known size is made for.
    #[error("“{0}”: inserts are known for metric, UNC and UNF threads only")]
    NoInsert(String),
}

/// The system and series of a thread.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Series {
    /// ISO metric, ISO 68-1 and ISO 261.
    Metric,
    /// Unified coarse, ASME B1.1.
    Unc,
    /// Unified fine.
    Unf,
    /// Unified extra fine.
    Unef,
    /// Unified constant pitch.
    Un,
    /// Unified special.
    Uns,
    /// BSP parallel, ISO 228-1.
    G,
    /// Pipe thread sealing on the thread, taper, inside: ISO 7-1.
    Rc,
    /// The same, parallel, inside.
    Rp,
    /// American taper pipe thread, ASME B1.20.1.
    Npt,
    /// British Standard Whitworth, BS 84.
    Bsw,
    /// British Standard Fine, BS 84.
    Bsf,
}

impl Series {
    /// As it is written.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Metric => "metric",
            Self::Unc => "UNC",
            Self::Unf => "UNF",
            Self::Unef => "UNEF",
            Self::Un => "UN",
            Self::Uns => "UNS",
            Self::G => "G",
            Self::Rc => "Rc",
            Self::Rp => "Rp",
            Self::Npt => "NPT",
            Self::Bsw => "BSW",
            Self::Bsf => "BSF",
        }
    }

    /// Pipe threads with the diameters of ISO 228-1 and ISO 7-1, which are the same at the gauge plane.
    fn is_bsp(self) -> bool {
        matches!(self, Self::G | Self::Rc | Self::Rp)
    }

    fn is_whitworth_form(self) -> bool {
        self.is_bsp() || matches!(self, Self::Bsw | Self::Bsf)
    }
}

/// The nominal size as it is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Size {
    /// Millimetres.
    Mm(Decimal),
    /// A numbered Unified size: 0.060 in + 0.013 in each (ASME B1.1).
    Number(u32),
    /// Thirty-seconds of an inch.
    ThirtySeconds(u32),
}

impl fmt::Display for Size {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Mm(mm) => write!(f, "{}", mm.normalize()),
            Self::Number(n) => write!(f, "#{n}"),
            Self::ThirtySeconds(n) => {
                let (whole, rest) = (n / 32, n % 32);
                if rest == 0 {
                    return write!(f, "{whole}");
                }
                if whole > 0 {
                    write!(f, "{whole} ")?;
                }
                let halvings = rest.trailing_zeros();
                write!(f, "{}/{}", rest >> halvings, 32 >> halvings)
            }
        }
    }
}

/// The pitch as it is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Pitch {
    Mm(Decimal),
    PerInch(Decimal),
}

/// A thread by its designation, e.g. `M10x1.5`, `1/2-13 UNC`, `G 3/8`, `Rc 1/4`, `1/4-18 NPT`, `3/8-16 BSW`,
/// `M10x1.5 insert`. Parses and prints. With an insert, the diameters are those of the larger hole that is tapped for it.
///
/// ```
/// use borewright::units::Thread;
/// let thread: Thread = "M10".parse()?;
/// assert_eq!(thread.to_string(), "M10x1.5");
/// assert_eq!(thread.tap_drill().diameter.to_string(), "8.5 mm");
/// # Ok::<(), borewright::units::ThreadError>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Thread {
    series: Series,
    size: Size,
    pitch: Pitch,
    class: Class,
    /// Tapped for a wire insert, which brings it back to this thread.
    insert: bool,
}

/// A tolerance class as typed, at most four letters and digits; empty when none was. Kept in place, so that a feature
/// with its thread stays small.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
struct Class {
    bytes: [u8; 4],
}

impl Class {
    /// `None` for more than four bytes or anything but letters and digits.
    fn new(text: &str) -> Option<Self> {
        let mut bytes = [0; 4];
        let fits = text.bytes().all(|b| b.is_ascii_alphanumeric());
        bytes
            .get_mut(..text.len())
            .filter(|_| fits)?
            .copy_from_slice(text.as_bytes());
        Some(Self { bytes })
    }

    fn as_str(&self) -> &str {
        let end = self.bytes.iter().position(|b| *b == 0).unwrap_or(4);
        self.bytes
            .get(..end)
            .and_then(|bytes| std::str::from_utf8(bytes).ok())
            .unwrap_or_default()
    }
}

/// Digits of a millimetre kept in computed diameters: a nanometre.
const DIGITS: u32 = 6;

impl Thread {
    /// Its system and series.
    #[must_use]
    pub fn series(&self) -> Series {
        self.series
    }

    /// The tolerance class, e.g. `6H` or `2B`; empty when none was given.
    #[must_use]
    pub fn class(&self) -> &str {
        self.class.as_str()
    }

    fn pitch_mm(&self) -> Decimal {
        match self.pitch {
            Pitch::Mm(pitch) => pitch,
            Pitch::PerInch(tpi) => Decimal::new(254, 1) / tpi,
        }
    }

    /// Axial distance from one thread to the next, to a nanometre.
    #[must_use]
    pub fn pitch(&self) -> Length {
        rounded(self.pitch_mm())
    }

    /// Threads per inch, where that is how the pitch is written.
    #[must_use]
    pub fn threads_per_inch(&self) -> Option<Decimal> {
        match self.pitch {
            Pitch::Mm(_) => None,
            Pitch::PerInch(tpi) => Some(tpi),
        }
    }

    /// Included angle of the thread form in degrees: 60, or 55 for Whitworth forms.
    #[must_use]
    pub fn angle_degrees(&self) -> u32 {
        if self.series.is_whitworth_form() {
            55
        } else {
            60
        }
    }

    /// Whether it is tapped for a wire insert.
    #[must_use]
    pub fn takes_insert(&self) -> bool {
        self.insert
    }

    /// Basic major diameter of what is cut. Of a taper thread that of the gauge plane (ISO 7-1), or of the pipe (ASME
    /// B1.20.1), which is a little more than is cut.
    ///
    /// A hole for a wire insert is larger by the wire on both sides: d + 1.5·H, its flanks being those of the same 60°
    /// triangle (DIN 8140-2 and ASME B18.29.2M, from memory).
    #[must_use]
    pub fn major_diameter(&self) -> Length {
        let bolt = self.bolt_diameter();
        if self.insert {
            rounded(bolt.mm() + self.sharp_height_mm() * Decimal::new(15, 1))
        } else {
            bolt
        }
    }

    /// The major diameter of the thread that screws in: with an insert, that of the insert's inside.
    fn bolt_diameter(&self) -> Length {
        match self.size {
            Size::Mm(mm) => Length::from_mm(mm),
            Size::Number(n) => Length::from_inches(Decimal::new(60 + 13 * i64::from(n), 3)),
            Size::ThirtySeconds(n) if self.series == Series::Npt => pipe::npt_diameter(n),
            Size::ThirtySeconds(n) if self.series.is_bsp() => tables::G
                .iter()
                .find(|row| row.0 == n)
                .map_or(Length::ZERO, |row| {
                    Length::from_mm(Decimal::new(i64::from(row.2), 3))
                }),
            Size::ThirtySeconds(n) => Length::from_inches(Decimal::from(n) / Decimal::from(32)),
        }
    }

    /// Height H of the sharp triangle: (√3/2)·P for 60° (ISO 68-1, ASME B1.1), P/(2·tan 27.5°) = 0.960491·P for 55° (BS 84).
    #[must_use]
    pub fn height(&self) -> Length {
        rounded(self.sharp_height_mm())
    }

    fn sharp_height_mm(&self) -> Decimal {
        let per_pitch = if self.series.is_whitworth_form() {
            Decimal::new(960_491, 6)
        } else {
            Decimal::new(866_025_404, 9)
        };
        per_pitch * self.pitch_mm()
    }

    /// Depth of the basic profile: 5/8·H for 60° (ISO 68-1, ASME B1.1), 2/3·H for 55° (BS 84, ISO 228-1).
    fn depth_mm(&self) -> Decimal {
        if self.series.is_whitworth_form() {
            let depth = self.sharp_height_mm() * Decimal::from(2) / Decimal::from(3);
            // ISO 228-1, and ISO 7-1 with it, prints the depth to a micrometre and takes the diameters from what it prints.
            if self.series.is_bsp() {
                depth.round_dp(3)
            } else {
                depth
            }
        } else {
            self.sharp_height_mm() * Decimal::new(625, 3)
        }
    }

    /// Basic pitch (effective) diameter: d − 2·(3/8)·H for 60° (ISO 724), d − h for 55° (BS 84, ISO 228-1).
    #[must_use]
    pub fn pitch_diameter(&self) -> Length {
        if let Some(at_gauge_plane) = self.npt_pitch_diameter() {
            return at_gauge_plane;
        }
        let major = self.major_diameter().mm();
        if self.series.is_whitworth_form() {
            rounded(major - self.depth_mm())
        } else {
            rounded(major - self.sharp_height_mm() * Decimal::new(75, 2))
        }
    }

    /// Basic minor diameter: d − 2·(5/8)·H for 60° (ISO 724), d − 2·h for 55° (BS 84, ISO 228-1).
    #[must_use]
    pub fn minor_diameter(&self) -> Length {
        if let Some(pitch_diameter) = self.npt_pitch_diameter() {
            return rounded(pitch_diameter.mm() - self.pitch_mm() * Decimal::new(8, 1));
        }
        rounded(self.major_diameter().mm() - self.depth_mm() * Decimal::from(2))
    }
}

/// Rounded to a nanometre.
fn rounded(mm: Decimal) -> Length {
    Length::from_mm(mm.round_dp(DIGITS).normalize())
}

impl fmt::Display for Thread {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.series, self.pitch) {
            (Series::Metric, _) => write!(f, "M{}x{}", self.size, self.pitch_mm().normalize())?,
            (series, _) if series.is_bsp() => write!(f, "{} {}", series.name(), self.size)?,
            (series, Pitch::PerInch(tpi)) => {
                write!(f, "{}-{} {}", self.size, tpi.normalize(), series.name())?;
            }
            (series, Pitch::Mm(mm)) => write!(f, "{}x{mm} {}", self.size, series.name())?,
        }
        match (self.series, self.class.as_str()) {
            (_, "") => {}
            (Series::G, class) => write!(f, " {class}")?,
            (_, class) => write!(f, "-{class}")?,
        }
        f.write_str(if self.insert { " insert" } else { "" })
    }
}

impl TryFrom<String> for Thread {
    type Error = ThreadError;
    fn try_from(text: String) -> Result<Self, ThreadError> {
        text.parse()
    }
}

impl From<Thread> for String {
    fn from(thread: Thread) -> Self {
        thread.to_string()
    }
}

#[cfg(test)]
mod tests;
