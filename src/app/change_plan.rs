//! A change to the plan: previewed, applied, undone.
//!
//! What comes of a change is computed outside of any transaction, from one plan of a floor of one version. It is written only if
//! the floor is still of that version and the actor saw that plan; otherwise they are shown what would come of it now.

use super::current_plan::{self, CurrentPlan, PlanInputs};
use super::week::{Week, compute};
use super::{Actor, AppError};
use crate::db::DbError;
use crate::db::people::Role;
use crate::db::plan_changes::{self, AppliedChange, ToApply, Undo};
use crate::planning::changes::{CannotChange, DecidedBy, PlanChange};
use crate::planning::what_if::{Baseline, Settings, TryError, WhatIf};
use chrono::{DateTime, Utc};
use std::sync::Arc;
use uuid::Uuid;

/// What is to be done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Proposal {
    /// A change.
    Change(PlanChange),
    /// A change taken back.
    Undo(Uuid),
}

/// What would come of a change.
#[derive(Debug, Clone)]
pub struct Preview {
    /// The plan before.
    pub plan: Arc<CurrentPlan>,
    /// The change; when one is undone, the change that does it.
    pub change: PlanChange,
    /// The change that is undone.
    pub undoes: Option<Uuid>,
    /// What comes of it.
    pub what: WhatIf,
}

/// A change that was tried.
#[derive(Debug)]
pub enum Tried {
    /// It can be made.
    Works(Box<Preview>),
    /// It cannot.
    Cannot(Cannot),
}

/// Why a change cannot be made, and what can be made in its place.
#[derive(Debug)]
pub struct Cannot {
    /// The plan that it was tried on.
    pub plan: Arc<CurrentPlan>,
    /// Why.
    pub why: CannotChange,
    /// The nearest change that can be made instead.
    pub nearest: Option<PlanChange>,
}

/// The role it takes to apply a change.
#[must_use]
pub fn role(change: &PlanChange) -> Role {
    match change.decided_by() {
        DecidedBy::Office => Role::Office,
        DecidedBy::Owner => Role::Owner,
    }
}

/// What would come of a change to a plan. For the office.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Failed`] when the floor cannot be planned.
pub async fn preview(
    actor: &Actor,
    plan: Arc<CurrentPlan>,
    change: PlanChange,
) -> Result<Tried, AppError> {
    actor.require(Role::Office)?;
    tried(plan, change, None).await
}

/// What would come of undoing a change. For the office.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], as [`plan_changes::to_undo`]; [`AppError::Failed`] when the floor cannot
/// be planned.
pub async fn preview_undo(actor: &Actor, id: Uuid, now: DateTime<Utc>) -> Result<Tried, AppError> {
    actor.require(Role::Office)?;
    let read = Read::all(actor, Some(id), now).await?;
    let plan = Arc::new(current_plan::compute(read.inputs).await?);
    match read.undo {
        Some(undo) => tried(plan, undo.change.clone(), Some((id, undo))).await,
        None => Err(DbError::NotFound("this change").into()),
    }
}

/// What became of a change that was to be applied.
#[derive(Debug)]
pub enum Applied {
    /// It was made; what was done, in words.
    Done(String),
    /// The floor or its plan has changed since the actor saw it; what would come of the change now.
    Overtaken(Box<Preview>),
    /// It cannot be made; what could be instead.
    Cannot(Box<Week>, CannotChange, Option<PlanChange>),
}

