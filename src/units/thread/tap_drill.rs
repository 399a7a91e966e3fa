//! The drill before the tap.

use super::{Series, Size, Thread, pipe, tables};
use crate::units::Length;
use rust_decimal::{Decimal, RoundingStrategy};

/// A tap drill, and the rule that gave it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TapDrill {
    /// Drill diameter.
    pub diameter: Length,
    /// The rule, in words for the shop.
    pub rule: String,
}

impl Thread {
    /// The drill before the tap, a starting point.
    ///
    /// Metric: ISO 2306, nominal diameter less pitch, rounded to a drill that is made. BSP parallel: a table, where it
    /// has the size. Taper, ISO 7-1: the largest straight hole that still leaves full threads at the small end. Parallel to
    /// ISO 7-1: the basic minor diameter, to the next tenth. NPT: the basic minor diameter at the small end, K0, of ASME
    /// B1.20.1. For a wire insert: a quarter of the pitch over the thread's own diameter, to the next tenth (from memory of
    /// the insert makers' tables, whose own figure decides). All others, by engagement: 75 % of the basic thread depth for Unified (Machinery's Handbook's usual
    /// figure) and 80 % for Whitworth forms (BS 1157 drills leave 77 to 87 %).
    #[must_use]
    pub fn tap_drill(&self) -> TapDrill {
        if self.insert {
            let exact = self.bolt_diameter().mm() + self.pitch_mm() * Decimal::new(25, 2);
            return up_to_a_tenth(
                exact,
                "for the insert’s tap: a quarter pitch over the thread",
            );
        }
        let major = self.major_diameter().mm();
        match (self.series, self.size) {
            (Series::Rp, _) => {
                up_to_a_tenth(self.minor_diameter().mm(), "ISO 7-1: basic minor diameter")
            }
            (Series::Npt, _) => TapDrill {
                diameter: Length::from_mm(self.npt_small_end_mm().round_dp(1).normalize()),
                rule: "ASME B1.20.1: minor diameter at the small end, no taper reamer".to_owned(),
            },
            (Series::Rc, Size::ThirtySeconds(size)) => match pipe::iso7(size) {
                Some(row) => TapDrill {
                    diameter: row.straight_hole(),
                    rule: "ISO 7-1: straight hole for full threads, no taper reamer".to_owned(),
                },
                None => self.drill_by_engagement(80),
            },
            (Series::Metric, _) => {
                let diameter = metric_drill(major - self.pitch_mm());
                TapDrill {
                    diameter,
                    rule: format!("ISO 2306: {} less the pitch", self.major_diameter()),
                }
            }
            (Series::G, Size::ThirtySeconds(size)) => {
                let listed = tables::G
                    .iter()
                    .find(|row| row.0 == size)
                    .and_then(|row| row.3);
                match listed {
                    Some(hundredths) => TapDrill {
                        diameter: Length::from_mm(
                            Decimal::new(i64::from(hundredths), 2).normalize(),
                        ),
                        rule: "usual drill for BSP parallel".to_owned(),
                    },
                    None => self.drill_by_engagement(80),
                }
            }
            (Series::G | Series::Rc | Series::Bsw | Series::Bsf, _) => self.drill_by_engagement(80),
            _ => self.drill_by_engagement(75),
        }
    }

    fn drill_by_engagement(&self, percent: i64) -> TapDrill {
        // Machinery's Handbook's percentage of full thread for 60° is of the 0.6495·P high thread of 0.75·H.
        let full_depth = if self.series.is_whitworth_form() {
            self.depth_mm()
        } else {
            self.sharp_height_mm() * Decimal::new(75, 2)
        };
        let exact =
            self.major_diameter().mm() - Decimal::TWO * full_depth * Decimal::new(percent, 2);
        TapDrill {
            diameter: Length::from_mm(exact.round_dp(1).normalize()),
            rule: format!("{percent} % of full thread, to 0.1 mm"),
        }
    }
}

fn up_to_a_tenth(exact: Decimal, rule: &str) -> TapDrill {
    let tenth = exact.round_dp_with_strategy(1, RoundingStrategy::ToPositiveInfinity);
    TapDrill {
        diameter: Length::from_mm(tenth.normalize()),
        rule: rule.to_owned(),
    }
}

