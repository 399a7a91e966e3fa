//! Checks: what is measured, between which limits, and whether it passes.

use crate::estimating::{Check, CheckKind, Gauge};
use crate::units::{self, Gauged, Length, LimitGauge};
use rust_decimal::Decimal;
use std::str::FromStr;

/// Limits as numbers, in one unit, as a reading is held against them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Limits {
    /// Smallest that passes.
    pub lower: Option<Decimal>,
    /// Largest that passes.
    pub upper: Option<Decimal>,
    /// The unit as written.
    pub unit: String,
}

/// What came of a measurement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Within the limits, both included.
    Pass,
    /// Below the smallest.
    Small,
    /// Above the largest.
    Large,
}

impl Limits {
    /// The limits of a check; `None` for what is judged, and for what is measured but has no limits yet.
    ///
    /// A run-out, a flatness, a gap is a length that is never below nought: where there is only an upper limit, a reading
    /// below nought has been taken the wrong way round, and does not pass.
    ///
    /// ```
    /// use borewright::estimating::{Check, CheckKind};
    /// use borewright::quality::Limits;
    /// let run_out = Check {
    ///     kind: CheckKind::OneSided,
    ///     upper: Some("0.05".parse()?),
    ///     unit: "mm".to_owned(),
    ///     ..Check::yes_no("Run-out", "", "dial indicator")
    /// };
    /// let limits = Limits::of(&run_out).ok_or("no limits")?;
    /// assert_eq!((limits.lower, limits.upper), (Some(0.into()), Some("0.05".parse()?)));
    /// assert_eq!(Limits::of(&Check::yes_no("Housings", "test bar turns by hand", "test bar")), None);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn of(check: &Check) -> Option<Self> {
        let (lower, upper) = match (check.kind, check.lower, check.upper) {
            (CheckKind::YesNo | CheckKind::Fit, ..) | (_, None, None) => return None,
            (kind, ..) if kind.is_of_pattern() => return None,
            (CheckKind::OneSided, None, Some(upper)) if is_length(&check.unit) => {
                (Some(Decimal::ZERO.min(upper)), Some(upper))
            }
            (_, lower, upper) => (lower, upper),
        };
        Some(Self {
            lower,
            upper,
            unit: check.unit.clone(),
        })
    }

    /// Whether a measurement passes: between the limits, the limits themselves included. The reading is taken as the
    /// size; no part of the tolerance is kept back for the instrument's own uncertainty (simple acceptance, as ISO/IEC
    /// Guide 98-4 calls it, from memory), so the instrument must be fine enough for the tolerance.
    #[must_use]
    pub fn verdict(&self, measured: Decimal) -> Verdict {
        if self.lower.is_some_and(|lower| measured < lower) {
            Verdict::Small
        } else if self.upper.is_some_and(|upper| measured > upper) {
            Verdict::Large
        } else {
            Verdict::Pass
        }
    }

    /// The worst of several readings: the one furthest beyond a limit, or, when all pass, nearest to one. It decides for
    /// all of them. The first of equals; `None` of no readings.
    #[must_use]
    pub fn worst(&self, readings: &[Decimal]) -> Option<Decimal> {
        let spare = |reading: &Decimal| {
            let below = self.lower.map(|lower| *reading - lower);
            let above = self.upper.map(|upper| upper - *reading);
            below.into_iter().chain(above).min()
        };
        readings.iter().copied().min_by_key(spare)
    }
}

fn is_length(unit: &str) -> bool {
    ["mm", "µm", "in", "thou"].contains(&unit)
}

/// The limit gauge of a check that is made with one: a plug gauge for a hole, a gap, ring or snap gauge for a shaft, with
/// limits in millimetres about a nominal size. Such a check goes or does not, and may be measured all the same.
#[must_use]
pub fn limit_gauge(check: &Check) -> Option<LimitGauge> {
    let gauged = match check.gauge {
        Gauge::Plug => Gauged::Hole,
        Gauge::Gap => Gauged::Shaft,
        Gauge::None | Gauge::Feeler => return None,
    };
    let (Some(nominal), Some(lower), Some(upper), "mm") =
        (check.nominal, check.lower, check.upper, check.unit.as_str())
    else {
        return None;
    };
    let between = units::Limits {
        lower: Length::from_mm(lower),
        upper: Length::from_mm(upper),
    };
    LimitGauge::of(Length::from_mm(nominal), between, gauged)
        .ok()
        .flatten()
}

/// Whether a check that has limits may be gauged instead of measured: with a limit gauge whose sizes are known, or with a
/// feeler.
#[must_use]
pub fn may_be_gauged(check: &Check) -> bool {
    check.gauge == Gauge::Feeler || limit_gauge(check).is_some()
}

