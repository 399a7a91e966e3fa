//! The shop floor, read in one go: machines, people, working time, jobs with what is left to do, what they wait for,
//! what a failed check has stopped, and what was decided by hand.

use super::calendars::Owner;
use super::jobs::OperationState;
use super::needs::{self, Availability};
use super::read::{corrupt, planned, word};
use super::{DbError, ShopTx, calendars, machines, people, settings};
use crate::estimating::Route;
use crate::planning::Hours;
use crate::planning::floor::{
    Floor, FloorJob, FloorMachine, FloorOperation, FloorPerson, Gate, GateState, Order,
    PROMISE_WEIGHT, Pin, Progress,
};
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::HashMap;
use uuid::Uuid;

/// How often what plans are made from has changed; nought when never.
///
/// # Errors
/// [`DbError::Database`].
pub async fn version(tx: &mut ShopTx) -> Result<i64, DbError> {
    Ok(sqlx::query_scalar!(
        "select version from floor_state where shop_id = $1",
        tx.shop_id()
    )
    .fetch_optional(tx.conn())
    .await?
    .unwrap_or(0))
}

/// The floor at a moment, with the version it is of. Read before the floor is, so a change in between makes the version
/// older than the floor, never newer.
///
/// # Errors
/// [`DbError`].
pub async fn read(tx: &mut ShopTx, now: DateTime<Utc>) -> Result<(Floor, i64), DbError> {
    let version = version(tx).await?;
    let settings = settings::get(tx).await?;
    let time = calendars::read(tx).await?;
    let today = now.with_timezone(&settings.time_zone).date_naive();
    let hours = time.hours(Owner::Shop);
    let machines = machines::machines(tx)
        .await?
        .into_iter()
        .filter(|machine| machine.active)
        .map(|machine| FloorMachine {
            hours: time.hours(Owner::Machine(machine.id)),
            id: machine.id,
            name: machine.name,
            kind: machine.kind,
        })
        .collect();
    let people = people::list(tx)
        .await?
        .into_iter()
        .filter(|person| person.active)
        .map(|person| FloorPerson {
            hours: time.hours(Owner::Person(person.id)),
            id: person.id,
            name: person.name,
            skills: person.skills,
        })
        .collect();
    let level = settings.variation.shares().log_level.exp();
    let mut jobs = open_jobs(tx, &hours, today).await?;
    jobs.extend(held_slots(tx, &hours, today).await?);
    for job in &mut jobs {
        let operations = std::mem::take(&mut job.operations);
        job.operations = operations.into_iter().map(|o| o.at_level(level)).collect();
    }
    let floor = Floor {
        zone: settings.time_zone,
        now,
        hours,
        confidence: f64::from(settings.policy.confidence_percent) / 100.0,
        days: settings.days,
        variation: settings.variation,
        machines,
        people,
        jobs,
    };
    Ok((floor, version))
}

/// Open jobs that have work left, by number.
async fn open_jobs(
    tx: &mut ShopTx,
    hours: &Hours,
    today: NaiveDate,
) -> Result<Vec<FloorJob>, DbError> {
    let mut operations = open_operations(tx).await?;
    let mut gates = gates_of(tx, today, &mut operations).await?;
    let shop = tx.shop_id();
    let rows = sqlx::query!(
        r#"select j.id, j.number, j.title, j.customer, j.due_on, j.promised_on,
                  coalesce(h.reason, (select 'a check failed: ' || string_agg(q.why, '; ' order by q.opened_at)
                                      from quality_hold q
                                      where q.shop_id = j.shop_id and q.job_id = j.id and q.decision is null)) as hold,
                  f.place as "place?"
           from job j
           left join job_hold h on h.shop_id = j.shop_id and h.id = j.id
           left join job_first f on f.shop_id = j.shop_id and f.id = j.id
           where j.shop_id = $1 and j.state = 'open' order by j.number"#,
        shop
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows
        .into_iter()
        .filter_map(|row| {
            let operations = operations.remove(&row.id)?;
            Some(FloorJob {
                id: row.id,
                number: row.number,
                title: row.title,
                customer: row.customer,
                order: Order::Job,
                due: Some(Floor::end_of(hours, row.promised_on.unwrap_or(row.due_on))),
                promised: row.promised_on.is_some(),
                weight: if row.promised_on.is_some() {
                    PROMISE_WEIGHT
                } else {
                    1
                },
                put_first: row.place,
                hold: row.hold,
                operations,
                gates: gates.remove(&row.id).unwrap_or_default(),
            })
        })
        .collect())
}

