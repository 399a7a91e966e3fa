//! Limit gauges: how large the go and the no-go side of a plug or a gap gauge are made, and how far the go side may wear.
//!
//! The system is that of ISO/R 1938:1971, kept by DIN 7162:1965, IS 3455:1971, GOST 24853-81 and ISO 1938-1:2015. The go
//! side of a new plug lies a little inside the hole's tolerance (z), so that it can wear; the no-go side lies on the
//! largest size; both are made within H. Above 180 mm a part α of the tolerance is kept back for the gauge's own
//! uncertainty.

use super::fit::{it, main_step};
use super::{FitError, Length, Limits};
use rust_decimal::Decimal;
use std::fmt;

/// What is gauged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Gauged {
    /// A hole, with a plug.
    Hole,
    /// A shaft, with a gap or a ring.
    Shaft,
}

/// The sizes of a limit gauge.
///
/// ```
/// use borewright::units::{Fit, Gauged, Length, LimitGauge};
/// let size: Length = "25".parse()?;
/// let hole = "H7".parse::<Fit>()?.limits(size)?;
/// let plug = LimitGauge::of(size, hole, Gauged::Hole)?.ok_or("no gauge so fine")?;
/// assert_eq!(plug.go.to_string(), "25.001 to 25.005 mm");
/// assert_eq!(plug.no_go.to_string(), "25.019 to 25.023 mm");
/// assert_eq!(plug.worn_out.to_string(), "24.997 mm");
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LimitGauge {
    /// Between which sizes the go side is made.
    pub go: Limits,
    /// Between which sizes the no-go side is made.
    pub no_go: Limits,
    /// The size at which the go side is worn out.
    pub worn_out: Length,
    /// The grade whose figures were taken, 6 to 13.
    pub grade: u8,
}

/// As it is told at the bench: what a new one measures, and when it is worn out.
impl fmt::Display for LimitGauge {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "go {}, no-go {}, worn out at {}",
            self.go, self.no_go, self.worn_out
        )
    }
}

/// Figures of a grade, in tenths of a micrometre by main size step of ISO 286-1.
struct Grade {
    /// From the largest-metal limit to the middle of a new go side: holes, then shafts.
    z: [[i64; 13]; 2],
    /// By how much a worn go side may pass that limit.
    y: [[i64; 13]; 2],
    /// Within what the gauge is made.
    h: [[i64; 13]; 2],
    /// Kept back above 180 mm: the last four steps.
    alpha: [i64; 4],
}

/// IT1 to IT5 and IT7 of ISO 286-1 table 1, in tenths of a micrometre: within these, gauges are made.
const IT2: [i64; 13] = [12, 15, 15, 20, 25, 25, 30, 40, 50, 70, 80, 90, 100];
const IT3: [i64; 13] = [20, 25, 25, 30, 40, 40, 50, 60, 80, 100, 120, 130, 150];
const IT4: [i64; 13] = [30, 40, 40, 50, 60, 70, 80, 100, 120, 140, 160, 180, 200];
const IT5: [i64; 13] = [40, 50, 60, 80, 90, 110, 130, 150, 180, 200, 230, 250, 270];
const IT7: [i64; 13] = [
    100, 120, 150, 180, 210, 250, 300, 350, 400, 460, 520, 570, 630,
];
const NONE: [i64; 13] = [0; 13];

/// z and y of grade 7, which shafts of grade 6 share in the smaller steps.
const Z7: [i64; 13] = [15, 20, 20, 25, 30, 35, 40, 50, 60, 70, 80, 100, 110];
const Z9: [i64; 13] = [50, 60, 70, 80, 90, 110, 130, 150, 180, 210, 240, 280, 320];
const Z10: [i64; 13] = [50, 60, 70, 80, 90, 110, 130, 150, 180, 240, 270, 320, 370];
const Z8: [i64; 13] = [20, 30, 30, 40, 50, 60, 70, 80, 90, 120, 140, 160, 180];
const Y8: [i64; 13] = [30, 30, 30, 40, 40, 50, 50, 60, 60, 70, 90, 90, 110];
const Y7: [i64; 13] = [15, 15, 15, 20, 30, 30, 30, 40, 40, 60, 70, 80, 90];
const Z11: [i64; 13] = [
    100, 120, 140, 160, 190, 220, 250, 280, 320, 400, 450, 500, 550,
];
const Z12: [i64; 13] = [
    100, 120, 140, 160, 190, 220, 250, 280, 320, 450, 500, 650, 700,
];
const Z13: [i64; 13] = [
    200, 240, 280, 320, 360, 420, 480, 540, 600, 800, 900, 1000, 1100,
];

