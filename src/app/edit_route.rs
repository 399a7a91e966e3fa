//! Changes the route of a job under way: an operation added, skipped, changed for another in the order of work, split, sent
//! out or brought back. What it does to the promises is computed first, outside of any transaction, and shown; what was
//! shown is what is then kept.

use super::current_plan::{self, CurrentPlan, PlanInputs};
use super::week::compute;
use super::{Actor, AppError, Refusal, meet_need};
use crate::db::jobs::{self, Job};
use crate::db::people::Role;
use crate::db::{
    DbError, ShopTx, cutting, floor, job_changes, job_route, order_of_work, plan_changes, standards,
};
use crate::estimating::{Operation, Route, WorkList};
use crate::jobs::{RouteEdit, Routed, StepKind};
use crate::planning::engine::model::ModelError;
use crate::planning::floor::Floor;
use crate::planning::what_if::{Baseline, Settings, WhatIf};
use crate::units::Money;
use crate::units::text::capitalised;
use chrono::{DateTime, Utc};
use std::sync::Arc;
use uuid::Uuid;

/// A change to the route of a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RouteChange {
    /// The job.
    pub job_id: Uuid,
    /// The version of the job that was seen.
    pub version: i32,
    /// What is done.
    pub what: Wanted,
}

/// What is done to a route, as it is asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Wanted {
    /// Work from the standard times is added.
    Add {
        /// The element's code.
        code: String,
        /// How many times it is done.
        count: u32,
        /// The number of the operation it goes behind; `None` for the next operation of all.
        behind: Option<u32>,
    },
    /// An operation is skipped.
    Skip(Uuid),
    /// Two operations change places.
    Swap(Uuid, Uuid),
    /// An operation is split, with so many steps or pieces in its first part.
    Split(Uuid, u32),
    /// An operation is sent out at a price for so many calendar days.
    SendOut(Uuid, Money, u32),
    /// An operation is done here after all.
    BringBack(Uuid),
}

/// What would come of a change to a route.
#[derive(Debug, Clone)]
pub struct RoutePreview {
    /// The job.
    pub job: Job,
    /// What is done, as a clause without a capital.
    pub words: String,
    /// The route as it is.
    pub before: Vec<Routed>,
    /// The route as it would be.
    pub after: Vec<Routed>,
    /// The plan it was tried on.
    pub plan: Arc<CurrentPlan>,
    /// What comes of it.
    pub what: Box<WhatIf>,
}

/// What became of a change that was to be applied.
#[derive(Debug)]
pub enum Edited {
    /// It was made; what was done, as a sentence.
    Done(String),
    /// The floor has changed since it was shown; what would come of it now.
    Overtaken(Box<RoutePreview>),
    /// Nobody said why; what would come of it.
    ReasonMissing(Box<RoutePreview>),
}

/// The route of a job with its version, to be changed. For the office.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::Job`] when it is closed; [`AppError::Db`].
pub async fn route_to_edit(actor: &Actor, job_id: Uuid) -> Result<(Job, Vec<Routed>), AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let job = jobs::get(&mut tx, job_id).await?;
    job.state.must_be_open().map_err(Refusal::Job)?;
    let route = routed(&mut tx, job_id).await?;
    Ok((job, route))
}

/// What would come of a change to the route of an open job. For the office.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::Job`] when it is closed; [`Refusal::Route`] when the route is not changed so;
/// [`Refusal::Work`] when what is added makes no operation; [`DbError::Stale`] when the job has changed since it was
/// seen; [`AppError::Db`]; [`AppError::Failed`] when the floor cannot be planned.
pub async fn preview_route(
    actor: &Actor,
    change: &RouteChange,
    now: DateTime<Utc>,
) -> Result<RoutePreview, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let (job, _) = job_changes::lock(&mut tx, change.job_id).await?;
    job.state.must_be_open().map_err(Refusal::Job)?;
    if job.version != change.version {
        return Err(DbError::Stale("this job").into());
    }
    let before = routed(&mut tx, job.id).await?;
    let edit = edit(&mut tx, &change.what).await?;
    let after = edit.apply(&before).map_err(Refusal::Route)?;
    let words = edit.words(&before);
    let inputs = current_plan::read(&mut tx, now).await?;
    // The floor is read as it would be, with what the change needs, and all of that is given up again.
    write(&mut tx, job.id, &before, &after).await?;
    let (changed, _) = floor::read(&mut tx, now).await?;
    drop(tx);
    let condition = format!("If in job {} {words}", job.number);
    let (plan, what) = tried(inputs, condition, changed).await?;
    Ok(RoutePreview {
        job,
        words,
        before,
        after,
        plan,
        what,
    })
}

