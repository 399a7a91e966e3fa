//! Pipe threads that seal on the thread: ISO 7-1 (Rc, Rp) and ASME B1.20.1 (NPT). Both taper 1 in 16 on the diameter.

use super::{Series, Size, Thread, rounded};
use crate::units::Length;
use rust_decimal::Decimal;

/// One size of ISO 7-1.
#[derive(Debug, Clone, Copy)]
pub(super) struct Iso7 {
    /// Thirty-seconds of an inch.
    size: u32,
    /// Basic gauge length, tenths of a millimetre.
    gauge: u32,
    /// Largest straight hole, tenths of a millimetre.
    hole: u32,
}

/// ISO 7-1, table 1. Gauge lengths from memory; they are within a twentieth of a millimetre of JIS B 0203's (3.97, 6.01,
/// 6.35, 8.16, 9.53, 10.39, 12.70, 12.70, 15.88 mm). Holes: "Drill size and recommended hole size for cutting taps, taper
/// internal pipe threads Rc", columns "maximum size of straight bored hole, when threads have non-full threads", of a tap
/// maker's general catalogue of 2021, page 720, as stored at docs.steelcam.org.
const ISO_7: [Iso7; 10] = {
    const fn row(size: u32, gauge: u32, hole: u32) -> Iso7 {
        Iso7 { size, gauge, hole }
    }
    [
        row(2, 40, 61),
        row(4, 40, 81),
        row(8, 60, 107),
        row(12, 64, 142),
        row(16, 82, 176),
        row(24, 95, 230),
        row(32, 104, 290),
        row(40, 127, 376),
        row(48, 127, 435),
        row(64, 159, 550),
    ]
};

impl Iso7 {
    /// The drill before the tap, without a taper reamer.
    pub(super) fn straight_hole(self) -> Length {
        Length::from_mm(Decimal::new(i64::from(self.hole), 1).normalize())
    }
}

/// The row of a size of ISO 7-1.
pub(super) fn iso7(thirty_seconds: u32) -> Option<Iso7> {
    ISO_7.iter().find(|row| row.size == thirty_seconds).copied()
}

/// One size of ASME B1.20.1.
#[derive(Debug, Clone, Copy)]
pub(super) struct Npt {
    /// Thirty-seconds of an inch.
    size: u32,
    /// Threads per inch times two.
    pub(super) threads_doubled: u32,
    /// Outside diameter of the pipe, ten-thousandths of an inch.
    pipe: u32,
    /// Hand-tight engagement L1, ten-thousandths of an inch.
    engagement: u32,
}

/// ASME B1.20.1, table 2: threads per inch, outside diameter D and hand-tight engagement L1. D and threads as listed by
/// darley.co.uk and unifiedalloys.com, L1 as listed there to a thousandth and here to a ten-thousandth from memory.
const NPT: [Npt; 12] = {
    const fn row(size: u32, threads_doubled: u32, pipe: u32, engagement: u32) -> Npt {
        Npt {
            size,
            threads_doubled,
            pipe,
            engagement,
        }
    }
    [
        row(2, 54, 3_125, 1_600),
        row(4, 54, 4_050, 1_615),
        row(8, 36, 5_400, 2_278),
        row(12, 36, 6_750, 2_400),
        row(16, 28, 8_400, 3_200),
        row(24, 28, 10_500, 3_390),
        row(32, 23, 13_150, 4_000),
        row(40, 23, 16_600, 4_200),
        row(48, 23, 19_000, 4_200),
        row(64, 23, 23_750, 4_360),
        row(80, 16, 28_750, 6_820),
        row(96, 16, 35_000, 7_660),
    ]
};

/// The row of a size of ASME B1.20.1.
pub(super) fn npt(thirty_seconds: u32) -> Option<Npt> {
    NPT.iter().find(|row| row.size == thirty_seconds).copied()
}

fn inches(ten_thousandths: u32) -> Decimal {
    Decimal::new(i64::from(ten_thousandths), 4)
}

/// The outside diameter of an NPT pipe.
pub(super) fn npt_diameter(thirty_seconds: u32) -> Length {
    npt(thirty_seconds).map_or(Length::ZERO, |row| Length::from_inches(inches(row.pipe)))
}

/// How a taper thread is gauged: a plug gauge screwed in by hand stands with its step level with the face.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gauging {
    /// From the face to the small end of the gauge: the basic gauge length, or hand-tight engagement.
    pub length: Length,
    /// How many turns it may stand in or out, in hundredths of a turn.
    pub turns_hundredths: u32,
}

impl Thread {
    fn npt_row(&self) -> Option<Npt> {
        match (self.series, self.size) {
            (Series::Npt, Size::ThirtySeconds(size)) => npt(size),
            _ => None,
        }
    }

