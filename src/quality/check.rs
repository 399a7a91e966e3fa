//! Checks: what is measured, between which limits, and whether it passes.

use crate::estimating::Check;
use crate::units::{self, Gauged, Length, LimitGauge};
use rust_decimal::Decimal;
use std::str::FromStr;

/// Limits as numbers, in one unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Limits {
    /// What is aimed at, when the text says it: the 12 of `12 H7`.
    pub nominal: Option<Decimal>,
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
    /// Reads limits as a route or a person writes them; `None` for what is no number to hold a measurement against, and
    /// so is gauged or judged: go or no-go. "Within" is either way: a hole that is 0.08 mm off to the left is as wrong as
    /// one that is off to the right.
    ///
    /// ```
    /// use borewright::quality::Limits;
    /// let register = Limits::read("40 H7: 40.000 to 40.025 mm").ok_or("no limits")?;
    /// assert_eq!(register.nominal, Some(40.into()));
    /// assert_eq!(register.upper, Some("40.025".parse()?));
    /// let run_out = Limits::read("0.05 mm (2 thou) total indicator reading at most").ok_or("no limits")?;
    /// assert_eq!((run_out.lower, run_out.upper), (Some(0.into()), Some("0.05".parse()?)));
    /// let position = Limits::read("within 0.05 mm").ok_or("no limits")?;
    /// assert_eq!((position.lower, position.upper), (Some("-0.05".parse()?), Some("0.05".parse()?)));
    /// assert_eq!(Limits::read("test bar turns by hand"), None);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        let (called, rest) = match text.rsplit_once(": ") {
            Some((called, rest)) => (Some(called), rest.trim()),
            None => (None, text.trim()),
        };
        let nominal =
            called.and_then(|called| number(called.trim_start_matches('ø')).map(|(n, _)| n));
        if let Some((lower, rest)) = number(rest)
            && let Some(rest) = rest.trim_start().strip_prefix("to ")
            && let Some((upper, rest)) = number(rest)
        {
            return (lower <= upper).then(|| Self {
                nominal,
                lower: Some(lower),
                upper: Some(upper),
                unit: unit(rest),
            });
        }
        // "within 0.05 to 0.1" says something else.
        let no_range = |rest: &str| !rest.trim_start().starts_with("to ");
        if let Some((limit, rest)) = rest.strip_prefix("within ").and_then(number) {
            return (no_range(rest) && limit >= Decimal::ZERO).then(|| Self {
                nominal,
                lower: Some(-limit),
                upper: Some(limit),
                unit: unit(rest),
            });
        }
        let most = ["at most ", "no more than ", "not more than "]
            .iter()
            .find_map(|words| rest.strip_prefix(words));
        if let Some((upper, rest)) = most.and_then(number) {
            return no_range(rest).then(|| Self::at_most(nominal, upper, unit(rest)));
        }
        if let Some((lower, rest)) = rest.strip_prefix("at least ").and_then(number) {
            return Some(Self {
                nominal,
                lower: Some(lower),
                upper: None,
                unit: unit(rest),
            });
        }
        let (upper, after) = number(rest)?;
        rest.ends_with("at most")
            .then(|| Self::at_most(nominal, upper, unit(after)))
    }

    /// An upper limit alone. A run-out, a flatness, a gap is a length that is never below nought: a reading below it has
    /// been taken the wrong way round, and does not pass.
    fn at_most(nominal: Option<Decimal>, upper: Decimal, unit: String) -> Self {
        let is_length = ["mm", "µm", "in", "thou"].contains(&unit.as_str());
        Self {
            nominal,
            lower: (is_length && upper >= Decimal::ZERO).then_some(Decimal::ZERO),
            upper: Some(upper),
            unit,
        }
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
}

