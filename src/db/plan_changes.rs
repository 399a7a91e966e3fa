//! Changes of the plan by hand, as they are applied: their rows, the mended plan and the log in one transaction.

use super::calendars::{self, Overtime, Owner, Stop};
use super::read::corrupt;
use super::{DbError, Refusal, ShopTx, decisions, floor, people, plans};
use crate::planning::changes::{PlanChange, RowChange};
use crate::planning::floor::{Resource, Slot, SlotState, Timetable};
use crate::planning::what_if::WhatIf;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use std::time::Duration;
use uuid::Uuid;

/// A change that was applied.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AppliedChange {
    /// Key.
    pub id: Uuid,
    /// What was done.
    pub words: String,
    /// What was said to come of it.
    pub sentence: String,
    /// When.
    pub taken_at: DateTime<Utc>,
    /// By whom; `None` for the program itself.
    pub by: Option<String>,
    /// Whether it undid another.
    pub is_undo: bool,
    /// Whether it was undone itself.
    pub undone: bool,
}

/// What it takes to give back what was before a change.
#[derive(Debug, Clone, PartialEq)]
pub struct Undo {
    /// What was done.
    pub words: String,
    /// The change that gives the floor back.
    pub change: PlanChange,
    /// Where everything was planned. Only operation, machine, person and start are kept.
    pub places: Timetable,
}

/// A change with what was computed for it.
#[derive(Debug, Clone, Copy)]
pub struct ToApply<'a> {
    /// The change.
    pub change: &'a PlanChange,
    /// The change that gives the floor back.
    pub undo: &'a PlanChange,
    /// What was done, in words.
    pub words: &'a str,
    /// What comes of it.
    pub what: &'a WhatIf,
    /// The version of the floor it was computed for.
    pub floor_version: i64,
    /// The change it undoes, if it does.
    pub undoes: Option<Uuid>,
}

/// Where an operation was planned.
#[derive(Debug, Serialize, Deserialize)]
struct Place {
    operation: Uuid,
    job: Uuid,
    machine: Option<Uuid>,
    person: Option<Uuid>,
    starts: DateTime<Utc>,
}

impl Place {
    fn of(slot: &Slot) -> Self {
        Self {
            operation: slot.operation,
            job: slot.job,
            machine: slot.machine,
            person: slot.person,
            starts: slot.starts,
        }
    }

    fn slot(self) -> Slot {
        Slot {
            operation: self.operation,
            job: self.job,
            machine: self.machine,
            person: self.person,
            starts: self.starts,
            setup_until: self.starts,
            attended_until: self.starts,
            ends: self.starts,
            setup_minutes: 0,
            slack_minutes: None,
            state: SlotState::Planned,
        }
    }
}

/// The newest changes, undone ones and undoings too.
///
/// # Errors
/// [`DbError::Database`].
pub async fn recent(tx: &mut ShopTx, limit: u16) -> Result<Vec<AppliedChange>, DbError> {
    Ok(sqlx::query_as!(
        AppliedChange,
        r#"select c.id, c.words, c.sentence, c.taken_at, p.name as "by?", c.undoes is not null as "is_undo!",
                  exists (select from plan_change u where u.shop_id = c.shop_id and u.undoes = c.id) as "undone!"
           from plan_change c left join person p on p.shop_id = c.shop_id and p.id = c.taken_by
           where c.shop_id = $1 order by c.taken_at desc, c.id desc limit $2"#,
        tx.shop_id(),
        i64::from(limit)
    )
    .fetch_all(tx.conn())
    .await?)
}

/// The newest change that has not been undone: the one that can be.
///
/// # Errors
/// [`DbError::Database`].
pub async fn newest(tx: &mut ShopTx) -> Result<Option<AppliedChange>, DbError> {
    Ok(sqlx::query_as!(
        AppliedChange,
        r#"select c.id, c.words, c.sentence, c.taken_at, p.name as "by?", false as "is_undo!", false as "undone!"
           from plan_change c left join person p on p.shop_id = c.shop_id and p.id = c.taken_by
           where c.shop_id = $1 and c.undoes is null
             and not exists (select from plan_change u where u.shop_id = c.shop_id and u.undoes = c.id)
           order by c.taken_at desc, c.id desc limit 1"#,
        tx.shop_id()
    )
    .fetch_optional(tx.conn())
    .await?)
}

