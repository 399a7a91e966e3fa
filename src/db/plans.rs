//! The plan as it is kept, how fresh it is, and the runs that make it.

use super::read::word;
use super::{DbError, ShopTx, floor};
use crate::planning::Freshness;
use crate::planning::engine::model::plan::Value;
use crate::planning::floor::{JobDates, Slot, SlotState, Timetable};
use crate::planning::freshness::{Run, Versions};
use crate::units::Code;
use chrono::{DateTime, Utc};
use std::time::Duration;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// How a slot's state is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum SlotCode {
    /// Planned.
    Planned,
    /// Pinned to its time.
    Pinned,
    /// Being worked on.
    Started,
    /// Begun, and half done.
    HalfDone,
}

impl From<SlotState> for SlotCode {
    fn from(state: SlotState) -> Self {
        match state {
            SlotState::Planned => Self::Planned,
            SlotState::Pinned => Self::Pinned,
            SlotState::Started => Self::Started,
            SlotState::HalfDone => Self::HalfDone,
        }
    }
}

impl From<SlotCode> for SlotState {
    fn from(code: SlotCode) -> Self {
        match code {
            SlotCode::Planned => Self::Planned,
            SlotCode::Pinned => Self::Pinned,
            SlotCode::Started => Self::Started,
            SlotCode::HalfDone => Self::HalfDone,
        }
    }
}

/// A plan as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Kept {
    /// The version of the floor it was made from.
    pub floor_version: i64,
    /// When it was made; what is stored is the moment it is kept.
    pub made_at: DateTime<Utc>,
    /// How long that took.
    pub took: Duration,
    /// Moves the search made.
    pub moves: u64,
    /// Whether it was improved; otherwise it is the first usable one, made at once.
    pub improved: bool,
    /// Whether it is what somebody was shown before a change by hand was applied.
    pub by_hand: bool,
    /// The plan.
    pub timetable: Timetable,
}

/// How fresh the plan is, without the plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Age {
    /// The version of the floor.
    pub floor_version: i64,
    /// The version of the floor that the plan was made from; `None` without a plan.
    pub plan_version: Option<i64>,
    /// When the plan was made.
    pub made_at: Option<DateTime<Utc>>,
    /// Whether the plan was improved after the first usable one.
    pub improved: bool,
    /// How fresh it is.
    pub freshness: Freshness,
}

impl Age {
    /// A number of at most nine digits that is another one for another floor, and for another plan of the same: what somebody
    /// saw before they decided.
    #[must_use]
    pub fn seen(&self) -> i64 {
        let made = self.made_at.map_or(0, |at| at.timestamp_micros());
        let mixed = self
            .floor_version
            .wrapping_mul(1_000_003)
            .wrapping_add(made);
        mixed.rem_euclid(1_000_000_000)
    }
}

/// How fresh the plan is: a few rows, for a page that asks again and again.
///
/// # Errors
/// [`DbError::Database`].
pub async fn age(tx: &mut ShopTx, now: DateTime<Utc>) -> Result<Age, DbError> {
    let row = sqlx::query!(
        r#"select s.version as "floor_version?", s.changed_at as "changed_at?",
                  p.floor_version as "plan_version?", p.made_at as "made_at?", p.improved as "improved?",
                  r.share as "share?", r.seen_at as "seen_at?",
                  (select min(starts_at) from plan_slot
                   where shop_id = $1 and state in ('planned', 'half_done')) as first_start
           from shop
           left join floor_state s on s.shop_id = shop.shop_id
           left join plan p on p.shop_id = shop.shop_id
           left join plan_run r on r.shop_id = shop.shop_id and not r.cancelled
           where shop.shop_id = $1"#,
        tx.shop_id()
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("the shop"))?;
    let floor_version = row.floor_version.unwrap_or(0);
    let versions = Versions {
        floor: floor_version,
        changed_at: row.changed_at,
        plan: row.plan_version,
        first_start: row.first_start,
        run: row
            .share
            .zip(row.seen_at)
            .map(|(progress, seen_at)| Run { progress, seen_at }),
    };
    Ok(Age {
        floor_version,
        plan_version: row.plan_version,
        made_at: row.made_at,
        improved: row.improved.unwrap_or(false),
        freshness: Freshness::of(&versions, now),
    })
}

