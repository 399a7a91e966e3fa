//! What use cases refuse, and the codes they return, in words.

use super::floor_words::job_refused;
use super::show;
use crate::app::Refusal;
use crate::app::answer_enquiry::Unanswerable;
use crate::app::quick_enquiry::NoQuickPrice;
use crate::enquiry::quote::{QuoteRefusal, QuoteState};
use crate::enquiry::{PlanState, QuickError};
use crate::estimating::{RatesError, RouteError, WorkListError};
use crate::jobs::{ChangeRefusal, DueDoubt, StepKind};

/// A refusal of a use case, as a sentence or two that say what to do next.
#[must_use]
pub fn refusal(why: &Refusal) -> String {
    match why {
        Refusal::Unanswerable(why) => unanswerable(why),
        Refusal::OptionGone { .. } => {
            "This option can no longer be quoted: something it depends on has changed. Go back and look at the answer again."
                .to_owned()
        }
        Refusal::Unbalanced(why) => {
            format!("This quote does not add up, so it was not saved: {why}.")
        }
        Refusal::Quote { number, why } => quote_refusal(*number, *why),
        Refusal::NoQuickPrice(why) => no_quick_price(why),
        Refusal::FiguresMoved(now) => format!(
            "The figures have moved since they were read out: {} before tax, {}. Read them out again, then quote.",
            now.net,
            match now.ready_on {
                Some(day) => format!("ready by {}", show::day(day)),
                None => "and no day can be named".to_owned(),
            }
        ),
        Refusal::Work(why) => work_list(why),
        Refusal::Job(why) => job_refused(*why),
        Refusal::JobChange(why) => job_change(*why).to_owned(),
        Refusal::DueDate(doubts) => due_doubts(doubts),
        Refusal::EnquiryQuoted { number } => format!(
            "Enquiry {number} has quotes. Mark those as accepted or declined instead."
        ),
    }
}

/// Why quick work has no price yet.
#[must_use]
pub fn no_quick_price(why: &NoQuickPrice) -> String {
    match why {
        NoQuickPrice::Rates(why) => unanswerable(&Unanswerable::Rates(why.clone())),
        NoQuickPrice::Work(QuickError::List(why)) => work_list(why),
        NoQuickPrice::Work(QuickError::Cost(why)) => {
            format!("The price cannot be worked out: {why}. Correct it under Shop.")
        }
    }
}

/// Why listed work makes no route.
#[must_use]
pub fn work_list(why: &WorkListError) -> String {
    match why {
        WorkListError::Empty => "Choose the work to be done.".to_owned(),
        WorkListError::Cylinders(work) => {
            format!("Enter the cylinders: “{work}” is timed for each cylinder.")
        }
        WorkListError::Mains(work) => {
            format!("Enter the main bearings: “{work}” is timed for each main bearing.")
        }
        WorkListError::Count(work) => {
            format!("Enter how many for “{work}”: from 1 to 10 000 in one job.")
        }
        WorkListError::Route(RouteError::UnknownElement { code, .. }) => {
            format!("“{code}” is no longer one of the shop’s standard times. Choose other work.")
        }
        WorkListError::Route(why) => format!("This work cannot be planned: {why}."),
    }
}

/// Why a job is not changed.
#[must_use]
pub fn job_change(why: ChangeRefusal) -> &'static str {
    match why {
        ChangeRefusal::ReasonMissing => "Enter the reason. It is kept with the job.",
        ChangeRefusal::Nothing => "Nothing is different from what is stored.",
        ChangeRefusal::QuotedValue => "The price of this job is on its quote.",
    }
}

/// What is questioned about a due date.
#[must_use]
pub fn due_doubts(doubts: &[DueDoubt]) -> String {
    let said: Vec<String> = doubts
        .iter()
        .map(|doubt| match doubt {
            DueDoubt::Past => "is in the past".to_owned(),
            DueDoubt::Holiday(name) => format!("is a holiday, {name}"),
            DueDoubt::NoShift => "is a day on which nobody works".to_owned(),
            DueDoubt::AfterPromise(day) => {
                format!("is after the promised day, {}", show::day(*day))
            }
        })
        .collect();
    format!(
        "The due date {}. Choose another, or tick that it is meant.",
        said.join(" and ")
    )
}

/// What was done to a job by hand.
#[must_use]
pub fn job_step(kind: StepKind) -> &'static str {
    match kind {
        StepKind::Entered => "entered without a quote",
        StepKind::Changed => "changed",
        StepKind::Rescheduled => "rescheduled",
        StepKind::Closed => "closed as done",
        StepKind::Cancelled => "cancelled",
        StepKind::Reopened => "reopened",
    }
}

/// Why an enquiry has no answer yet.
#[must_use]
pub fn unanswerable(why: &Unanswerable) -> String {
    match why {
        Unanswerable::NothingWanted => {
            "Choose what the customer wants to see every option side by side.".to_owned()
        }
        Unanswerable::Rates(RatesError::NoLabourRate) => {
            "No labour rate is set. Set one under Shop, Rates.".to_owned()
        }
        Unanswerable::Rates(RatesError::Worksheet { name, why }) => format!(
            "The worksheet of “{name}” gives no hourly rate: {why}. Correct it under Shop, Machines."
        ),
        Unanswerable::Answer(why) => format!("The options cannot be worked out: {why}."),
    }
}

fn quote_refusal(number: i64, why: QuoteRefusal) -> String {
    match why {
        QuoteRefusal::Decided(state) => {
            format!("Quote {number} is already {}.", quote_state(state))
        }
        QuoteRefusal::Expired(on) => format!(
            "Quote {number} was valid until {}. Give a new quote at today’s rates.",
            show::day(on)
        ),
        QuoteRefusal::SlotBeyond(on) => format!(
            "Quote {number} is valid until {}. Its slot cannot be reserved for longer.",
            show::day(on)
        ),
        QuoteRefusal::SlotInThePast => "Enter a day from today on.".to_owned(),
    }
}

/// What became of a quote.
#[must_use]
pub fn quote_state(state: QuoteState) -> &'static str {
    match state {
        QuoteState::Sent => "waiting for the customer",
        QuoteState::Won => "accepted",
        QuoteState::Lost => "declined",
        QuoteState::Lapsed => "expired",
    }
}

/// What the dates of an answer are based on.
#[must_use]
pub fn dates_from(plan: Option<PlanState>) -> &'static str {
    match plan {
        None => "Dates fit around the work already planned.",
        Some(PlanState::NoneYet) => {
            "Dates fit around the work already booked. There is no plan yet, so a quick one was made for this answer."
        }
        Some(PlanState::Current) => {
            "Dates fit around the work already planned. The plan is up to date."
        }
        Some(PlanState::Improving) => {
            "Dates fit around the work already planned. The plan is up to date and still improving."
        }
        Some(PlanState::Outdated) => {
            "Dates fit around the work already planned. The shop has changed since the plan was made: the order was kept and moved to today."
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;

    #[test]
    fn a_refused_quote_says_which_and_what_to_do_next() {
        let why = QuoteRefusal::Expired(NaiveDate::from_ymd_opt(2026, 12, 3).unwrap());
        let said = refusal(&Refusal::Quote { number: 12, why });
        assert_eq!(
            said,
            "Quote 12 was valid until Thu 3 Dec 2026. Give a new quote at today’s rates."
        );
        let why = QuoteRefusal::Decided(QuoteState::Lost);
        let said = refusal(&Refusal::Quote { number: 12, why });
        assert_eq!(said, "Quote 12 is already declined.");
    }
}
