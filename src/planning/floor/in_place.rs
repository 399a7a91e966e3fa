//! A plan carried over with everything left where it is that can be.
//!
//! A plan begins every operation as early as its order allows. So when one operation is put elsewhere, the work behind its
//! old place would close up, by some minutes each, and everybody's day would begin at other times for nothing. Here each
//! operation that can keep its start is held to it: it may come later, not sooner. What cannot keep its start is free.

use super::model::{FloorModel, arrival};
use super::snapshot::Floor;
use super::timetable::Timetable;
use crate::planning::engine::{
    model::{
        Link, Minute, Model, ModelError,
        plan::{Assignment, Plan},
        uncertainty::OperationCauses,
    },
    repair::match_up,
};

/// A plan in a model that has, behind the operations of the floor, one for each start that is held.
#[derive(Debug)]
pub struct Held {
    /// The model.
    pub model: Model,
    /// The plan.
    pub plan: Plan,
    /// Operations of the model without the holds.
    count: usize,
}

impl Held {
    /// A plan of the model with the holds as one of the model without.
    #[must_use]
    pub fn without_holds(&self, mut plan: Plan) -> Plan {
        plan.assignments.truncate(self.count);
        plan
    }
}

impl FloorModel {
    /// The plan of a timetable made earlier with everything left where it is that can be. Work that is new to it takes the
    /// gaps there are.
    ///
    /// # Errors
    /// When the model cannot be planned.
    pub fn in_place(&self, floor: &Floor, old: &Timetable) -> Result<Held, ModelError> {
        let (places, known) = self.places(floor, old);
        let starts: Vec<Option<Minute>> = places
            .assignments
            .iter()
            .zip(&known)
            .map(|(place, known)| known.then_some(place.start))
            .collect();
        let all = self.held_to(&starts, (&places, known.as_slice()))?;
        let moved = |at: usize, start: &Option<Minute>| {
            let now = all.plan.assignments.get(at);
            start.is_some_and(|start| now.is_none_or(|now| now.start != start))
        };
        let freed: Vec<Option<Minute>> = starts
            .iter()
            .enumerate()
            .map(|(at, start)| start.filter(|_| !moved(at, start)))
            .collect();
        if freed == starts {
            return Ok(all);
        }
        self.held_to(&freed, (&places, known.as_slice()))
    }

    /// As [`Self::in_place`], as a plan of this model.
    ///
    /// # Errors
    /// When the model cannot be planned.
    pub fn carry_over_in_place(&self, floor: &Floor, old: &Timetable) -> Result<Plan, ModelError> {
        let held = self.in_place(floor, old)?;
        let plan = held.plan.clone();
        Ok(held.without_holds(plan))
    }

    fn held_to(
        &self,
        starts: &[Option<Minute>],
        (places, known): (&Plan, &[bool]),
    ) -> Result<Held, ModelError> {
        let mut model = self.model.clone();
        let (mut places, mut known) = (places.clone(), known.to_vec());
        let count = model.operations.len();
        for (after, start) in starts.iter().enumerate() {
            let Some(operation) = model.operations.get(after) else {
                continue;
            };
            let Some(start) = start.filter(|start| *start > 0 && operation.fixed.is_none()) else {
                continue;
            };
            let before = model.operations.len();
            let job = operation.job;
            model
                .operations
                .push(arrival(job, "the start that is kept", start));
            model
                .uncertainty
                .operations
                .push(OperationCauses::default());
            model.links.push(Link {
                before,
                after,
                min_lag: 0,
                max_lag: None,
            });
            places.assignments.push(Assignment {
                mode: 0,
                person: None,
                start: 0,
                setup: 0,
                attended_until: 0,
                end: start,
            });
            known.push(true);
        }
        let plan = match_up(&model, &places, known)?;
        Ok(Held { model, plan, count })
    }
}
