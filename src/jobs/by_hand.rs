//! What is changed about a job by hand: what must be said for it, and which due dates are questioned before they are taken.

use crate::units::Money;
use chrono::NaiveDate;
use strum::{EnumString, IntoStaticStr, VariantArray};

/// What is written down about a job beside its route.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobDetails {
    /// What is to be done.
    pub title: String,
    /// Who it is for; empty when nobody is named.
    pub customer: String,
    /// The day the shop works to.
    pub due_on: NaiveDate,
    /// The day the customer was promised, if one was.
    pub promised_on: Option<NaiveDate>,
    /// What was agreed to be paid for it before tax, where no quote says so.
    pub value: Option<Money>,
}

/// What was done to a job by hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum StepKind {
    /// Entered without a quote.
    Entered,
    /// Title, customer or value changed.
    Changed,
    /// Due date or promise moved.
    Rescheduled,
    /// Its route changed.
    Rerouted,
    /// Closed because it is done.
    Closed,
    /// Given up.
    Cancelled,
    /// Opened again.
    Reopened,
    /// Collected by the customer.
    Collected,
    /// Invoiced.
    Invoiced,
}

/// Why a change is not made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ChangeRefusal {
    /// A date, a promise or money moves, or the job ends early, and no reason is given.
    #[error("a reason is needed")]
    ReasonMissing,
    /// Nothing is different.
    #[error("nothing is changed")]
    Nothing,
    /// It has a quote, which says what it is worth.
    #[error("its quote says what it is worth")]
    QuotedValue,
}

impl JobDetails {
    /// What a change to `to` is. Dates and money do not move without a reason; a wrong letter in a title may.
    ///
    /// # Errors
    /// [`ChangeRefusal`].
    pub fn change(
        &self,
        to: &Self,
        reason: &str,
        has_quote: bool,
    ) -> Result<StepKind, ChangeRefusal> {
        if self == to {
            return Err(ChangeRefusal::Nothing);
        }
        if has_quote && self.value != to.value {
            return Err(ChangeRefusal::QuotedValue);
        }
        let moved = (self.due_on, self.promised_on) != (to.due_on, to.promised_on);
        if (moved || self.value != to.value) && reason.trim().is_empty() {
            return Err(ChangeRefusal::ReasonMissing);
        }
        Ok(if moved {
            StepKind::Rescheduled
        } else {
            StepKind::Changed
        })
    }
}

/// What the shop's calendar says of a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DayInShop {
    /// The name of the holiday it is.
    pub holiday: Option<String>,
    /// Whether anybody works on it. True where the shop has not said when it works at all.
    pub worked: bool,
}

/// Why a due date is questioned: it may be meant, but is more often a slip.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum DueDoubt {
    /// It is past.
    Past,
    /// It is a holiday of this name.
    Holiday(String),
    /// Nobody works on it.
    NoShift,
    /// It is after the day the customer was promised.
    AfterPromise(NaiveDate),
}

/// The doubts about a due date; `today` is the shop's calendar day.
#[must_use]
pub fn due_doubts(
    due_on: NaiveDate,
    promised_on: Option<NaiveDate>,
    day: &DayInShop,
    today: NaiveDate,
) -> Vec<DueDoubt> {
    let mut doubts = Vec::new();
    if due_on < today {
        doubts.push(DueDoubt::Past);
    }
    match &day.holiday {
        Some(name) if !day.worked => doubts.push(DueDoubt::Holiday(name.clone())),
        None if !day.worked => doubts.push(DueDoubt::NoShift),
        _ => {}
    }
    if let Some(promised) = promised_on.filter(|promised| due_on > *promised) {
        doubts.push(DueDoubt::AfterPromise(promised));
    }
    doubts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Currency;
    use proptest::prelude::*;

    fn day(d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 12, d).unwrap()
    }

    fn details() -> JobDetails {
        JobDetails {
            title: "Grind crankshaft".to_owned(),
            customer: "Asa Pemberly".to_owned(),
            due_on: day(10),
            promised_on: Some(day(12)),
            value: None,
        }
    }

    #[test]
    fn dates_and_money_move_for_a_reason_and_a_title_without_one() {
        let now = details();
        let retitled = JobDetails {
            title: "Grind the crankshaft".to_owned(),
            ..details()
        };
        assert_eq!(now.change(&retitled, "", false), Ok(StepKind::Changed));
        let later = JobDetails {
            due_on: day(11),
            ..retitled.clone()
        };
        let missing = Err(ChangeRefusal::ReasonMissing);
        assert_eq!(now.change(&later, " ", false), missing);
        assert_eq!(
            now.change(&later, "away until then", false),
            Ok(StepKind::Rescheduled)
        );
        let unpromised = JobDetails {
            promised_on: None,
            ..details()
        };
        assert_eq!(now.change(&unpromised, "", false), missing);
        let priced = JobDetails {
            value: Some(Money::new(300.into(), Currency::from_code("GBP").unwrap())),
            ..details()
        };
        assert_eq!(now.change(&priced, "", false), missing);
        assert_eq!(now.change(&priced, "agreed", false), Ok(StepKind::Changed));
        let quoted = now.change(&priced, "agreed", true);
        assert_eq!(quoted, Err(ChangeRefusal::QuotedValue));
        let same = now.change(&details(), "no", true);
        assert_eq!(same, Err(ChangeRefusal::Nothing));
    }

    fn in_shop(holiday: Option<&str>, worked: bool) -> DayInShop {
        DayInShop {
            holiday: holiday.map(str::to_owned),
            worked,
        }
    }

    #[test]
    fn a_closed_day_is_questioned_and_overtime_on_a_holiday_is_not() {
        let of = |holiday, worked| due_doubts(day(10), None, &in_shop(holiday, worked), day(1));
        assert_eq!(of(None, true), []);
        assert_eq!(of(None, false), [DueDoubt::NoShift]);
        let boxing = DueDoubt::Holiday("Boxing Day".to_owned());
        assert_eq!(of(Some("Boxing Day"), false), [boxing]);
        assert_eq!(of(Some("Boxing Day"), true), []);
        let all = due_doubts(day(10), Some(day(8)), &in_shop(None, false), day(11));
        assert_eq!(
            all,
            [
                DueDoubt::Past,
                DueDoubt::NoShift,
                DueDoubt::AfterPromise(day(8))
            ]
        );
    }

    proptest! {
        #[test]
        fn a_working_day_from_today_to_the_promise_is_taken(today in 1_u32..28, due in 1_u32..28, promised in 1_u32..28) {
            let doubts = due_doubts(day(due), Some(day(promised)), &in_shop(None, true), day(today));
            prop_assert_eq!(doubts.is_empty(), (today..=promised).contains(&due));
        }
    }
}
