//! The current plan: the one that is kept, carried over to the floor as it is and to the present moment.

use super::{Actor, AppError};
use crate::db::plans::{self, Age, Kept};
use crate::db::{DbError, ShopTx, floor};
use crate::planning::engine::futures::futures;
use crate::planning::engine::model::ModelError;
use crate::planning::engine::model::plan::Plan;
use crate::planning::engine::solve::first_plan;
use crate::planning::floor::{Floor, FloorModel, SlotState, Timetable};
use chrono::{DateTime, Utc};
use rand::SeedableRng;
use rand_pcg::Pcg64;

/// Futures drawn for the chances of a plan that has none of its own yet.
const QUICK_FUTURES: usize = 200;

/// The same plan always draws the same futures, so that its chances are the same at every look.
pub const FUTURES_SEED: u64 = 1;

/// The plan as it can be carried out now.
#[derive(Debug, Clone)]
pub struct CurrentPlan {
    /// The floor as it is.
    pub floor: Floor,
    /// Its model.
    pub model: FloorModel,
    /// The plan, in the model's terms.
    pub plan: Plan,
    /// The plan in times of day, with chances.
    pub timetable: Timetable,
    /// How fresh it is.
    pub age: Age,
}

/// What a [`CurrentPlan`] is computed from.
#[derive(Debug, Clone)]
pub struct PlanInputs {
    /// The floor as it is.
    pub floor: Floor,
    /// The plan as it is kept, if there is one.
    pub kept: Option<Kept>,
    /// How fresh it is.
    pub age: Age,
}

/// The current plan of the actor's shop, for anyone in it. It is read in a transaction and computed on a thread of its
/// own after that has ended.
///
/// # Errors
/// [`AppError::Db`]; [`AppError::Failed`] when the floor cannot be planned.
pub async fn current_plan(actor: &Actor, now: DateTime<Utc>) -> Result<CurrentPlan, AppError> {
    let mut tx = actor.begin().await?;
    let inputs = read(&mut tx, now).await?;
    drop(tx);
    compute(inputs).await
}

/// Computes the current plan on a thread of its own. End the transaction the inputs were read in first.
///
/// # Errors
/// [`AppError::Failed`] when the floor cannot be planned.
#[tracing::instrument(name = "plan", skip_all)]
pub async fn compute(inputs: PlanInputs) -> Result<CurrentPlan, AppError> {
    tokio::task::spawn_blocking(move || inputs.current())
        .await
        .map_err(|why| AppError::failed("the current plan", why))?
        .map_err(|why| AppError::failed("the current plan", why))
}

/// Reads all that the current plan is computed from.
///
/// # Errors
/// [`DbError`].
pub async fn read(tx: &mut ShopTx, now: DateTime<Utc>) -> Result<PlanInputs, DbError> {
    let (floor, _) = floor::read(tx, now).await?;
    let age = plans::age(tx, now).await?;
    let kept = plans::kept(tx).await?;
    Ok(PlanInputs { floor, kept, age })
}

impl PlanInputs {
    /// Whether the kept plan is what somebody was shown before they applied a change by hand, of this very floor: then it
    /// stays as it was shown.
    #[must_use]
    pub fn is_shown(&self) -> bool {
        self.kept
            .as_ref()
            .is_some_and(|kept| kept.by_hand && kept.floor_version == self.age.floor_version)
    }

    /// The model of the floor as it is, and the kept plan carried over to it; a plan by rules when none is kept.
    ///
    /// # Errors
    /// When the floor cannot be planned.
    pub fn carry_over(&self) -> Result<(FloorModel, Plan), ModelError> {
        let model = self.floor.model();
        let plan = match &self.kept {
            Some(kept) if self.is_shown() => {
                model.carry_over_in_place(&self.floor, &kept.timetable)?
            }
            Some(kept) => model.carry_over(&self.floor, &kept.timetable)?,
            None => first_plan(&model.model)?,
        };
        Ok((model, plan))
    }

    /// The kept plan carried over to the floor as it is, with chances; a plan by rules when none is kept.
    ///
    /// # Errors
    /// When the floor cannot be planned.
    pub fn current(self) -> Result<CurrentPlan, ModelError> {
        let (model, plan) = self.carry_over()?;
        let Self { floor, kept, age } = self;
        let mut timetable = model.timetable(&floor, &plan, None);
        // The kept chances hold as long as the plan is the kept one; otherwise a few futures are drawn of this one.
        let chances = kept
            .as_ref()
            .filter(|kept| kept.floor_version == age.floor_version)
            .filter(|kept| same_times(&kept.timetable, &timetable));
        match chances {
            Some(kept) => {
                timetable.late_together = kept.timetable.late_together;
                for dates in &mut timetable.jobs {
                    if let Some(known) = kept.timetable.job(dates.job) {
                        dates.chance = known.chance;
                        dates.sure_by = known.sure_by;
                    }
                }
            }
            None => {
                let mut rng = Pcg64::seed_from_u64(FUTURES_SEED);
                let drawn = futures(&model.model, &plan, QUICK_FUTURES, &mut rng)?;
                timetable = model.timetable(&floor, &plan, Some(&drawn));
            }
        }
        Ok(CurrentPlan {
            floor,
            model,
            plan,
            timetable,
            age,
        })
    }
}

/// Whether two timetables have every operation begin and end at the same time. What is being worked on begins, for a
/// plan, whenever the plan is looked at.
fn same_times(one: &Timetable, other: &Timetable) -> bool {
    one.slots.len() == other.slots.len()
        && other.slots.iter().all(|slot| {
            one.slot(slot.operation).is_some_and(|s| {
                let begun = s.state == SlotState::Started && slot.state == SlotState::Started;
                s.ends == slot.ends && (begun || s.starts == slot.starts)
            })
        })
}
