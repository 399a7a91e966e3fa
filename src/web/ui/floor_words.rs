//! The words of the shop floor: what bookings and checks are in conflict with, why they were not taken, what is decided
//! about a hold, what a customer must be told.

use super::{show, words};
use crate::app::AppError;
use crate::app::book_time::Unattended;
use crate::db::DbError;
use crate::jobs::{JobState, Lateness, NotPossible, OperationState, Stage};
use crate::quality::{self, CallReason, DecisionKind};
use crate::shopfloor::{self, Conflict, Kind, Phase};
use chrono::NaiveDate;

/// What a booking is in conflict with; a sentence without its full stop.
#[must_use]
pub fn conflict(conflict: Conflict) -> &'static str {
    match conflict {
        Conflict::OperationDone => "The operation was already finished",
        Conflict::JobClosed => "The job is closed",
        Conflict::OnHold => "The job is on hold",
        Conflict::Waits => "An earlier operation is not done",
    }
}

/// Why a booking was not taken.
#[must_use]
pub fn booking_refused(why: shopfloor::BookingRefusal) -> &'static str {
    match why {
        shopfloor::BookingRefusal::KeyUsed => "Its key was used for another booking",
        shopfloor::BookingRefusal::CorrectsOtherOperation => {
            "The booking it corrects is not one of this operation"
        }
        shopfloor::BookingRefusal::CorrectsNothing => {
            "A correction must name the booking it corrects"
        }
    }
}

/// Why a check was not taken.
#[must_use]
pub fn check_refused(why: quality::CheckRefusal) -> &'static str {
    match why {
        quality::CheckRefusal::NoSuchCheck => "The operation has no such check",
        quality::CheckRefusal::NeedsMeasurement => "This check has limits: enter a measurement",
        quality::CheckRefusal::NeedsGauging => "This check has no limits: enter pass or fail",
        quality::CheckRefusal::WrongCount(_) => {
            "This check takes one reading for each of its places: enter all of them"
        }
        quality::CheckRefusal::KeyUsed => "Its key was used for another check",
    }
}

/// Why an entry of a device is nobody's.
#[must_use]
pub fn unattended(why: Unattended) -> &'static str {
    match why {
        Unattended::NobodySignedOn => "Nobody was signed on at this device",
        Unattended::OutsideSignOn => "It is from a time when the person was not signed on here",
    }
}

/// What a booking says somebody did.
#[must_use]
pub fn kind(kind: Kind) -> &'static str {
    match kind {
        Kind::Setup => "started setup",
        Kind::Run => "started the run",
        Kind::RunAlone => "left it running unattended",
        Kind::Pause => "paused",
        Kind::Done => "finished",
        Kind::Moved => "corrected a time",
        Kind::Struck => "deleted a booking",
        Kind::Stands => "confirmed a booking",
    }
}

/// What a phase is called while it lasts.
#[must_use]
pub fn phase(phase: Phase) -> &'static str {
    match phase {
        Phase::Setup => "setting up",
        Phase::Run => "running, attended",
        Phase::Alone => "running unattended",
    }
}

/// The status of a job.
#[must_use]
pub fn job_state(state: JobState) -> &'static str {
    match state {
        JobState::Open => "open",
        JobState::Done => "done",
        JobState::Cancelled => "cancelled",
    }
}

/// How far a job has come.
#[must_use]
pub fn job_stage(stage: Stage) -> &'static str {
    match stage {
        Stage::BookedIn => "booked in",
        Stage::Running => "running",
        Stage::Waiting => "waiting",
        Stage::OnHold => "on hold",
        Stage::Done => "done",
        Stage::Collected => "collected",
        Stage::Closed => "closed",
        Stage::Cancelled => "cancelled",
    }
}

/// How a job stands to its day: "3 days late", "2 days in hand".
#[must_use]
pub fn lateness(lateness: Lateness) -> String {
    let days = |n: i64| show::count(n, "day", "days");
    match lateness {
        Lateness::InHand(0) => "on the day".to_owned(),
        Lateness::InHand(n) => format!("{} in hand", days(n)),
        Lateness::Late(n) => format!("{} late", days(n)),
        Lateness::Overdue(n) => format!("{} overdue, no day yet", days(n)),
        Lateness::NoDay => "no day yet".to_owned(),
    }
}

/// The status of an operation.
#[must_use]
pub fn operation_state(state: OperationState) -> &'static str {
    match state {
        OperationState::Queued => "waiting",
        OperationState::Started => "started",
        OperationState::Done => "done",
    }
}

/// What was decided about a hold.
#[must_use]
pub fn decision(kind: DecisionKind) -> &'static str {
    match kind {
        DecisionKind::MeasuredAgain => "measured again, passes",
        DecisionKind::Rework => "rework",
        DecisionKind::Concession => "concession",
        DecisionKind::Scrap => "scrap",
    }
}

/// What a customer must be told; a sentence without its full stop.
#[must_use]
pub fn call(reason: CallReason) -> &'static str {
    match reason {
        CallReason::NewQuote => "The casting is scrap; a new quote is needed",
        CallReason::StartsAgain => {
            "The casting is scrap; work starts again on another, so the ready day moves"
        }
        CallReason::NoCasting => "The casting is scrap, and there is no other yet",
    }
}

/// Why a job cannot be changed or ended; a sentence.
#[must_use]
pub fn job_refused(why: NotPossible) -> String {
    match why {
        NotPossible::Closed(state) => format!("The job is already {}.", job_state(state)),
        NotPossible::Open => "The job is open already.".to_owned(),
        NotPossible::HoldsOpen(1) => "A failed check is not decided. Decide it first.".to_owned(),
        NotPossible::HoldsOpen(open) => {
            format!("{open} failed checks are not decided. Decide them first.")
        }
        NotPossible::ClocksRunning(1) => {
            "A clock is running on it. Stop it at the bench, or add the missing booking, first."
                .to_owned()
        }
        NotPossible::ClocksRunning(running) => format!(
            "{running} clocks are running on it. Stop them at the bench, or add the missing bookings, first."
        ),
        NotPossible::OperationsLeft(1) => "One of its operations is not done.".to_owned(),
        NotPossible::OperationsLeft(left) => format!("{left} of its operations are not done."),
    }
}

/// Why an entry itself cannot be booked, however often it is sent; a sentence without its full stop.
///
/// # Errors
/// The error given, when it is about the service and not about the entry: the device sends it again later.
pub fn unbookable(error: AppError, today: NaiveDate) -> Result<String, AppError> {
    match error {
        AppError::Refused(why) => Ok(words::refusal(&why, today).trim_end_matches('.').to_owned()),
        AppError::Db(DbError::NotFound(what)) => Ok(format!("{what} was not found")),
        AppError::Db(error) if error.is_about_the_values() => {
            Ok("It has a value that cannot be kept".to_owned())
        }
        other => Err(other),
    }
}