/// The drill ISO 2306 names for a diameter less pitch: in steps of 0.05 mm up to 3.2 mm, above that of 0.1 mm, where a
/// half goes to the even tenth (6.75 → 6.8, 10.25 → 10.2) but for 3.75, which the table has as 3.7.
fn metric_drill(exact: Decimal) -> Length {
    if exact <= Decimal::new(32, 1) {
        let twentieths = (exact * Decimal::from(20))
            .round_dp_with_strategy(0, RoundingStrategy::MidpointAwayFromZero);
        return Length::from_mm((twentieths / Decimal::from(20)).normalize());
    }
    if exact == Decimal::new(375, 2) {
        return Length::from_mm(Decimal::new(37, 1));
    }
    Length::from_mm(
        exact
            .round_dp_with_strategy(1, RoundingStrategy::MidpointNearestEven)
            .normalize(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drill(text: &str) -> String {
        let thread: Thread = text.parse().unwrap();
        thread.tap_drill().diameter.mm().to_string()
    }

    /// ISO 2306 coarse values, as listed by torquetoolbox.com, "Tap drill chart: metric coarse tap drill sizes", and by
    /// utilitiesbunker.com, "Thread sizes reference", which agree; M9 and from M42 up anzugsmoment.de, "Metric thread tap
    /// drill size chart"; M1.6 diy4you.de, "Kernloch" (column ISO).
    #[test]
    fn metric_coarse_drills_are_those_of_iso_2306() {
        for (thread, mm) in [
            ("M2", "1.6"),
            ("M2.5", "2.05"),
            ("M3", "2.5"),
            ("M3.5", "2.9"),
            ("M4", "3.3"),
            ("M5", "4.2"),
            ("M6", "5"),
            ("M8", "6.8"),
            ("M10", "8.5"),
            ("M12", "10.2"),
            ("M14", "12"),
            ("M16", "14"),
            ("M18", "15.5"),
            ("M20", "17.5"),
            ("M22", "19.5"),
            ("M24", "21"),
            ("M27", "24"),
            ("M30", "26.5"),
            ("M33", "29.5"),
            ("M36", "32"),
            ("M9", "7.8"),
            ("M42", "37.5"),
            ("M48", "43"),
            ("M56", "50.5"),
            ("M64", "58"),
            ("M1.6", "1.25"),
        ] {
            assert_eq!(drill(thread), mm, "{thread}");
        }
    }

    /// Fine pitches of ISO 2306, from memory.
    #[test]
    fn metric_fine_drills_are_those_of_iso_2306() {
        for (thread, mm) in [
            ("M8x1", "7"),
            ("M8x0.75", "7.2"),
            ("M10x1.25", "8.8"),
            ("M10x1", "9"),
            ("M12x1.5", "10.5"),
            ("M12x1.25", "10.8"),
            ("M16x1.5", "14.5"),
            ("M4.5", "3.7"),
        ] {
            assert_eq!(drill(thread), mm, "{thread}");
        }
    }

    /// Within 0.15 mm, and for most within a tenth, of the chart drills of torquetoolbox.com, "UNC"
    /// and "UNF", which come in inch, number and letter steps.
    #[test]
    fn unified_drills_are_near_the_charts() {
        for (thread, inches, within) in [
            ("#10 UNC", 0.1495, 0.12),
            ("1/4 UNC", 0.2010, 0.1),
            ("5/16 UNC", 0.2570, 0.1),
            ("3/8 UNC", 0.3125, 0.1),
            ("7/16 UNC", 0.3680, 0.1),
            ("1/2 UNC", 0.4219, 0.1),
            ("5/8 UNC", 0.5312, 0.15),
            ("3/4 UNC", 0.6562, 0.15),
            ("1 UNC", 0.8750, 0.15),
            ("#10 UNF", 0.1590, 0.1),
            ("1/4 UNF", 0.2130, 0.1),
            ("3/8 UNF", 0.3320, 0.1),
            ("1/2 UNF", 0.4531, 0.1),
            ("3/4 UNF", 0.6875, 0.15),
        ] {
            let ours: f64 = drill(thread).parse().unwrap();
            assert!(
                (ours - inches * 25.4).abs() <= within,
                "{thread}: {ours} against {}",
                inches * 25.4
            );
        }
    }

    /// 3/16 BSW takes 3.70 mm (BS 1157:1975 as quoted by engineersedge.com, "Whitworth screw threads chart", which says
    /// that its drills leave 77 to 87 % of full thread). Ours, at 80 %, is to a tenth of a millimetre.
    #[test]
    fn whitworth_drills_follow_bs_1157() {
        assert_eq!(drill("3/16 BSW"), "3.7");
        assert_eq!(drill("1/2 BSP"), "19");
        assert_eq!(drill("G 1/8"), "8.8");
    }
}
