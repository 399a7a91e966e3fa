//! The one place where the shop of a transaction is set.
//!
//! It is set for the transaction alone, never for the session, and nothing is asked of the database outside a transaction:
//! a pool in front of PostgreSQL may give the same connection to another program after each transaction (`docs/cluster.md`).

use super::DbError;
use crate::units::Currency;
use sqlx::{PgConnection, PgPool, Postgres, Transaction};
use uuid::Uuid;

/// For which shop, and on whose behalf, a transaction works.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Scope {
    /// The shop.
    pub shop_id: Uuid,
    /// The signed-in person; `None` for the program itself.
    pub person_id: Option<Uuid>,
}

/// A transaction that sees and writes the rows of one shop only. Dropped without [`ShopTx::commit`], it rolls back.
#[derive(Debug)]
pub struct ShopTx {
    tx: Transaction<'static, Postgres>,
    scope: Scope,
    /// The shop's money, once somebody has asked: [`super::settings::currency`].
    pub(super) currency: Option<Currency>,
}

impl ShopTx {
    /// Begins a transaction and sets its shop and person for the row-level policies and the history
    /// (`migrations/0063_shops_in_several_clusters.sql`).
    ///
    /// # Errors
    /// [`DbError::Database`] when the server cannot be reached, when the shop is being moved and that takes longer than five
    /// seconds, or when it has moved: all of them pass ([`DbError::is_passing`]).
    pub async fn begin(pool: &PgPool, scope: Scope) -> Result<Self, DbError> {
        // In one message, because every page has two of these. A `begin` that follows other statements of its message takes them
        // into the transaction; when one of them fails, none is open (PostgreSQL manual, 55.2.2.1 Multiple Statements in a Simple
        // Query). The parameters are keys, which need no quoting.
        let person = scope.person_id.map(|id| id.to_string()).unwrap_or_default();
        let enter = format!("select enter_shop('{}', '{person}'); begin", scope.shop_id);
        let tx = pool.begin_with(sqlx::AssertSqlSafe(enter)).await?;
        Ok(Self {
            tx,
            scope,
            currency: None,
        })
    }

    /// The shop, for the first key column of every statement.
    #[must_use]
    pub fn shop_id(&self) -> Uuid {
        self.scope.shop_id
    }

    /// The person on whose behalf it works.
    #[must_use]
    pub fn person_id(&self) -> Option<Uuid> {
        self.scope.person_id
    }

    /// The connection, for statements.
    pub fn conn(&mut self) -> &mut PgConnection {
        &mut self.tx
    }

    /// Makes everything done in it last.
    ///
    /// # Errors
    /// [`DbError::Database`] when a deferred constraint or the server refuses; [`DbError::Unsure`] when the connection is
    /// lost before the server has said whether it lasts.
    pub async fn commit(self) -> Result<(), DbError> {
        self.tx.commit().await.map_err(|error| {
            if leaves_unsure(&error) {
                DbError::Unsure(error)
            } else {
                error.into()
            }
        })
    }
}

/// Whether a commit that failed like this may have been made to last all the same. The connection is lost; or a pool in
/// front says that it lost the server (class 08); or the server was stopped while it waited for its standby (57P), when the
/// row is on its own disk already (PostgreSQL manual, appendix A and "Synchronous Replication").
fn leaves_unsure(error: &sqlx::Error) -> bool {
    match error {
        sqlx::Error::Io(_) | sqlx::Error::WorkerCrashed => true,
        sqlx::Error::Database(error) => {
            let code = error.code().unwrap_or_default();
            code.starts_with("08") || code.starts_with("57P")
        }
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sqlx::error::{DatabaseError, ErrorKind};
    use std::borrow::Cow;
    use std::error::Error;

    /// What a server, or a pool in front of it, answers.
    #[derive(Debug, thiserror::Error)]
    #[error("{0}")]
    struct Answered(&'static str);

    impl DatabaseError for Answered {
        fn message(&self) -> &str {
            self.0
        }

        fn code(&self) -> Option<Cow<'_, str>> {
            Some(self.0.into())
        }

        fn as_error(&self) -> &(dyn Error + Send + Sync + 'static) {
            self
        }

        fn as_error_mut(&mut self) -> &mut (dyn Error + Send + Sync + 'static) {
            self
        }

        fn into_error(self: Box<Self>) -> Box<dyn Error + Send + Sync + 'static> {
            self
        }

        fn kind(&self) -> ErrorKind {
            ErrorKind::Other
        }
    }

    /// PgBouncer says 08P01 when it loses the server; a server that is stopped says 57P01; a deferred constraint, a
    /// serialisation failure and a cancelled trigger leave no doubt that nothing was kept.
    #[test]
    fn a_commit_that_may_have_lasted_is_not_called_a_failure() {
        let answered = |code| sqlx::Error::Database(Box::new(Answered(code)));
        for code in ["08P01", "08006", "57P01", "57P02"] {
            assert!(leaves_unsure(&answered(code)), "{code}");
        }
        for code in ["23503", "40001", "57014", "25006"] {
            assert!(!leaves_unsure(&answered(code)), "{code}");
        }
    }
}
