//! What use cases and the database refuse, and the codes they return, in words.

use super::floor_words::{booking_refused, check_refused, job_refused, job_state};
use super::show;
use crate::app::Refusal;
use crate::app::question::Unanswerable;
use crate::db::{self, Needed, Unique};
use crate::enquiry::bargain::BargainFault;
use crate::enquiry::doubt::Doubt;
use crate::enquiry::quote::{QuoteRefusal, QuoteState};
use crate::enquiry::{PlanState, QuickError};
use crate::estimating::{RatesError, RouteError, WorkListError};
use crate::jobs::{ChangeRefusal, DueDoubt, RouteRefusal, StepKind};
use crate::stock::{NeedRefusal, NotMovable};
use chrono::NaiveDate;

/// A refusal of a use case, as a sentence or two that say what to do next. `today` is the shop's calendar day.
#[must_use]
pub fn refusal(why: &Refusal, today: NaiveDate) -> String {
    match why {
        Refusal::Unanswerable(why) => unanswerable(why),
        Refusal::NoProposal => {
            "Nothing is proposed for this standard any more. Look at the list again.".to_owned()
        }
        Refusal::Standard(why) => format!("{why}."),
        Refusal::OptionGone { .. } => {
            "This option can no longer be quoted: something it depends on has changed. Go back and look at the answer again."
                .to_owned()
        }
        Refusal::Doubts(doubts) => {
            let said: Vec<String> = doubts.iter().map(|one| doubt(one, today)).collect();
            format!("Look again before you quote this. {}", said.join(" "))
        }
        Refusal::Bargain(fault) => bargain_fault(fault),
        Refusal::BelowFloor { floor } => format!(
            "Only the owner may quote below {floor}: it would leave less than the least margin."
        ),
        Refusal::Unbalanced(why) => {
            format!("This quote does not add up, so it was not saved: {why}.")
        }
        Refusal::Quote { number, why } => quote_refusal(*number, *why, today),
        Refusal::Work(why) => work_list(why),
        Refusal::JobChange(why) => job_change(*why).to_owned(),
        Refusal::Route(why) => route_refused(*why),
        Refusal::DueDate(doubts) => due_doubts(doubts, today),
        Refusal::EnquiryQuoted { number } => format!(
            "Enquiry {number} has quotes. Mark those as accepted or declined instead."
        ),
        Refusal::HoursOfClosedJob { number, .. } => {
            format!("Job {number} is closed: reopen it first")
        }
        Refusal::Booking(why) => format!("{}.", booking_refused(*why)),
        Refusal::Check(why) => format!("{}.", check_refused(*why)),
        Refusal::Order(why) => format!("That makes no order: {why}."),
        Refusal::StillFails => {
            "The latest measurement fails. Enter the new measurement first.".to_owned()
        }
        Refusal::Job(why) => job_refused(*why),
        Refusal::Need { what, why } => need_refusal(what, *why),
        Refusal::CastingNotInShop { number } => {
            format!("Casting {number} is no longer on the shelf. Put it back first.")
        }
        Refusal::CastingNotMovable { number, why } => match why {
            NotMovable::ByItsJobOnly => {
                format!("Casting {number} is set aside, used and released by its job only.")
            }
            NotMovable::ShopsOwn => format!(
                "Casting {number} is the shop’s own, so it has no owner to go back to. Write it off instead."
            ),
        },
        Refusal::TooManyPhotos { most } => {
            format!("There are {most} photographs already. Remove one first.")
        }
        Refusal::Stored(why) => stored_refusal(why),
    }
}

/// Why a need was not changed; a sentence or two.
fn need_refusal(what: &str, why: NeedRefusal) -> String {
    match why {
        NeedRefusal::Taken => format!("“{what}” was taken from stock. Put it back first."),
        NeedRefusal::DrawsOnOther => {
            format!("“{what}” is received with its casting, stock item or tool. Book it there.")
        }
        NeedRefusal::NotInStock => format!("“{what}” is not kept in stock."),
        NeedRefusal::Already => format!("“{what}” has already been moved. Load the job again."),
        NeedRefusal::Made => format!(
            "“{what}” is made in this job. To change it, first leave its making out of the route."
        ),
        NeedRefusal::NotToBeMade => {
            format!("“{what}” is not made here, or it is in stock. Load the job again.")
        }
    }
}

