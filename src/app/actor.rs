//! Who acts: in which shop, on whose behalf, and with which role.

use super::AppError;
use crate::db::people::Role;
use crate::db::{DbError, Scope, ShopTx};
use sqlx::PgPool;
use uuid::Uuid;

/// Who carries a use case out. A use case checks what the actor may do and opens its own transactions for them.
#[derive(Debug, Clone)]
pub struct Actor {
    pool: PgPool,
    scope: Scope,
    role: Role,
}

impl Actor {
    /// A person with a role, in the shop of the scope.
    #[must_use]
    pub fn new(pool: PgPool, scope: Scope, role: Role) -> Self {
        Self { pool, scope, role }
    }

    /// The program itself in a shop, for background work: nothing is refused to it.
    #[must_use]
    pub fn program(pool: PgPool, shop_id: Uuid) -> Self {
        let scope = Scope {
            shop_id,
            person_id: None,
        };
        Self::new(pool, scope, Role::Owner)
    }

    /// The shop.
    #[must_use]
    pub fn shop_id(&self) -> Uuid {
        self.scope.shop_id
    }

    /// A transaction of this shop on this actor's behalf.
    ///
    /// # Errors
    /// [`DbError::Database`] when the server cannot be reached.
    pub async fn begin(&self) -> Result<ShopTx, DbError> {
        ShopTx::begin(&self.pool, self.scope).await
    }

    /// Refuses an actor who may not do what this role may.
    ///
    /// # Errors
    /// [`AppError::NotAllowed`] with the role it takes.
    pub fn require(&self, role: Role) -> Result<(), AppError> {
        if self.role >= role {
            Ok(())
        } else {
            Err(AppError::NotAllowed(role))
        }
    }
}