/// The plan as it is kept.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn kept(tx: &mut ShopTx) -> Result<Option<Kept>, DbError> {
    let shop = tx.shop_id();
    let Some(plan) = sqlx::query!("select * from plan where shop_id = $1", shop)
        .fetch_optional(tx.conn())
        .await?
    else {
        return Ok(None);
    };
    let slots = sqlx::query!(
        "select * from plan_slot where shop_id = $1 order by starts_at, ends_at, operation_id",
        shop
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| {
        Ok(Slot {
            operation: row.operation_id,
            job: row.job_id,
            machine: row.machine_id,
            person: row.person_id,
            starts: row.starts_at,
            setup_until: row.setup_until,
            attended_until: row.attended_until,
            ends: row.ends_at,
            setup_minutes: row.setup_minutes,
            slack_minutes: row.slack_minutes,
            state: word::<SlotCode>("state of a slot", &row.state)?.into(),
        })
    })
    .collect::<Result<_, DbError>>()?;
    let jobs = sqlx::query!("select * from plan_job where shop_id = $1", shop)
        .fetch_all(tx.conn())
        .await?
        .into_iter()
        .map(|row| JobDates {
            job: row.job_id,
            ready_at: row.ready_at,
            slack_minutes: row.slack_minutes,
            chance: row.chance,
            sure_by: row.sure_by,
        })
        .collect();
    Ok(Some(Kept {
        floor_version: plan.floor_version,
        made_at: plan.made_at,
        took: Duration::from_millis(plan.took_ms.unsigned_abs()),
        moves: plan.moves.unsigned_abs(),
        improved: plan.improved,
        by_hand: plan.by_hand,
        timetable: Timetable {
            origin: plan.origin,
            slots,
            jobs,
            value: Value {
                broken: plan.broken,
                lateness: plan.lateness,
                setup: plan.setup,
                in_progress: plan.in_progress,
                makespan: plan.makespan,
            },
            late_together: plan.late_together.map(i32::unsigned_abs),
        },
    }))
}

/// Keeps a plan in place of the one there is, unless the floor has changed since it was begun or a plan of a newer
/// floor is kept; says whether it was kept.
///
/// # Errors
/// [`DbError::Database`].
pub async fn keep(tx: &mut ShopTx, plan: &Kept) -> Result<bool, DbError> {
    let shop = tx.shop_id();
    // Locked, so that no change is counted between this look and the commit. A floor that never changed has no row.
    let now = sqlx::query_scalar!(
        "select version from floor_state where shop_id = $1 for share",
        shop
    )
    .fetch_optional(tx.conn())
    .await?
    .unwrap_or(0);
    if now != plan.floor_version {
        return Ok(false);
    }
    let value = plan.timetable.value;
    let kept = sqlx::query!(
        "insert into plan (shop_id, floor_version, origin, took_ms, moves, improved, broken, lateness, setup, in_progress,
                           makespan, late_together, by_hand)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)
         on conflict (shop_id) do update
         set floor_version = $2, origin = $3, took_ms = $4, moves = $5, improved = $6, broken = $7, lateness = $8,
             setup = $9, in_progress = $10, makespan = $11, late_together = $12, by_hand = $13, made_at = now()
         where plan.floor_version <= $2",
        shop,
        plan.floor_version,
        plan.timetable.origin,
        i64::try_from(plan.took.as_millis()).unwrap_or(i64::MAX),
        i64::try_from(plan.moves).unwrap_or(i64::MAX),
        plan.improved,
        value.broken,
        value.lateness,
        value.setup,
        value.in_progress,
        value.makespan,
        plan.timetable
            .late_together
            .and_then(|count| i32::try_from(count).ok()),
        plan.by_hand,
    )
    .execute(tx.conn())
    .await?;
    if kept.rows_affected() == 0 {
        return Ok(false);
    }
    keep_slots(tx, &plan.timetable.slots).await?;
    keep_jobs(tx, &plan.timetable.jobs).await?;
    Ok(true)
}

