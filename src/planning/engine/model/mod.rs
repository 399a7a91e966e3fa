//! What a plan is made for: machines, people, jobs and operations, in whole minutes from the plan's origin.
//!
//! The model is a flexible job shop (Brandimarte 1993) with a second resource (a person with the skill), setups that
//! depend on what the machine did before, working calendars, lags between operations, and outside work. A classical
//! published instance is this model with one mode an operation, no people, and calendars that never close.

pub(super) mod build;
pub mod calendar;
mod check;
pub(super) mod fit;
pub mod plan;
mod ties;
pub mod validator;

use std::collections::BTreeMap;

use calendar::WorkingTime;

/// Minutes since the plan's origin; real elapsed minutes, so that clock changes need no care here.
pub type Minute = i64;

/// A machine: does one operation at a time, from the start of its setup until its run has ended.
#[derive(Debug, Clone)]
pub struct Machine {
    /// What the shop calls it.
    pub name: String,
    /// When it can run. Stops for maintenance are simply not in it.
    pub calendar: WorkingTime,
    /// The setup key on the table at the origin.
    pub on_table: Option<u32>,
}

/// A person: attends one operation at a time, through its setup and the attended part of its run.
#[derive(Debug, Clone)]
pub struct Person {
    /// What the shop calls them.
    pub name: String,
    /// When they are at work.
    pub calendar: WorkingTime,
}

/// A job: operations that leave the shop together, on a promised day.
#[derive(Debug, Clone)]
pub struct Job {
    /// Number or name.
    pub name: String,
    /// No operation may start before.
    pub release: Minute,
    /// The promise; `None` when nothing was promised.
    pub due: Option<Minute>,
    /// What one minute of lateness weighs against other jobs, 0 to 1,000,000; of all jobs together at most
    /// 5,000,000,000.
    pub weight: i64,
}

/// One way to do an operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mode {
    /// The machine it needs; `None` for outside work, which takes its time and no capacity.
    pub machine: Option<usize>,
    /// Setup minutes when the machine was set for something else. Attended by the person, if one is needed.
    pub setup: Minute,
    /// Setup minutes when the operation before on the machine had the same setup key.
    pub setup_same_key: Minute,
    /// Run minutes.
    pub run: Minute,
    /// The first minutes of the run that the person must attend, at most `run`.
    pub attended: Minute,
}

/// A decision that is not the engine's to take: the operation has started, or somebody pinned it.
///
/// Its whole stay on the machine is given, so what stood on the table before does not shorten it. What begins at the
/// origin or before it has been started and is a fact, whoever does it and at whatever hour: a lathe does get started
/// by the apprentice on a Saturday. What begins later is pinned, and can still be wrong: its person must have the skill,
/// and machine and person must be at work when it begins and when their part of it ends, throughout if it may not pause.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fixed {
    /// Index into the operation's modes.
    pub mode: usize,
    /// Who attends it.
    pub person: Option<usize>,
    /// Start of its setup; negative when it began before the origin.
    pub start: Minute,
    /// When the person is free again.
    pub attended_until: Minute,
    /// When the machine is free again and the next operation of the job may begin.
    pub end: Minute,
}

/// An operation of a job.
#[derive(Debug, Clone)]
pub struct Operation {
    /// The job it belongs to.
    pub job: usize,
    /// What is done, for people to read.
    pub name: String,
    /// The ways to do it; at least one.
    pub modes: Vec<Mode>,
    /// The people who can attend it (skill already looked up); empty when nobody is needed.
    pub people: Vec<usize>,
    /// What must be on the table; equal keys in succession save most of the setup.
    pub setup_key: Option<u32>,
    /// May stand half done on the machine while its calendars are closed.
    pub may_pause: bool,
    /// Started or pinned.
    pub fixed: Option<Fixed>,
    /// Coefficient of variation of its run time, for the futures.
    pub spread: f64,
}

/// One operation after another, with the time between them bounded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Link {
    /// The earlier operation.
    pub before: usize,
    /// The later operation.
    pub after: usize,
    /// Least elapsed minutes from the end of the one to the start of the other (curing, cooling).
    pub min_lag: Minute,
    /// Most elapsed minutes allowed between them (before it rusts, while it is hot).
    pub max_lag: Option<Minute>,
}

/// What is wanted of a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Goal {
    /// The last operation ends early: the goal of the classical instances.
    Makespan,
    /// In order: weighted lateness against the promises, setup minutes, work in progress.
    Promises,
}

/// Everything a plan is made for.
#[derive(Debug, Clone)]
pub struct Model {
    /// Machines.
    pub machines: Vec<Machine>,
    /// People.
    pub people: Vec<Person>,
    /// Jobs.
    pub jobs: Vec<Job>,
    /// Operations of all jobs.
    pub operations: Vec<Operation>,
    /// The order within jobs.
    pub links: Vec<Link>,
    /// Setup minutes from one key to another on any machine, where they differ from the operation's own.
    pub changeovers: BTreeMap<(u32, u32), Minute>,
    /// What is wanted.
    pub goal: Goal,
}

impl Model {
    /// A model with nothing in it.
    #[must_use]
    pub fn empty(goal: Goal) -> Self {
        Self {
            machines: Vec::new(),
            people: Vec::new(),
            jobs: Vec::new(),
            operations: Vec::new(),
            links: Vec::new(),
            changeovers: BTreeMap::new(),
            goal,
        }
    }

    /// Setup minutes of operation `op` in `mode` on a machine that last had `before` on its table.
    #[must_use]
    pub fn setup_after(&self, op: usize, mode: &Mode, before: Option<u32>) -> Minute {
        match (before, self.operations[op].setup_key) {
            (Some(a), Some(b)) if a == b => mode.setup_same_key,
            (Some(a), Some(b)) => self.changeovers.get(&(a, b)).copied().unwrap_or(mode.setup),
            _ => mode.setup,
        }
    }
}

/// Why a model cannot be planned.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ModelError {
    /// An index that points nowhere.
    #[error("there is no {what} number {index}")]
    Reference {
        /// Kind of thing.
        what: &'static str,
        /// The index.
        index: usize,
    },
    /// A fault of an operation.
    #[error("job {job}, operation {operation}: {what}")]
    Operation {
        /// Job name.
        job: String,
        /// Operation name.
        operation: String,
        /// What is wrong.
        what: &'static str,
    },
    /// A fault of a job.
    #[error("job {job}: {what}")]
    Job {
        /// Job name.
        job: String,
        /// What is wrong.
        what: &'static str,
    },
    /// The weights of all jobs together are out of range.
    #[error("the weights of all jobs together must be at most 5,000,000,000")]
    Weights,
    /// A changeover time out of range.
    #[error("a changeover time is negative or too long")]
    Changeover,
    /// An instance that could not be read.
    #[error("{0}")]
    Unreadable(String),
}
