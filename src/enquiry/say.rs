//! What to tell the customer on the phone, for any option, in the words a shop would use: what, how much, when, how sure,
//! and one reason. Money is rounded as one speaks, chances are said as shares.

use super::answer::{Answer, Figures, OptionAnswer, OptionKind, SearchTerms, Terms};
use super::related::RelatedDonor;
use super::wish::Knowledge;
use crate::units::Money;
use crate::units::text::{capitalised, uncapitalised};
use chrono::{Datelike, NaiveDate};
use chrono_tz::Tz;
use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, RoundingStrategy};

/// For how many days around today a day is said without its year.
const WITHOUT_YEAR: i64 = 92;

/// Whether a day is said with its year: when it is neither this year's nor within three months of today.
#[must_use]
pub fn with_year(day: NaiveDate, today: NaiveDate) -> bool {
    day.year() != today.year() && (day - today).num_days().abs() > WITHOUT_YEAR
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

/// A day as it is said: "Thursday 14 January", with the year as [`with_year`] has it.
fn on_day(day: NaiveDate, today: NaiveDate) -> String {
    if with_year(day, today) {
        day.format("%A %-d %B %Y").to_string()
    } else {
        day.format("%A %-d %B").to_string()
    }
}

/// Money as it is spoken, to two figures and a half: £398 is "£400", £1,697 "£1,700".
#[must_use]
pub fn spoken(money: Money) -> String {
    let amount = money.amount();
    let digits = amount.trunc().abs().to_string().len() as u32;
    let step = match digits {
        0..=2 => Decimal::ONE,
        _ => 10_i64
            .checked_pow(digits - 2)
            .map_or(Decimal::ONE, |power| Decimal::from(power) / Decimal::TWO),
    };
    let rounded = (amount / step)
        .round_dp_with_strategy(0, RoundingStrategy::MidpointAwayFromZero)
        .checked_mul(step)
        .unwrap_or(amount);
    whole(Money::new(rounded, money.currency()))
}

/// "a" or "an" before a name.
fn article(name: &str) -> &'static str {
    let first = name.trim_start().chars().next();
    let vowel = first.is_some_and(|c| "aeioAEIO8".contains(c));
    let eleven = ["11", "18"].iter().any(|n| {
        let rest = name.trim_start().strip_prefix(n);
        rest.is_some_and(|rest| !rest.starts_with(|c: char| c.is_ascii_digit()))
    });
    if vowel || eleven { "an" } else { "a" }
}

/// A name with its article: "an Ousel twin".
#[must_use]
pub fn a(name: &str) -> String {
    format!("{} {name}", article(name))
}

/// A small number in words.
fn number(n: i64) -> String {
    const WORDS: [&str; 13] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
        "eleven", "twelve",
    ];
    n.to_usize()
        .and_then(|i| WORDS.get(i))
        .map_or_else(|| n.to_string(), |word| (*word).to_owned())
}

/// A span of days as it is said: "a day", "ten days", "about three weeks", "about four months".
#[must_use]
pub fn span(days: i64) -> String {
    match days {
        1 => "a day".to_owned(),
        ..14 => format!("{} days", number(days)),
        14 => "two weeks".to_owned(),
        15..60 => format!("about {} weeks", number((days + 3) / 7)),
        60..700 => format!("about {} months", number((days + 15) / 30)),
        _ => format!("about {} years", number((days + 182) / 365)),
    }
}

/// Writes down what to say of every option that can be done, and of the answer as a whole.
pub(super) fn fill_in(answer: &mut Answer, knowledge: &Knowledge) {
    let today = answer.at.with_timezone(&knowledge.zone).date_naive();
    let said: Vec<String> = answer
        .options
        .iter()
        .map(|option| match option.figures() {
            Some(figures) => sentence(answer, option, figures, (knowledge.zone, today)),
            None => String::new(),
        })
        .collect();
    for (option, said) in answer.options.iter_mut().zip(said) {
        option.sentence = said;
    }
    let recommended = answer
        .recommended
        .as_deref()
        .and_then(|key| answer.option(key));
    answer.sentence = match recommended {
        Some(option) => option.sentence.clone(),
        None => format!(
            "I can’t offer you {} as things are. Let me look into it and call you back.",
            a(&answer.wanted)
        ),
    };
}

