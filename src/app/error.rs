//! Why a use case was not carried out.

use super::answer_enquiry::Unanswerable;
use crate::db::DbError;
use crate::db::people::Role;
use crate::enquiry::quote::{Doubt, QuoteRefusal, Unbalanced};

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
    /// There is reason to look again before an answer is quoted as it was said.
    #[error("the answer should be looked at again before it is quoted: {0:?}")]
    Doubts(Vec<Doubt>),
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
}
