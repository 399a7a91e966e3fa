//! Parts made in the shop: for a job whose shelf is short of them, for the shelf, and what came out.

use super::meet_need::{self, Seen};
use super::{Actor, AppError, Refusal};
use crate::db::jobs;
use crate::db::needs::{self, Cover, Need, Source};
use crate::db::people::Role;
use crate::db::stock::{self, Batch};
use crate::db::{DbError, ShopTx, cutting, job_changes, job_route, order_of_work, standards};
use crate::documents::notes;
use crate::estimating::{CuttingData, Element, MadePart, OrderOfWork, Route, made};
use crate::jobs::{Routed, StepKind, make_before};
use crate::stock::{NeedRefusal, Transfer};
use rust_decimal::Decimal;
use uuid::Uuid;

/// A batch of a job as its counter saw it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SeenBatch {
    /// The job.
    pub job_id: Uuid,
    /// The batch.
    pub id: Uuid,
    /// The version that was seen.
    pub version: i32,
}

/// What the making of parts, and a list of work that may need some, is worked out with.
pub(super) struct Workshop {
    /// Parts that are made here, with what is free of each.
    pub(super) parts: Vec<MadePart>,
    /// The standard times.
    pub(super) elements: Vec<Element>,
    /// The usual cutting data.
    pub(super) data: CuttingData,
    /// The order of work.
    pub(super) order: OrderOfWork,
}

impl Workshop {
    /// Reads it.
    ///
    /// # Errors
    /// [`DbError::Corrupt`], [`DbError::Database`].
    pub(super) async fn read(tx: &mut ShopTx) -> Result<Self, DbError> {
        Ok(Self {
            parts: stock::made_parts(tx).await?,
            elements: standards::list(tx).await?,
            data: cutting::usual(tx).await?,
            order: order_of_work::get(tx).await?.1,
        })
    }

    /// The route of a batch by itself.
    ///
    /// # Errors
    /// [`Refusal::Work`] when it makes no route.
    pub(super) fn batch(&self, part: &MadePart, pieces: u32) -> Result<Route, AppError> {
        let rules = (&self.data, &self.order);
        let operations = part
            .operations(pieces, &self.elements, rules)
            .map_err(|why| Refusal::Work(why.into()))?;
        Ok(Route { operations })
    }
}

/// Makes for every need of a new job that the shelf and its orders do not cover, and that is made here: its operations go
/// into the route before the operation that needs it.
///
/// # Errors
/// [`Refusal::Work`] when a making makes no route; [`Refusal::Route`]; [`AppError::Db`].
pub(super) async fn for_short_needs(tx: &mut ShopTx, job_id: Uuid) -> Result<(), AppError> {
    let short: Vec<Need> = needs::of_job(tx, job_id)
        .await?
        .into_iter()
        .filter(|need| need.made_here && is_short(need))
        .collect();
    if short.is_empty() {
        return Ok(());
    }
    let workshop = Workshop::read(tx).await?;
    for need in short {
        make_for(tx, &workshop, &need).await?;
    }
    Ok(())
}

/// Makes what a need of an open job asks for, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::Need`] when it is not made here or stock covers it; [`Refusal::Work`] when the making
/// makes no route; [`Refusal::Route`] when the operation that needs it has begun; [`Refusal::Stored`] when the job is closed;
/// [`AppError::Db`], as [`DbError::Stale`].
pub async fn make_here(actor: &Actor, seen: Seen) -> Result<(), AppError> {
    actor
        .transact(Role::Office, async |tx| {
            job_changes::lock(tx, seen.job_id).await?;
            jobs::open(tx, seen.job_id).await?;
            let need = needs::get(tx, seen.job_id, seen.id).await?;
            if need.version != seen.version {
                return Err(DbError::Stale("this need").into());
            }
            if !need.made_here || !is_short(&need) {
                return Err(not_to_be_made(&need).into());
            }
            let workshop = Workshop::read(tx).await?;
            make_for(tx, &workshop, &need).await
        })
        .await
}

fn not_to_be_made(need: &Need) -> Refusal {
    Refusal::Need {
        what: need.details.what.clone(),
        why: NeedRefusal::NotToBeMade,
    }
}

/// Whether neither the shelf nor an order with a day covers a need of work that is still to be begun.
fn is_short(need: &Need) -> bool {
    let cover = match &need.source {
        Source::Stock { cover, .. } => Some(*cover),
        _ => None,
    };
    need.ahead && cover == Some(Cover::Short)
}

async fn make_for(tx: &mut ShopTx, workshop: &Workshop, need: &Need) -> Result<(), AppError> {
    let item_id = need.source.item().map_err(|_| not_to_be_made(need))?;
    let part = workshop.parts.iter().find(|part| part.item_id == item_id);
    let part = part.ok_or_else(|| not_to_be_made(need))?;
    let pieces = made::pieces(need.details.quantity).ok_or_else(|| not_to_be_made(need))?;
    let making = workshop.batch(part, pieces)?.operations;
    let before: Vec<Routed> = jobs::operations(tx, need.job_id)
        .await?
        .into_iter()
        .map(|o| Routed {
            id: o.id,
            planned: o.planned,
            state: o.state,
            added: o.added,
        })
        .collect();
    let making = making.into_iter().map(|o| (Uuid::now_v7(), o)).collect();
    let after = make_before(&before, making, need.details.operation_id).map_err(Refusal::Route)?;
    job_route::replace(tx, need.job_id, &before, &after).await?;
    let new = |o: &&Routed| before.iter().all(|was| was.id != o.id);
    let added = Route {
        operations: after
            .iter()
            .filter(new)
            .map(|o| o.planned.clone())
            .collect(),
    };
    let started = meet_need::of_operations(tx, need.job_id, &added).await?;
    for (item, batch_id) in started {
        if item == item_id {
            needs::set_batch(tx, need.id, need.version, batch_id).await?;
        }
    }
    job_route::count(tx, need.job_id).await?;
    let note = notes::made_here(&part.name, pieces);
    Ok(job_changes::note(tx, need.job_id, StepKind::Rerouted, &note).await?)
}

/// Books the good pieces that came out of a batch: into stock, and of that what its job waits for straight to the job, as
/// far as it goes. Whoever made them may say so.
///
/// # Errors
/// [`AppError::Db`], as [`DbError::Stale`], also when it was counted already.
pub async fn came_out(actor: &Actor, seen: SeenBatch, came: Decimal) -> Result<Batch, AppError> {
    actor
        .transact(Role::Machinist, async |tx| {
            let batch = stock::batch(tx, seen.job_id, seen.id).await?;
            if batch.version != seen.version || batch.came.is_some() {
                return Err(DbError::Stale("this batch").into());
            }
            stock::book_batch(tx, &batch, came).await?;
            let mut left = came;
            for (need, version, quantity) in stock::waiting_for_batch(tx, batch.id).await? {
                if quantity > left {
                    continue;
                }
                left -= quantity;
                needs::set_state(tx, need, version, Transfer::ToJob.leads_to()).await?;
                stock::book_for_need(tx, batch.item_id, need, quantity, Transfer::ToJob).await?;
            }
            Ok(stock::batch(tx, seen.job_id, seen.id).await?)
        })
        .await
}
