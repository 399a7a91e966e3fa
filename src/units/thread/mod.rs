//! Screw-thread designations: metric, Unified, BSP parallel, and BSW and BSF for old work.

mod parse;
mod tables;
mod tap_drill;

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
        "“{0}” is not a thread we know; write it like M10x1.5, 1/2-13 UNC, #10-32 UNF, G 1/2, 3/8 BSW or 3/8 BSF"
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
    /// A taper pipe thread.
    #[error("“{0}” is a taper pipe thread; only parallel threads can be drawn here")]
    Taper(String),
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
            Self::Bsw => "BSW",
            Self::Bsf => "BSF",
        }
    }

    fn is_whitworth_form(self) -> bool {
        matches!(self, Self::G | Self::Bsw | Self::Bsf)
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

/// A thread by its designation, e.g. `M10x1.5`, `1/2-13 UNC`, `G 3/8`, `3/8-16 BSW`. Parses and prints.
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

    /// Basic major diameter.
    #[must_use]
    pub fn major_diameter(&self) -> Length {
        match self.size {
            Size::Mm(mm) => Length::from_mm(mm),
            Size::Number(n) => Length::from_inches(Decimal::new(60 + 13 * i64::from(n), 3)),
            Size::ThirtySeconds(n) if self.series == Series::G => tables::G
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
            // ISO 228-1 prints the depth to a micrometre and takes the diameters from what it prints.
            if self.series == Series::G {
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
            (Series::G, _) => write!(f, "G {}", self.size)?,
            (series, Pitch::PerInch(tpi)) => {
                write!(f, "{}-{} {}", self.size, tpi.normalize(), series.name())?;
            }
            (series, Pitch::Mm(mm)) => write!(f, "{}x{mm} {}", self.size, series.name())?,
        }
        match (self.series, self.class.as_str()) {
            (_, "") => Ok(()),
            (Series::G, class) => write!(f, " {class}"),
            (_, class) => write!(f, "-{class}"),
        }
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
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn thread(text: &str) -> Thread {
        text.parse().unwrap()
    }

    /// Major, pitch and minor diameter in millimetres to three places, as ISO 724 prints them.
    fn metric(text: &str) -> [String; 3] {
        let t = thread(text);
        [t.major_diameter(), t.pitch_diameter(), t.minor_diameter()]
            .map(|d| format!("{:.3}", d.mm().round_dp(3)))
    }

    /// The same in inches to four places, as ASME B1.1 and BS 84 print them.
    fn inch(text: &str) -> [String; 3] {
        let t = thread(text);
        [t.major_diameter(), t.pitch_diameter(), t.minor_diameter()]
            .map(|d| format!("{:.4}", d.inches().round_dp(4)))
    }

    /// ISO 724 values: M10 from obliczenia.icad.pl/gwinty (M10-6g: d2 9.026, d1 8.376); the fine ones from
    /// engineeringhardware.com, "Metric fine thread dimensions, ISO 724"; M12 and M14x2 from engineersedge.com,
    /// "metric internal thread sizes" (ANSI/ASME B1.13M, the least diameters of 6H, which are the basic ones).
    #[test]
    fn metric_basic_dimensions_are_those_of_iso_724() {
        for (designation, major, pitch, minor) in [
            ("M10", "10.000", "9.026", "8.376"),
            ("M12", "12.000", "10.863", "10.106"),
            ("M14", "14.000", "12.701", "11.835"),
            ("M8x1", "8.000", "7.350", "6.917"),
            ("M8x0.75", "8.000", "7.513", "7.188"),
            ("M10x1.25", "10.000", "9.188", "8.647"),
            ("M12x1.5", "12.000", "11.026", "10.376"),
            ("M16x1.5", "16.000", "15.026", "14.376"),
            ("M18x2", "18.000", "16.701", "15.835"),
            ("M20x2", "20.000", "18.701", "17.835"),
        ] {
            assert_eq!(metric(designation), [major, pitch, minor], "{designation}");
        }
        assert_eq!(thread("M10").height().mm().round_dp(3).to_string(), "1.299");
    }

    /// ISO 261 coarse pitches, as listed by torquetoolbox.com, "Metric coarse tap drill sizes".
    #[test]
    fn metric_coarse_pitches_are_those_of_iso_261() {
        for (designation, pitch) in [
            ("M2", "0.4"),
            ("M2.5", "0.45"),
            ("M3", "0.5"),
            ("M3.5", "0.6"),
            ("M4", "0.7"),
            ("M5", "0.8"),
            ("M6", "1"),
            ("M8", "1.25"),
            ("M10", "1.5"),
            ("M12", "1.75"),
            ("M14", "2"),
            ("M16", "2"),
            ("M18", "2.5"),
            ("M20", "2.5"),
            ("M22", "2.5"),
            ("M24", "3"),
            ("M27", "3"),
            ("M30", "3.5"),
            ("M33", "3.5"),
            ("M36", "4"),
        ] {
            assert_eq!(
                thread(designation).pitch().mm().to_string(),
                pitch,
                "{designation}"
            );
        }
    }

    /// ASME B1.1 basic dimensions: major and pitch diameter from trfastenings.com, "Thread geometry: Unified coarse
    /// (UNC)", whose minor diameter of the female thread is the basic minor diameter.
    #[test]
    fn unified_basic_dimensions_are_those_of_asme_b1_1() {
        for (designation, major, pitch, minor) in [
            ("#4 UNC", "0.1120", "0.0958", "0.0849"),
            ("#10 UNC", "0.1900", "0.1629", "0.1449"),
            ("1/4 UNC", "0.2500", "0.2175", "0.1959"),
            ("5/16 UNC", "0.3125", "0.2764", "0.2524"),
            ("1/2-13 UNC", "0.5000", "0.4500", "0.4167"),
            ("9/16 UNC", "0.5625", "0.5084", "0.4723"),
            ("5/8 UNC", "0.6250", "0.5660", "0.5266"),
            ("3/4 UNC", "0.7500", "0.6850", "0.6417"),
            ("1 UNC", "1.0000", "0.9188", "0.8647"),
            ("1-1/8 UNC", "1.1250", "1.0322", "0.9704"),
            ("1 3/4 UNC", "1.7500", "1.6201", "1.5335"),
            ("2 UNC", "2.0000", "1.8557", "1.7594"),
        ] {
            assert_eq!(inch(designation), [major, pitch, minor], "{designation}");
        }
        // Pitch diameter 0.5660, 0.5709 and 0.5889 in for 5/8 at 11, 12 and 18 threads: least internal limits of ASME
        // B1.1 table 3 as stored by huatuo6.cn, which are the basic sizes.
        assert_eq!(inch("5/8-12 UN")[1], "0.5709");
        assert_eq!(inch("5/8 UNF")[1], "0.5889");
    }

    /// ISO 228-1: G 1/8, 1/4 and 3/8 from Newnes Mechanical Engineer's Pocket Book, 4.1.38 (O'Reilly preview of the same
    /// basic diameters); major diameters of the rest from engineeringhardware.com, "ISO 228 (G)".
    #[test]
    fn pipe_thread_dimensions_are_those_of_iso_228_1() {
        for (designation, major, pitch, minor) in [
            ("G 1/8", "9.728", "9.147", "8.566"),
            ("1/4 BSP", "13.157", "12.301", "11.445"),
            ("G3/8", "16.662", "15.806", "14.950"),
        ] {
            assert_eq!(metric(designation), [major, pitch, minor], "{designation}");
        }
        // G 1/2: pitch 19.793 and minor 18.631 from memory of the standard's table.
        assert_eq!(metric("G 1/2"), ["20.955", "19.793", "18.631"]);
        assert_eq!(metric("G 1 1/4")[0], "41.910");
    }

    /// BS 84: trfastenings.com, "Thread geometry: British Standard Whitworth".
    #[test]
    fn whitworth_dimensions_are_those_of_bs_84() {
        for (designation, major, pitch, minor) in [
            ("1/4 BSW", "0.2500", "0.2180", "0.1860"),
            ("5/16 BSW", "0.3125", "0.2769", "0.2413"),
            ("3/8 BSW", "0.3750", "0.3350", "0.2950"),
            ("1/2 BSW", "0.5000", "0.4466", "0.3933"),
            ("3/4 BSW", "0.7500", "0.6860", "0.6219"),
            ("1 BSW", "1.0000", "0.9200", "0.8399"),
        ] {
            let printed = inch(designation);
            for (ours, published) in printed.iter().zip([major, pitch, minor]) {
                let off = ours.parse::<f64>().unwrap() - published.parse::<f64>().unwrap();
                // The table truncates or rounds the last figure by turns.
                assert!(
                    off.abs() < 0.000_15,
                    "{designation}: {ours} against {published}"
                );
            }
        }
        assert_eq!(
            thread("3/8 BSF").threads_per_inch(),
            Some(Decimal::from(20))
        );
        assert_eq!(
            thread("1/4 BSF").threads_per_inch(),
            Some(Decimal::from(26))
        );
        assert_eq!(thread("3/8 BSW").angle_degrees(), 55);
    }

    #[test]
    fn reads_every_usual_way_of_writing() {
        for (typed, printed) in [
            ("M10", "M10x1.5"),
            ("m10x1.5", "M10x1.5"),
            ("M10 × 1", "M10x1"),
            ("M 10 x 1.25 - 6H", "M10x1.25-6H"),
            ("M10-6g", "M10x1.5-6g"),
            ("M2.5", "M2.5x0.45"),
            ("M13x1.5", "M13x1.5"),
            ("1/2-13 UNC", "1/2-13 UNC"),
            ("1/2 UNC", "1/2-13 UNC"),
            ("1/2\" UNC", "1/2-13 UNC"),
            ("1/2 unf-2B", "1/2-20 UNF-2B"),
            ("#10-32 UNF", "#10-32 UNF"),
            ("10-32 UNF", "#10-32 UNF"),
            ("10 UNF", "#10-32 UNF"),
            ("1-8 UNC", "1-8 UNC"),
            ("1-1/8-7 UNC-2A", "1 1/8-7 UNC-2A"),
            ("1 1/8 UNC", "1 1/8-7 UNC"),
            ("1-64 UNC", "#1-64 UNC"),
            ("2-4.5 UNC", "2-4.5 UNC"),
            ("7/16-28 UNEF", "7/16-28 UNEF"),
            ("G 1/2", "G 1/2"),
            ("g1/2 A", "G 1/2 A"),
            ("1/2 BSP", "G 1/2"),
            ("1/2 BSPP", "G 1/2"),
            ("G 1-1/4", "G 1 1/4"),
            ("3/8 BSW", "3/8-16 BSW"),
            ("3/8-16 BSW", "3/8-16 BSW"),
            ("3/8 Whit", "3/8-16 BSW"),
            ("7/32 BSF", "7/32-28 BSF"),
        ] {
            let read: Result<Thread, _> = typed.parse();
            assert_eq!(
                read.map(|t| t.to_string()).as_deref(),
                Ok(printed),
                "{typed}"
            );
            // What is printed reads back to the same.
            assert_eq!(thread(printed), thread(typed));
        }
    }

    #[test]
    fn refuses_the_rest_with_a_reason() {
        let refused = |text: &str| text.parse::<Thread>().unwrap_err().to_string();
        assert_eq!(
            refused("1/2-12 UNC"),
            "1/2 UNC has 13 threads per inch, not 12"
        );
        assert_eq!(
            refused("M13"),
            "metric has no standard pitch for M13; write the pitch too"
        );
        assert_eq!(refused("G 7/16"), "G has no size 7/16");
        assert_eq!(
            refused("5/16 UNS"),
            "UNS has no standard pitch for 5/16; write the pitch too"
        );
        assert_eq!(
            refused("M10x9"),
            "a pitch of 9 mm does not go with that diameter"
        );
        assert!(refused("1/2 BSPT").contains("taper"));
        assert!(refused("Rc 1/2").contains("taper"));
        for text in [
            "",
            "10",
            "M",
            "Mx1",
            "M10x",
            "M10x0",
            "1/0 UNC",
            "UNC",
            "G",
            "BSW",
            "x BSW",
            "M10-zz",
            "1/2-13 UNC-9Q",
        ] {
            assert!(text.parse::<Thread>().is_err(), "{text}");
        }
    }

    #[test]
    fn is_stored_as_its_designation() {
        let json = serde_json::to_string(&thread("M10")).unwrap();
        assert_eq!(json, "\"M10x1.5\"");
        assert_eq!(
            serde_json::from_str::<Thread>(&json).unwrap(),
            thread("M10")
        );
        assert!(serde_json::from_str::<Thread>("\"M13\"").is_err());
    }

    proptest! {
        #[test]
        fn reading_never_panics(text in ".{0,24}", tail in prop::sample::select(vec!["UNC", "UNF", "BSW", "BSF", "BSP", "UNS"])) {
            drop(text.parse::<Thread>());
            drop(format!("{text} {tail}").parse::<Thread>());
            drop(format!("M{text}").parse::<Thread>());
            drop(format!("G{text}").parse::<Thread>());
        }

        #[test]
        fn a_thread_that_reads_has_a_sane_shape(tenths in 10_u32..3000, pitch in 20_u32..800) {
            let text = format!("M{}x{}", f64::from(tenths) / 10.0, f64::from(pitch) / 100.0);
            if let Ok(thread) = text.parse::<Thread>() {
                prop_assert!(thread.minor_diameter() > Length::ZERO);
                prop_assert!(thread.minor_diameter() < thread.pitch_diameter());
                prop_assert!(thread.pitch_diameter() < thread.major_diameter());
                prop_assert!(thread.tap_drill().diameter < thread.major_diameter());
                prop_assert_eq!(thread.to_string().parse(), Ok(thread));
            }
        }
    }
}
