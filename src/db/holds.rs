//! What is decided about a hold, and what follows: more work, a concession, or scrap with another donor or a new quote.

use super::checks::{self, DecisionKind};
use super::enquiries::{self, EnquiryDetails};
use super::jobs::{self, Job, JobOperation, OperationState};
use super::read::money;
use super::{DbError, ShopTx, castings_on_shelf, quotes};
use crate::estimating::{Operation, Step, TimeSource};
use crate::quality::again;
use crate::units::{Code, Minutes, Money, Spread};
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use uuid::Uuid;

/// Work that puts right what a check found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rework {
    /// What is done.
    pub title: String,
    /// On which kind of machine.
    pub machine_kind: String,
    /// Setup.
    pub setup: Minutes,
    /// Run, attended.
    pub run: Minutes,
}

/// What is decided.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Decision {
    /// It was measured again, and passes.
    MeasuredAgain,
    /// More work.
    Rework(Rework),
    /// Accepted as it is, by whom.
    Concession(String),
    /// The casting is scrap.
    Scrap {
        /// The casting that takes its place; none when the job is quoted anew or waits for one.
        donor: Option<Uuid>,
        /// Numbers of the finished operations that must be done again on it.
        again: Vec<u32>,
        /// Whether the customer is quoted anew.
        requote: bool,
    },
}

/// A cost a job bears beyond its hours.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobCost {
    /// What for.
    pub what: String,
    /// How much.
    pub amount: Money,
    /// When.
    pub at: DateTime<Utc>,
}

/// A customer who must hear something.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToTell {
    /// Key.
    pub id: Uuid,
    /// The job.
    pub job_id: Uuid,
    /// Its number.
    pub job_number: i64,
    /// What is to be done in it.
    pub job_title: String,
    /// What they must hear.
    pub why: String,
    /// Since when.
    pub since: DateTime<Utc>,
    /// Who called, when the job came from a call.
    pub caller: Option<String>,
    /// How to reach them.
    pub contact: Option<String>,
}

/// Decides a hold. `version` is the version whoever decides saw.
///
/// # Errors
/// [`DbError::Stale`] when somebody decided meanwhile, [`DbError::Refused`] when the decision does not fit,
/// [`DbError::NotFound`], [`DbError::Corrupt`], [`DbError::Database`].
pub async fn decide(
    tx: &mut ShopTx,
    id: Uuid,
    version: i32,
    by: Uuid,
    note: &str,
    decision: &Decision,
    now: DateTime<Utc>,
) -> Result<(), DbError> {
    let (kind, said_by) = match decision {
        Decision::MeasuredAgain => (DecisionKind::MeasuredAgain, None),
        Decision::Rework(_) => (DecisionKind::Rework, None),
        Decision::Concession(who) => (DecisionKind::Concession, Some(who.as_str())),
        Decision::Scrap { .. } => (DecisionKind::Scrap, None),
    };
    let hold = sqlx::query!(
        "update quality_hold set decision = $4, decided_at = $5, decided_by = $6, said_by = $7, note = $8,
                version = version + 1
         where shop_id = $1 and id = $2 and version = $3 and decision is null returning job_id, operation_id, why",
        tx.shop_id(),
        id,
        version,
        kind.code(),
        now,
        by,
        said_by,
        note,
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::Stale("this hold"))?;
    let job = jobs::get(tx, hold.job_id).await?;
    let operations = jobs::operations(tx, job.id).await?;
    let held = operations
        .iter()
        .find(|o| o.id == hold.operation_id)
        .ok_or(DbError::NotFound("this operation"))?;
    match decision {
        Decision::MeasuredAgain => {
            if !checks::passes_now(tx, id).await? {
                return Err(DbError::Refused(
                    "The latest measurement does not pass: enter the new one first".to_owned(),
                ));
            }
        }
        Decision::Concession(_) => {}
        Decision::Rework(rework) => {
            let again = checks::failed_check(tx, id, &held.planned).await?;
            let new = Operation {
                checks: again.into_iter().collect(),
                ..rework_operation(rework, held, &operations)
            };
            let number = new.number;
            jobs::add_operations(tx, job.id, &[new], &[]).await?;
            for waiting in &operations {
                if waiting.planned.after.contains(&held.planned.number) {
                    let mut after = waiting.planned.after.clone();
                    after.push(number);
                    jobs::set_after(tx, waiting.id, &after).await?;
                }
            }
        }
        Decision::Scrap {
            donor,
            again: numbers,
            requote,
        } => {
            scrap(tx, id, &job, *donor, now).await?;
            if *requote {
                quote_anew(tx, id, &job, &hold.why).await?;
            } else {
                do_again(tx, &job, &operations, numbers).await?;
            }
            let why = match (requote, donor) {
                (true, _) => "The casting is scrap; a new quote is needed",
                (false, Some(_)) => {
                    "The casting is scrap; work begins again on another, so the day moves"
                }
                (false, None) => "The casting is scrap, and there is no other yet",
            };
            tell(tx, job.id, why, now).await?;
        }
    }
    checks::let_go_on(tx, job.id).await
}