    /// Pitch diameter of an NPT thread at the small end of the pipe, in inches: E0 = D − (0.05·D + 1.1)·p (ASME B1.20.1).
    fn npt_e0(&self, row: Npt) -> Decimal {
        let pipe = inches(row.pipe);
        let pitch = Decimal::TWO / Decimal::from(row.threads_doubled);
        pipe - (pipe * Decimal::new(5, 2) + Decimal::new(11, 1)) * pitch
    }

    /// Pitch diameter of an NPT thread at the gauge plane: E1 = E0 + L1 / 16 (ASME B1.20.1). `None` of other threads.
    pub(super) fn npt_pitch_diameter(&self) -> Option<Length> {
        let row = self.npt_row()?;
        let e1 = self.npt_e0(row) + inches(row.engagement) / Decimal::from(16);
        Some(rounded(Length::from_inches(e1).mm()))
    }

    /// Minor diameter of an NPT thread at the small end, in mm: K0 = E0 − 0.8·p (ASME B1.20.1); nought of other threads.
    pub(super) fn npt_small_end_mm(&self) -> Decimal {
        self.npt_row().map_or(Decimal::ZERO, |row| {
            let e0 = Length::from_inches(self.npt_e0(row)).mm();
            e0 - self.pitch_mm() * Decimal::new(8, 1)
        })
    }

    /// Whether the thread tapers.
    #[must_use]
    pub fn is_taper(&self) -> bool {
        matches!(self.series, Series::Rc | Series::Npt)
    }

    /// How a taper thread is gauged; `None` of a parallel one. An inside thread of ISO 7-1 may be one turn and a quarter
    /// out, one of ASME B1.20.1 one turn.
    #[must_use]
    pub fn gauging(&self) -> Option<Gauging> {
        match (self.series, self.size) {
            (Series::Rc, Size::ThirtySeconds(size)) => iso7(size).map(|row| Gauging {
                length: Length::from_mm(Decimal::new(i64::from(row.gauge), 1).normalize()),
                turns_hundredths: 125,
            }),
            _ => self.npt_row().map(|row| Gauging {
                length: Length::from_inches(inches(row.engagement)),
                turns_hundredths: 100,
            }),
        }
    }
}