/// A measurement as it is typed, with a point or a comma: at most six places, below a million.
#[must_use]
pub fn reading(text: &str) -> Option<Decimal> {
    let text = text.trim().replace(',', ".");
    let digits = text.strip_prefix('-').unwrap_or(&text);
    let plain = digits.chars().all(|c| c.is_ascii_digit() || c == '.');
    let found = Decimal::from_str(&text).ok().filter(|_| plain)?;
    (found.scale() <= 6 && found.abs() < Decimal::from(1_000_000)).then_some(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use rust_decimal::dec;

    fn limited(kind: CheckKind, lower: Option<Decimal>, upper: Option<Decimal>) -> Check {
        Check {
            kind,
            lower,
            upper,
            unit: "mm".to_owned(),
            ..Check::yes_no("dowel hole", "", "dial indicator")
        }
    }

    fn gauged(gauge: Gauge, nominal: Decimal, lower: Decimal, upper: Decimal) -> Check {
        Check {
            gauge,
            nominal: Some(nominal),
            ..limited(CheckKind::Range, Some(lower), Some(upper))
        }
    }

    #[test]
    fn a_plug_gauge_has_sizes_of_its_own_and_a_bore_gauge_has_none() {
        let hole = (dec!(25), dec!(25.000), dec!(25.021));
        let plug = limit_gauge(&gauged(Gauge::Plug, hole.0, hole.1, hole.2)).unwrap();
        assert_eq!(
            plug.to_string(),
            "go 25.001 to 25.005 mm, no-go 25.019 to 25.023 mm, worn out at 24.997 mm"
        );
        let gap = gauged(Gauge::Gap, dec!(25), dec!(24.987), dec!(25));
        let gap = limit_gauge(&gap).unwrap();
        assert!(gap.go.upper < Length::from_mm(dec!(25)) && gap.no_go.lower < gap.go.lower);
        let inches = Check {
            unit: "in".to_owned(),
            ..gauged(Gauge::Plug, dec!(1), dec!(0.984), dec!(1.001))
        };
        for check in [
            gauged(Gauge::None, hole.0, hole.1, hole.2),
            Check::yes_no("Thread", "go enters by hand", "thread plug gauge"),
            inches,
            gauged(Gauge::Plug, dec!(600), dec!(600), dec!(600.07)),
            gauged(Gauge::Plug, dec!(25), dec!(25), dec!(25.006)),
        ] {
            assert_eq!(limit_gauge(&check), None, "{check:?}");
        }
    }

    /// ISO 286-2: the limits of 25 H7 are 25.000 and 25.021 mm; those sizes pass, and a micrometre beyond does not.
    #[test]
    fn a_plug_at_the_limit_passes_and_a_micrometre_beyond_it_does_not() {
        let hole = limited(CheckKind::Range, Some(dec!(25)), Some(dec!(25.021)));
        let limits = Limits::of(&hole).unwrap();
        for (measured, verdict) in [
            (dec!(24.999), Verdict::Small),
            (dec!(25), Verdict::Pass),
            (dec!(25.021), Verdict::Pass),
            (dec!(25.022), Verdict::Large),
        ] {
            assert_eq!(limits.verdict(measured), verdict, "{measured}");
        }
    }

    #[test]
    fn a_deviation_fails_on_either_side_and_a_run_out_below_nought_was_taken_wrongly() {
        let place = limited(CheckKind::TwoSided, Some(dec!(-0.05)), Some(dec!(0.05)));
        let position = Limits::of(&place).unwrap();
        let run_out = limited(CheckKind::OneSided, None, Some(dec!(0.05)));
        let run_out = Limits::of(&run_out).unwrap();
        for (measured, placed, runs) in [
            (dec!(-0.08), Verdict::Small, Verdict::Small),
            (dec!(-0.05), Verdict::Pass, Verdict::Small),
            (dec!(0), Verdict::Pass, Verdict::Pass),
            (dec!(0.05), Verdict::Pass, Verdict::Pass),
            (dec!(0.08), Verdict::Large, Verdict::Large),
        ] {
            assert_eq!(position.verdict(measured), placed, "{measured}");
            assert_eq!(run_out.verdict(measured), runs, "{measured}");
        }
        let cooled = Check {
            unit: "°C".to_owned(),
            ..limited(CheckKind::OneSided, None, Some(dec!(40)))
        };
        let frost = Limits::of(&cooled).unwrap().verdict(dec!(-5));
        assert_eq!(frost, Verdict::Pass, "a temperature may be below nought");
    }

    #[test]
    fn the_worst_reading_decides() {
        let bore = limited(CheckKind::Range, Some(dec!(68)), Some(dec!(68.03)));
        let limits = Limits::of(&bore).unwrap();
        let good = [dec!(68.012), dec!(68.004), dec!(68.02)];
        assert_eq!(
            limits.worst(&good),
            Some(dec!(68.004)),
            "nearest to a limit"
        );
        let bad = [dec!(67.99), dec!(68.012), dec!(68.05)];
        assert_eq!(limits.worst(&bad), Some(dec!(68.05)), "furthest beyond one");
        assert_eq!(limits.worst(&[]), None);
    }

    #[test]
    fn readings_are_numbers_and_nothing_else() {
        assert_eq!(reading(" 40,012 "), Some(dec!(40.012)));
        assert_eq!(reading("-0.02"), Some(dec!(-0.02)));
        for text in [
            "",
            "40 mm",
            "4 0",
            "1e3",
            "1_0",
            "+1",
            "1000000",
            "0.0000001",
            "-",
            ".",
            "NaN",
        ] {
            assert_eq!(reading(text), None, "{text}");
        }
    }

    proptest! {
        #[test]
        fn whatever_is_typed_is_read_or_not_but_never_breaks(text in ".{0,60}") {
            if let Some(found) = reading(&text) {
                prop_assert!(found.scale() <= 6);
            }
        }
    }
}
