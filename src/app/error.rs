//! Why a use case was not carried out.

use crate::db::DbError;
use crate::db::people::Role;

/// Why a use case was not carried out.
#[derive(Debug, thiserror::Error)]
pub enum AppError {
    /// From the database.
    #[error(transparent)]
    Db(#[from] DbError),
    /// The actor lacks the role it takes.
    #[error("it takes the role {0:?}")]
    NotAllowed(Role),
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
