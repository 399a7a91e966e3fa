//! Why a use case was not carried out.

use super::answer_enquiry::Unanswerable;
use super::quick_enquiry::{NoQuickPrice, ReadOut};
use crate::db::DbError;
use crate::db::people::Role;
use crate::enquiry::quote::{QuoteRefusal, Unbalanced};
use crate::estimating::WorkListError;
use crate::jobs::{ChangeRefusal, DueDoubt, NotPossible};

/// Why a use case was not carried out.
#[derive(Debug, thiserror::Error)]
pub enum AppError {
    /// From the database.
    #[error(transparent)]
    Db(#[from] DbError),
    /// The actor lacks the role it takes.
    #[error("it takes the role {0:?}")]
    NotAllowed(Role),
    /// It cannot be done as things are.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// A computation failed or was stopped: a fault of the program.
    #[error("{what}: {why}")]
    Failed {
        /// What was computed.
        what: &'static str,
        /// Why it failed.
        why: String,
    },
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
    /// The enquiry has quotes, so it is not closed by itself.
    #[error("enquiry {number} has quotes")]
    EnquiryQuoted {
        /// The enquiry's number.
        number: i64,
    },
    /// Quick work has no price.
    #[error("quick work has no price: {0:?}")]
    NoQuickPrice(NoQuickPrice),
    /// What was read out is not what it comes to now.
    #[error("it comes to {0:?} by now")]
    FiguresMoved(ReadOut),
    /// Listed work makes no route.
    #[error("the work makes no route: {0}")]
    Work(WorkListError),
    /// A job is not in the state for it.
    #[error("{0}")]
    Job(NotPossible),
    /// A rule on changes of jobs stands against it.
    #[error("{0}")]
    JobChange(ChangeRefusal),
    /// A due date is in doubt.
    #[error("the due date is in doubt: {0:?}")]
    DueDate(Vec<DueDoubt>),
}