/// Why the rows, as they are, do not allow what was asked; a sentence or two.
fn stored_refusal(why: &db::Refusal) -> String {
    let or = |name: &str, nobody: &str| if name.is_empty() { nobody } else { name }.to_owned();
    match why {
        db::Refusal::JobClosed { number, state } => {
            format!("Job {number} is already {}.", job_state(*state))
        }
        db::Refusal::Begun => "Only work that has not started can be moved.".to_owned(),
        db::Refusal::NotBegun => "This operation has not started.".to_owned(),
        db::Refusal::OperationWasBooked => {
            "Time or checks were booked on this operation, so it stays in the route with its hours. Book it as done instead: the rest of it is left out."
                .to_owned()
        }
        db::Refusal::EmptyPin => "Choose a machine, a person or a time.".to_owned(),
        db::Refusal::NotNewestChange => {
            "This change has been undone, or another was made after it. Undo that one first."
                .to_owned()
        }
        db::Refusal::CastingOfAnother {
            casting,
            owner,
            job,
            customer,
        } => format!(
            "Casting {casting} belongs to {} and cannot be used for job {job}, which is for {}.",
            or(owner, "a customer who is not named"),
            or(customer, "nobody who is named"),
        ),
        db::Refusal::CustomersCasting => {
            "A customer’s casting cannot be used for another’s job.".to_owned()
        }
        db::Refusal::CastingNotFree { casting } => format!("Casting {casting} is no longer free."),
        db::Refusal::ShopStands => "There is a shop already. Sign in to it.".to_owned(),
        db::Refusal::NotOnHand => "There is not that much on hand. Count it first.".to_owned(),
        db::Refusal::StockWasBooked => {
            "Stock was booked for it, so it stays on record. Correct its quantity instead."
                .to_owned()
        }
        db::Refusal::ToolIsOut { with: Some(job) } => {
            format!("It is out with job {job} and has to come back first.")
        }
        db::Refusal::ToolIsOut { with: None } => {
            "It has just gone out with another job.".to_owned()
        }
        db::Refusal::ToolNotWithJob => "It is not out with this job.".to_owned(),
        db::Refusal::ShortName => "Use 2 to 40 small letters, digits and hyphens.".to_owned(),
    }
}

/// What still needs something that was to be deleted or changed, and what to do first.
#[must_use]
pub fn needed(by: &Needed) -> String {
    match by {
        Needed::By { table } if table.is_empty() => {
            "Something else still needs it. Delete or change that first.".to_owned()
        }
        Needed::By { table } => format!(
            "It is still needed by at least one {}. Delete or change that first.",
            table.replace('_', " ")
        ),
        Needed::ByRules { code, rules } => format!(
            "{code} is still used by the conversion rules {}. Change those first.",
            rules.join(", ")
        ),
        Needed::OnlyOwner => {
            "This is the only owner who can sign in. Make someone else an owner first.".to_owned()
        }
    }
}

/// What is taken already: the form field to complain beside, and the complaint.
#[must_use]
pub fn taken(what: Unique) -> (&'static str, &'static str) {
    match what {
        Unique::CustomerName => ("name", "Another customer goes by this name already"),
        Unique::DeviceName => ("name", "There is another device with this name already"),
        Unique::ElementCode => ("code", "There is an element with this code already"),
        Unique::FittingCode => ("code", "There is a text for this work already"),
        Unique::HolidayDay => ("on", "This day is a holiday already"),
        Unique::LabourRateSkill => ("skill", "There is a rate for this skill already"),
        Unique::MachineName => ("name", "There is a machine with this name already"),
        Unique::PatternName => ("name", "There is a pattern with this name already"),
        Unique::RelatedPattern => (
            "donor",
            "This pattern is related already: change that entry",
        ),
        Unique::SignIn => ("sign_in", "Someone signs in with this name already"),
        Unique::CrackPlace => ("place", "There is one for this place already"),
        Unique::RuleName => ("name", "There is a rule with this name already"),
        Unique::ShiftStart => ("start", "There is a shift starting at this time already"),
        Unique::ItemName => ("name", "There is an item with this name already"),
        Unique::ToolName => ("name", "There is tooling with this name already"),
        Unique::VariantName => ("name", "There is a variant with this name already"),
        Unique::MaterialName => ("name", "There is a material with this name already"),
        Unique::TemplateName => ("name", "There is everyday work with this name already"),
        Unique::ShopShortName => ("short_name", "Another shop has this short name already"),
    }
}

/// Why a bargain cannot be.
#[must_use]
pub fn bargain_fault(fault: &BargainFault) -> String {
    match fault {
        BargainFault::NoPrice => {
            "This option has no price to bargain over. A search has limits instead: set them on the enquiry.".to_owned()
        }
        BargainFault::Mandatory(number) => {
            format!("Operation {number} is always done. It cannot be left out.")
        }
        BargainFault::NotInPrice(label) => format!("“{label}” is not in the price."),
        BargainFault::NoReason => "Enter why it differs from the answer".to_owned(),
        BargainFault::NotAPrice => "Enter a price above 0".to_owned(),
        BargainFault::Money(why) => format!("The sums do not add up: {why}."),
    }
}

