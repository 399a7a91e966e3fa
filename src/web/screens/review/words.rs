//! How the review says hours, money and what they belong to.

use crate::enquiry::answer::OptionKind;
use crate::review::variance::{Grouping, Label};
use crate::units::{Code, Currency, Money};
use crate::web::ui::show;
use rust_decimal::{Decimal, dec};

/// What the figures are put together by.
#[must_use]
pub fn grouping(by: Grouping) -> &'static str {
    match by {
        Grouping::Operation => "Operation",
        Grouping::Element => "Element of work",
        Grouping::Kind => "Kind of work",
        Grouping::Machine => "Machine",
        Grouping::Person => "Person",
        Grouping::Pattern => "Pattern",
        Grouping::Customer => "Customer",
        Grouping::Job => "Job",
    }
}

/// A kind of work by the code of the quoted option.
#[must_use]
pub fn kind(code: &str) -> &'static str {
    match OptionKind::from_code(code) {
        Some(OptionKind::Inspect) => "Inspection of the customer’s own block",
        Some(OptionKind::Repair) => "Repair of the customer’s own block",
        Some(OptionKind::ConvertOwn) => "Conversion of the customer’s own block",
        Some(OptionKind::ConvertShelf) => "Conversion of a donor from the shelf",
        Some(OptionKind::ConvertBought) => "Conversion of a donor bought for it",
        Some(OptionKind::ConvertOffered) => "Conversion of a donor on offer",
        Some(OptionKind::Shelf) => "A block from the shelf",
        Some(OptionKind::Offered) => "A block on offer",
        Some(OptionKind::Hunt) => "A block to be found",
        Some(OptionKind::Work) => "Listed work",
        None => "Jobs without a quote",
    }
}

/// The name of a group.
#[must_use]
pub fn name(label: &Label, by: Grouping) -> String {
    match (by, label.name.as_str()) {
        (Grouping::Kind, code) => kind(code).to_owned(),
        (Grouping::Machine, "") => "No machine noted".to_owned(),
        (Grouping::Person, "") => "Nobody noted".to_owned(),
        (Grouping::Pattern, "") => "No pattern noted".to_owned(),
        (Grouping::Customer, "") => "No customer named".to_owned(),
        (_, name) => name.to_owned(),
    }
}

/// Working time: `45 h`, `3.5 h`, `25 min`; a dash for none.
#[must_use]
pub fn hours(minutes: Decimal) -> String {
    let whole = minutes.round();
    if whole <= Decimal::ZERO {
        "–".to_owned()
    } else if whole < dec!(60) {
        format!("{whole}\u{a0}min")
    } else if whole < dec!(600) {
        format!("{}\u{a0}h", (minutes / dec!(60)).round_dp(1).normalize())
    } else {
        let hours = show::grouped((minutes / dec!(60)).round());
        format!("{hours}\u{a0}h")
    }
}

/// An amount beside its estimate: `£412 more`, `£80 less`, `as estimated`.
#[must_use]
pub fn beyond(amount: Decimal, currency: Currency) -> String {
    let whole = amount.round();
    if whole.is_zero() {
        "as estimated".to_owned()
    } else {
        let said = show::whole(Money::new(whole.abs(), currency));
        format!(
            "{said} {}",
            if whole > Decimal::ZERO {
                "more"
            } else {
                "less"
            }
        )
    }
}

/// A part of the difference, which may be none: `£30 more`, `–`.
#[must_use]
pub fn part(amount: Decimal, currency: Currency) -> String {
    match amount.round().is_zero() {
        true => "–".to_owned(),
        false => beyond(amount, currency),
    }
}

/// An amount in whole coins.
#[must_use]
pub fn money(amount: Decimal, currency: Currency) -> String {
    show::whole(Money::new(amount, currency))
}

/// Booked over estimated, in per cent; a dash where the estimate is too small to say anything.
#[must_use]
pub fn share(booked: Decimal, estimated: Decimal) -> String {
    if estimated < dec!(30) {
        return "–".to_owned();
    }
    format!("{}\u{a0}%", (booked / estimated * dec!(100)).round())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_said_of_nothing() {
        let gbp = Currency::from_code("GBP").unwrap();
        assert_eq!(hours(dec!(0)), "–");
        assert_eq!(hours(dec!(25.4)), "25\u{a0}min");
        assert_eq!(hours(dec!(210)), "3.5\u{a0}h");
        assert_eq!(hours(dec!(72_600)), "1,210\u{a0}h");
        assert_eq!(beyond(dec!(-0.4), gbp), "as estimated");
        assert_eq!(beyond(dec!(-80.2), gbp), "£80 less");
        assert_eq!(part(dec!(0.3), gbp), "–");
        assert_eq!(share(dec!(30), dec!(0)), "–");
        assert_eq!(share(dec!(66), dec!(60)), "110\u{a0}%");
    }
}