async fn keep_slots(tx: &mut ShopTx, slots: &[Slot]) -> Result<(), DbError> {
    let shop = tx.shop_id();
    sqlx::query!("delete from plan_slot where shop_id = $1", shop)
        .execute(tx.conn())
        .await?;
    sqlx::query!(
        "insert into plan_slot (shop_id, operation_id, job_id, machine_id, person_id, starts_at, setup_until,
                                attended_until, ends_at, setup_minutes, slack_minutes, state)
         select $1, * from unnest($2::uuid[], $3::uuid[], $4::uuid[], $5::uuid[], $6::timestamptz[], $7::timestamptz[],
                                  $8::timestamptz[], $9::timestamptz[], $10::bigint[], $11::bigint[], $12::text[])",
        shop,
        &slots.iter().map(|s| s.operation).collect::<Vec<_>>(),
        &slots.iter().map(|s| s.job).collect::<Vec<_>>(),
        &slots.iter().map(|s| s.machine).collect::<Vec<_>>() as &[Option<Uuid>],
        &slots.iter().map(|s| s.person).collect::<Vec<_>>() as &[Option<Uuid>],
        &slots.iter().map(|s| s.starts).collect::<Vec<_>>(),
        &slots.iter().map(|s| s.setup_until).collect::<Vec<_>>(),
        &slots.iter().map(|s| s.attended_until).collect::<Vec<_>>(),
        &slots.iter().map(|s| s.ends).collect::<Vec<_>>(),
        &slots.iter().map(|s| s.setup_minutes).collect::<Vec<_>>(),
        &slots.iter().map(|s| s.slack_minutes).collect::<Vec<_>>() as &[Option<i64>],
        &slots
            .iter()
            .map(|s| SlotCode::from(s.state).code().to_owned())
            .collect::<Vec<_>>(),
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

async fn keep_jobs(tx: &mut ShopTx, jobs: &[JobDates]) -> Result<(), DbError> {
    let shop = tx.shop_id();
    sqlx::query!("delete from plan_job where shop_id = $1", shop)
        .execute(tx.conn())
        .await?;
    sqlx::query!(
        "insert into plan_job (shop_id, job_id, ready_at, slack_minutes, chance, sure_by)
         select $1, * from unnest($2::uuid[], $3::timestamptz[], $4::bigint[], $5::double precision[],
                                  $6::timestamptz[])",
        shop,
        &jobs.iter().map(|j| j.job).collect::<Vec<_>>(),
        &jobs.iter().map(|j| j.ready_at).collect::<Vec<_>>(),
        &jobs.iter().map(|j| j.slack_minutes).collect::<Vec<_>>() as &[Option<i64>],
        &jobs.iter().map(|j| j.chance).collect::<Vec<_>>() as &[Option<f64>],
        &jobs.iter().map(|j| j.sure_by).collect::<Vec<_>>() as &[Option<DateTime<Utc>>],
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// A won quote's job takes the slot that was held for it: the same places in the plan, under the job's own keys. Which
/// operation is which, their numbers say.
///
/// # Errors
/// [`DbError::Database`].
pub async fn take_slot(tx: &mut ShopTx, quote_id: Uuid, job_id: Uuid) -> Result<(), DbError> {
    let shop = tx.shop_id();
    let operations = sqlx::query!(
        "select id, number from job_operation where shop_id = $1 and job_id = $2",
        shop,
        job_id
    )
    .fetch_all(tx.conn())
    .await?;
    let held: Vec<Uuid> = operations
        .iter()
        .map(|row| floor::held_operation(quote_id, row.number.unsigned_abs()))
        .collect();
    let own: Vec<Uuid> = operations.iter().map(|row| row.id).collect();
    sqlx::query!(
        "update plan_slot set operation_id = taken.own, job_id = $2
         from unnest($3::uuid[], $4::uuid[]) as taken (held, own)
         where shop_id = $1 and operation_id = taken.held",
        shop,
        job_id,
        &held,
        &own,
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "update plan_job set job_id = $2 where shop_id = $1 and job_id = $3",
        shop,
        job_id,
        quote_id,
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "delete from held_slot where shop_id = $1 and id = $2",
        shop,
        quote_id
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Why a run should not go on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RunEnd {
    /// Somebody stopped it.
    Cancelled,
    /// The floor has changed, or another run took its place.
    Overtaken,
}

/// Says that a run is under way, in place of any before it.
///
/// # Errors
/// [`DbError::Database`].
pub async fn begin_run(tx: &mut ShopTx, run_id: Uuid, version: i64) -> Result<(), DbError> {
    sqlx::query!(
        "insert into plan_run (shop_id, run_id, floor_version) values ($1, $2, $3)
         on conflict (shop_id) do update
         set run_id = $2, floor_version = $3, started_at = now(), seen_at = now(), share = 0, cancelled = false",
        tx.shop_id(),
        run_id,
        version,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Says how far a run is, from 0 to 1, and looks whether it should go on.
///
/// # Errors
/// [`DbError::Database`].
pub async fn run_goes_on(
    tx: &mut ShopTx,
    run_id: Uuid,
    share: f64,
) -> Result<Result<(), RunEnd>, DbError> {
    let row = sqlx::query!(
        r#"update plan_run r set share = $3, seen_at = now()
         where r.shop_id = $1 and r.run_id = $2
         returning r.cancelled,
                   r.floor_version = coalesce((select version from floor_state where shop_id = $1), 0) as "current!""#,
        tx.shop_id(),
        run_id,
        share.clamp(0.0, 1.0),
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(match row {
        Some(row) if row.cancelled => Err(RunEnd::Cancelled),
        Some(row) if row.current => Ok(()),
        _ => Err(RunEnd::Overtaken),
    })
}

/// Says that a run is over.
///
/// # Errors
/// [`DbError::Database`].
pub async fn end_run(tx: &mut ShopTx, run_id: Uuid) -> Result<(), DbError> {
    sqlx::query!(
        "delete from plan_run where shop_id = $1 and run_id = $2",
        tx.shop_id(),
        run_id
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Stops the run under way, if there is one; the plan there is stays.
///
/// # Errors
/// [`DbError::Database`].
pub async fn cancel_run(tx: &mut ShopTx) -> Result<(), DbError> {
    sqlx::query!(
        "update plan_run set cancelled = true where shop_id = $1",
        tx.shop_id()
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}
