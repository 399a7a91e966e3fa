//! One run of the planner.

use super::Settings;
use crate::app::Actor;
use crate::app::current_plan::{self, FUTURES_SEED, PlanInputs};
use crate::app::follow_record;
use crate::db::plans::{self, Kept};
use crate::db::{DbError, ShopTx, planner_queue};
use crate::planning::engine::futures::{buffers::lateness, futures};
use crate::planning::engine::model::plan::Plan;
use crate::planning::engine::model::{Minute, Model, ModelError};
use crate::planning::engine::{repair::repair, solve};
use crate::planning::floor::{Floor, FloorModel, Timetable};
use crate::planning::what_if;
use chrono::{DateTime, Utc};
use rand::SeedableRng;
use rand_pcg::Pcg64;
use sqlx::PgPool;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};
use uuid::Uuid;

/// What it costs a new plan to have an operation elsewhere than the old one had it, in weighted minutes of lateness: a
/// plan that changes for nothing is not trusted. Common practice, no source.
const PRICE_OF_A_MOVE: Minute = 30;

/// The same for a plan that somebody was shown before applying a change by hand: as in the preview, so that the plan stays
/// what was shown, unless a promise is saved by it.
const PRICE_AFTER_A_CHANGE: Minute = what_if::PRICE_OF_A_MOVE;

/// Moves of the search that makes the first usable plan.
const QUICK_MOVES: u64 = 1_500;

/// Futures drawn for the chances of the first usable plan.
const QUICK_FUTURES: usize = 200;

/// How often a run says how far it is, and looks whether it should go on.
const LOOK: Duration = Duration::from_millis(400);

/// How a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    /// The improved plan is kept.
    Improved,
    /// The floor changed under it; another run is queued.
    Overtaken,
    /// Somebody stopped it; the draft plan is kept.
    Cancelled,
    /// Other shops waited for a plan they can use; what was found so far is kept, and another run is queued behind theirs.
    CutShort {
        /// Promises are late in it.
        late: bool,
    },
}