fn sentence(
    answer: &Answer,
    option: &OptionAnswer,
    figures: &Figures,
    (zone, today): (Tz, NaiveDate),
) -> String {
    let mut said = match &figures.terms {
        _ if option.kind == OptionKind::Inspect => {
            return format!(
                "Bring your block in, and we clean, crack-test and measure it for about {} plus tax, {}. Then I can tell you what it needs.",
                spoken(figures.build_up.net),
                match figures.ready_day {
                    Some(day) => format!("by {}", on_day(day, today)),
                    None => "though I can’t name a day yet".to_owned(),
                }
            );
        }
        Terms::Search(terms) => search(answer, option, figures, terms, (zone, today)),
        Terms::Fixed => format!(
            "{} for about {} plus tax, {}.",
            offer(option.kind, &answer.wanted),
            spoken(figures.build_up.net),
            when(answer, figures, today)
        ),
        Terms::IfSound { lost, .. } if lost.amount().is_zero() => format!(
            "{} for about {} plus tax if it passes the crack-test, {}. If it doesn’t, it costs you nothing, and we look again.",
            offer(option.kind, &answer.wanted),
            spoken(figures.build_up.net),
            when(answer, figures, today)
        ),
        Terms::IfSound { lost, .. } => format!(
            "{} for about {} plus tax if it proves sound, {}. If it doesn’t, {} is about {}.",
            offer(option.kind, &answer.wanted),
            spoken(figures.build_up.net),
            when(answer, figures, today),
            match option.kind {
                OptionKind::Offered | OptionKind::ConvertOffered =>
                    "the bill for buying and inspecting it",
                _ => "the bill for inspecting it",
            },
            spoken(*lost)
        ),
    };
    said.push_str(&stays_different(figures));
    match late(answer, figures, (zone, today)) {
        Some(late) => {
            said.push_str(&late);
            said.push_str(&in_time(answer, option, today));
        }
        None => said.push_str(&reason(answer, option)),
    }
    said
}

/// What a donor of another pattern leaves different for good.
fn stays_different(figures: &Figures) -> String {
    let related = figures.related.as_ref();
    related.map(RelatedDonor::sentence).unwrap_or_default()
}

fn offer(kind: OptionKind, wanted: &str) -> String {
    match kind {
        OptionKind::Inspect => "We can inspect your own block".to_owned(),
        OptionKind::Repair => format!("We can put your own {wanted} right"),
        OptionKind::ConvertOwn => format!("We can make {} out of your own block", a(wanted)),
        OptionKind::ConvertShelf => {
            format!(
                "We can make you {} out of a casting we have here",
                a(wanted)
            )
        }
        OptionKind::ConvertBought => format!(
            "We can look for a more common casting and make you {} out of it",
            a(wanted)
        ),
        OptionKind::ConvertOffered => format!(
            "We know of a more common casting for sale, and can make you {} out of it",
            a(wanted)
        ),
        OptionKind::Shelf => format!("We have {} here, and can let you have it", a(wanted)),
        OptionKind::Offered => format!("We know of {} for sale, and can get it for you", a(wanted)),
        OptionKind::Hunt => format!("We can look for {} for you", a(wanted)),
        OptionKind::Work => wanted.to_owned(),
    }
}

fn when(answer: &Answer, figures: &Figures, today: NaiveDate) -> String {
    when_if(answer, figures, today, "")
}

/// When it is ready, on a condition that is said with the day.
pub(super) fn when_if(
    answer: &Answer,
    figures: &Figures,
    today: NaiveDate,
    condition: &str,
) -> String {
    match figures.ready_day {
        Some(day) => format!(
            "ready by {}{condition}. We keep a day like that {}",
            on_day(day, today),
            times(answer.confidence_percent)
        ),
        None => "but I can’t name a day yet".to_owned(),
    }
}

/// A search promises nothing: what it is likely to come to, and by when.
fn search(
    answer: &Answer,
    option: &OptionAnswer,
    figures: &Figures,
    terms: &SearchTerms,
    (zone, today): (Tz, NaiveDate),
) -> String {
    let mut said = format!(
        "{}, but I can’t promise that we find one. In all it would likely come to between {} and {} plus tax, of which the work is about {}.",
        offer(option.kind, &answer.wanted),
        spoken(figures.price.low),
        spoken(figures.price.high),
        spoken(terms.work),
    );
    if !terms.fee.amount().is_zero() {
        said.push_str(&format!(
            " The search itself costs {}, whether or not it finds one.",
            spoken(terms.fee)
        ));
    }
    said.push_str(&match figures.ready.likely {
        Some(likely) => format!(
            " Half of the time it would be ready by {}.",
            on_day(likely.with_timezone(&zone).date_naive(), today)
        ),
        None => " I can’t say how long that takes.".to_owned(),
    });
    match (terms.limits.most, terms.limits.ends_on) {
        (Some(most), Some(day)) => said.push_str(&format!(
            " We would stop at {}, and on {}.",
            whole(most),
            on_day(day, today)
        )),
        (Some(most), None) => said.push_str(&format!(" We would stop at {}.", whole(most))),
        (None, Some(day)) => {
            said.push_str(&format!(" We would stop on {}.", on_day(day, today)));
        }
        (None, None) => {}
    }
    said
}