/// Changes the route of an open job, if it and the plan are what was seen ([`crate::db::plans::Age::seen`]), and notes why. For
/// the office.
///
/// # Errors
/// As [`preview_route`]; [`DbError::Refused`] when something was booked on an operation that is left out.
pub async fn edit_route(
    actor: &Actor,
    change: &RouteChange,
    (plan_seen, reason): (i64, &str),
    now: DateTime<Utc>,
) -> Result<Edited, AppError> {
    let preview = preview_route(actor, change, now).await?;
    let reason = reason.trim();
    if reason.is_empty() {
        return Ok(Edited::ReasonMissing(Box::new(preview)));
    }
    let age = preview.plan.age;
    if age.seen() != plan_seen {
        return Ok(Edited::Overtaken(Box::new(preview)));
    }
    let mut tx = actor.begin().await?;
    let (job, _) = job_changes::lock(&mut tx, change.job_id).await?;
    job.state.must_be_open().map_err(Refusal::Job)?;
    // What was booked meanwhile may have begun what is changed here.
    if job.version != change.version || routed(&mut tx, job.id).await? != preview.before {
        return Err(DbError::Stale("this job").into());
    }
    let still = plan_changes::is_still(&mut tx, age.floor_version).await?;
    write(&mut tx, job.id, &preview.before, &preview.after).await?;
    job_route::count(&mut tx, job.id).await?;
    let done = capitalised(&preview.words);
    let note = format!("{done}: {reason}");
    job_changes::note(&mut tx, job.id, StepKind::Rerouted, &note).await?;
    // A plan of another floor is made again by the planner.
    if still {
        plan_changes::keep_shown(&mut tx, &preview.what).await?;
    }
    tx.commit().await?;
    Ok(Edited::Done(format!("{done}.")))
}

/// Writes a route that was changed, with what the added operations need.
async fn write(
    tx: &mut ShopTx,
    job_id: Uuid,
    before: &[Routed],
    after: &[Routed],
) -> Result<(), DbError> {
    job_route::replace(tx, job_id, before, after).await?;
    let new = |o: &&Routed| o.added && before.iter().all(|was| was.id != o.id);
    let added = Route {
        operations: after
            .iter()
            .filter(new)
            .map(|o| o.planned.clone())
            .collect(),
    };
    meet_need::of_route(tx, job_id, &added, None).await
}

/// The operations of a job as they are edited.
async fn routed(tx: &mut ShopTx, job_id: Uuid) -> Result<Vec<Routed>, DbError> {
    let operations = jobs::operations(tx, job_id).await?;
    Ok(operations
        .into_iter()
        .map(|o| Routed {
            id: o.id,
            planned: o.planned,
            state: o.state,
            added: o.added,
        })
        .collect())
}

/// The change with what it takes from the standard times, and keys for what is new.
async fn edit(tx: &mut ShopTx, wanted: &Wanted) -> Result<RouteEdit, AppError> {
    Ok(match wanted.clone() {
        Wanted::Add {
            code,
            count,
            behind,
        } => RouteEdit::Add {
            id: Uuid::now_v7(),
            operation: Box::new(from_standard(tx, code, count).await?),
            behind,
        },
        Wanted::Skip(operation) => RouteEdit::Skip { operation },
        Wanted::Swap(operation, with) => RouteEdit::Swap { operation, with },
        Wanted::Split(operation, first) => RouteEdit::Split {
            operation,
            first,
            id: Uuid::now_v7(),
        },
        Wanted::SendOut(operation, price, days) => RouteEdit::SendOut {
            operation,
            price,
            days,
        },
        Wanted::BringBack(operation) => RouteEdit::BringBack { operation },
    })
}

/// The operation that an element of the standard times makes by itself, done so many times in all.
async fn from_standard(tx: &mut ShopTx, code: String, count: u32) -> Result<Operation, AppError> {
    let elements = standards::list(tx).await?;
    let data = cutting::usual(tx).await?;
    let (_, order) = order_of_work::get(tx).await?;
    let list = WorkList {
        lines: vec![(code, count)],
        // The count is that of all cylinders or mains together.
        cylinders: Some(1),
        mains: Some(1),
        ..WorkList::default()
    };
    let route = list
        .route(&elements, (&data, &order))
        .map_err(Refusal::Work)?;
    let operation = route.operations.into_iter().next();
    Ok(operation.ok_or(Refusal::Work(crate::estimating::WorkListError::Empty))?)
}

/// The plan tried on the changed floor, on a thread of its own.
async fn tried(
    inputs: PlanInputs,
    condition: String,
    changed: Floor,
) -> Result<(Arc<CurrentPlan>, Box<WhatIf>), AppError> {
    const WHAT: &str = "the plan with the route changed";
    let plan = Arc::new(current_plan::compute(inputs).await?);
    let tried = compute(WHAT, move || -> Result<_, ModelError> {
        let baseline = Baseline::new(&plan.floor, &plan.timetable, Settings::default())?;
        let what = Box::new(baseline.try_floor(&condition, changed)?);
        Ok((plan, what))
    })
    .await?;
    tried.map_err(|why| AppError::failed(WHAT, why))
}
