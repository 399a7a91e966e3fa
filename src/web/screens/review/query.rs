//! What the address of the review says: which days, put together by what.

use super::words;
use crate::app::decisions::{Decisions, decisions};
use crate::app::review::{Period, Reviewed, review_period};
use crate::db::people::Role;
use crate::review::variance::Grouping;
use crate::units::Code;
use crate::web::ui::{Choice, Field, FormErrors, SignedIn, WebError, show};
use chrono::{Datelike, Days, Months, NaiveDate, Utc};
use maud::{Markup, html};
use serde::Deserialize;

/// As it was typed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct ReviewQuery {
    pub period: String,
    pub from: String,
    pub until: String,
    pub by: String,
    /// The group that is opened.
    pub key: String,
}

/// The stretches of days that have a name.
const PERIODS: [(&str, &str); 5] = [
    ("month", "This month"),
    ("last_month", "Last month"),
    ("quarter", "Last 90 days"),
    ("year", "Last 12 months"),
    ("days", "Other days"),
];

/// What is asked for.
#[derive(Debug, Clone)]
pub(in crate::web) struct Asked {
    pub period: Period,
    pub by: Grouping,
    code: String,
}

/// The days of a named stretch.
pub(in crate::web) fn named(code: &str, today: NaiveDate) -> Option<Period> {
    let first = today.with_day(1)?;
    Some(match code {
        "month" => Period {
            from: first,
            until: today,
        },
        "last_month" => Period {
            from: first.checked_sub_months(Months::new(1))?,
            until: first.pred_opt()?,
        },
        "quarter" => Period {
            from: today.checked_sub_days(Days::new(89))?,
            until: today,
        },
        "year" => Period {
            from: today.checked_sub_months(Months::new(12))?.succ_opt()?,
            until: today,
        },
        _ => return None,
    })
}

impl ReviewQuery {
    /// What is asked for, reviewed; what does not read is told as errors by field.
    pub(in crate::web) async fn reviewed(
        &self,
        who: &SignedIn,
    ) -> Result<(Asked, Reviewed), WebError> {
        let mut errors = FormErrors::default();
        let by = self.grouping(who, &mut errors)?;
        let Some(asked) = self.read(by, who.today(), &mut errors) else {
            return Err(errors.into());
        };
        let reviewed = review_period(&who.actor(), asked.period, asked.by, Utc::now()).await?;
        Ok((asked, reviewed))
    }

    /// The quotes whose jobs were ready in the days that are asked for, looked back on; what does not read is told as errors
    /// by field.
    pub(in crate::web) async fn decided(
        &self,
        who: &SignedIn,
    ) -> Result<(Period, Decisions), WebError> {
        let mut errors = FormErrors::default();
        let Some((period, _)) = self.stretch("year", who.today(), &mut errors) else {
            return Err(errors.into());
        };
        Ok((period, decisions(&who.actor(), period, Utc::now()).await?))
    }

    /// By what the figures are put together; by person for the owner only.
    pub(in crate::web) fn grouping(
        &self,
        who: &SignedIn,
        errors: &mut FormErrors,
    ) -> Result<Grouping, WebError> {
        who.require(Role::Office)?;
        if self.by.is_empty() {
            return Ok(Grouping::Operation);
        }
        let by = Grouping::from_code(&self.by);
        if by == Some(Grouping::Person) {
            who.require(Role::Owner)?;
        }
        if by.is_none() {
            errors.add("by", "Choose what to group by");
        }
        Ok(by.unwrap_or(Grouping::Operation))
    }

    /// The days that are asked for, with the code of their stretch; complaints are added, and then there are none.
    pub(in crate::web) fn stretch(
        &self,
        usual: &'static str,
        today: NaiveDate,
        errors: &mut FormErrors,
    ) -> Option<(Period, String)> {
        let code = self.code(usual);
        let period = match (named(code, today), code) {
            (Some(period), _) => Some(period),
            (None, "days") => {
                let from = errors.date("from", &self.from);
                let until = errors.date("until", &self.until);
                from.zip(until).map(|(from, until)| Period { from, until })
            }
            (None, _) => {
                errors.add("period", "Choose which days to look at");
                None
            }
        }?;
        if period.until < period.from {
            errors.add("until", "Enter a last day that is not before the first");
        } else if (period.until - period.from).num_days() > 3 * 366 {
            errors.add("until", "Enter a last day within three years of the first");
        }
        errors.is_empty().then(|| (period, code.to_owned()))
    }