/// Grades 6 to 13. Grades 6 and 7: GOST 24853-81 as printed in V. P. Korotkov, *Metrologiya, standartizatsiya*, 2012, table
/// 3.4. Grades 8 to 13: from memory of the same standard, and held against the published examples in the tests.
const GRADES: [Grade; 8] = [
    Grade {
        z: [[10, 15, 15, 20, 20, 25, 25, 30, 40, 50, 60, 70, 80], Z7],
        y: [
            [10, 10, 10, 15, 15, 20, 20, 30, 30, 40, 50, 60, 70],
            [15, 15, 15, 20, 30, 30, 30, 40, 40, 50, 60, 60, 70],
        ],
        h: [IT2, IT3],
        alpha: [20, 30, 40, 50],
    },
    Grade {
        z: [Z7, Z7],
        y: [Y7, Y7],
        h: [IT3, IT3],
        alpha: [30, 40, 60, 70],
    },
    Grade {
        z: [Z8, Z8],
        y: [Y8, Y8],
        h: [IT3, IT4],
        alpha: [40, 60, 70, 90],
    },
    Grade {
        z: [Z9, Z9],
        y: [NONE, NONE],
        h: [IT3, IT4],
        alpha: [40, 60, 70, 90],
    },
    Grade {
        z: [Z10, Z10],
        y: [NONE, NONE],
        h: [IT3, IT4],
        alpha: [70, 90, 110, 140],
    },
    Grade {
        z: [Z11, Z11],
        y: [NONE, NONE],
        h: [IT5, IT5],
        alpha: [100, 150, 150, 200],
    },
    Grade {
        z: [Z12, Z12],
        y: [NONE, NONE],
        h: [IT5, IT5],
        alpha: [150, 200, 300, 350],
    },
    Grade {
        z: [Z13, Z13],
        y: [NONE, NONE],
        h: [IT7, IT7],
        alpha: [250, 350, 450, 550],
    },
];

/// The coarsest grade whose tolerance is no wider than this; limits without a class take its figures (ISO 1938-1:2015).
fn grade_of(width: Length, step: usize) -> Option<u8> {
    (6..=13)
        .rev()
        .find(|grade| Length::from_um(it(*grade, step)) <= width)
}

/// Tenths of a micrometre.
fn tenths(figure: i64) -> Length {
    Length::from_mm(Decimal::new(figure, 4))
}

/// Half of a figure, on both sides of a size.
fn about(middle: Length, figure: i64) -> Limits {
    let half = Length::from_mm(Decimal::new(figure * 5, 5));
    Limits {
        lower: middle - half,
        upper: middle + half,
    }
}

