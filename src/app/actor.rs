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

    /// The same with a person to act on behalf of: who signs on at a device.
    pub(super) fn on_behalf_of(&self, person_id: Uuid) -> Self {
        let scope = Scope {
            person_id: Some(person_id),
            ..self.scope
        };
        Self::new(self.pool.clone(), scope, self.role)
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

    /// Whether the actor may do what this role may.
    #[must_use]
    pub fn may(&self, role: Role) -> bool {
        self.role >= role
    }

    /// The person, for what must say who did it.
    ///
    /// # Errors
    /// [`AppError::Failed`] for the program itself.
    pub fn person(&self) -> Result<Uuid, AppError> {
        self.scope
            .person_id
            .ok_or_else(|| AppError::failed("who does it", "nobody is signed in"))
    }

    /// Does work in one transaction, which lasts when the work succeeds; for whoever may do what this role may.
    ///
    /// # Errors
    /// [`AppError::NotAllowed`], [`AppError::Db`]; whatever the work gives.
    pub(super) async fn transact<T>(
        &self,
        role: Role,
        work: impl AsyncFnOnce(&mut ShopTx) -> Result<T, AppError>,
    ) -> Result<T, AppError> {
        self.require(role)?;
        let mut tx = self.begin().await?;
        let done = work(&mut tx).await?;
        tx.commit().await?;
        Ok(done)
    }

    /// Refuses an actor who may not do what this role may.
    ///
    /// # Errors
    /// [`AppError::NotAllowed`] with the role it takes.
    pub fn require(&self, role: Role) -> Result<(), AppError> {
        if self.may(role) {
            Ok(())
        } else {
            Err(AppError::NotAllowed(role))
        }
    }
}
