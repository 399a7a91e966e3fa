//! Latest starts: what a delay will cost, estimated before it is timed to its end.
//!
//! In the accepted order every operation has a latest start: begun later than that, some job comes late or later. These
//! are the tails of the disjunctive graph, seen from each job's own promise (Mati, Dauzère-Pérès and Lahlou 2011),
//! found in one pass backwards over links and machines. A hopeless move shows at the first operations it puts off: in a
//! week of work after less than half as many as it takes to reach the ends of enough jobs. People who can be replaced
//! are left out: a delay stops at them more often than not.
//!
//! All is counted in the minutes in which anybody works. In elapsed time, an operation put off past the end of a shift
//! loses a night, and one that was already past it loses nothing, so latest starts would be wrong by nights.

use super::chains::{MACHINE, PERSON};
use super::{Decisions, Timing};
use crate::planning::engine::model::{
    Goal, Minute,
    build::{NONE, Shop},
};

/// When an operation has to begin, in working minutes, and what each minute after that costs.
#[derive(Debug, Clone, Copy)]
pub(super) struct Latest {
    start: Minute,
    weight: Minute,
}

impl Latest {
    /// Nothing is lost whenever it begins.
    pub const NEVER_LATE: Self = Self {
        start: Minute::MAX / 2,
        weight: 0,
    };

    /// The one that comes first.
    fn earlier_of(self, other: Self) -> Self {
        if other.start < self.start {
            other
        } else {
            self
        }
    }
}

impl Timing {
    /// Finds the latest starts in the order last timed, where moves are broken off by them.
    pub fn find_latest_starts(&mut self, shop: &Shop, d: &Decisions) {
        if shop.goal != Goal::Promises || shop.has_max_lags {
            return;
        }
        let clock = &shop.attended_hours;
        for &op in d.order.iter().rev() {
            let o = &shop.ops[op as usize];
            let mut by = self.first_latest_start(shop, op, |_| true);
            let job = &shop.jobs[o.job as usize];
            if o.sink && job.due < Minute::MAX {
                let due = job.due.max(self.all_done()[o.job as usize]);
                by = by.earlier_of(Latest {
                    start: clock.open_before(due),
                    weight: job.weight,
                });
            }
            let t = &self.times[op as usize];
            by.start -= clock.open_before(t.end) - clock.open_before(t.start);
            self.latest[op as usize] = by;
        }
    }

    /// What it costs, by the latest starts behind it, that an operation ends then. What the move itself has moved is
    /// passed over, since its latest start is that of its old place.
    #[inline]
    pub(super) fn expected_loss(&self, shop: &Shop, op: u32, end: Minute, moved: &[u32]) -> Minute {
        let by = self.first_latest_start(shop, op, |next| !moved.contains(&next));
        (shop.attended_hours.open_before(end) - by.start).max(0) * by.weight
    }

    /// The first latest start of all that waits for an operation.
    #[inline]
    fn first_latest_start(&self, shop: &Shop, op: u32, holds: impl Fn(u32) -> bool) -> Latest {
        let node = &self.chains.nodes[op as usize];
        let mut by = Latest::NEVER_LATE;
        let mut meet = |next: u32| {
            if holds(next) {
                by = by.earlier_of(self.latest[next as usize]);
            }
        };
        for l in shop.after(op) {
            meet(l.op);
        }
        let [on_machine, with_person] = [node.after[MACHINE], node.after[PERSON]];
        if on_machine != NONE {
            meet(on_machine);
        }
        let t = &self.times[op as usize];
        if with_person != NONE && t.attended_until == t.end && shop.people(with_person).len() < 2 {
            meet(with_person);
        }
        by
    }
}
