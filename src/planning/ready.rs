//! When a job that is not in the plan yet would be ready: one interface, whatever answers it.

use crate::estimating::variation::{Shares, World, Worlds};
use chrono::{DateTime, Utc};

/// One operation of a candidate job.
#[derive(Debug, Clone, PartialEq)]
pub struct CandidateOperation {
    /// Route number.
    pub number: u32,
    /// The kind of machine it needs; not looked at for work sent out.
    pub machine_kind: String,
    /// The skill it needs.
    pub skill: String,
    /// What must be on the table.
    pub setup_key: String,
    /// Indices of the operations that must be done before.
    pub after: Vec<usize>,
    /// Share of its working time, setup included, that a person attends, from its start; from 0 to 1. The machine then
    /// runs on unattended.
    pub attended_share: f64,
    /// Calendar days away, for work sent out; it then needs no machine of the shop's.
    pub outside_days: Option<u32>,
}

/// A job that is not in the plan yet.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Its operations.
    pub operations: Vec<CandidateOperation>,
}

impl Candidate {
    /// Indices of its operations in an order in which each comes after those it waits for, the order given kept where
    /// it may be. `None` when they wait for each other in a circle or for one that is not there.
    #[must_use]
    pub fn order(&self) -> Option<Vec<usize>> {
        let mut placed = vec![false; self.operations.len()];
        let mut order = Vec::with_capacity(placed.len());
        while order.len() < placed.len() {
            let next = self.operations.iter().enumerate().position(|(i, op)| {
                placed.get(i) == Some(&false)
                    && op
                        .after
                        .iter()
                        .all(|&before| placed.get(before) == Some(&true))
            })?;
            *placed.get_mut(next)? = true;
            order.push(next);
        }
        Some(order)
    }
}

/// Something that can say when a candidate would be ready.
pub trait ReadyDates {
    /// Ready times, one per future.
    ///
    /// `release[k]` is when the work can start in future `k` (a donor on the shelf now, a hunted block when it comes);
    /// `minutes[k * n + i]` is the working time of operation `i` of `n` in future `k`, setup included.
    /// A future in which the horizon ends before the job does gives `None`.
    fn ready(
        &self,
        candidate: &Candidate,
        release: &[DateTime<Utc>],
        minutes: &[f64],
    ) -> Vec<Option<DateTime<Utc>>>;

    /// Future `k` of those that the dates are of: what is drawn for the candidate in it is drawn in that world.
    fn world(&self, k: usize) -> World {
        Worlds::new(0, Shares::default()).world(k as u64)
    }

    /// Those who have a skill, by the numbers that they have in these worlds.
    fn able(&self, _skill: &str) -> Vec<u64> {
        Vec::new()
    }

    /// Kinds of machine and skills that the candidate needs and the shop has none of, by name: then no date can be given at all.
    fn missing(&self, candidate: &Candidate) -> Vec<String>;
}

/// Whether someone has a skill: the same word, whatever the case.
#[must_use]
pub fn has_skill(skills: &[String], skill: &str) -> bool {
    let wanted = skill.trim().to_lowercase();
    skills.iter().any(|has| has.trim().to_lowercase() == wanted)
}
