//! What to tell the customer on the phone, in the words a shop would use: whole units of money, and chances as they are
//! spoken.

use super::answer::{Answer, Figures, OptionAnswer, OptionKind};
use crate::units::Money;
use chrono::{DateTime, Datelike, TimeDelta, Utc};
use chrono_tz::Tz;
use rust_decimal::RoundingStrategy;

/// For how long a day is said without its year.
const WITHOUT_YEAR: TimeDelta = TimeDelta::days(92);

/// A day as it is said: "Thursday 14 January", with the year when it is neither this year's nor within three months.
#[must_use]
pub fn day(time: DateTime<Utc>, now: DateTime<Utc>, zone: Tz) -> String {
    let local = time.with_timezone(&zone);
    if local.year() == now.with_timezone(&zone).year() || time - now <= WITHOUT_YEAR {
        local.format("%A %-d %B").to_string()
    } else {
        local.format("%A %-d %B %Y").to_string()
    }
}

/// Money in whole units, halves up: `£1,235`.
#[must_use]
pub fn whole(money: Money) -> String {
    let rounded = money
        .amount()
        .round_dp_with_strategy(0, RoundingStrategy::MidpointAwayFromZero);
    let text = Money::new(rounded, money.currency()).to_string();
    match text.split_once('.') {
        Some((whole, _)) => whole.to_owned(),
        None => text,
    }
}

/// A chance as it is spoken: "4 times out of 5".
pub(super) fn times(percent: u32) -> &'static str {
    match percent {
        97.. => "nearly every time",
        86..97 => "9 times out of 10",
        78..86 => "4 times out of 5",
        71..78 => "3 times out of 4",
        59..71 => "2 times out of 3",
        42..59 => "about half the time",
        29..42 => "1 time in 3",
        22..29 => "1 time in 4",
        15..22 => "1 time in 5",
        6..15 => "1 time in 10",
        _ => "hardly ever",
    }
}

/// The sentence for an answer.
pub(super) fn sentence(answer: &Answer, zone: Tz) -> String {
    let recommended = answer
        .recommended
        .as_deref()
        .and_then(|key| answer.option(key));
    let Some((option, figures)) = recommended.and_then(|o| Some((o, o.figures()?))) else {
        return format!(
            "I can’t offer you a {} as things are. Let me look into it and call you back.",
            answer.wanted
        );
    };
    let mut said = format!(
        "{}: {} before tax, {}.",
        offer(option, answer),
        whole(figures.build_up.net),
        when(figures, answer, zone)
    );
    if let (Some(percent), Some(by)) = (figures.in_time_percent, answer.wanted_by)
        && percent < answer.confidence_percent
    {
        said.push_str(&format!(
            " We would make {} {}.",
            by.format("%A %-d %B"),
            match percent {
                6.. => format!("only {}", times(percent)),
                _ => times(percent).to_owned(),
            }
        ));
    }
    if let Some(comparison) = &answer.comparison {
        said.push_str(&match option.kind {
            OptionKind::Hunt => format!(
                " Converting one would be cheaper {}.",
                times(comparison.cheaper_percent)
            ),
            _ => format!(
                " That is cheaper than finding one {}, and sooner {}.",
                times(comparison.cheaper_percent),
                times(comparison.sooner_percent)
            ),
        });
    }
    said
}

fn offer(option: &OptionAnswer, answer: &Answer) -> String {
    let wanted = &answer.wanted;
    match option.kind {
        OptionKind::Repair => format!("We can repair your own {wanted}"),
        OptionKind::ConvertOwn => format!("We can make a {wanted} out of your own block"),
        OptionKind::ConvertShelf => {
            format!("We can make you a {wanted} out of a casting we have in stock")
        }
        OptionKind::ConvertBought => {
            format!("We can buy a more common casting and make you a {wanted} out of it")
        }
        OptionKind::Shelf => format!("We have a {wanted} in stock"),
        OptionKind::Hunt => format!("We would look for a {wanted} for you"),
        OptionKind::Work => wanted.clone(),
    }
}

pub(super) fn when(figures: &Figures, answer: &Answer, zone: Tz) -> String {
    match figures.ready.at_confidence {
        Some(time) => format!(
            "ready by {}, a day we keep {}",
            day(time, answer.at, zone),
            times(answer.confidence_percent)
        ),
        None => "but I can’t name a day yet".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Currency;

    #[test]
    fn money_is_said_in_whole_units_and_a_chance_as_a_share() {
        let money = |amount: &str, code| {
            Money::new(amount.parse().unwrap(), Currency::from_code(code).unwrap())
        };
        assert_eq!(whole(money("1234.50", "GBP")), "£1,235");
        assert_eq!(whole(money("1234.49", "GBP")), "£1,234");
        assert_eq!(
            whole(money("1234", "JPY")),
            money("1234", "JPY").to_string()
        );
        assert_eq!(times(80), "4 times out of 5");
        assert_eq!(times(95), "9 times out of 10");
        assert_eq!(times(0), "hardly ever");
    }

    #[test]
    fn the_year_is_said_only_of_a_day_far_off() {
        let at = |text: &str| text.parse::<DateTime<Utc>>().unwrap();
        let said = |text| day(at(text), at("2026-11-25T10:00:00Z"), Tz::Europe__London);
        assert_eq!(said("2027-01-14T10:00:00Z"), "Thursday 14 January");
        assert_eq!(said("2027-04-14T10:00:00Z"), "Wednesday 14 April 2027");
    }
}
