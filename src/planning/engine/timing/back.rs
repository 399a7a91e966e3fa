//! Going back in a timing pass: an operation that comes too late for a longest lag puts off the one before, and what was placed
//! since is placed again.

use super::{Choice, Minute, NEVER, Timing};
use crate::planning::engine::model::build::{NO_MAX, NONE, Shop};

/// What stood in the state before an operation was placed, to go back to.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Before {
    machine_free: Minute,
    key: u32,
    person_free: Minute,
    excess: Minute,
}

impl Timing {
    /// What stands in the state where an operation is to be placed.
    pub fn before(&self, shop: &Shop, op: u32, choice: Choice) -> Before {
        let machine = shop.modes(op)[choice.mode as usize].machine as usize;
        let state = &self.state;
        Before {
            machine_free: state.machine_free.get(machine).copied().unwrap_or(0),
            key: state.table.get(machine).copied().unwrap_or(NONE),
            person_free: state
                .person_free
                .get(choice.person as usize)
                .copied()
                .unwrap_or(0),
            excess: self.excess,
        }
    }

    /// Takes the operation placed last out of the state.
    pub fn undo(&mut self, shop: &Shop, op: u32, choice: Choice, before: Before) {
        let machine = shop.modes(op)[choice.mode as usize].machine as usize;
        let state = &mut self.state;
        if let Some(free) = state.machine_free.get_mut(machine) {
            *free = before.machine_free;
        }
        if let Some(key) = state.table.get_mut(machine) {
            *key = before.key;
        }
        if let Some(free) = state.person_free.get_mut(choice.person as usize) {
            *free = before.person_free;
        }
        self.excess = before.excess;
    }

    /// When an operation comes later than a longest lag allows: the earlier one, which is put off and has to be placed
    /// again with all after it. With `last`, or where the earlier one is fixed, what is missed is added up instead.
    pub fn too_late(&mut self, shop: &Shop, op: u32, last: bool) -> Option<u32> {
        let start = self.times[op as usize].start;
        for l in shop.before(op) {
            if l.max == NO_MAX || start >= NEVER {
                continue;
            }
            let before = &self.times[l.op as usize];
            let excess = start - before.end - l.max;
            if excess > 0 {
                if last || shop.ops[l.op as usize].fixed {
                    self.excess += excess;
                } else {
                    self.lower[l.op as usize] = before.start + excess;
                    self.raised = true;
                    return Some(l.op);
                }
            }
        }
        None
    }
}
