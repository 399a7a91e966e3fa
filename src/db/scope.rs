//! The one place where the shop of a transaction is set.

use super::DbError;
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
}

impl ShopTx {
    /// Begins a transaction and sets its shop and person for the row-level policies and the history.
    ///
    /// # Errors
    /// [`DbError::Database`] when the server cannot be reached.
    pub async fn begin(pool: &PgPool, scope: Scope) -> Result<Self, DbError> {
        let mut tx = pool.begin().await?;
        sqlx::query!(
            "select set_config('borewright.shop_id', $1, true) as shop, set_config('borewright.person_id', $2, true) as person",
            scope.shop_id.to_string(),
            scope.person_id.map(|id| id.to_string()).unwrap_or_default(),
        )
        .fetch_one(&mut *tx)
        .await?;
        Ok(Self { tx, scope })
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
        self.tx.commit().await.map_err(|error| match error {
            sqlx::Error::Io(_) | sqlx::Error::WorkerCrashed => DbError::Unsure(error),
            other => other.into(),
        })
    }
}
