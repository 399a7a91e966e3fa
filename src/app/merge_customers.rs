//! Merges two customers that are one, and parts them again.

use super::{Actor, AppError};
use crate::db::customer_links;
use crate::db::people::Role;
use uuid::Uuid;

/// Merges a customer into another, for the office: calls, jobs, castings, people, machines and names go with it. `version`
/// is the version of the one that goes, as it was seen.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`crate::db::DbError::Stale`] when it was changed or merged since; [`AppError::Db`].
pub async fn merge_customers(
    actor: &Actor,
    gone_id: Uuid,
    version: i32,
    kept_id: Uuid,
) -> Result<(), AppError> {
    actor
        .transact(Role::Office, async |tx| {
            Ok(customer_links::merge(tx, gone_id, version, kept_id).await?)
        })
        .await
}

/// Parts them again, for the office: what was moved goes back, except what was changed since. Returns the key of the one
/// that is back.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`].
pub async fn part_customers(
    actor: &Actor,
    kept_id: Uuid,
    merge_id: Uuid,
) -> Result<Uuid, AppError> {
    actor
        .transact(Role::Office, async |tx| {
            Ok(customer_links::part(tx, kept_id, merge_id).await?)
        })
        .await
}
