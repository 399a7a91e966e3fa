//! The current plans of shops, shared by all who look at them within a minute.

use super::current_plan::{self, CurrentPlan};
use super::shared_results::SharedResults;
use super::{Actor, AppError};
use crate::db::plans::{self, Age};
use crate::planning::engine::explain::Explanation;
use crate::planning::what_if::Absence;
use chrono::{DateTime, TimeDelta, Utc};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Weak};
use uuid::Uuid;

/// How long a plan that was carried over to a moment is shown again: plans are read to the minute.
const KEPT_FOR: TimeDelta = TimeDelta::minutes(1);

/// How long what puts jobs off is shown again: it is said in hours and days.
const REASONS_KEPT_FOR: TimeDelta = TimeDelta::minutes(15);

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

/// Which jobs' absences were tried on which plan.
#[derive(Debug, Clone, PartialEq, Eq)]
struct AbsencesOf {
    plan: PlanKey,
    jobs: Vec<Uuid>,
}

/// Which jobs were explained in which plan.
#[derive(Debug)]
struct ExplainedIn {
    /// A plan that is made anew is another, even where it comes out the same.
    plan: Weak<CurrentPlan>,
    jobs: Vec<Uuid>,
}

impl PartialEq for ExplainedIn {
    fn eq(&self, other: &Self) -> bool {
        self.plan.ptr_eq(&other.plan) && self.jobs == other.jobs
    }
}

/// What jobs wait for; one that is not in the plan is left out.
pub(super) type Explained = Arc<Vec<(Uuid, Explanation)>>;

/// The current plans of shops, and what puts their late jobs off. Clones share them.
#[derive(Debug, Clone)]
pub struct SharedPlans {
    explained: Arc<SharedResults<ExplainedIn, Explained>>,
    plans: Arc<SharedResults<PlanKey, Arc<CurrentPlan>>>,
    absences: Arc<SharedResults<AbsencesOf, Arc<Vec<Absence>>>>,
    tried: Arc<AtomicU64>,
}

impl Default for SharedPlans {
    fn default() -> Self {
        Self {
            plans: Arc::new(SharedResults::new(SHOPS_KEPT, KEPT_FOR)),
            absences: Arc::new(SharedResults::new(SHOPS_KEPT, REASONS_KEPT_FOR)),
            tried: Arc::default(),
            explained: Arc::new(SharedResults::new(SHOPS_KEPT, KEPT_FOR)),
        }
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
        self.plans
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

    /// The absences that put jobs of a plan off: computed once for the same floor, kept plan and jobs.
    ///
    /// # Errors
    /// Those of the computation.
    pub(super) async fn absences<F: Future<Output = Result<Arc<Vec<Absence>>, AppError>>>(
        &self,
        shop_id: Uuid,
        plan: &CurrentPlan,
        jobs: &[Uuid],
        compute: impl FnOnce() -> F,
    ) -> Result<Arc<Vec<Absence>>, AppError> {
        let of = AbsencesOf {
            plan: PlanKey::of(&plan.age),
            jobs: jobs.to_vec(),
        };
        let counted = || {
            self.tried.fetch_add(1, Ordering::Relaxed);
            compute()
        };
        self.absences
            .get(shop_id, of, plan.floor.now, counted)
            .await
    }

    /// What jobs of a plan wait for: computed once for the same plan and jobs.
    ///
    /// # Errors
    /// Those of the computation.
    pub(super) async fn explained<F: Future<Output = Result<Explained, AppError>>>(
        &self,
        shop_id: Uuid,
        plan: &Arc<CurrentPlan>,
        jobs: &[Uuid],
        compute: impl FnOnce() -> F,
    ) -> Result<Explained, AppError> {
        let of = ExplainedIn {
            plan: Arc::downgrade(plan),
            jobs: jobs.to_vec(),
        };
        self.explained
            .get(shop_id, of, plan.floor.now, compute)
            .await
    }

    /// How many times absences have been tried since the start.
    #[must_use]
    pub fn tried(&self) -> u64 {
        self.tried.load(Ordering::Relaxed)
    }
}
