//! Makes customers of names: of whoever a call is from, or of all names that belong to nobody yet.

use super::{Actor, AppError};
use crate::db::people::Role;
use crate::db::{ShopTx, customer_links, enquiries};
use uuid::Uuid;

/// Makes a customer of the caller of an enquiry, for the office, unless they are one; the key of the customer. `None` when
/// nobody is named.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], as [`crate::db::DbError::NotFound`].
pub async fn name_caller(actor: &Actor, enquiry_id: Uuid) -> Result<Option<Uuid>, AppError> {
    actor
        .transact(Role::Office, async |tx| {
            name_caller_within(tx, enquiry_id).await
        })
        .await
}

/// The same within a transaction.
///
/// # Errors
/// [`AppError::Db`].
pub async fn name_caller_within(
    tx: &mut ShopTx,
    enquiry_id: Uuid,
) -> Result<Option<Uuid>, AppError> {
    if let Some((id, _)) = customer_links::of_enquiry(tx, enquiry_id).await? {
        return Ok(Some(id));
    }
    let said = enquiries::get(tx, enquiry_id).await?.details;
    Ok(customer_links::adopt(tx, &said.caller, &said.contact).await?)
}

/// Makes customers of all names in calls, jobs and castings that belong to none, for the office; says how many.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`].
pub async fn name_customers(actor: &Actor) -> Result<i64, AppError> {
    actor
        .transact(Role::Office, async |tx| {
            Ok(customer_links::adopt_all(tx).await?)
        })
        .await
}