/// Why an answer should be looked at again before it is quoted.
#[must_use]
pub fn doubt(doubt: &Doubt, today: NaiveDate) -> String {
    match doubt {
        Doubt::Old { minutes } if *minutes < 120 => {
            format!(
                "The answer is {} old.",
                show::count(*minutes, "minute", "minutes")
            )
        }
        Doubt::Old { minutes } if *minutes < 48 * 60 => {
            format!("The answer is {} hours old.", minutes / 60)
        }
        Doubt::Old { minutes } => format!("The answer is {} days old.", minutes / 1440),
        Doubt::CallChanged => "What the customer wants has been changed since.".to_owned(),
        Doubt::DayMoved {
            said,
            now: Some(now),
        } => format!(
            "The plan has changed: {} no longer holds, {} does.",
            show::day(*said, today),
            show::day(*now, today)
        ),
        Doubt::DayMoved { said, now: None } => format!(
            "The plan has changed: {} no longer holds, and no day can be named.",
            show::day(*said, today)
        ),
        Doubt::CastingGone { number } => format!("Casting {number} is no longer free."),
        Doubt::NotPossible => "It can no longer be done as it was said.".to_owned(),
        Doubt::AtCost => {
            "Overhead and margin are 0, so this price only covers the cost. Set them under Shop, Settings."
                .to_owned()
        }
        Doubt::NoTax => {
            "Tax is 0, so none is charged. If you charge tax, set it under Shop, Settings."
                .to_owned()
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
pub fn due_doubts(doubts: &[DueDoubt], today: NaiveDate) -> String {
    let said: Vec<String> = doubts
        .iter()
        .map(|doubt| match doubt {
            DueDoubt::Past => "is in the past".to_owned(),
            DueDoubt::Holiday(name) => format!("is a holiday, {name}"),
            DueDoubt::NoShift => "is a day on which nobody works".to_owned(),
            DueDoubt::AfterPromise(day) => {
                format!("is after the promised day, {}", show::day(*day, today))
            }
        })
        .collect();
    format!(
        "The due date {}. Choose another, or tick that it is meant.",
        said.join(" and ")
    )
}

/// Why a route is not changed so, and what to do.
#[must_use]
pub fn route_refused(why: RouteRefusal) -> String {
    match why {
        RouteRefusal::Gone => {
            "This operation is no longer in the route. Look at it again.".to_owned()
        }
        RouteRefusal::Begun => {
            "This operation has started. Only work that has not started can be changed.".to_owned()
        }
        RouteRefusal::Only => {
            "This is the only operation of the job. Cancel the job instead.".to_owned()
        }
        RouteRefusal::OnePart => {
            "This operation has one step, done once. There is nothing to split.".to_owned()
        }
        RouteRefusal::Part(1) => "The first part can only have 1.".to_owned(),
        RouteRefusal::Part(most) => format!("Choose 1 to {most} for the first part."),
        RouteRefusal::Between => {
            "Only operations that follow each other can change places.".to_owned()
        }
        RouteRefusal::Out => "This operation is sent out already.".to_owned(),
        RouteRefusal::Here => "This operation is done here already.".to_owned(),
        RouteRefusal::Makes => {
            "This operation makes a part that other work waits for, so it keeps its place."
                .to_owned()
        }
        RouteRefusal::NoNumber => "No operation number is left.".to_owned(),
    }
}

/// What was done to a job by hand.
#[must_use]
pub fn job_step(kind: StepKind) -> &'static str {
    match kind {
        StepKind::Entered => "entered without a quote",
        StepKind::Changed => "changed",
        StepKind::Rescheduled => "rescheduled",
        StepKind::Rerouted => "route changed",
        StepKind::Closed => "closed as done",
        StepKind::Cancelled => "cancelled",
        StepKind::Reopened => "reopened",
        StepKind::Collected => "collected",
        StepKind::Invoiced => "invoiced",
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
        Unanswerable::Work(QuickError::List(why)) => work_list(why),
        Unanswerable::Work(QuickError::Cost(why)) => {
            format!("The price cannot be worked out: {why}. Correct it under Shop.")
        }
    }
}

fn quote_refusal(number: i64, why: QuoteRefusal, today: NaiveDate) -> String {
    match why {
        QuoteRefusal::Decided(state) => {
            format!("Quote {number} is already {}.", quote_state(state))
        }
        QuoteRefusal::Expired(on) => format!(
            "Quote {number} was valid until {}. Give a new quote at today’s rates.",
            show::day(on, today)
        ),
        QuoteRefusal::SlotBeyond(on) => format!(
            "Quote {number} is valid until {}. Its slot cannot be reserved for longer.",
            show::day(on, today)
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

    #[test]
    fn a_refused_quote_says_which_and_what_to_do_next() {
        let day = |d| NaiveDate::from_ymd_opt(2026, 12, d).unwrap();
        let refusal = |why| refusal(&Refusal::Quote { number: 12, why }, day(5));
        assert_eq!(
            refusal(QuoteRefusal::Expired(day(3))),
            "Quote 12 was valid until Thu 3 Dec. Give a new quote at today’s rates."
        );
        assert_eq!(
            refusal(QuoteRefusal::Decided(QuoteState::Lost)),
            "Quote 12 is already declined."
        );
    }
}
