//! What the bench screen shows of a machine: its operations that are not done, what each waits for, and where the plan
//! has put it.

use super::jobs::OperationState;
use super::read::{planned, word};
use super::{DbError, ShopTx};
use crate::estimating::Operation;
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

/// An operation that is not done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Waiting {
    /// Key.
    pub id: Uuid,
    /// As it was planned.
    pub planned: Operation,
    /// How far it has come.
    pub state: OperationState,
    /// The job.
    pub job_id: Uuid,
    /// Its number.
    pub job_number: i64,
    /// What is to be done in it.
    pub job_title: String,
    /// The day the shop works to.
    pub due_on: NaiveDate,
    /// The day the customer was promised.
    pub promised_on: Option<NaiveDate>,
    /// Numbers of the operations that must be done before and are not.
    pub waits_for: Vec<i32>,
    /// Why its job is on hold, if it is.
    pub held: Option<String>,
    /// When the plan begins it, and at which machine.
    pub plan: Option<(DateTime<Utc>, Option<Uuid>)>,
}

impl Waiting {
    /// Whether nothing stands in its way.
    #[must_use]
    pub fn is_ready(&self) -> bool {
        self.waits_for.is_empty() && self.held.is_none()
    }
}

/// The operations of open jobs that are not done, or that hold their job because a check failed: on one kind of machine, or only those whose keys are given. What was
/// begun comes first, then what can be begun, by the plan and then by the day the shop works to.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn waiting(
    tx: &mut ShopTx,
    machine_kind: Option<&str>,
    only: Option<&[Uuid]>,
) -> Result<Vec<Waiting>, DbError> {
    let rows = sqlx::query!(
        r#"select o.id, o.planned::text as "planned!", o.state, o.job_id, j.number as job_number, j.title as job_title, j.due_on,
                  j.promised_on, h.reason as "held?", s.starts_at as "starts_at?", s.machine_id,
                  array(select b.number from job_operation b
                        where b.shop_id = o.shop_id and b.job_id = o.job_id and b.state <> 'done'
                        order by b.number) as "left!"
           from job_operation o
           join job j on j.shop_id = o.shop_id and j.id = o.job_id
           left join job_hold h on h.shop_id = o.shop_id and h.id = o.job_id
           left join plan_slot s on s.shop_id = o.shop_id and s.operation_id = o.id
           where o.shop_id = $1 and j.state = 'open'
             and (o.state <> 'done' or exists (select from quality_hold q where q.shop_id = o.shop_id
                                               and q.operation_id = o.id and q.decision is null))
             and ($2::text is null or o.machine_kind = $2) and ($3::uuid[] is null or o.id = any ($3))
           order by o.state <> 'started', s.starts_at nulls last, j.due_on, j.number, o.number"#,
        tx.shop_id(),
        machine_kind,
        only,
    )
    .fetch_all(tx.conn())
    .await?;
    let mut waiting = rows
        .into_iter()
        .map(|row| {
            let planned = planned(&row.planned)?;
            // Picked out here: to look into every row's route in SQL takes longer than all the rest of the statement.
            let before =
                |number: &i32| u32::try_from(*number).is_ok_and(|n| planned.after.contains(&n));
            let waits_for = row.left.into_iter().filter(before).collect();
            Ok(Waiting {
                id: row.id,
                planned,
                state: word("state of an operation", &row.state)?,
                job_id: row.job_id,
                job_number: row.job_number,
                job_title: row.job_title,
                due_on: row.due_on,
                promised_on: row.promised_on,
                waits_for,
                held: row.held,
                plan: row.starts_at.map(|at| (at, row.machine_id)),
            })
        })
        .collect::<Result<Vec<_>, DbError>>()?;
    waiting.sort_by_key(|w| (w.state != OperationState::Started, !w.is_ready()));
    Ok(waiting)
}

/// An operation by its numbers, as people name it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NumberedOperation {
    /// Key.
    pub id: Uuid,
    /// Number of its job.
    pub job_number: i64,
    /// Whether the job is open.
    pub job_is_open: bool,
    /// Number of the operation.
    pub number: i32,
    /// What is done.
    pub title: String,
    /// How far it has come.
    pub state: OperationState,
}

/// All operations of the jobs with these numbers, in the order of their numbers.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn numbered(tx: &mut ShopTx, jobs: &[i64]) -> Result<Vec<NumberedOperation>, DbError> {
    let rows = sqlx::query!(
        r#"select o.id, j.number as job_number, j.state = 'open' as "job_is_open!", o.number, o.state,
                  coalesce(o.planned ->> 'title', '') as "title!"
           from job j join job_operation o on o.shop_id = j.shop_id and o.job_id = j.id
           where j.shop_id = $1 and j.number = any ($2) order by j.number, o.number"#,
        tx.shop_id(),
        jobs
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(NumberedOperation {
                id: row.id,
                job_number: row.job_number,
                job_is_open: row.job_is_open,
                number: row.number,
                title: row.title,
                state: word("state of an operation", &row.state)?,
            })
        })
        .collect()
}