/// Applies a change, or undoes one, if floor and plan are still those the actor saw, so that what was shown is what comes of it:
/// `seen` is [`crate::db::plans::Age::seen`]. It takes [`role`].
///
/// # Errors
/// [`AppError::NotAllowed`]; [`AppError::Db`], as [`plan_changes::to_undo`] and [`plan_changes::apply`];
/// [`AppError::Failed`] when the floor cannot be planned.
pub async fn apply(
    actor: &Actor,
    proposal: Proposal,
    seen: i64,
    now: DateTime<Utc>,
) -> Result<Applied, AppError> {
    let undoes = match proposal {
        Proposal::Undo(id) => Some(id),
        Proposal::Change(_) => None,
    };
    let read = Read::all(actor, undoes, now).await?;
    let change = match (proposal, &read.undo) {
        (Proposal::Change(change), _) => change,
        (Proposal::Undo(_), Some(undo)) => undo.change.clone(),
        (Proposal::Undo(_), None) => return Err(DbError::NotFound("this change").into()),
    };
    actor.require(role(&change))?;
    let floor = &read.inputs.floor;
    let words = match &read.undo {
        Some(undo) => format!("undone: {}", undo.words),
        None => change.words(floor),
    };
    let inverse = change.inverse(floor);
    let plan = Arc::new(current_plan::compute(read.inputs).await?);
    let cannot = |plan: Arc<CurrentPlan>, why, nearest| {
        let week = Week {
            age: plan.age,
            plan,
            newest: read.newest,
        };
        Ok(Applied::Cannot(Box::new(week), why, nearest))
    };
    let only = |why: &str| CannotChange {
        field: "change",
        why: why.to_owned(),
    };
    if let Some(why) = change.preview_only() {
        return cannot(plan, only(why), None);
    }
    let undo = undoes.zip(read.undo);
    let preview = match tried(plan, change.clone(), undo.clone()).await? {
        Tried::Works(preview) => preview,
        Tried::Cannot(no) => return cannot(no.plan, no.why, no.nearest),
    };
    let Some(inverse) = inverse else {
        return cannot(
            preview.plan,
            only("This could not be undone, so it is not done"),
            None,
        );
    };
    let age = preview.plan.age;
    if age.seen() != seen {
        return Ok(Applied::Overtaken(preview));
    }
    let to_apply = ToApply {
        change: &preview.change,
        undo: &inverse,
        words: &words,
        what: &preview.what,
        floor_version: age.floor_version,
        undoes,
    };
    let mut tx = actor.begin().await?;
    match plan_changes::apply(&mut tx, to_apply).await {
        Ok(()) => {
            tx.commit().await?;
            Ok(Applied::Done(words))
        }
        Err(DbError::Stale(_)) => {
            drop(tx);
            again(actor, change, undo, now).await
        }
        Err(error) => Err(error.into()),
    }
}

/// The same change once more, on the floor as it has become.
async fn again(
    actor: &Actor,
    change: PlanChange,
    undo: Option<(Uuid, Undo)>,
    now: DateTime<Utc>,
) -> Result<Applied, AppError> {
    let read = Read::all(actor, undo.as_ref().map(|(id, _)| *id), now).await?;
    let plan = Arc::new(current_plan::compute(read.inputs).await?);
    Ok(match tried(plan, change, undo).await? {
        Tried::Works(preview) => Applied::Overtaken(preview),
        Tried::Cannot(no) => {
            let week = Week {
                age: no.plan.age,
                plan: no.plan,
                newest: read.newest,
            };
            Applied::Cannot(Box::new(week), no.why, no.nearest)
        }
    })
}

/// All that is read for a change, in one transaction.
struct Read {
    inputs: PlanInputs,
    newest: Option<AppliedChange>,
    undo: Option<Undo>,
}

impl Read {
    async fn all(
        actor: &Actor,
        undoes: Option<Uuid>,
        now: DateTime<Utc>,
    ) -> Result<Self, AppError> {
        let mut tx = actor.begin().await?;
        let undo = match undoes {
            Some(id) => Some(plan_changes::to_undo(&mut tx, id).await?),
            None => None,
        };
        Ok(Self {
            inputs: current_plan::read(&mut tx, now).await?,
            newest: plan_changes::newest(&mut tx).await?,
            undo,
        })
    }
}

/// Computes what comes of a change on a thread of its own.
async fn tried(
    plan: Arc<CurrentPlan>,
    change: PlanChange,
    undo: Option<(Uuid, Undo)>,
) -> Result<Tried, AppError> {
    const WHAT: &str = "the plan with the change";
    let tried = compute(WHAT, move || {
        let baseline = Baseline::new(&plan.floor, &plan.timetable, Settings::by_hand())?;
        let what = match &undo {
            Some((_, undo)) => baseline.try_back(&undo.places, &change),
            None => baseline.try_out(&change),
        };
        match what {
            Ok(what) => Ok(Tried::Works(Box::new(Preview {
                plan,
                change,
                undoes: undo.map(|(id, _)| id),
                what,
            }))),
            Err(TryError::Cannot(why)) => {
                let nearest = baseline.nearest(&change);
                drop(baseline);
                Ok(Tried::Cannot(Cannot { plan, why, nearest }))
            }
            Err(TryError::Model(why)) => Err(why),
        }
    })
    .await?;
    tried.map_err(|why| AppError::failed(WHAT, why))
}
