//! How ratios, intervals and standards are said.

use crate::enquiry::say::whole;
use crate::review::proposals::{Change, Measure};
use crate::review::ratios::{Interval, Part};
use crate::units::{Minutes, Money};
use rust_decimal::Decimal;

/// Per cent above or below one, to the whole per cent: 1.17 is 17.
pub(super) fn percent_off(ratio: f64) -> i64 {
    ((ratio - 1.0) * 100.0).round() as i64
}

/// A share in whole per cent; below ten per cent to the half.
pub(super) fn percent(share: f64) -> String {
    let percent = share * 100.0;
    if percent < 9.75 {
        let halves = (percent * 2.0).round() / 2.0;
        format!("{halves} %")
    } else {
        format!("{percent:.0} %")
    }
}

/// "a fifth longer", "17 % shorter", "as long as".
fn by_how_much(off: i64) -> Option<String> {
    let size = off.abs();
    let fraction = match size {
        0..=1 => return None,
        9..=11 => "a tenth".to_owned(),
        19..=21 => "a fifth".to_owned(),
        24..=26 => "a quarter".to_owned(),
        32..=34 => "a third".to_owned(),
        _ => format!("{size} %"),
    };
    let way = if off > 0 { "longer" } else { "less" };
    Some(format!("{fraction} {way}"))
}

/// How an element's time stands to its standard: "took a fifth longer than the standard".
pub(super) fn took(ratio: f64) -> String {
    match (percent_off(ratio), by_how_much(percent_off(ratio))) {
        (-51..=-49, _) => "took half as long as the standard says".to_owned(),
        (49..=51, _) => "took half as long again as the standard says".to_owned(),
        (98..=102, _) => "took twice as long as the standard says".to_owned(),
        (_, Some(how)) => format!("took {how} than the standard"),
        (_, None) => "took as long as the standard says".to_owned(),
    }
}

/// An interval of ratios: "12 to 29 % longer", "between 4 % less and 12 % longer".
pub(super) fn range(ratio: Interval) -> String {
    let (low, high) = (percent_off(ratio.low), percent_off(ratio.high));
    if low >= 0 {
        format!("{low} to {high} % longer")
    } else if high <= 0 {
        format!("{} to {} % less", -high, -low)
    } else {
        format!("between {} % less and {high} % longer", -low)
    }
}

/// Which standard: "Setup", "Each".
pub(super) fn part(part: Part) -> &'static str {
    match part {
        Part::Setup => "setup",
        Part::Run => "run",
    }
}

/// A standard as it is written: "24.5 min", "118 % of the calculated time".
pub(super) fn standard(measure: Measure, figure: Decimal) -> String {
    match measure {
        Measure::Minutes => Minutes(figure).to_string(),
        Measure::Percent => format!("{} % of the calculated time", figure.normalize()),
    }
}

/// The elements of a proposal: "Drill hole", "Drill hole and tap hole".
pub(super) fn names(changes: &[Change]) -> String {
    let names: Vec<&str> = changes.iter().map(|c| c.name.as_str()).collect();
    match names.as_slice() {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// A difference of prices: "£12 dearer", "£3 cheaper", "no different".
pub(super) fn dearer(before: Money, after: Money) -> String {
    let Ok(difference) = after.minus(before) else {
        return String::new();
    };
    let size = Money::new(difference.amount().abs(), difference.currency());
    let said = whole(size);
    if size.amount().round().is_zero() {
        "no different".to_owned()
    } else if difference.amount().is_sign_negative() {
        format!("{said} cheaper")
    } else {
        format!("{said} dearer")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Currency;

    #[test]
    fn ratios_are_said_as_a_workshop_says_them() {
        for (ratio, said) in [
            (1.2, "took a fifth longer than the standard"),
            (1.17, "took 17 % longer than the standard"),
            (0.75, "took a quarter less than the standard"),
            (1.5, "took half as long again as the standard says"),
            (1.004, "took as long as the standard says"),
        ] {
            assert_eq!(took(ratio), said);
        }
        let said = |low, high| {
            range(Interval {
                low,
                likely: 1.0,
                high,
            })
        };
        assert_eq!(said(1.12, 1.29), "12 to 29 % longer");
        assert_eq!(said(0.82, 0.95), "5 to 18 % less");
        assert_eq!(said(0.96, 1.12), "between 4 % less and 12 % longer");
        assert_eq!(
            (percent(0.034), percent(0.123)),
            ("3.5 %".to_owned(), "12 %".to_owned())
        );
        let pounds = Currency::from_code("GBP").unwrap();
        let minor = |n| Money::from_minor(n, pounds);
        assert_eq!(dearer(minor(10_000), minor(11_234)), "£12 dearer");
        assert_eq!(dearer(minor(10_000), minor(9_990)), "no different");
    }
}
