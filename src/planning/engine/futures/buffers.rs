//! A plan that keeps promises in futures and not only on paper.
//!
//! A plan is made with the times expected. One that is only just in time by these is late in about half of all futures, and
//! a search that sees no lateness there gives the room that a promise was given with to other work. So before it searches,
//! each promise is brought forward by what its job may take longer, at the confidence it was given with, than it is planned
//! to take: its buffer. The buffer is looked at anew in each plan, so it shrinks as the work gets done and less is left to
//! go wrong. (Buffers before due dates: Goldratt 1997, "Critical chain", from memory; drawn from the futures here.)

use super::Futures;
use crate::planning::engine::model::{Minute, Model, calendar::NEVER, plan::Plan};

/// The completion of each job in a plan; `None` for those without operations.
fn planned(model: &Model, plan: &Plan) -> Vec<Option<Minute>> {
    let mut done = vec![None; model.jobs.len()];
    for (op, assigned) in model.operations.iter().zip(&plan.assignments) {
        done[op.job] = done[op.job].max(Some(assigned.end));
    }
    done
}

/// The model to search in from a plan, so that each job that `protects` holds its promise in `confidence` (0 to 1) of
/// futures: the same with those promises brought forward by their buffers. `futures` are those of the plan.
#[must_use]
pub fn with_buffers(
    model: &Model,
    plan: &Plan,
    futures: &Futures,
    confidence: f64,
    protects: impl Fn(usize) -> bool,
) -> Model {
    let mut aim = model.clone();
    for (j, (job, planned)) in aim.jobs.iter_mut().zip(planned(model, plan)).enumerate() {
        if let (Some(due), Some(planned)) = (job.due, planned)
            && planned < NEVER
            && protects(j)
            && let Some(sure) = futures.by_confidence(j, confidence)
        {
            job.due = Some(due - (sure - planned).max(0));
        }
    }
    aim
}

/// Weighted lateness of a plan in a model, whichever it was searched in: Σ weight × minutes after the promise.
#[must_use]
pub fn lateness(model: &Model, plan: &Plan) -> Minute {
    let jobs = model.jobs.iter().zip(planned(model, plan));
    jobs.filter_map(|(job, planned)| Some(job.weight * (planned? - job.due?).max(0)))
        .sum()
}
