//! One sentence to say on the phone, in the words a shop would use.

use super::answer::{Answer, Figures, OptionAnswer, OptionKind};
use chrono::{DateTime, Datelike, Utc};
use chrono_tz::Tz;

/// A day as it is said: "Thursday 14 January", with the year when it is not this year's.
#[must_use]
pub fn day(time: DateTime<Utc>, now: DateTime<Utc>, zone: Tz) -> String {
    let local = time.with_timezone(&zone);
    if local.year() == now.with_timezone(&zone).year() {
        local.format("%A %-d %B").to_string()
    } else {
        local.format("%A %-d %B %Y").to_string()
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
            "I cannot offer a {} as things stand; let me look into it and call back.",
            answer.wanted
        );
    };
    let mut said = format!(
        "{}: {} before tax, {}",
        offer(option, answer),
        figures.build_up.net,
        when(figures, answer, zone)
    );
    if let Some(percent) = figures
        .in_time_percent
        .filter(|p| *p < answer.confidence_percent)
    {
        said.push_str(&format!(
            ", which is in time for you in only {percent} of 100 cases"
        ));
    }
    if let Some(comparison) = &answer.comparison {
        let versus = match option.kind {
            OptionKind::Hunt => {
                let cheaper = 100 - comparison.cheaper_percent;
                format!(
                    "; converting one would be cheaper in only {} of 100 cases",
                    100 - cheaper
                )
            }
            _ => format!(
                "; that beats hunting for one on price in {} of 100 cases and on time in {}",
                comparison.cheaper_percent, comparison.sooner_percent
            ),
        };
        said.push_str(&versus);
    }
    said.push('.');
    said
}

fn offer(option: &OptionAnswer, answer: &Answer) -> String {
    match option.kind {
        OptionKind::Repair => format!("We can put your own {} right", answer.wanted),
        OptionKind::ConvertOwn => format!("We can make a {} of the block you have", answer.wanted),
        OptionKind::ConvertShelf => {
            format!(
                "We can make you a {} from a casting we have here",
                answer.wanted
            )
        }
        OptionKind::ConvertBought => {
            format!(
                "We can buy a commoner casting and make you a {} of it",
                answer.wanted
            )
        }
        OptionKind::Shelf => format!("We have a {} here", answer.wanted),
        OptionKind::Hunt => format!("We would look for a {} for you", answer.wanted),
    }
}

fn when(figures: &Figures, answer: &Answer, zone: Tz) -> String {
    match figures.ready.at_confidence {
        Some(time) => format!(
            "ready by {}, and that holds in {} of 100 cases",
            day(time, answer.at, zone),
            answer.confidence_percent
        ),
        None => "but I cannot name a day that would hold".to_owned(),
    }
}