/// That it is late, and whether they can wait. Of a search only a likely day was said, so the day that counts is said here.
fn late(answer: &Answer, figures: &Figures, (zone, today): (Tz, NaiveDate)) -> Option<String> {
    let can_you_wait = |late| format!("{} after you need it: can you wait?", span(late));
    let search = matches!(figures.terms, Terms::Search(_));
    match (figures.ready_day, answer.days_late(figures)) {
        (Some(day), Some(late)) if search => Some(format!(
            " {} it would be by {}, {}",
            capitalised(times(answer.confidence_percent)),
            on_day(day, today),
            can_you_wait(late)
        )),
        (Some(_), late) => Some(format!(" That is {}", can_you_wait(late?))),
        (None, _) => {
            let likely = figures.ready.likely?.with_timezone(&zone).date_naive();
            let late = (likely - answer.wanted_by?).num_days();
            (late > 0).then(|| format!(" That is {}", can_you_wait(late)))
        }
    }
}

/// What would be in time.
fn in_time(answer: &Answer, option: &OptionAnswer, today: NaiveDate) -> String {
    let mut said = String::new();
    let in_time = answer
        .in_time
        .as_deref()
        .filter(|key| *key != option.key)
        .and_then(|key| answer.option(key))
        .and_then(|other| Some((other, other.figures()?)));
    if let (Some((other, figures)), Some(by)) = (in_time, answer.wanted_by) {
        said.push_str(&format!(
            " To have it by {}: {} for about {} plus tax.{}",
            on_day(by, today),
            uncapitalised(&offer(other.kind, &answer.wanted)),
            spoken(figures.build_up.net),
            stays_different(figures)
        ));
    }
    said
}

/// Why this and not the other way.
fn reason(answer: &Answer, option: &OptionAnswer) -> String {
    let Some(comparison) = &answer.comparison else {
        return String::new();
    };
    let cheaper = comparison.cheaper_percent;
    let sooner = comparison.sooner_percent.unwrap_or(0);
    let conversion = option.kind.is_conversion() && option.key == comparison.conversion;
    match option.kind {
        _ if conversion && sooner > cheaper => {
            format!(" Finding one would take longer {}.", times(sooner))
        }
        _ if conversion => format!(" Finding one would cost more {}.", times(cheaper)),
        OptionKind::Hunt if cheaper >= 50 => {
            format!(" Converting one would cost less {}.", times(cheaper))
        }
        OptionKind::Hunt if comparison.sooner_percent.is_some() => {
            format!(" Converting one would be sooner {}.", times(sooner))
        }
        _ => String::new(),
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
    fn money_and_spans_are_rounded_as_one_speaks() {
        let pounds = Currency::from_code("GBP").unwrap();
        let said = |amount: &str| spoken(Money::new(amount.parse().unwrap(), pounds));
        assert_eq!(said("38.20"), "£38");
        assert_eq!(said("398"), "£400");
        assert_eq!(said("1697.04"), "£1,700");
        assert_eq!(said("1700"), "£1,700");
        assert_eq!(said("12340"), "£12,500");
        let spans = [1, 2, 12, 14, 20, 59, 61, 400, 800].map(span);
        assert_eq!(
            spans,
            [
                "a day",
                "two days",
                "twelve days",
                "two weeks",
                "about three weeks",
                "about eight weeks",
                "about two months",
                "about 13 months",
                "about two years"
            ]
        );
        assert_eq!(
            [
                "Ousel twin",
                "Tarn 4/90",
                "8-bolt block",
                "11 litre",
                "110 litre"
            ]
            .map(article),
            ["an", "a", "an", "an", "a"]
        );
    }

    #[test]
    fn the_year_is_said_only_of_a_day_far_off() {
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        let said = |text| on_day(day(text), day("2026-11-25"));
        assert_eq!(said("2027-01-14"), "Thursday 14 January");
        assert_eq!(said("2027-04-14"), "Wednesday 14 April 2027");
        assert_eq!(said("2025-12-31"), "Wednesday 31 December 2025");
    }
}
