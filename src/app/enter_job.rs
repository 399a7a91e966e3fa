//! Puts a job into work that no quote stands behind: its work picked from the standard times, the same as in another job,
//! or parts made for the shelf.

use super::make_part::{self, Workshop};
use super::{Actor, AppError, Refusal, due_day, meet_need, once};
use crate::db::api_requests::Keyed;
use crate::db::jobs::{self, NewJob};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, casting_records, customer_links, job_changes};
use crate::documents::notes;
use crate::estimating::{Route, WorkList};
use crate::jobs::{JobDetails, StepKind};
use crate::units::Money;
use chrono::NaiveDate;
use uuid::Uuid;

/// The longest title that is made from the work, in characters.
const TITLE: usize = 200;

/// What is to be done in a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum HandWork {
    /// Work from the standard times.
    Listed(WorkList),
    /// What the job with this number began with.
    SameAs(i64),
    /// So many pieces of an item that is made here, for the shelf.
    Made(Uuid, u32),
}

/// A job to be entered by hand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandJob {
    /// What it is called; empty: after its work.
    pub title: String,
    /// Who it is for; empty when nobody is named.
    pub customer: String,
    /// What is to be done.
    pub work: HandWork,
    /// The day the shop works to.
    pub due_on: NaiveDate,
    /// What was agreed to be paid for it, before tax.
    pub value: Option<Money>,
    /// Whether the due date is meant although it is in doubt.
    pub due_confirmed: bool,
}

/// Enters a job, for the office; once under a key. `today` is the shop's calendar day. Returns its key and number.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::Work`] when its work makes no route; [`Refusal::DueDate`] when the due date is in
/// doubt and not confirmed; [`AppError::KeyUsed`]; [`DbError::NotFound`] when there is no job of the number named; [`AppError::Db`].
pub async fn enter_job(
    actor: &Actor,
    job: &HandJob,
    today: NaiveDate,
    keyed: Option<&Keyed>,
) -> Result<(Uuid, i64), AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let (route, made_of) = route(&mut tx, &job.work).await?;
    let doubts = due_day::doubts(&mut tx, job.due_on, None, today).await?;
    if !doubts.is_empty() && !job.due_confirmed {
        return Err(Refusal::DueDate(doubts).into());
    }
    let new = NewJob {
        quote_id: None,
        title: if job.title.is_empty() {
            made_of.chars().take(TITLE).collect()
        } else {
            job.title.clone()
        },
        due_on: job.due_on,
        promised_on: None,
    };
    let (id, number) = jobs::create(&mut tx, &new, &route).await?;
    customer_links::adopt(&mut tx, &job.customer, "").await?;
    casting_records::set_customer_of_job(&mut tx, id, &job.customer).await?;
    if job.value.is_some() {
        let details = JobDetails {
            title: new.title,
            customer: job.customer.clone(),
            due_on: job.due_on,
            promised_on: None,
            value: job.value,
        };
        job_changes::set_details(&mut tx, id, &details).await?;
    }
    meet_need::of_route(&mut tx, id, &route, None).await?;
    make_part::for_short_needs(&mut tx, id).await?;
    job_changes::note(&mut tx, id, StepKind::Entered, "").await?;
    let counts = once::finish(tx, id, keyed).await?;
    if counts == id {
        return Ok((id, number));
    }
    let earlier = jobs::get(&mut actor.begin().await?, counts).await?;
    Ok((earlier.id, earlier.number))
}

/// The route, and what to call a job that has it.
async fn route(tx: &mut ShopTx, work: &HandWork) -> Result<(Route, String), AppError> {
    match work {
        HandWork::Listed(list) => {
            let workshop = Workshop::read(tx).await?;
            let rules = (&workshop.data, &workshop.order);
            let route = list
                .route_with(&workshop.parts, &workshop.elements, rules)
                .map_err(Refusal::Work)?;
            let summary = list.summary(&workshop.elements);
            let part = list.part.trim();
            let title = if part.is_empty() {
                summary
            } else {
                format!("{part}: {summary}")
            };
            Ok((route, title))
        }
        HandWork::SameAs(number) => {
            let id = job_changes::numbered(tx, *number).await?;
            let title = jobs::get(tx, id).await?.title;
            let operations = jobs::operations(tx, id).await?;
            let first = operations.into_iter().filter(|o| !o.added);
            let mut route = Route {
                operations: first.map(|o| o.planned).collect(),
            };
            // What was added to that job later is not waited for in this one.
            let numbers: Vec<u32> = route.operations.iter().map(|o| o.number).collect();
            for operation in &mut route.operations {
                operation.after.retain(|number| numbers.contains(number));
            }
            if route.operations.is_empty() {
                return Err(DbError::NotFound("work in a job with this number").into());
            }
            Ok((route, title))
        }
        HandWork::Made(item_id, pieces) => {
            let workshop = Workshop::read(tx).await?;
            let part = workshop.parts.iter().find(|part| part.item_id == *item_id);
            let part = part.ok_or(DbError::NotFound("how this part is made"))?;
            let route = workshop.batch(part, *pieces)?;
            Ok((route, notes::for_the_shelf(&part.name, *pieces)))
        }
    }
}