fn rework_operation(rework: &Rework, held: &JobOperation, all: &[JobOperation]) -> Operation {
    let taken = |number: &u32| all.iter().all(|o| o.planned.number != *number);
    let first = held.planned.number.saturating_add(1);
    let number = (first..).find(taken).unwrap_or(first);
    let same_machine = rework.machine_kind == held.planned.machine_kind;
    Operation {
        number,
        title: format!("Rework: {}", rework.title),
        machine_kind: rework.machine_kind.clone(),
        setup_key: if same_machine {
            held.planned.setup_key.clone()
        } else {
            format!("{} / rework", rework.machine_kind)
        },
        setup: rework.setup,
        setup_spread: Spread::NONE,
        run: rework.run,
        attended_share: Decimal::ONE,
        steps: vec![Step {
            code: "REWORK".to_owned(),
            name: rework.title.clone(),
            place: None,
            count: 1,
            each: rework.run,
            source: TimeSource::Owner,
            how: "reckoned when it was decided".to_owned(),
            spread: Spread::NONE,
        }],
        after: vec![held.planned.number],
        checks: Vec::new(),
        materials: Vec::new(),
        can_fail: false,
        outside: None,
        ..held.planned.clone()
    }
}

/// Writes the job's casting off, charges the job with it, and sets another aside.
async fn scrap(
    tx: &mut ShopTx,
    hold_id: Uuid,
    job: &Job,
    donor: Option<Uuid>,
    now: DateTime<Utc>,
) -> Result<(), DbError> {
    let scrapped = sqlx::query!(
        "update casting set state = 'scrapped', outcome = 'failed', inspected_on = coalesce(inspected_on, $3),
                version = version + 1
         where shop_id = $1 and job_id = $2 and state = 'reserved'
         returning id, number, ownership, cost, currency",
        tx.shop_id(),
        job.id,
        now.date_naive(),
    )
    .fetch_all(tx.conn())
    .await?;
    let by = tx.person_id();
    for casting in &scrapped {
        if casting.ownership == castings_on_shelf::Ownership::Shop.code() {
            sqlx::query!(
                "insert into job_cost (shop_id, id, job_id, hold_id, what, amount, currency, at, person_id)
                 values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
                tx.shop_id(),
                Uuid::now_v7(),
                job.id,
                hold_id,
                format!("Casting {}, scrapped", casting.number),
                casting.cost,
                casting.currency,
                now,
                by,
            )
            .execute(tx.conn())
            .await?;
        }
    }
    if let Some(donor) = donor {
        castings_on_shelf::reserve(tx, donor, job.id).await?;
    }
    sqlx::query!(
        "update need set casting_id = $3, state = 'wanted', expected_on = null, version = version + 1
         where shop_id = $1 and job_id = $2 and kind = 'donor'",
        tx.shop_id(),
        job.id,
        donor,
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "update quality_hold set scrapped_casting_id = $3, new_casting_id = $4 where shop_id = $1 and id = $2",
        tx.shop_id(),
        hold_id,
        scrapped.first().map(|c| c.id),
        donor,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// The finished operations that a new casting needs again, before whatever waited for them.
async fn do_again(
    tx: &mut ShopTx,
    job: &Job,
    operations: &[JobOperation],
    numbers: &[u32],
) -> Result<(), DbError> {
    let done: Vec<&Operation> = operations
        .iter()
        .filter(|o| o.state == OperationState::Done && numbers.contains(&o.planned.number))
        .map(|o| &o.planned)
        .collect();
    let largest = operations
        .iter()
        .map(|o| o.planned.number)
        .max()
        .unwrap_or(0);
    let renumbered = again(&done, largest);
    jobs::add_operations(tx, job.id, &renumbered.operations, &renumbered.numbers).await?;
    for waiting in operations
        .iter()
        .filter(|o| o.state != OperationState::Done)
    {
        let after = renumbered.after(&waiting.planned.after);
        if after != waiting.planned.after {
            jobs::set_after(tx, waiting.id, &after).await?;
        }
    }
    Ok(())
}

/// Opens an enquiry like the one the job came from; the job stays on hold until the office closes it or lets it go on.
async fn quote_anew(tx: &mut ShopTx, hold_id: Uuid, job: &Job, why: &str) -> Result<(), DbError> {
    let from = match job.quote_id {
        Some(quote_id) => {
            let quote = quotes::get(tx, quote_id).await?;
            Some(enquiries::get(tx, quote.enquiry_id).await?.details)
        }
        None => None,
    };
    let note = format!(
        "Job {} is quoted anew, because its casting is scrap: {why}.",
        job.number
    );
    let details = match from {
        Some(details) => EnquiryDetails {
            note: format!("{note}\n{}", details.note).trim().to_owned(),
            ..details
        },
        None => EnquiryDetails {
            caller: format!("Customer of job {}", job.number),
            note: format!("{note}\n{}", job.title),
            ..EnquiryDetails::default()
        },
    };
    let (enquiry_id, number) = enquiries::create(tx, &details).await?;
    sqlx::query!(
        "update quality_hold set enquiry_id = $3 where shop_id = $1 and id = $2",
        tx.shop_id(),
        hold_id,
        enquiry_id,
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "insert into job_hold (shop_id, id, reason) values ($1, $2, $3)
         on conflict (shop_id, id) do update set reason = excluded.reason, version = job_hold.version + 1",
        tx.shop_id(),
        job.id,
        format!("to be quoted anew: enquiry {number}"),
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Lists a job's customer to be told something.
///
/// # Errors
/// [`DbError::Database`].
pub async fn tell(
    tx: &mut ShopTx,
    job_id: Uuid,
    why: &str,
    now: DateTime<Utc>,
) -> Result<(), DbError> {
    sqlx::query!(
        "insert into to_tell (shop_id, id, job_id, why, since) values ($1, $2, $3, $4, $5)",
        tx.shop_id(),
        Uuid::now_v7(),
        job_id,
        why,
        now,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// The customers who must hear something, the longest waiting first; of one job when one is named.
///
/// # Errors
/// [`DbError::Database`].
pub async fn to_tell(tx: &mut ShopTx, job_id: Option<Uuid>) -> Result<Vec<ToTell>, DbError> {
    Ok(sqlx::query_as!(
        ToTell,
        r#"select t.id, t.job_id, j.number as job_number, j.title as job_title, t.why, t.since, e.caller as "caller?",
                  e.contact as "contact?"
           from to_tell t
           join job j on j.shop_id = t.shop_id and j.id = t.job_id
           left join quote q on q.shop_id = j.shop_id and q.id = j.quote_id
           left join enquiry e on e.shop_id = q.shop_id and e.id = q.enquiry_id
           where t.shop_id = $1 and t.told_at is null and ($2::uuid is null or t.job_id = $2)
           order by t.since, t.id"#,
        tx.shop_id(),
        job_id
    )
    .fetch_all(tx.conn())
    .await?)
}

/// Notes that a customer was told, and what was said.
///
/// # Errors
/// [`DbError::NotFound`] when it is not on the list any more, [`DbError::Database`].
pub async fn told(
    tx: &mut ShopTx,
    id: Uuid,
    by: Uuid,
    said: &str,
    now: DateTime<Utc>,
) -> Result<(), DbError> {
    let done = sqlx::query!(
        "update to_tell set told_at = $3, told_by = $4, said = $5 where shop_id = $1 and id = $2 and told_at is null",
        tx.shop_id(),
        id,
        now,
        by,
        said,
    )
    .execute(tx.conn())
    .await?;
    match done.rows_affected() {
        0 => Err(DbError::NotFound("this call to be made")),
        _ => Ok(()),
    }
}

/// What a job has borne beyond its hours, oldest first.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn costs(tx: &mut ShopTx, job_id: Uuid) -> Result<Vec<JobCost>, DbError> {
    let rows = sqlx::query!(
        "select what, amount, currency, at from job_cost where shop_id = $1 and job_id = $2 order by at, id",
        tx.shop_id(),
        job_id
    )
    .fetch_all(tx.conn())
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(JobCost {
                amount: money("cost of a job", row.amount, &row.currency)?,
                what: row.what,
                at: row.at,
            })
        })
        .collect()
}