/// Why a run failed.
#[derive(Debug, thiserror::Error)]
pub enum ReplanError {
    /// From the database.
    #[error(transparent)]
    Db(#[from] DbError),
    /// The floor cannot be planned.
    #[error("the floor cannot be planned: {0}")]
    Model(#[from] ModelError),
    /// The computation was stopped.
    #[error("planning was stopped: {0}")]
    Stopped(#[from] tokio::task::JoinError),
}

/// Plans a shop: a usable plan at once, then a better one. Nothing is kept over a floor that has changed meanwhile.
///
/// # Errors
/// When the plan cannot be read, made or stored; the plan that was stored stays.
pub async fn replan(
    pool: &PgPool,
    shop_id: Uuid,
    settings: Settings,
) -> Result<Ended, ReplanError> {
    let run = Run {
        actor: Actor::program(pool.clone(), shop_id),
        id: Uuid::now_v7(),
    };
    let began = Utc::now();
    // The plan does not hang on it.
    if let Err(why) = follow_record::learn(&run.actor, began).await {
        tracing::warn!(shop = %shop_id, error = ?why, "promises could not be learned from");
    }
    let mut tx = run.begin().await?;
    let inputs = current_plan::read(&mut tx, began).await?;
    let version = inputs.age.floor_version;
    plans::begin_run(&mut tx, run.id, version).await?;
    tx.commit().await?;

    let ended = run.work(inputs, began, settings).await;
    // Whatever became of it, it is not under way any more.
    let mut tx = run.begin().await?;
    plans::end_run(&mut tx, run.id).await?;
    match ended {
        Ok(Ended::Overtaken) => planner_queue::ask(&mut tx).await?,
        Ok(Ended::CutShort { late }) => planner_queue::ask_for_better(&mut tx, late).await?,
        Ok(Ended::Improved | Ended::Cancelled) | Err(_) => {}
    }
    tx.commit().await?;
    ended
}

struct Run {
    actor: Actor,
    id: Uuid,
}

/// What both stages plan.
struct Task {
    floor: Floor,
    model: FloorModel,
    /// The plan there was, carried over.
    carried: Option<Plan>,
    /// The plan there was is what somebody was shown before applying a change by hand, of this very floor.
    shown: bool,
}

/// Tells a search to stop when the run that wanted it is gone.
struct StopWhenDropped(Arc<AtomicBool>);

impl Drop for StopWhenDropped {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

impl Run {
    async fn begin(&self) -> Result<ShopTx, DbError> {
        self.actor.begin().await
    }

    async fn work(
        &self,
        inputs: PlanInputs,
        began: DateTime<Utc>,
        settings: Settings,
    ) -> Result<Ended, ReplanError> {
        let version = inputs.age.floor_version;
        let first = tokio::task::spawn_blocking(move || first(inputs)).await??;
        let (task, usable) = (Arc::new(first.0), first.1);
        // What somebody was shown is in use already, and stays so while a better one is looked for.
        if !task.shown && !self.keep(version, began, &usable, false).await? {
            return Ok(Ended::Overtaken);
        }

        let stop = Arc::new(AtomicBool::new(false));
        let share = Arc::new(AtomicU64::new(0));
        let guard = StopWhenDropped(stop.clone());
        let mut search = {
            let (stop, share, task) = (stop.clone(), share.clone(), task.clone());
            let plan = usable.plan;
            tokio::task::spawn_blocking(move || improve(&task, plan, settings, &stop, &share))
        };
        let mut look = tokio::time::interval(LOOK);
        let mut cut_short = false;
        let better = loop {
            tokio::select! {
                done = &mut search => break done??,
                _ = look.tick() => {
                    let share = f64::from_bits(share.load(Ordering::Relaxed));
                    let mut tx = self.begin().await?;
                    let go_on = plans::run_goes_on(&mut tx, self.id, share).await?;
                    let others_wait = planner_queue::others_wait(&mut tx).await?;
                    tx.commit().await?;
                    if let Some(why) = go_on.err() {
                        drop(guard);
                        search.await??;
                        return Ok(match why {
                            plans::RunEnd::Cancelled => Ended::Cancelled,
                            plans::RunEnd::Overtaken => Ended::Overtaken,
                        });
                    }
                    // A plan that can be used goes before a better one.
                    if others_wait {
                        cut_short = true;
                        stop.store(true, Ordering::Relaxed);
                    }
                }
            }
        };
        drop(guard);
        if !self.keep(version, began, &better, !cut_short).await? {
            return Ok(Ended::Overtaken);
        }
        Ok(if cut_short {
            let mut jobs = better.timetable.jobs.iter();
            let late = jobs.any(|dates| dates.slack_minutes.is_some_and(|slack| slack < 0));
            Ended::CutShort { late }
        } else {
            Ended::Improved
        })
    }

    async fn keep(
        &self,
        floor_version: i64,
        began: DateTime<Utc>,
        made: &Made,
        improved: bool,
    ) -> Result<bool, DbError> {
        let mut tx = self.begin().await?;
        let kept = plans::keep(
            &mut tx,
            &Kept {
                floor_version,
                made_at: Utc::now(),
                took: (Utc::now() - began).to_std().unwrap_or_default(),
                moves: made.moves,
                improved,
                by_hand: made.by_hand,
                timetable: made.timetable.clone(),
            },
        )
        .await?;
        tx.commit().await?;
        Ok(kept)
    }
}

/// A plan with its timetable.
struct Made {
    plan: Plan,
    timetable: Timetable,
    moves: u64,
    /// It is still what somebody was shown.
    by_hand: bool,
}

impl Made {
    fn of(task: &Task, plan: Plan, moves: u64, count: usize) -> Result<Self, ModelError> {
        let mut rng = Pcg64::seed_from_u64(FUTURES_SEED);
        let drawn = futures(&task.model.model, &plan, count, &mut rng)?;
        Ok(Self {
            timetable: task.model.timetable(&task.floor, &plan, Some(&drawn)),
            plan,
            moves,
            by_hand: false,
        })
    }
}

/// The model to search in from a plan: one that keeps room for what may go wrong.
fn aim(floor: &Floor, model: &FloorModel, from: &Plan) -> Result<Model, ModelError> {
    let mut rng = Pcg64::seed_from_u64(FUTURES_SEED);
    let drawn = futures(&model.model, from, QUICK_FUTURES, &mut rng)?;
    Ok(model.aim(floor, from, &drawn))
}

/// A plan that can be used: the old one carried over and mended; by rules and a short search where there was none.
fn first(inputs: PlanInputs) -> Result<(Task, Made), ModelError> {
    let shown = inputs.is_shown();
    let PlanInputs { floor, kept, .. } = inputs;
    let model = floor.model();
    let carried = kept
        .map(|kept| {
            if shown {
                model.carry_over_in_place(&floor, &kept.timetable)
            } else {
                model.carry_over(&floor, &kept.timetable)
            }
        })
        .transpose()?;
    let search = solve::SolveOptions {
        seed: 1,
        iterations: Some(QUICK_MOVES),
        rounds: 9,
    };
    let mut plan = match &carried {
        Some(carried) if shown => carried.clone(),
        Some(carried) => {
            let aim = aim(&floor, &model, carried)?;
            repair(&aim, carried, PRICE_OF_A_MOVE, &search, &mut |_| false)?.plan
        }
        None => solve::solve(&model.model, &search, &mut |_| false)?.plan,
    };
    plan.value.lateness = lateness(&model.model, &plan);
    let task = Task {
        floor,
        model,
        carried,
        shown,
    };
    let made = Made::of(&task, plan, QUICK_MOVES, QUICK_FUTURES)?;
    Ok((task, made))
}

/// Minutes of the shop by which jobs are late in a plan, each weighed by its promise; what was put first by hand weighs no
/// more.
fn late(task: &Task, plan: &Plan) -> Minute {
    let timetable = task.model.timetable(&task.floor, plan, None);
    let jobs = timetable.jobs.iter();
    jobs.filter_map(|dates| {
        let weight = task.floor.job(dates.job)?.weight;
        Some(weight * (-dates.slack_minutes?).max(0))
    })
    .sum()
}

/// The plan made better until time is up or somebody says stop: near the old one where there was one.
fn improve(
    task: &Task,
    mut usable: Plan,
    settings: Settings,
    stop: &AtomicBool,
    share: &AtomicU64,
) -> Result<Made, ModelError> {
    let began = Instant::now();
    let mut moves = 0;
    let mut watch = |progress: &solve::SearchProgress| {
        moves = progress.iterations;
        let part = began.elapsed().as_secs_f64() / settings.improve_for.as_secs_f64().max(0.001);
        share.store(part.min(1.0).to_bits(), Ordering::Relaxed);
        part >= 1.0 || stop.load(Ordering::Relaxed)
    };
    let search = solve::SolveOptions::default();
    // What was shown is made better in what was shown of it, which days hold, and not in the room it leaves.
    let aim = if task.shown {
        task.model.model.clone()
    } else {
        aim(&task.floor, &task.model, &usable)?
    };
    let plan = match &task.carried {
        Some(_) if task.shown => {
            let mended = repair(&aim, &usable, PRICE_AFTER_A_CHANGE, &search, &mut watch)?;
            let saves = late(task, &usable) - late(task, &mended.plan);
            let costs = PRICE_AFTER_A_CHANGE * mended.moved.len() as Minute;
            if saves > costs {
                mended.plan
            } else {
                usable.clone()
            }
        }
        Some(_) => repair(&aim, &usable, PRICE_OF_A_MOVE, &search, &mut watch)?.plan,
        None => solve::solve(&aim, &search, &mut watch)?.plan,
    };
    usable.value.lateness = lateness(&aim, &usable);
    let better = plan.value.compare(&usable.value, aim.objective()).is_le();
    let by_hand = task.shown && (!better || plan.assignments == usable.assignments);
    let mut plan = if better { plan } else { usable };
    plan.value.lateness = lateness(&task.model.model, &plan);
    let made = Made::of(task, plan, moves, settings.futures)?;
    Ok(Made { by_hand, ..made })
}