impl LimitGauge {
    /// The gauge for limits of a nominal size; `None` when they are narrower than grade 6, which is measured instead. The
    /// formulas are those of DIN 7162:1965, section 3: with K the smallest and G the largest size, for a hole go K + z ± H/2,
    /// worn K − y + α, no-go G − α ± H/2; for a shaft go G − z ± H/2, worn G + y − α, no-go K + α ± H/2.
    ///
    /// # Errors
    /// [`FitError::SizeOutside`] above 500 mm.
    pub fn of(size: Length, limits: Limits, gauged: Gauged) -> Result<Option<Self>, FitError> {
        let step = main_step(size)?;
        let Some(number) = grade_of(limits.upper - limits.lower, step) else {
            return Ok(None);
        };
        let Some(grade) = GRADES.get(usize::from(number) - 6) else {
            return Ok(None);
        };
        let side = usize::from(gauged == Gauged::Shaft);
        let (z, y, h) = (
            grade.z[side][step],
            grade.y[side][step],
            grade.h[side][step],
        );
        let alpha = step
            .checked_sub(9)
            .and_then(|above| grade.alpha.get(above))
            .copied()
            .unwrap_or(0);
        let (smallest, largest) = (limits.lower, limits.upper);
        Ok(Some(match gauged {
            Gauged::Hole => Self {
                go: about(smallest + tenths(z), h),
                no_go: about(largest - tenths(alpha), h),
                worn_out: smallest - tenths(y) + tenths(alpha),
                grade: number,
            },
            Gauged::Shaft => Self {
                go: about(largest - tenths(z), h),
                no_go: about(smallest + tenths(alpha), h),
                worn_out: largest + tenths(y) - tenths(alpha),
                grade: number,
            },
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Fit;
    use proptest::prelude::*;
    use rust_decimal::dec;

    fn mm(value: Decimal) -> Length {
        Length::from_mm(value)
    }

    fn gauge(size: Decimal, lower: Decimal, upper: Decimal, gauged: Gauged) -> LimitGauge {
        let limits = Limits {
            lower: mm(lower),
            upper: mm(upper),
        };
        LimitGauge::of(mm(size), limits, gauged).unwrap().unwrap()
    }

    fn pair(lower: Decimal, upper: Decimal) -> Limits {
        Limits {
            lower: mm(lower),
            upper: mm(upper),
        }
    }

    /// A gauge maker's published sheet on "How to calculate gauge tolerance (plug and snap)" by the chart of IS 3455:1971:
    /// for 20 ± 0.02 the plug is go 19.985 ± 0.002 and no-go 20.02 ± 0.002, the snap gauge go 20.015 ± 0.003 and no-go
    /// 19.98 ± 0.003.
    #[test]
    fn a_plug_and_a_snap_gauge_worked_by_the_indian_standards_chart() {
        let plug = gauge(dec!(20), dec!(19.98), dec!(20.02), Gauged::Hole);
        assert_eq!(plug.go, pair(dec!(19.983), dec!(19.987)));
        assert_eq!(plug.no_go, pair(dec!(20.018), dec!(20.022)));
        let snap = gauge(dec!(20), dec!(19.98), dec!(20.02), Gauged::Shaft);
        assert_eq!(snap.go, pair(dec!(20.012), dec!(20.018)));
        assert_eq!(snap.no_go, pair(dec!(19.977), dec!(19.983)));
    }

    /// A published worked example by IS 3455:1971 table 2: 20 ± 0.1 has go 19.9145 to 19.9235, no-go 20.0955 to 20.1045,
    /// and wears to 19.9. A maker's example: 30 mm with an allowance z of 0.009 is new at 30.007 to 30.011. ISO 1938-1:2015
    /// tables 7 to 11 give z = 36 µm for a tolerance of 0.4 at 20 mm, taken as grade 13 (quoted in a discussion of the
    /// standard among engineers).
    #[test]
    fn coarser_grades_agree_with_published_examples() {
        let plug = gauge(dec!(20), dec!(19.9), dec!(20.1), Gauged::Hole);
        assert_eq!(plug.go, pair(dec!(19.9145), dec!(19.9235)));
        assert_eq!(plug.no_go, pair(dec!(20.0955), dec!(20.1045)));
        assert_eq!(plug.worn_out, mm(dec!(19.9)));
        for fit in ["H9", "H10"] {
            let hole = fit.parse::<Fit>().unwrap().limits(mm(dec!(30))).unwrap();
            let plug = LimitGauge::of(mm(dec!(30)), hole, Gauged::Hole);
            assert_eq!(
                plug.unwrap().unwrap().go,
                pair(dec!(30.007), dec!(30.011)),
                "{fit}"
            );
        }
        let plug = gauge(dec!(20), dec!(19.8), dec!(20.2), Gauged::Hole);
        assert_eq!(plug.grade, 13);
        assert_eq!(plug.go.lower + tenths(IT7[4] / 2), mm(dec!(19.836)));
    }

    /// Grade 7, row by row, as Korotkov prints GOST 24853-81: z, y, α and H for the thirteen steps.
    #[test]
    fn holes_of_grade_seven_in_every_step() {
        let printed = [
            (dec!(2), dec!(1.5), dec!(1.5), dec!(0), dec!(2)),
            (dec!(5), dec!(2), dec!(1.5), dec!(0), dec!(2.5)),
            (dec!(8), dec!(2), dec!(1.5), dec!(0), dec!(2.5)),
            (dec!(12), dec!(2.5), dec!(2), dec!(0), dec!(3)),
            (dec!(25), dec!(3), dec!(3), dec!(0), dec!(4)),
            (dec!(40), dec!(3.5), dec!(3), dec!(0), dec!(4)),
            (dec!(70), dec!(4), dec!(3), dec!(0), dec!(5)),
            (dec!(100), dec!(5), dec!(4), dec!(0), dec!(6)),
            (dec!(150), dec!(6), dec!(4), dec!(0), dec!(8)),
            (dec!(200), dec!(7), dec!(6), dec!(3), dec!(10)),
            (dec!(300), dec!(8), dec!(7), dec!(4), dec!(12)),
            (dec!(350), dec!(10), dec!(8), dec!(6), dec!(13)),
            (dec!(450), dec!(11), dec!(9), dec!(7), dec!(15)),
        ];
        let um = |figure: Decimal| mm(figure / dec!(1000));
        for (size, z, y, alpha, h) in printed {
            let hole = "H7".parse::<Fit>().unwrap().limits(mm(size)).unwrap();
            let plug = LimitGauge::of(mm(size), hole, Gauged::Hole)
                .unwrap()
                .unwrap();
            assert_eq!(plug.go.lower, hole.lower + um(z - h / dec!(2)), "{size}");
            assert_eq!(plug.go.upper, hole.lower + um(z + h / dec!(2)), "{size}");
            assert_eq!(plug.worn_out, hole.lower - um(y - alpha), "{size}");
            assert_eq!(
                plug.no_go.upper,
                hole.upper + um(h / dec!(2) - alpha),
                "{size}"
            );
        }
    }

    /// Grade 6, row by row, from the same page of Korotkov (66): of holes z, y and H (IT2), of shafts z₁, y₁ and H₁ (IT3), and
    /// α of both, for the thirteen steps.
    #[test]
    fn holes_and_shafts_of_grade_six_in_every_step() {
        // Size in mm; the figures in tenths of a micrometre.
        let printed = [
            (2, [10, 10, 12], [15, 15, 20], 0),
            (5, [15, 10, 15], [20, 15, 25], 0),
            (8, [15, 10, 15], [20, 15, 25], 0),
            (12, [20, 15, 20], [25, 20, 30], 0),
            (25, [20, 15, 25], [30, 30, 40], 0),
            (40, [25, 20, 25], [35, 30, 40], 0),
            (70, [25, 20, 30], [40, 30, 50], 0),
            (100, [30, 30, 40], [50, 40, 60], 0),
            (150, [40, 30, 50], [60, 40, 80], 0),
            (200, [50, 40, 70], [70, 50, 100], 20),
            (300, [60, 50, 80], [80, 60, 120], 30),
            (350, [70, 60, 90], [100, 60, 130], 40),
            (450, [80, 70, 100], [110, 70, 150], 50),
        ];
        let um = |tenths: i64| mm(Decimal::new(tenths, 4));
        let about = |middle: Length, h: i64| Limits {
            lower: middle - mm(Decimal::new(h, 4) / dec!(2)),
            upper: middle + mm(Decimal::new(h, 4) / dec!(2)),
        };
        let limits = |class: &str, size| class.parse::<Fit>().unwrap().limits(mm(size)).unwrap();
        let of = |limits, size, gauged| LimitGauge::of(mm(size), limits, gauged).unwrap();
        for (size, [z, y, h], [z1, y1, h1], alpha) in printed {
            let size = Decimal::from(size);
            let hole = limits("H6", size);
            let plug = LimitGauge {
                go: about(hole.lower + um(z), h),
                no_go: about(hole.upper - um(alpha), h),
                worn_out: hole.lower - um(y - alpha),
                grade: 6,
            };
            assert_eq!(of(hole, size, Gauged::Hole), Some(plug), "{size}");
            let shaft = limits("h6", size);
            let gap = LimitGauge {
                go: about(shaft.upper - um(z1), h1),
                no_go: about(shaft.lower + um(alpha), h1),
                worn_out: shaft.upper + um(y1 - alpha),
                grade: 6,
            };
            assert_eq!(of(shaft, size, Gauged::Shaft), Some(gap), "{size}");
        }
        // The doc example, as it is told at the bench.
        let plug = of(limits("H7", dec!(25)), dec!(25), Gauged::Hole).unwrap();
        assert_eq!(
            plug.to_string(),
            "go 25.001 to 25.005 mm, no-go 25.019 to 25.023 mm, worn out at 24.997 mm"
        );
    }

    #[test]
    fn what_is_finer_than_any_gauge_is_measured() {
        let hole = "H5".parse::<Fit>().unwrap().limits(mm(dec!(25))).unwrap();
        assert_eq!(LimitGauge::of(mm(dec!(25)), hole, Gauged::Hole), Ok(None));
        assert!(LimitGauge::of(mm(dec!(501)), hole, Gauged::Hole).is_err());
    }

    proptest! {
        /// Whatever the size and grade: a new go side lies inside the tolerance, wears outwards, and never reaches the
        /// no-go side.
        #[test]
        fn a_gauge_is_in_order(hundredths in 1_i64..50_000, grade in 6_u8..=13, shaft in any::<bool>()) {
            let size = mm(Decimal::new(hundredths, 2));
            let (class, gauged) = if shaft { ("h", Gauged::Shaft) } else { ("H", Gauged::Hole) };
            let limits = format!("{class}{grade}").parse::<Fit>().unwrap().limits(size).unwrap();
            let gauge = LimitGauge::of(size, limits, gauged).unwrap().unwrap();
            prop_assert_eq!(gauge.grade, grade);
            match gauged {
                Gauged::Hole => {
                    prop_assert!(gauge.worn_out < gauge.go.lower);
                    prop_assert!(limits.lower <= gauge.go.lower && gauge.go.upper < gauge.no_go.lower);
                    prop_assert!(gauge.no_go.lower < limits.upper);
                }
                Gauged::Shaft => {
                    prop_assert!(gauge.worn_out > gauge.go.upper);
                    prop_assert!(limits.upper >= gauge.go.upper && gauge.go.lower > gauge.no_go.upper);
                    prop_assert!(gauge.no_go.upper > limits.lower);
                }
            }
        }
    }
}
