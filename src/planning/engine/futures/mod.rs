//! What may become of a plan: its operations take other times than planned, people are absent, machines break down, and the
//! shop makes the best of it.
//!
//! What varies, and what it shares with what, is [`crate::estimating::variation`]'s; how a plan is carried out in a future
//! is `dispatch`'s. Future `k` of a seed is the same world in every plan and for every option.

pub mod buffers;
mod dispatch;
mod draws;
mod hours;
mod simulation;
#[cfg(test)]
mod tests;

use rand::Rng;

use crate::planning::engine::model::{Minute, Model, ModelError, build::Shop, plan::Plan};

pub(super) use dispatch::Dispatch;
pub(super) use simulation::Simulation;

/// When the jobs were done in each of many futures.
#[derive(Debug, Clone)]
pub struct Futures {
    /// By job, ascending.
    done: Vec<Vec<Minute>>,
    /// By future: how many jobs were late together; ascending.
    late: Vec<usize>,
}

impl Futures {
    /// The share of futures in which the job is done by then: the chance that a promise holds.
    #[must_use]
    pub fn chance_by(&self, job: usize, by: Minute) -> f64 {
        let done = &self.done[job];
        if done.is_empty() {
            return 0.0;
        }
        done.partition_point(|&d| d <= by) as f64 / done.len() as f64
    }

    /// The first minute by which the job is done in at least this share of the futures (0 to 1); `None` for a job
    /// without operations, or when its work ran past all calendars in too many of them.
    #[must_use]
    pub fn by_confidence(&self, job: usize, share: f64) -> Option<Minute> {
        let done = &self.done[job];
        let needed = (share.clamp(0.0, 1.0) * done.len() as f64).ceil() as usize;
        done.get(needed.max(1) - 1)
            .copied()
            .filter(|&d| d < crate::planning::engine::model::calendar::NEVER)
    }

    /// Completions of a job in all futures, ascending.
    #[must_use]
    pub fn done(&self, job: usize) -> &[Minute] {
        &self.done[job]
    }

    /// In this share of futures (0 to 1), the worst of them, at least so many jobs are late together. Jobs share what
    /// makes them late, so this is more than chances that add up would say.
    #[must_use]
    pub fn late_together(&self, worst: f64) -> usize {
        let better = ((1.0 - worst.clamp(0.0, 1.0)) * self.late.len() as f64).ceil() as usize;
        let last = self.late.len().saturating_sub(1);
        self.late.get(better.min(last)).copied().unwrap_or(0)
    }
}

/// What really happens to a plan, known to whoever simulates a shop and to nobody in it.
#[derive(Debug, Clone, Default)]
pub struct Actual {
    /// By operation: run over the time planned, without the person's part; of started work (one that has
    /// [`OperationCauses::whole`]), the minutes left.
    ///
    /// [`OperationCauses::whole`]: super::model::uncertainty::OperationCauses::whole
    pub run: Vec<f64>,
    /// By operation: setup over the time planned, without the person's part.
    pub setup: Vec<f64>,
    /// By person: what their work takes over others'.
    pub person: Vec<f64>,
    /// By person: when they are not there although their hours say so; in order, apart.
    pub absent: Vec<Vec<(Minute, Minute)>>,
    /// By machine: when it is down.
    pub down: Vec<Vec<(Minute, Minute)>>,
}

/// What an operation really took.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Done {
    /// The machine; `None` for work sent out.
    pub machine: Option<usize>,
    /// Who attended it.
    pub person: Option<usize>,
    /// When it began.
    pub start: Minute,
    /// When the person was free again.
    pub attended_until: Minute,
    /// When it was over.
    pub end: Minute,
    /// Working minutes; for work sent out, minutes. For started work, those that were left.
    pub minutes: Minute,
}

/// Carries a plan out with what really happens, as a shop does it that does not plan again meanwhile.
///
/// # Errors
/// When the model cannot be planned, or plan and actual figures are not of its size.
pub fn carry_out(model: &Model, plan: &Plan, actual: &Actual) -> Result<Vec<Done>, ModelError> {
    let shop = Shop::build(model)?;
    let n = shop.ops.len();
    let sizes = [plan.assignments.len(), actual.run.len(), actual.setup.len()];
    let people = [actual.person.len(), actual.absent.len()];
    if sizes != [n; 3]
        || people != [model.people.len(); 2]
        || actual.down.len() != model.machines.len()
    {
        return Err(ModelError::Unreadable(
            "plan and figures must be those of the model".into(),
        ));
    }
    let mut dispatch = Dispatch::new(model, &shop, plan, 0);
    dispatch.draws.run.clone_from(&actual.run);
    dispatch.draws.setup.clone_from(&actual.setup);
    dispatch.draws.person.clone_from(&actual.person);
    dispatch.draws.absent.clone_from(&actual.absent);
    dispatch.draws.down.clone_from(&actual.down);
    dispatch.carry_out();
    let within = |at: u32, count: usize| (at as usize).lt(&count).then_some(at as usize);
    Ok(dispatch
        .stays
        .iter()
        .map(|stay| Done {
            machine: within(stay.machine, model.machines.len()),
            person: within(stay.person, model.people.len()),
            start: stay.start,
            attended_until: stay.attended_until,
            end: stay.end,
            minutes: stay.minutes,
        })
        .collect())
}

/// Runs a plan through `count` futures; the generator chooses which.
///
/// # Errors
/// When the model cannot be planned, or the plan is not one of it.
pub fn futures(
    model: &Model,
    plan: &Plan,
    count: usize,
    rng: &mut impl Rng,
) -> Result<Futures, ModelError> {
    let shop = Shop::build(model)?;
    if plan.assignments.len() != shop.ops.len() {
        return Err(ModelError::Unreadable(
            "the plan is not one of this model".into(),
        ));
    }
    Ok(run(model, &shop, plan, count, rng))
}

/// Runs a plan through futures.
pub(crate) fn run(
    model: &Model,
    shop: &Shop,
    plan: &Plan,
    count: usize,
    rng: &mut impl Rng,
) -> Futures {
    let mut dispatch = Dispatch::new(model, shop, plan, rng.next_u64());
    let mut done = vec![Vec::with_capacity(count); shop.jobs.len()];
    let mut late = Vec::with_capacity(count);
    for k in 0..count as u64 {
        dispatch.play(k);
        let mut together = 0;
        for (job, done) in shop.jobs.iter().zip(&mut done) {
            let ends = shop.sinks(job).iter();
            if let Some(end) = ends.map(|&op| dispatch.stays[op as usize].end).max() {
                done.push(end);
                together += usize::from(end > job.due);
            }
        }
        late.push(together);
    }
    for done in &mut done {
        done.sort_unstable();
    }
    late.sort_unstable();
    Futures { done, late }
}
