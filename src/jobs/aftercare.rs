//! After a job is out: what its fitter is told, and the calls that come back.

use crate::units::Money;
use chrono::NaiveDate;
use serde::Deserialize;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// What a call was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum CallKind {
    /// They want to know how.
    Help,
    /// Something is wrong with it.
    Complaint,
}

/// What it came from, as far as is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Cause {
    /// Nobody knows yet.
    NotKnown,
    /// The shop's own work.
    OurWork,
    /// A part that was bought.
    BoughtPart,
    /// How it was fitted by somebody else.
    Fitting,
    /// How it was used.
    Use,
    /// Another part of the engine.
    Elsewhere,
}

/// Who paid for putting it right.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum PaidBy {
    /// It cost nothing.
    Nobody,
    /// The shop.
    Shop,
    /// The customer.
    Customer,
    /// Whoever supplied a part.
    Supplier,
}

/// A call for help or a complaint about a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Aftercare {
    /// Key.
    pub id: Uuid,
    /// The job.
    pub job_id: Uuid,
    /// What it was.
    pub kind: CallKind,
    /// The day it came.
    pub came_on: NaiveDate,
    /// What the customer said.
    pub said: String,
    /// The code of the element of work it is about; empty where nobody knows.
    pub code: String,
    /// What it came from.
    pub cause: Cause,
    /// What was done about it.
    pub done: String,
    /// Who paid.
    pub paid_by: PaidBy,
    /// What it cost, time and parts, whoever paid.
    pub cost: Money,
    /// The day it was settled; none while it is open.
    pub settled_on: Option<NaiveDate>,
    /// Counts edits.
    pub version: i32,
}

/// What is wrong with what was entered about a call.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum AftercareFault {
    /// It cost something, and nobody paid.
    #[error("Choose who paid the cost")]
    NobodyPaid,
    /// It is settled, and nobody says what was done.
    #[error("Enter what was done, or leave the day it was settled empty")]
    NothingDone,
    /// Settled before it came.
    #[error("Enter a day on or after the day of the call")]
    SettledBefore,
}

impl AftercareFault {
    /// The field it is beside.
    #[must_use]
    pub fn field(self) -> &'static str {
        match self {
            Self::NobodyPaid => "paid_by",
            Self::NothingDone => "done",
            Self::SettledBefore => "settled_on",
        }
    }
}

impl Aftercare {
    /// What is wrong with it.
    #[must_use]
    pub fn faults(&self) -> Vec<AftercareFault> {
        let cost = !self.cost.amount().is_zero();
        let wrong = [
            (
                cost && self.paid_by == PaidBy::Nobody,
                AftercareFault::NobodyPaid,
            ),
            (
                self.settled_on.is_some() && self.done.trim().is_empty(),
                AftercareFault::NothingDone,
            ),
            (
                self.settled_on.is_some_and(|day| day < self.came_on),
                AftercareFault::SettledBefore,
            ),
        ];
        let found = wrong.into_iter().filter(|(is_wrong, _)| *is_wrong);
        found.map(|(_, fault)| fault).collect()
    }
}

/// What a fitter must know of one kind of work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FittingText {
    /// Key.
    pub id: Uuid,
    /// The code of the element of work; empty for every job.
    pub code: String,
    /// What it is about, on the sheet.
    pub heading: String,
    /// When fitting: a line for each thing to do or check.
    pub fit: String,
    /// After the first run: the same.
    pub first_run: String,
    /// Counts edits.
    pub version: i32,
}

/// The texts that go with a job whose steps have these codes: those for every job first, then in the order of the work,
/// each once.
#[must_use]
pub fn fitting_for<'a>(texts: &'a [FittingText], codes: &[&str]) -> Vec<&'a FittingText> {
    let mut chosen: Vec<&FittingText> = Vec::new();
    for code in std::iter::once(&"").chain(codes) {
        let text = texts.iter().find(|text| text.code == *code);
        chosen.extend(text.filter(|text| !chosen.iter().any(|had| had.code == text.code)));
    }
    chosen
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    fitting: Vec<Line>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    code: String,
    heading: String,
    fit: Vec<String>,
    first_run: Vec<String>,
}

/// The texts a shop may start from; `new_id` makes their keys.
///
/// # Errors
/// A set that does not read, with where; the set is part of the program, so a test rules this out.
pub fn starting(mut new_id: impl FnMut() -> Uuid) -> Result<Vec<FittingText>, toml::de::Error> {
    let file: File = toml::from_str(include_str!("starting_fitting.toml"))?;
    let text = |line: Line| FittingText {
        id: new_id(),
        code: line.code,
        heading: line.heading,
        fit: line.fit.join("\n"),
        first_run: line.first_run.join("\n"),
        version: 1,
    };
    Ok(file.fitting.into_iter().map(text).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimating::starting as elements;
    use crate::units::Currency;
    use rust_decimal::dec;

    fn call() -> Aftercare {
        let day: NaiveDate = "2026-03-02".parse().unwrap();
        Aftercare {
            id: Uuid::nil(),
            job_id: Uuid::nil(),
            kind: CallKind::Complaint,
            came_on: day,
            said: "Weeps at the rear seal".to_owned(),
            code: "SEAL-SPLIT-FIT".to_owned(),
            cause: Cause::OurWork,
            done: String::new(),
            paid_by: PaidBy::Nobody,
            cost: Money::new(dec!(40), Currency::from_code("GBP").unwrap()),
            settled_on: day.pred_opt(),
            version: 1,
        }
    }

    #[test]
    fn a_settled_call_says_what_was_done_and_who_paid() {
        assert_eq!(
            call().faults(),
            [
                AftercareFault::NobodyPaid,
                AftercareFault::NothingDone,
                AftercareFault::SettledBefore
            ]
        );
        let sound = Aftercare {
            done: "Seal fitted again".to_owned(),
            paid_by: PaidBy::Shop,
            settled_on: Some(call().came_on),
            ..call()
        };
        assert_eq!(sound.faults(), []);
    }

    #[test]
    fn a_sheet_has_what_goes_with_the_work_once_and_in_its_order() {
        let texts = starting(Uuid::nil).unwrap();
        let codes = [
            "WASH-FINAL",
            "SEAL-SPLIT-FIT",
            "MAINS-LINE-BORE",
            "SEAL-SPLIT-FIT",
        ];
        let chosen: Vec<&str> = fitting_for(&texts, &codes)
            .iter()
            .map(|t| t.code.as_str())
            .collect();
        assert_eq!(chosen, ["", "SEAL-SPLIT-FIT", "MAINS-LINE-BORE"]);
        // Every text of the set is about an element of the starting set.
        let known = elements::elements(Currency::from_code("GBP").unwrap(), Uuid::nil).unwrap();
        for text in &texts {
            let one = known.iter().any(|element| element.code == text.code);
            assert!(one || text.code.is_empty(), "{}", text.code);
            assert!(
                !text.fit.is_empty() && !text.first_run.is_empty(),
                "{}",
                text.code
            );
        }
    }
}