/// Operations of open jobs that are not done, by job.
async fn open_operations(tx: &mut ShopTx) -> Result<HashMap<Uuid, Vec<FloorOperation>>, DbError> {
    let shop = tx.shop_id();
    let mut operations: HashMap<Uuid, Vec<FloorOperation>> = HashMap::new();
    let rows = sqlx::query!(
        r#"select o.id, o.job_id, o.planned::text as "planned!", o.state, o.started_at, o.machine_id,
                  coalesce(w.person_id, o.person_id) as "person_id?",
                  p.id as "pin_id?", p.machine_id as "pin_machine_id?", p.person_id as "pin_person_id?",
                  p.starts_at as "pin_starts_at?",
                  array(select b.behind_id from put_behind b where b.shop_id = o.shop_id and b.id = o.id
                        order by b.behind_id) as "behind!"
           from job_operation o
           join job j on j.shop_id = o.shop_id and j.id = o.job_id and j.state = 'open'
           left join pin p on p.shop_id = o.shop_id and p.id = o.id
           left join hand_over w on w.shop_id = o.shop_id and w.id = o.id
           where o.shop_id = $1 and o.state <> 'done'
           order by o.job_id, o.number"#,
        shop
    )
    .fetch_all(tx.conn())
    .await?;
    for row in rows {
        let planned = planned(&row.planned)?;
        let mut operation = FloorOperation::of_route(row.id, &planned);
        let state = word("state of an operation", &row.state)?;
        operation.progress = match state {
            OperationState::Queued => Progress::Queued,
            OperationState::Started => Progress::Started {
                since: row.started_at,
                machine: row.machine_id,
                person: row.person_id,
            },
            OperationState::Done => Progress::Done,
        };
        operation.behind = row.behind;
        operation.pin = row.pin_id.map(|_| Pin {
            machine: row.pin_machine_id,
            person: row.pin_person_id,
            start: row.pin_starts_at,
        });
        operations.entry(row.job_id).or_default().push(operation);
    }
    Ok(operations)
}

/// What jobs wait for, by job. What one operation waits for with a day keeps only that one back, and is written on it.
async fn gates_of(
    tx: &mut ShopTx,
    today: NaiveDate,
    operations: &mut HashMap<Uuid, Vec<FloorOperation>>,
) -> Result<HashMap<Uuid, Vec<Gate>>, DbError> {
    let mut gates: HashMap<Uuid, Vec<Gate>> = HashMap::new();
    for gate in needs::gates(tx, today).await? {
        let day = match gate.standing {
            Availability::Here => continue,
            Availability::Expected(day) => Some(day),
            Availability::Overdue(_) | Availability::Unknown => None,
        };
        // What one operation waits for keeps only that one back; without a day the whole job has no date.
        let one = gate.operation_id.and_then(|id| {
            let mine = operations.get_mut(&gate.job_id)?;
            mine.iter_mut().find(|operation| operation.id == id)
        });
        match (one, day) {
            (Some(operation), Some(day)) => {
                operation.not_before = operation.not_before.max(Some(day));
            }
            _ => gates.entry(gate.job_id).or_default().push(Gate {
                what: gate.what,
                state: day.map_or(GateState::Unknown, GateState::Expected),
            }),
        }
    }
    Ok(gates)
}

/// Quotes that hold their slot today, by number.
async fn held_slots(
    tx: &mut ShopTx,
    hours: &Hours,
    today: NaiveDate,
) -> Result<Vec<FloorJob>, DbError> {
    let rows = sqlx::query!(
        "select q.id, q.number, q.title, e.caller, q.promised_on, h.until, b.route
         from held_slot h
         join quote q on q.shop_id = h.shop_id and q.id = h.id and q.state = 'sent'
         join enquiry e on e.shop_id = q.shop_id and e.id = q.enquiry_id
         join quote_basis b on b.shop_id = q.shop_id and b.quote_id = q.id
         where h.shop_id = $1 and h.until >= $2 order by q.number",
        tx.shop_id(),
        today
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            let route: Route = serde_json::from_value(row.route)
                .map_err(|why| corrupt("route of a quote", why))?;
            Ok(FloorJob {
                id: row.id,
                number: row.number,
                title: row.title,
                customer: row.caller,
                order: Order::HeldSlot {
                    quote_id: row.id,
                    until: row.until,
                },
                due: row.promised_on.map(|day| Floor::end_of(hours, day)),
                promised: row.promised_on.is_some(),
                weight: PROMISE_WEIGHT,
                put_first: None,
                hold: None,
                operations: route
                    .operations
                    .iter()
                    .map(|operation| {
                        FloorOperation::of_route(
                            held_operation(row.id, operation.number),
                            operation,
                        )
                    })
                    .collect(),
                gates: Vec::new(),
            })
        })
        .collect()
}

/// The key of an operation of a held slot: it has no row of its own, so it is made of the quote's key and its number.
pub(super) fn held_operation(quote_id: Uuid, number: u32) -> Uuid {
    Uuid::from_u128(quote_id.as_u128() ^ u128::from(number))
}
