//! How waits, prices and chances are said to people: roughly, as they are known.

use crate::sourcing::hunt::HORIZON_DAYS;
use crate::units::Money;
use rust_decimal::RoundingStrategy;

/// A stretch of days as people say it: `9 days`, `15 weeks`, `8 months`, `3 years`.
#[must_use]
pub fn span(days: f64) -> String {
    let of = |n: f64, noun: &str| {
        let n = n.round().max(1.0);
        format!("{n} {noun}{}", if n < 1.5 { "" } else { "s" })
    };
    match days {
        d if d < 14.0 => of(d, "day"),
        d if d < 182.0 => of(d / 7.0, "week"),
        d if d < 700.0 => of(d / (365.25 / 12.0), "month"),
        d => of(d / 365.25, "year"),
    }
}

/// `within 15 weeks`; beyond what a hunt is followed to, `later than five years`.
#[must_use]
pub fn within(days: f64) -> String {
    if days <= HORIZON_DAYS {
        format!("within {}", span(days))
    } else {
        "later than five years".to_owned()
    }
}

/// An amount to two figures, without a fraction when it is whole: `£1,000`.
#[must_use]
pub fn roughly(money: Money) -> String {
    let amount = money.amount();
    let two = amount
        .round_sf_with_strategy(2, RoundingStrategy::MidpointAwayFromZero)
        .unwrap_or(amount);
    let text = Money::new(two, money.currency()).to_string();
    match text.split_once('.') {
        Some((whole, fraction)) if fraction.chars().all(|c| c == '0') => whole.to_owned(),
        _ => text,
    }
}

/// A chance in whole per cent, never 0 or 100 unless it is: `78 %`.
#[must_use]
pub fn percent(chance: f64) -> String {
    match chance * 100.0 {
        p if p <= 0.0 => "0\u{a0}%".to_owned(),
        p if p < 1.0 => "under 1\u{a0}%".to_owned(),
        p if p >= 100.0 => "100\u{a0}%".to_owned(),
        p if p > 99.0 => "over 99\u{a0}%".to_owned(),
        p => format!("{p:.0}\u{a0}%"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Currency;

    #[test]
    fn said_as_people_say_it() {
        assert_eq!(span(0.2), "1 day");
        assert_eq!(span(13.4), "13 days");
        assert_eq!(span(103.1), "15 weeks");
        assert_eq!(span(270.0), "9 months");
        assert_eq!(span(720.0), "2 years");
        assert_eq!(span(1000.0), "3 years");
        assert_eq!(within(f64::INFINITY), "later than five years");
        let gbp = |text| Money::parse(text, Currency::from_code("GBP").unwrap()).unwrap();
        assert_eq!(roughly(gbp("1013.20")), "£1,000");
        assert_eq!(roughly(gbp("1.25")), "£1.30");
        assert_eq!(percent(0.004), "under 1\u{a0}%");
        assert_eq!(percent(0.784), "78\u{a0}%");
    }
}