    fn code(&self, usual: &'static str) -> &str {
        let typed = !self.from.is_empty() || !self.until.is_empty();
        match self.period.as_str() {
            "" if typed => "days",
            "" => usual,
            code => code,
        }
    }

    /// What is asked for; complaints are added, and then there is none.
    pub(in crate::web) fn read(
        &self,
        by: Grouping,
        today: NaiveDate,
        errors: &mut FormErrors,
    ) -> Option<Asked> {
        let (period, code) = self.stretch("quarter", today, errors)?;
        Some(Asked { period, by, code })
    }

    /// The form that asks for days alone.
    pub(in crate::web) fn days_form(&self, to: &str, errors: &FormErrors) -> Markup {
        html! {
            form.grid.review-form method="get" action=(to) novalidate {
                (self.day_fields("year", errors))
                div.actions { button type="submit" { "Show" } }
            }
        }
    }

    fn day_fields(&self, usual: &'static str, errors: &FormErrors) -> Markup {
        let periods = PERIODS.iter().map(|(code, name)| Choice::new(code, name));
        html! {
            (Field::select("period", "Days", self.code(usual), periods.collect()).errors(errors))
            (Field::date("from", "From", &self.from).hint("For other days").optional().errors(errors))
            (Field::date("until", "To", &self.until).optional().errors(errors))
        }
    }

    /// The form that asks.
    pub(in crate::web) fn form(&self, who: &SignedIn, to: &str, errors: &FormErrors) -> Markup {
        let by = if self.by.is_empty() {
            "operation"
        } else {
            &self.by
        };
        let groupings = Grouping::ALL
            .iter()
            .filter(|by| **by != Grouping::Person || who.may(Role::Owner))
            .map(|by| Choice::new(by.code(), words::grouping(*by)));
        html! {
            form.grid.review-form method="get" action=(to) novalidate {
                (self.day_fields("quarter", errors))
                (Field::select("by", "Group by", by, groupings.collect()).errors(errors))
                div.actions { button type="submit" { "Show" } }
            }
        }
    }
}

impl Asked {
    /// The same in an address.
    pub(in crate::web) fn query(&self) -> String {
        let Period { from, until } = self.period;
        let days = match self.code.as_str() {
            "days" => format!("period=days&from={from}&until={until}"),
            code => format!("period={code}"),
        };
        format!("{days}&by={}", self.by.code())
    }

    /// The same opened at a group.
    pub(in crate::web) fn opened(&self, key: &str) -> String {
        let key: String = form_urlencoded::byte_serialize(key.as_bytes()).collect();
        format!("/review/bookings?{}&key={key}", self.query())
    }

    /// `Thu 1 Oct to Sat 31 Oct`.
    pub(in crate::web) fn days(&self, today: NaiveDate) -> String {
        let Period { from, until } = self.period;
        format!("{} to {}", show::day(from, today), show::day(until, today))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn named_stretches_are_those_of_the_calendar() {
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        let of = |code, today| {
            let period = named(code, day(today)).unwrap();
            (period.from.to_string(), period.until.to_string())
        };
        let pair = |a: &str, b: &str| (a.to_owned(), b.to_owned());
        assert_eq!(of("month", "2026-03-01"), pair("2026-03-01", "2026-03-01"));
        assert_eq!(
            of("last_month", "2026-03-31"),
            pair("2026-02-01", "2026-02-28")
        );
        assert_eq!(
            of("last_month", "2027-01-15"),
            pair("2026-12-01", "2026-12-31")
        );
        assert_eq!(
            of("quarter", "2026-03-31"),
            pair("2026-01-01", "2026-03-31")
        );
        assert_eq!(of("year", "2026-03-31"), pair("2025-04-01", "2026-03-31"));
    }
}