impl std::fmt::Display for Gauging {
    /// As it is written on a card: `plug gauge level with the face, ± 1.25 turns (gauge length 8.2 mm)`.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let turns = Decimal::new(i64::from(self.turns_hundredths), 2).normalize();
        let word = if self.turns_hundredths == 100 {
            "turn"
        } else {
            "turns"
        };
        let length = self.length.mm().round_dp(1).normalize();
        write!(
            f,
            "plug gauge level with the face, ± {turns} {word} (gauge length {length} mm)"
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn thread(text: &str) -> Thread {
        text.parse().unwrap()
    }

    fn drill(text: &str) -> String {
        thread(text).tap_drill().diameter.mm().to_string()
    }

    /// E0 and E1 in inches as listed by a scribd table "NPT thread, ANSI/ASME B1.20.1, taper 1:16" (document 468524381)
    /// and by unifiedalloys.com, "ASME B1.20.1 (NPT/API)".
    #[test]
    fn npt_pitch_diameters_are_those_of_asme_b1_20_1() {
        for (text, e0, e1) in [
            ("1/8 NPT", "0.36351", "0.37360"),
            ("1/4 NPT", "0.47739", "0.49163"),
            ("3/8-18 NPT", "0.61201", "0.62701"),
            ("1/2 NPT", "0.75843", "0.77843"),
            ("3/4 NPT", "0.96768", "0.98887"),
            ("1 NPT", "1.21363", "1.23863"),
            ("1-1/4 NPT", "1.55713", "1.58338"),
            ("1 1/2 NPT", "1.79609", "1.82234"),
            ("2 NPT", "2.26902", "2.29627"),
        ] {
            let thread = thread(text);
            let row = thread.npt_row().unwrap();
            assert_eq!(
                format!("{:.5}", thread.npt_e0(row).round_dp(5)),
                e0,
                "{text}"
            );
            let ours = thread.pitch_diameter().inches();
            assert_eq!(format!("{:.5}", ours.round_dp(5)), e1, "{text}");
        }
        assert_eq!(thread("1/2 NPT").to_string(), "1/2-14 NPT");
        // Minor diameter at the gauge plane: K0 of table 2 (0.3339 and 0.7013 in, from memory) and L1 / 16.
        for (text, minor) in [
            ("1/8 NPT", 0.3339 + 0.1615 / 16.0),
            ("1/2 NPT", 0.7013 + 0.32 / 16.0),
        ] {
            let ours = thread(text).minor_diameter().mm_f64() / 25.4;
            assert!((ours - minor).abs() < 0.000_1, "{text}: {ours}");
        }
    }

    /// Drills for NPT without a reamer as listed by darley.co.uk, "Tap drill size chart for NPT threads": Q (0.332 in), 7/16,
    /// 9/16 and 45/64 in. Charts differ by a size; ours is the standard's own diameter to a tenth of a millimetre.
    #[test]
    fn npt_drills_are_near_the_chart() {
        for (text, inches) in [
            ("1/8 NPT", 0.332),
            ("1/4 NPT", 0.4375),
            ("3/8 NPT", 0.5625),
            ("1/2 NPT", 0.7031),
        ] {
            let ours: f64 = drill(text).parse().unwrap();
            assert!(
                (ours - inches * 25.4).abs() <= 0.16,
                "{text}: {ours} against {}",
                inches * 25.4
            );
        }
    }

    /// Minor diameters at the gauge plane and straight holes: the tap maker's catalogue named at [`ISO_7`]. The hole is
    /// never larger than the minor diameter where the effective thread ends, l behind the face (taper 1 in 16).
    #[test]
    fn taper_threads_are_those_of_iso_7_1() {
        for (text, minor, hole, effective_mm) in [
            ("Rc 1/16", "6.561", "6.1", 6.2),
            ("Rc 1/8", "8.566", "8.1", 6.2),
            ("1/4 BSPT", "11.445", "10.7", 9.4),
            ("Rc 3/8", "14.950", "14.2", 9.7),
            ("Rc 1/2", "18.631", "17.6", 12.7),
            ("Rc3/4", "24.117", "23", 14.1),
            ("Rc 1", "30.291", "29", 16.2),
            ("Rc 1 1/4", "38.952", "37.6", 18.5),
            ("Rc 1 1/2", "44.845", "43.5", 18.5),
            ("Rc 2", "56.656", "55", 22.8),
        ] {
            let thread = thread(text);
            assert_eq!(
                format!("{:.3}", thread.minor_diameter().mm().round_dp(3)),
                minor,
                "{text}"
            );
            assert_eq!(drill(text), hole, "{text}");
            let end = thread.minor_diameter().mm_f64() - effective_mm / 16.0;
            assert!(hole.parse::<f64>().unwrap() <= end, "{text}");
        }
        assert_eq!(drill("Rp 1/4"), "11.5");
        assert_eq!(drill("Rp 1/2"), "18.7");
        assert_eq!(thread("rc 1/2").to_string(), "Rc 1/2");
    }

    #[test]
    fn only_taper_threads_are_gauged_by_their_length() {
        let said = |text: &str| thread(text).gauging().map(|gauging| gauging.to_string());
        assert_eq!(
            said("Rc 1/2").as_deref(),
            Some("plug gauge level with the face, ± 1.25 turns (gauge length 8.2 mm)")
        );
        assert_eq!(
            said("1/2 NPT").as_deref(),
            Some("plug gauge level with the face, ± 1 turn (gauge length 8.1 mm)")
        );
        for parallel in ["Rp 1/2", "G 1/2", "M20", "1/2 UNC"] {
            assert_eq!(said(parallel), None);
        }
    }

    #[test]
    fn what_is_no_inside_pipe_thread_is_refused_with_the_way_to_write_it() {
        let refused = |text: &str| text.parse::<Thread>().unwrap_err().to_string();
        assert!(refused("R 1/2").contains("Rc (taper) or Rp (parallel)"));
        assert!(refused("1/4 NPTF").contains("G, Rc, Rp and NPT"));
        assert!(refused("Rc 5/8").contains("no size 5/8"));
        assert!(refused("1/4-20 NPT").contains("18 threads per inch"));
    }

    /// Sizes of the tapped hole for a wire insert, EG M6, M8, M10 and M12 of DIN 8140-2, and the usual drills 6.3, 8.4, 10.4
    /// and 12.5 mm: from memory.
    #[test]
    fn a_hole_for_an_insert_is_larger_by_the_wire() {
        for (text, major, hole) in [
            ("M6 insert", "7.299", "6.3"),
            ("M8 STI", "9.624", "8.4"),
            ("EG M10", "11.949", "10.4"),
            ("M12x1.75 insert", "14.273", "12.5"),
        ] {
            let thread = thread(text);
            assert!(thread.takes_insert());
            assert_eq!(
                format!("{:.3}", thread.major_diameter().mm().round_dp(3)),
                major,
                "{text}"
            );
            assert_eq!(drill(text), hole, "{text}");
        }
        let written = thread("M10x1.25-6H insert");
        assert_eq!(written.to_string(), "M10x1.25-6H insert");
        assert_eq!(thread(&written.to_string()), written);
        assert_eq!(written.pitch(), thread("M10x1.25").pitch());
        let refused = "G 1/2 insert".parse::<Thread>().unwrap_err().to_string();
        assert!(refused.contains("metric, UNC and UNF"));
    }
}
