//! The shop's order of work changed, one rule at a time.

use super::{Actor, AppError, Refusal};
use crate::db::order_of_work;
use crate::db::people::Role;
use crate::estimating::{OrderOfWork, Precedence, Stage};

/// One change of the order of work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OrderChange {
    /// A rule more, or the same with another reason.
    Add(Precedence),
    /// A rule less.
    Remove(Stage, Stage),
    /// Back to the usual rules.
    Usual,
}

/// Changes the order of work. Routes made from then on follow it; jobs and quotes keep theirs.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::Order`] when kinds of work would wait for one another.
pub async fn change(actor: &Actor, change: &OrderChange) -> Result<(), AppError> {
    actor
        .transact(Role::Owner, async |tx| {
            order_of_work::lock(tx).await?;
            let (mut rules, _) = order_of_work::get(tx).await?;
            let same = |rule: &Precedence, first, then| (rule.first, rule.then) == (first, then);
            match change {
                OrderChange::Usual => return Ok(order_of_work::set(tx, None).await?),
                OrderChange::Add(new) => {
                    rules.retain(|rule| !same(rule, new.first, new.then));
                    rules.push(new.clone());
                }
                OrderChange::Remove(first, then) => {
                    rules.retain(|rule| !same(rule, *first, *then));
                }
            }
            OrderOfWork::new(&rules).map_err(Refusal::Order)?;
            Ok(order_of_work::set(tx, Some(&rules)).await?)
        })
        .await
}
