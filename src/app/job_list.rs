//! The list of jobs as people look for them: all that is open, what is late, what waits, what is to be invoiced.

use super::shared_facts::{OpenWork, SharedFacts};
use super::{Actor, AppError};
use crate::db::job_list::{self, Filter, ListedJob, Sort};
use crate::db::lists::Part;
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, settings};
use crate::jobs::{JobState, Lateness, Stage, Standing, lateness};
use crate::units::Code;
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::HashSet;
use std::sync::Arc;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// What is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum View {
    /// Open jobs.
    #[default]
    Open,
    /// Open jobs that are late, or will be by the plan.
    Late,
    /// Open jobs that wait for something.
    Waiting,
    /// Done and not invoiced.
    ToInvoice,
    /// Done, invoiced or not.
    Done,
    /// All, cancelled ones too.
    All,
}

/// What is asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked {
    /// What is looked at.
    pub view: View,
    /// Number, or a part of title or customer.
    pub words: String,
    /// By what it is sorted.
    pub sort: Sort,
    /// Which rows, and which way.
    pub part: Part,
}

/// A job of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// As it is kept. Its value is for the office only.
    pub job: ListedJob,
    /// How far it has come.
    pub stage: Stage,
    /// The day the plan has it ready.
    pub ready_on: Option<NaiveDate>,
    /// How it stands to its day, while it is open.
    pub lateness: Option<Lateness>,
}

/// A page of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobList {
    /// Its rows.
    pub rows: Vec<Row>,
    /// Jobs on all pages.
    pub all: i64,
}

/// Reads a page of the list. Who sees no money gets no values, and no order by them.
///
/// # Errors
/// [`AppError::Db`].
pub async fn job_list(
    actor: &Actor,
    facts: &SharedFacts,
    asked: &Asked,
    now: DateTime<Utc>,
) -> Result<JobList, AppError> {
    let mut tx = actor.begin().await?;
    let work = open_work(&mut tx, facts, now).await?;
    Ok(read(&mut tx, actor.may(Role::Office), &work, asked, now).await?)
}

/// What is known of all the shop's open work today.
///
/// # Errors
/// [`DbError`].
pub async fn open_work(
    tx: &mut ShopTx,
    facts: &SharedFacts,
    now: DateTime<Utc>,
) -> Result<Arc<OpenWork>, DbError> {
    let zone = settings::get(tx).await?.time_zone;
    let today = now.with_timezone(&zone).date_naive();
    facts.open_work(tx, today, now).await
}

/// The same in a transaction that is open; `money` says whether whoever asks sees it.
///
/// # Errors
/// [`DbError`].
pub async fn read(
    tx: &mut ShopTx,
    money: bool,
    work: &OpenWork,
    asked: &Asked,
    now: DateTime<Utc>,
) -> Result<JobList, DbError> {
    let zone = settings::get(tx).await?.time_zone;
    let today = now.with_timezone(&zone).date_naive();
    let gates = &work.gates;
    let waiting: HashSet<Uuid> = gates.iter().map(|gate| gate.job_id).collect();
    // What waits now: the whole job, or the operation it is at.
    let stopped: HashSet<(Uuid, Option<Uuid>)> = gates
        .iter()
        .map(|gate| (gate.job_id, gate.operation_id))
        .collect();
    let filter = Filter {
        states: match asked.view {
            View::Open | View::Late | View::Waiting => vec![JobState::Open],
            View::ToInvoice | View::Done => vec![JobState::Done],
            View::All => JobState::ALL.to_vec(),
        },
        words: asked.words.clone(),
        late_on: (asked.view == View::Late).then_some(today),
        to_invoice: asked.view == View::ToInvoice,
        only: (asked.view == View::Waiting).then(|| waiting.iter().copied().collect()),
    };
    let sort = match asked.sort {
        Sort::Value if !money => Sort::Number,
        sort => sort,
    };
    let (jobs, all) = job_list::list(tx, &filter, sort, asked.part, zone.name()).await?;
    let rows = jobs.into_iter().map(|mut job| {
        let ready_on = job.ready_at.map(|at| at.with_timezone(&zone).date_naive());
        let due = job.promised_on.unwrap_or(job.due_on);
        if !money {
            job.value = None;
        }
        Row {
            stage: Stage::of(
                job.state,
                Standing {
                    begun: job.begun,
                    held: job.held,
                    waits: stopped.contains(&(job.id, None))
                        || job
                            .current
                            .as_ref()
                            .is_some_and(|at| stopped.contains(&(job.id, Some(at.id)))),
                    collected_on: job.collected_on,
                    invoiced_on: job.invoiced_on,
                },
            ),
            lateness: (job.state == JobState::Open).then(|| lateness(due, ready_on, today)),
            ready_on,
            job,
        }
    });
    Ok(JobList {
        rows: rows.collect(),
        all,
    })
}