/// What it takes to undo a change.
///
/// # Errors
/// [`DbError::Refused`] when it is not the newest that can be undone, [`DbError::NotFound`], [`DbError::Corrupt`],
/// [`DbError::Database`].
pub async fn to_undo(tx: &mut ShopTx, id: Uuid) -> Result<Undo, DbError> {
    let row = sqlx::query!(
        "select words, undo, places from plan_change where shop_id = $1 and id = $2",
        tx.shop_id(),
        id
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this change"))?;
    if newest(tx).await?.is_none_or(|newest| newest.id != id) {
        return Err(Refusal::NotNewestChange.into());
    }
    let places: Vec<Place> =
        serde_json::from_value(row.places).map_err(|why| corrupt("places of a plan", why))?;
    let slots: Vec<Slot> = places.into_iter().map(Place::slot).collect();
    Ok(Undo {
        words: row.words,
        change: serde_json::from_value(row.undo).map_err(|why| corrupt("change of a plan", why))?,
        places: Timetable {
            origin: slots.iter().map(|s| s.starts).min().unwrap_or_default(),
            slots,
            jobs: Vec::new(),
            value: Default::default(),
            late_together: None,
        },
    })
}

/// Whether the floor is still of a version, which it then stays until this transaction ends: of two who change it at once,
/// one waits here for the other, and then finds it changed.
///
/// # Errors
/// [`DbError::Database`].
pub async fn is_still(tx: &mut ShopTx, floor_version: i64) -> Result<bool, DbError> {
    sqlx::query!(
        "select version from floor_state where shop_id = $1 for update",
        tx.shop_id()
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(floor::version(tx).await? == floor_version)
}

/// Keeps the plan that was shown of a change as the plan of the floor the change has just been made to, in this
/// transaction; says whether it was kept.
///
/// # Errors
/// [`DbError::Database`].
pub async fn keep_shown(tx: &mut ShopTx, what: &WhatIf) -> Result<bool, DbError> {
    // The floor is counted up now, not at the end, so that the plan can say which floor it is of.
    sqlx::query!("set constraints all immediate")
        .execute(tx.conn())
        .await?;
    let kept = plans::Kept {
        floor_version: floor::version(tx).await?,
        made_at: what.floor.now,
        took: Duration::ZERO,
        moves: 0,
        improved: false,
        by_hand: true,
        timetable: what.after.clone(),
    };
    plans::keep(tx, &kept).await
}

/// Applies a change: writes its rows, keeps the mended plan and the log. The transaction must be dropped when this
/// fails.
///
/// # Errors
/// [`DbError::Stale`] when the floor has changed since it was computed, [`DbError::Refused`] when it cannot be
/// done, [`DbError::NotFound`], [`DbError::Database`].
pub async fn apply(tx: &mut ShopTx, apply: ToApply<'_>) -> Result<(), DbError> {
    const PLAN: &str = "the plan";
    if !is_still(tx, apply.floor_version).await? {
        return Err(DbError::Stale(PLAN));
    }
    for row in apply.change.rows() {
        write(tx, row).await?;
    }
    if !keep_shown(tx, apply.what).await? {
        return Err(DbError::Stale(PLAN));
    }
    let places: Vec<Place> = apply.what.before.slots.iter().map(Place::of).collect();
    let json = |why| corrupt("change of a plan", why);
    sqlx::query!(
        "insert into plan_change (shop_id, id, words, sentence, change, undo, places, taken_by, undoes)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        tx.shop_id(),
        Uuid::now_v7(),
        apply.words,
        apply.what.effect.sentence,
        serde_json::to_value(apply.change).map_err(json)?,
        serde_json::to_value(apply.undo).map_err(json)?,
        serde_json::to_value(&places).map_err(json)?,
        tx.person_id(),
        apply.undoes,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Carries the rows of a change out.
async fn write(tx: &mut ShopTx, row: RowChange) -> Result<(), DbError> {
    match row {
        RowChange::SetPin { operation, pin } => decisions::pin(tx, operation, &pin).await,
        RowChange::SetPerson { operation, person } => {
            decisions::hand_over(tx, operation, person).await
        }
        RowChange::ClearPin { operation } => decisions::unpin(tx, operation).await,
        RowChange::SetOrder { first, second } => decisions::put_behind(tx, second, first).await,
        RowChange::ClearOrder { first, second } => decisions::not_behind(tx, second, first).await,
        RowChange::SetRank { job, place } => decisions::put_at(tx, job, place).await,
        RowChange::ClearRank { job } => decisions::not_first(tx, job).await,
        RowChange::SetHold { job, reason } => decisions::hold(tx, job, &reason).await,
        RowChange::ClearHold { job } => decisions::release(tx, job).await,
        RowChange::AddStop {
            whose,
            from,
            until,
            why,
        } => {
            let stop = Stop {
                id: Uuid::now_v7(),
                owner: owner(whose),
                starts_at: from,
                ends_at: until,
                why,
                version: 1,
            };
            calendars::insert_stop(tx, &stop).await
        }
        RowChange::RemoveStop { whose, from, until } => {
            let time = calendars::read(tx).await?;
            let theirs =
                |s: &&Stop| (s.owner, s.starts_at, s.ends_at) == (owner(whose), from, until);
            let stop = time.stops.iter().rfind(theirs);
            let stop = stop.ok_or(DbError::NotFound("the stop"))?;
            calendars::delete_stop(tx, stop.id, stop.version).await
        }
        RowChange::AddOvertime {
            whose,
            from,
            until,
            why,
        } => {
            let overtime = Overtime {
                id: Uuid::now_v7(),
                owner: owner(whose),
                starts_at: from,
                ends_at: until,
                why,
                version: 1,
            };
            calendars::insert_overtime(tx, &overtime).await
        }
        RowChange::RemoveOvertime { whose, from, until } => {
            let time = calendars::read(tx).await?;
            let theirs =
                |o: &&Overtime| (o.owner, o.starts_at, o.ends_at) == (owner(whose), from, until);
            let overtime = time.overtime.iter().rfind(theirs);
            let overtime = overtime.ok_or(DbError::NotFound("the overtime"))?;
            calendars::delete_overtime(tx, overtime.id, overtime.version).await
        }
        RowChange::AddSkill { person, skill } => {
            let mut person = people::get(tx, person).await?;
            person.skills.push(skill);
            people::update(tx, &person).await
        }
        RowChange::RemoveSkill { person, skill } => {
            let mut person = people::get(tx, person).await?;
            if let Some(at) = person.skills.iter().rposition(|has| *has == skill) {
                person.skills.remove(at);
            }
            people::update(tx, &person).await
        }
    }
}

fn owner(whose: Resource) -> Owner {
    match whose {
        Resource::Machine(id) => Owner::Machine(id),
        Resource::Person(id) => Owner::Person(id),
    }
}
