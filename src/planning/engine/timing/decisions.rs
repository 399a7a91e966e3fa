//! What the search decides: an order of all operations, and a mode and a person for each.

use crate::planning::engine::model::{
    build::{NONE, Shop},
    plan::Plan,
};

/// Mode and person of an operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Choice {
    pub mode: u32,
    pub person: u32,
}

/// Decisions: everything the search decides.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Decisions {
    /// All operations that are not fixed, in an order that respects the links.
    pub order: Vec<u32>,
    pub choice: Vec<Choice>,
}

impl Decisions {
    /// Becomes the same as others of its size.
    pub fn copy(&mut self, other: &Self) {
        self.order.copy_from_slice(&other.order);
        self.choice.copy_from_slice(&other.choice);
    }

    /// The decisions a plan was made by, or others that time to the same: operations by their starts.
    pub fn of_plan(shop: &Shop, plan: &Plan) -> Self {
        let mut order: Vec<u32> = shop.topological();
        order.retain(|&i| !shop.ops[i as usize].fixed);
        // Stable, so that links keep their order among operations that take no time.
        order.sort_by_key(|&i| {
            let a = &plan.assignments[i as usize];
            (a.start, a.end)
        });
        let choice = plan
            .assignments
            .iter()
            .enumerate()
            .map(|(i, a)| Choice {
                mode: a.mode as u32,
                person: match a.person {
                    Some(p) => p as u32,
                    None => shop.people(i as u32).first().copied().unwrap_or(NONE),
                },
            })
            .collect();
        Self { order, choice }
    }
}
