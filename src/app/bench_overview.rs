//! What the bench shows at a machine: what runs, what is next, what waits, and what must be answered.

use super::booked_hours::{self, Question};
use super::undo_booking::last_press;
use super::{Actor, AppError};
use crate::db::bookings::{self, Booking};
use crate::db::castings_on_shelf::{self, JobCasting};
use crate::db::checks::{self, CheckResult};
use crate::db::devices::{self, BenchPerson, Device, SignOn};
use crate::db::jobs;
use crate::db::machines;
use crate::db::pressed::Press;
use crate::db::work_list::{Waiting, waiting};
use crate::estimating::Machine;
use crate::shopfloor::{Clock, clocks};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// What a device shows.
#[derive(Debug, Clone, PartialEq)]
pub enum Bench {
    /// Nobody is signed on: who may.
    SignOn(Vec<BenchPerson>),
    /// The shop has no machine in use.
    NoMachine,
    /// Work at a machine.
    Work(Box<BenchOverview>),
}

/// Work at a machine.
#[derive(Debug, Clone, PartialEq)]
pub struct BenchOverview {
    /// Who is signed on.
    pub who: SignOn,
    /// The machines in use.
    pub machines: Vec<Machine>,
    /// The one that is shown.
    pub machine: Machine,
    /// Clocks that run, anywhere in the shop.
    pub clocks: Vec<Clock>,
    /// Operations of the machine's kind that are not done.
    pub here: Vec<Waiting>,
    /// What the person works on elsewhere.
    pub elsewhere: Vec<Waiting>,
    /// Entries of operations that are not done.
    pub live: Vec<Booking>,
    /// Clocks that ran past the end of somebody's shift.
    pub questions: Vec<Question>,
    /// Checks that were made of the operations shown.
    pub checks: Vec<CheckResult>,
    /// The castings of the jobs shown.
    pub castings: Vec<JobCasting>,
    /// What the person pressed last at this device, while it can be taken back.
    pub pressed: Option<Press>,
}

/// What a device shows. `machine` is the one asked for; else the device's own is shown, else the first.
///
/// # Errors
/// [`AppError::Db`].
pub async fn bench(
    actor: &Actor,
    device: &Device,
    machine: Option<Uuid>,
    now: DateTime<Utc>,
) -> Result<Bench, AppError> {
    let tx = &mut actor.begin().await?;
    let Some(who) = devices::signed_on(tx, device.id, now).await? else {
        return Ok(Bench::SignOn(devices::bench_people(tx).await?));
    };
    let mut machines = machines::machines(tx).await?;
    machines.retain(|machine| machine.active);
    let chosen = |id| machines.iter().find(|machine| Some(machine.id) == id);
    let machine = chosen(machine).or_else(|| chosen(device.machine_id));
    let Some(machine) = machine.or(machines.first()).cloned() else {
        return Ok(Bench::NoMachine);
    };
    let here = waiting(tx, Some(&machine.kind), None).await?;
    let live = bookings::live(tx).await?;
    let entries: Vec<_> = live.iter().map(|b| b.entry).collect();
    let mut running = clocks(&entries);
    running.retain(|clock| clock.until.is_none());
    let elsewhere: Vec<Uuid> = running
        .iter()
        .filter(|c| c.person == who.person_id && here.iter().all(|w| w.id != c.operation))
        .map(|c| c.operation)
        .collect();
    let elsewhere = match elsewhere.as_slice() {
        [] => Vec::new(),
        some => waiting(tx, None, Some(some)).await?,
    };
    let shown: Vec<Uuid> = here.iter().chain(&elsewhere).map(|w| w.id).collect();
    let jobs: Vec<Uuid> = (here.iter().chain(&elsewhere)).map(|w| w.job_id).collect();
    Ok(Bench::Work(Box::new(BenchOverview {
        castings: castings_on_shelf::of_jobs(tx, &jobs).await?,
        questions: booked_hours::questions(tx, &live, now).await?,
        checks: checks::of_operations(tx, &shown).await?,
        pressed: last_press(tx, device.id, who.person_id, now).await?.pop(),
        clocks: running,
        who,
        machines,
        machine,
        here,
        elsewhere,
        live,
    })))
}

/// The first machine in use of the kind that an operation takes, for the code on a route card.
///
/// # Errors
/// [`AppError::Db`], as [`crate::db::DbError::NotFound`] when there is no such operation.
pub async fn machine_for(actor: &Actor, operation_id: Uuid) -> Result<Option<Uuid>, AppError> {
    let tx = &mut actor.begin().await?;
    let (_, operation) = jobs::operation(tx, operation_id).await?;
    let machines = machines::machines(tx).await?;
    let fits = |m: &&Machine| m.active && m.kind == operation.planned.machine_kind;
    Ok(machines.iter().find(fits).map(|m| m.id))
}

/// Who is signed on at a device.
///
/// # Errors
/// [`AppError::Db`].
pub async fn signed_on(
    actor: &Actor,
    device_id: Uuid,
    now: DateTime<Utc>,
) -> Result<Option<SignOn>, AppError> {
    let tx = &mut actor.begin().await?;
    Ok(devices::signed_on(tx, device_id, now).await?)
}