/// The limit gauge of a check that is made with one: a plug gauge for a hole, a gap, ring or snap gauge for a shaft, with
/// limits in millimetres about a nominal size. Such a check goes or does not, and may be measured all the same. A thread
/// gauge is another matter.
#[must_use]
pub fn limit_gauge(check: &Check) -> Option<LimitGauge> {
    let instrument = check.instrument.to_lowercase();
    let named = |names: &[&str]| names.iter().any(|name| instrument.contains(name));
    let gauged = if instrument.contains("thread") {
        return None;
    } else if named(&["plug gauge"]) {
        Gauged::Hole
    } else if named(&["gap gauge", "ring gauge", "snap gauge"]) {
        Gauged::Shaft
    } else {
        return None;
    };
    let limits = Limits::read(&check.limits)?;
    let (Some(nominal), Some(lower), Some(upper), "mm") = (
        limits.nominal,
        limits.lower,
        limits.upper,
        limits.unit.as_str(),
    ) else {
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

/// A measurement as it is typed, with a point or a comma: at most six places, below a million.
#[must_use]
pub fn reading(text: &str) -> Option<Decimal> {
    let text = text.trim().replace(',', ".");
    let (found, rest) = number(&text)?;
    (rest.is_empty() && found.scale() <= 6 && found.abs() < Decimal::from(1_000_000))
        .then_some(found)
}

/// The number a text begins with, and what follows it.
fn number(text: &str) -> Option<(Decimal, &str)> {
    let text = text.trim_start();
    let sign = usize::from(text.starts_with('-'));
    let length = text
        .get(sign..)?
        .find(|c: char| !c.is_ascii_digit() && c != '.')
        .map_or(text.len(), |at| at + sign);
    let (digits, rest) = text.split_at_checked(length)?;
    let found = Decimal::from_str(digits).ok()?;
    Some((found, rest))
}

/// The unit that a text begins with: the first word, if it is one.
fn unit(text: &str) -> String {
    let word = text.split_whitespace().next().unwrap_or_default();
    let is_unit = word
        .chars()
        .all(|c| c.is_alphabetic() || "°%µ/".contains(c));
    if is_unit {
        word.to_owned()
    } else {
        String::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Fit, Length, LengthUnit};
    use proptest::prelude::*;
    use rust_decimal::dec;

    #[test]
    fn a_plug_gauge_has_sizes_of_its_own_and_a_bore_gauge_has_none() {
        let check = |limits: &str, instrument: &str| Check {
            what: "dowel hole".to_owned(),
            limits: limits.to_owned(),
            instrument: instrument.to_owned(),
        };
        let plug = limit_gauge(&check("25 H7: 25.000 to 25.021 mm", "plug gauge")).unwrap();
        assert_eq!(
            plug.to_string(),
            "go 25.001 to 25.005 mm, no-go 25.019 to 25.023 mm, worn out at 24.997 mm"
        );
        let gap = limit_gauge(&check("25 h6: 24.987 to 25.000 mm", "Gap gauge")).unwrap();
        assert!(gap.go.upper < Length::from_mm(dec!(25)) && gap.no_go.lower < gap.go.lower);
        for (limits, instrument) in [
            ("25 H7: 25.000 to 25.021 mm", "bore gauge"),
            ("25 H7: 25.000 to 25.021 mm", "thread plug gauge"),
            ("go enters by hand", "plug gauge"),
            ("25 H7: 0.984 to 0.985 in", "plug gauge"),
            ("600 H7: 600.000 to 600.070 mm", "plug gauge"),
            ("25 H4: 25.000 to 25.006 mm", "plug gauge"),
        ] {
            assert_eq!(limit_gauge(&check(limits, instrument)), None, "{limits}");
        }
    }

    #[test]
    fn limits_are_read_as_the_trade_writes_them() {
        let read = |text: &str| Limits::read(text).map(|l| (l.nominal, l.lower, l.upper, l.unit));
        let mm = || "mm".to_owned();
        assert_eq!(
            read("12 H7: 12.000 to 12.018 mm"),
            Some((Some(dec!(12)), Some(dec!(12.000)), Some(dec!(12.018)), mm()))
        );
        assert_eq!(
            read("within 0.05 mm (about 2 thou)"),
            Some((None, Some(dec!(-0.05)), Some(dec!(0.05)), mm()))
        );
        assert_eq!(
            read("at most 40 °C"),
            Some((None, None, Some(dec!(40)), "°C".to_owned()))
        );
        assert_eq!(
            read("2.5 to 3 bar"),
            Some((None, Some(dec!(2.5)), Some(dec!(3)), "bar".to_owned()))
        );
        assert_eq!(
            read("at least 1.2 Nm"),
            Some((None, Some(dec!(1.2)), None, "Nm".to_owned()))
        );
        for text in [
            "",
            "about 0.05 mm (2 thou)",
            "go enters by hand, no-go does not beyond two turns",
            "to the maker's housing limits",
            "must not admit a 0.038 mm (1.5 thou) feeler",
            "12 Z9: look the limits up; it is not in the table",
            "3 to 2 mm",
            "within what the wanted variant can be made from",
            "1.2.3 to 4 mm",
        ] {
            assert_eq!(read(text), None, "{text}");
        }
    }

    /// ISO 286-2: the limits of 25 H7 are 25.000 and 25.021 mm; those sizes pass, and a micrometre beyond does not.
    #[test]
    fn a_plug_at_the_limit_passes_and_a_micrometre_beyond_it_does_not() {
        let fit: Fit = "H7".parse().unwrap();
        let size = Length::parse("25", LengthUnit::Mm).unwrap();
        let limits = Limits::read(&format!("25 H7: {}", fit.limits(size).unwrap())).unwrap();
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
    fn a_deviation_fails_on_either_side() {
        let position = Limits::read("within 0.05 mm (about 2 thou)").unwrap();
        let run_out = Limits::read("0.05 mm total indicator reading at most").unwrap();
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
        fn whatever_is_written_is_read_or_not_but_never_breaks(text in ".{0,60}", measured in -1_000_i64..1_000) {
            if let Some(limits) = Limits::read(&text) {
                let _ = limits.verdict(measured.into());
            }
            let _ = reading(&text);
        }

        #[test]
        fn what_passes_lies_between_the_limits(lower in 0_i64..50_000, width in 0_i64..500, measured in 0_i64..60_000) {
            let mm = |microns: i64| Decimal::new(microns, 3);
            let text = format!("{} to {} mm", mm(lower), mm(lower + width));
            let verdict = Limits::read(&text).unwrap().verdict(mm(measured));
            prop_assert_eq!(verdict == Verdict::Pass, (lower..=lower + width).contains(&measured));
        }
    }
}
