//! Why a use case was not carried out.

use super::question::Unanswerable;
use crate::db::people::Role;
use crate::db::{self, DbError};
use crate::enquiry::bargain::BargainFault;
use crate::enquiry::doubt::Doubt;
use crate::enquiry::quote::{QuoteRefusal, Unbalanced};
use crate::estimating::OrderError;
use crate::estimating::WorkListError;
use crate::jobs::{ChangeRefusal, DueDoubt, NotPossible, RouteRefusal};
use crate::quality::CheckRefusal;
use crate::shopfloor::BookingRefusal;
use crate::stock::{NeedRefusal, NotMovable};
use crate::units::Money;

/// Why a use case was not carried out.
#[derive(Debug, thiserror::Error)]
pub enum AppError {
    /// From the database, but for what it refuses: that is [`Refusal::Stored`].
    #[error(transparent)]
    Db(DbError),
    /// The actor lacks the role it takes.
    #[error("it takes the role {0:?}")]
    NotAllowed(Role),
    /// It cannot be done as things are.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// As much is being done as can be done at once; the same may be asked for again in a moment.
    #[error("too much is going on at once")]
    Busy,
    /// The key under which something is to be made came with another request before.
    #[error("the key was used for something else")]
    KeyUsed,
    /// A computation failed or was stopped: a fault of the program.
    #[error("{what}: {why}")]
    Failed {
        /// What was computed.
        what: &'static str,
        /// Why it failed.
        why: String,
    },
}

impl From<DbError> for AppError {
    fn from(error: DbError) -> Self {
        match error {
            DbError::Refused(why) => Self::Refused(why.into()),
            other => Self::Db(other),
        }
    }
}

impl Refusal {
    /// An answer has no such option.
    pub(super) fn option_gone(key: &str) -> Self {
        Self::OptionGone {
            key: key.to_owned(),
        }
    }
}

impl AppError {
    /// A computation that failed.
    pub(super) fn failed(what: &'static str, why: impl std::fmt::Display) -> Self {
        Self::Failed {
            what,
            why: why.to_string(),
        }
    }
}

/// Why what was asked cannot be done as things are: a code with its figures. The screens put it into words; the text here
/// is for the log.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// The enquiry has no answer yet.
    #[error("the enquiry cannot be answered: {0:?}")]
    Unanswerable(Unanswerable),
    /// The answer has no such option, or it cannot be done any more.
    #[error("the option “{key}” cannot be quoted")]
    OptionGone {
        /// The option's key.
        key: String,
    },
    /// There is reason to look again before an answer is quoted as it was said.
    #[error("the answer should be looked at again before it is quoted: {0:?}")]
    Doubts(Vec<Doubt>),
    /// A bargain cannot be.
    #[error("the bargain: {0}")]
    Bargain(BargainFault),
    /// Only the owner may quote so low.
    #[error("below the floor of {floor}")]
    BelowFloor {
        /// The lowest price the office may quote.
        floor: Money,
    },
    /// The sums of a quote do not agree with each other.
    #[error("the quote does not add up: {0:?}")]
    Unbalanced(Unbalanced),
    /// A rule on quotes forbids it.
    #[error("quote {number}: {why:?}")]
    Quote {
        /// The quote's number.
        number: i64,
        /// Which rule.
        why: QuoteRefusal,
    },
    /// Hours were to be booked on a job that is closed.
    #[error("row {row}: job {number} is closed")]
    HoursOfClosedJob {
        /// Which of the rows, counted from nothing.
        row: usize,
        /// Number of the job.
        number: i64,
    },
    /// An entry of the bench is wrong, however often it is sent.
    #[error("booking: {0}")]
    Booking(#[from] BookingRefusal),
    /// A check is wrong, however often it is sent.
    #[error("check: {0}")]
    Check(#[from] CheckRefusal),
    /// Kinds of work would wait for one another.
    #[error(transparent)]
    Order(#[from] OrderError),
    /// A hold was to be decided as measured again, and the latest measurement does not pass.
    #[error("the latest measurement does not pass")]
    StillFails,
    /// The route of a job is not changed so.
    #[error(transparent)]
    Route(#[from] RouteRefusal),
    /// The job cannot be changed or ended.
    #[error(transparent)]
    Job(#[from] NotPossible),
    /// A rule on needs stands against it.
    #[error("“{what}”: {why}")]
    Need {
        /// What is needed.
        what: String,
        /// Which rule.
        why: NeedRefusal,
    },
    /// The casting is not in the shop any more, so that it cannot be inspected.
    #[error("casting {number} is not in the shop")]
    CastingNotInShop {
        /// The number on its tag.
        number: i64,
    },
    /// The casting is not moved by hand.
    #[error("casting {number}: {why}")]
    CastingNotMovable {
        /// The number on its tag.
        number: i64,
        /// Which rule.
        why: NotMovable,
    },
    /// The casting has as many photographs as are kept.
    #[error("the casting has {most} photographs already")]
    TooManyPhotos {
        /// How many are kept.
        most: i64,
    },
    /// The rows, as they are, do not allow it.
    #[error(transparent)]
    Stored(#[from] db::Refusal),
    /// The enquiry has quotes, so it is not closed by itself.
    #[error("enquiry {number} has quotes")]
    EnquiryQuoted {
        /// The enquiry's number.
        number: i64,
    },
    /// Listed work makes no route.
    #[error("the work makes no route: {0}")]
    Work(WorkListError),
    /// A rule on changes of jobs stands against it.
    #[error("{0}")]
    JobChange(ChangeRefusal),
    /// The bookings propose nothing of the kind any more.
    #[error("there is no such proposal")]
    NoProposal,
    /// A standard time that is out of bounds.
    #[error("the standard: {0}")]
    Standard(String),
    /// A due date is in doubt.
    #[error("the due date is in doubt: {0:?}")]
    DueDate(Vec<DueDoubt>),
}
