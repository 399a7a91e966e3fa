//! What would have a job that nobody has ordered yet ready by a day: overtime on named days, the job put first, work put
//! before other work; each tried on the plan, with the promises it would move.

use super::effect::{Baseline, PromiseMove, Settings, TryError, WhatIf, promises};
use super::helps::helps;
use crate::planning::changes::{Overtime, PlanChange, Rank};
use crate::planning::engine::explain::explain;
use crate::planning::engine::model::{Minute, ModelError};
use crate::planning::floor::{Floor, Resource, Timetable};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// Changes that the plan is asked for.
const ASKED_FOR: usize = 16;

/// Of them, how many are tried, each with a plan of its own.
const MOST_TRIED: usize = 5;

/// A way to have a job ready sooner, tried on the plan.
#[derive(Debug, Clone)]
pub struct Sooner {
    /// What is changed, all of it together.
    pub changes: Vec<PlanChange>,
    /// When the job is ready then, at the shop's confidence; `None` when no such moment can be named.
    pub ready: Option<DateTime<Utc>>,
    /// Minutes of people's overtime it takes.
    pub overtime: Minute,
    /// Promises of other jobs that would be ready later.
    pub touched: Vec<PromiseMove>,
}

impl Sooner {
    /// Jobs that would be late by it and are not now.
    pub fn made_late(&self) -> impl Iterator<Item = &PromiseMove> {
        self.touched.iter().filter(|p| p.is_late() && !p.was_late())
    }

    /// Whether the job is ready by a moment, at the shop's confidence.
    #[must_use]
    pub fn meets(&self, by: DateTime<Utc>) -> bool {
        self.ready.is_some_and(|ready| ready <= by)
    }
}

/// Ways to have `job` ready by a moment, of a floor on which it stands already: those that make it first, with the fewest
/// promises broken and the least overtime; then those that come nearest. A way that gains nothing is left out.
///
/// # Errors
/// When the floor cannot be planned.
pub fn sooner(
    floor: &Floor,
    current: &Timetable,
    job: Uuid,
    by: DateTime<Utc>,
    settings: Settings,
) -> Result<Vec<Sooner>, ModelError> {
    let baseline = Baseline::new(floor, current, settings)?;
    let before = baseline.before().clone();
    let as_it_is = before.job(job).and_then(|dates| dates.sure_by);
    let mut ways = Vec::new();
    for changes in candidates(floor, current, job)? {
        let what = match together(floor, current, &changes, settings) {
            Ok(what) => what,
            // What cannot be done is no way.
            Err(TryError::Cannot(_)) => continue,
            Err(TryError::Model(why)) => return Err(why),
        };
        let ready = what.after.job(job).and_then(|dates| dates.sure_by);
        let touched = promises(&what.floor, &before, &what.after)
            .into_iter()
            .filter(|p| p.job != job && p.later > 0)
            .filter(|p| floor.job(p.job).is_some_and(|other| other.promised))
            .collect();
        let gains = match (as_it_is, ready) {
            (Some(was), Some(is)) => is < was,
            (None, Some(_)) => true,
            (_, None) => false,
        };
        if gains {
            ways.push(Sooner {
                overtime: changes.iter().map(people_minutes).sum(),
                changes,
                ready,
                touched,
            });
        }
    }
    ways.sort_by_key(|way| {
        let broken = way.made_late().count();
        let nearest = if way.meets(by) { None } else { way.ready };
        (!way.meets(by), nearest, broken, way.overtime)
    });
    Ok(ways)
}

/// What is tried: what the plan itself suggests, the job put first, and all suggested overtime with the job put first.
fn candidates(
    floor: &Floor,
    current: &Timetable,
    job: Uuid,
) -> Result<Vec<Vec<PlanChange>>, ModelError> {
    let model = floor.model();
    let plan = model.carry_over(floor, current)?;
    let first: PlanChange = Rank::first(floor, job).into();
    let mut tried = vec![vec![first.clone()]];
    let Some(index) = model.job(job) else {
        return Ok(tried);
    };
    let explanation = explain(&model.model, &plan, index)?;
    let mut overtime = Vec::new();
    let helps = helps(floor, &model, job, &explanation, ASKED_FOR);
    // Nobody learns a skill by the day.
    let can_be_done = helps
        .into_iter()
        .filter(|help| help.found.is_some() && !matches!(help.change, PlanChange::Train(_)));
    for help in can_be_done.take(MOST_TRIED) {
        if matches!(help.change, PlanChange::Overtime(_)) {
            overtime.push(help.change.clone());
        }
        tried.push(vec![help.change]);
    }
    if !overtime.is_empty() {
        overtime.push(first);
        tried.push(overtime);
    }
    Ok(tried)
}

/// Several changes made one after another; the plan is mended once all are made.
fn together(
    floor: &Floor,
    current: &Timetable,
    changes: &[PlanChange],
    settings: Settings,
) -> Result<WhatIf, TryError> {
    let Some((last, rest)) = changes.split_last() else {
        return Err(ModelError::Unreadable("there is nothing to change".into()).into());
    };
    let mut changed = floor.clone();
    for change in rest {
        changed = change.apply(&changed)?;
    }
    Baseline::new(&changed, current, settings)?.try_out(last)
}

/// Minutes of people's overtime a change takes.
fn people_minutes(change: &PlanChange) -> Minute {
    let PlanChange::Overtime(Overtime {
        whose, from, until, ..
    }) = change
    else {
        return 0;
    };
    let people = whose
        .iter()
        .filter(|one| matches!(one, Resource::Person(_)))
        .count();
    (*until - *from).num_minutes() * Minute::try_from(people).unwrap_or(0)
}
