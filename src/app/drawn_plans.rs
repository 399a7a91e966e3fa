//! The current plans of shops with their futures drawn, kept between calls until the plan or what it rests on changes.

use super::shared_plans::PlanKey;
use super::shared_results::SharedResults;
use super::{Actor, AppError, current_plan};
use crate::db::plans::Age;
use crate::planning::engine::model::ModelError;
use crate::planning::engine::promise::PlannedDates;
use chrono::{DateTime, TimeDelta, Utc};
use rand::SeedableRng;
use rand_pcg::Pcg64;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// How long a plan's futures are used again before they are drawn from the moment it is by then.
const KEPT_FOR: TimeDelta = TimeDelta::minutes(5);

/// Shops whose plans are kept drawn at once; a week of sixty jobs in 1,000 futures takes some 10 MB.
const SHOPS_KEPT: usize = 4;

/// Futures drawn of a plan at most; an answer with more goes through them again.
const PLAN_FUTURES: u32 = 1_000;

/// The current plans of shops with their futures drawn. Clones share them.
#[derive(Debug, Clone)]
pub struct DrawnPlans {
    results: Arc<SharedResults<DrawnOf, Arc<PlannedDates>>>,
    draws: Arc<AtomicU64>,
}

/// What a plan was drawn of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct DrawnOf {
    plan: PlanKey,
    futures: u32,
}

impl Default for DrawnPlans {
    fn default() -> Self {
        Self {
            results: Arc::new(SharedResults::new(SHOPS_KEPT, KEPT_FOR)),
            draws: Arc::default(),
        }
    }
}

impl DrawnPlans {
    /// The plan of the actor's shop, as old as `age` or newer, with so many futures drawn from `now`. It is read in a
    /// transaction of its own and drawn after that has ended; callers who ask for the same meanwhile wait for the result.
    ///
    /// # Errors
    /// [`AppError::Db`]; [`AppError::Failed`] when the floor cannot be planned.
    pub async fn dates(
        &self,
        actor: &Actor,
        age: &Age,
        now: DateTime<Utc>,
        futures: u32,
    ) -> Result<Arc<PlannedDates>, AppError> {
        let futures = futures.clamp(1, PLAN_FUTURES);
        let of = DrawnOf {
            plan: PlanKey::of(age),
            futures,
        };
        let draw_anew = || async {
            let mut tx = actor.begin().await?;
            let inputs = current_plan::read(&mut tx, now).await?;
            drop(tx);
            self.draws.fetch_add(1, Ordering::Relaxed);
            let drawn = tokio::task::spawn_blocking(move || draw(&inputs, futures)).await;
            drawn
                .map_err(|why| AppError::failed("drawing the plan's futures", why))?
                .map(Arc::new)
                .map_err(|why| AppError::failed("drawing the plan's futures", why))
        };
        self.results.get(actor.shop_id(), of, now, draw_anew).await
    }

    /// How many plans have been drawn since the start.
    #[must_use]
    pub fn draws(&self) -> u64 {
        self.draws.load(Ordering::Relaxed)
    }
}

/// The plan as it can be carried out now, in many futures.
fn draw(inputs: &current_plan::PlanInputs, futures: u32) -> Result<PlannedDates, ModelError> {
    let (model, plan) = inputs.carry_over()?;
    let mut rng = Pcg64::seed_from_u64(current_plan::FUTURES_SEED);
    PlannedDates::new(
        &model.model,
        &plan,
        model.origin,
        model.kinds,
        model.skills,
        futures as usize,
        &mut rng,
    )
}
