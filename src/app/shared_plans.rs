//! The current plans of shops, shared by all who look at them within a minute.

use super::current_plan::{self, CurrentPlan};
use super::shared_results::SharedResults;
use super::{Actor, AppError};
use crate::db::plans::{self, Age};
use chrono::{DateTime, TimeDelta, Utc};
use std::sync::Arc;

/// How long a plan that was carried over to a moment is shown again: plans are read to the minute.
const KEPT_FOR: TimeDelta = TimeDelta::minutes(1);

/// Shops whose plans are kept at once.
const SHOPS_KEPT: usize = 4;

/// What a plan was carried over from, and what its futures are drawn of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PlanKey {
    floor_version: i64,
    plan_made_at: Option<DateTime<Utc>>,
}

impl PlanKey {
    pub(super) fn of(age: &Age) -> Self {
        Self {
            floor_version: age.floor_version,
            plan_made_at: age.made_at,
        }
    }
}

/// The current plans of shops. Clones share them.
#[derive(Debug, Clone)]
pub struct SharedPlans(Arc<SharedResults<PlanKey, Arc<CurrentPlan>>>);

impl Default for SharedPlans {
    fn default() -> Self {
        Self(Arc::new(SharedResults::new(SHOPS_KEPT, KEPT_FOR)))
    }
}

impl SharedPlans {
    /// The current plan of the actor's shop, for anyone in it, as old as this `age` or newer. It is computed once for all
    /// who ask for the same floor and kept plan; callers meanwhile wait for the result.
    ///
    /// # Errors
    /// [`AppError::Db`]; [`AppError::Failed`] when the floor cannot be planned.
    pub async fn current(
        &self,
        actor: &Actor,
        age: &Age,
        now: DateTime<Utc>,
    ) -> Result<Arc<CurrentPlan>, AppError> {
        let compute = || async {
            let plan = current_plan::current_plan(actor, now).await?;
            Ok(Arc::new(plan))
        };
        self.0
            .get(actor.shop_id(), PlanKey::of(age), now, compute)
            .await
    }

    /// The current plan of the actor's shop, whatever its age.
    ///
    /// # Errors
    /// As [`Self::current`].
    pub async fn now(
        &self,
        actor: &Actor,
        now: DateTime<Utc>,
    ) -> Result<Arc<CurrentPlan>, AppError> {
        let age = plans::age(&mut actor.begin().await?, now).await?;
        self.current(actor, &age, now).await
    }
}
