//! Everyday work: lists of standard times under the names that callers use, which quotes and jobs start from.

use super::{Actor, AppError};
use crate::db::people::Role;
use crate::db::{ShopTx, settings, standards, work_templates};
use crate::estimating::{WorkTemplate, starting, template};
use uuid::Uuid;

/// The shop's everyday work, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`].
pub async fn templates(actor: &Actor) -> Result<Vec<WorkTemplate>, AppError> {
    actor
        .transact(Role::Office, async |tx| Ok(work_templates::list(tx).await?))
        .await
}

/// Adds the usual everyday work, for the owner, and the standard times it names that the shop has not; gives how many
/// templates. Nothing happens where the shop has some of its own.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`]; [`AppError::Failed`] when the set does not read.
pub async fn take_usual(actor: &Actor) -> Result<usize, AppError> {
    actor
        .transact(Role::Owner, async |tx| {
            if !work_templates::list(tx).await?.is_empty() {
                return Ok(0);
            }
            let unread = |why| AppError::failed("reading the starting set", why);
            let currency = settings::get(tx).await?.currency;
            let usual = starting::elements(currency, Uuid::now_v7).map_err(unread)?;
            let set = template::starting(Uuid::now_v7).map_err(unread)?;
            let own = standards::list(tx).await?;
            for element in &usual {
                let named = set
                    .iter()
                    .flat_map(|one| &one.list.lines)
                    .any(|(code, _)| *code == element.code);
                if named && !own.iter().any(|one| one.code == element.code) {
                    standards::insert(tx, element).await?;
                }
            }
            insert_all(tx, &set).await
        })
        .await
}

/// Adds the usual templates whose work the shop has standard times for; gives how many.
///
/// # Errors
/// [`AppError::Db`]; [`AppError::Failed`] when the set does not read.
pub async fn take_what_fits(tx: &mut ShopTx) -> Result<usize, AppError> {
    let own = standards::list(tx).await?;
    let mut set = template::starting(Uuid::now_v7)
        .map_err(|why| AppError::failed("reading the starting set", why))?;
    set.retain(|one| one.unknown(&own).is_empty());
    insert_all(tx, &set).await
}

async fn insert_all(tx: &mut ShopTx, set: &[WorkTemplate]) -> Result<usize, AppError> {
    for one in set {
        work_templates::insert(tx, one).await?;
    }
    Ok(set.len())
}
