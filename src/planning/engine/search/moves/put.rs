//! One operation to another place in the order, with those it waits for and those that wait for it.

use super::Moves;
use crate::planning::engine::model::{Minute, build::Shop};

impl Moves {
    /// Puts an operation before the one at place `to`, and with it those that it waits for, or that wait for it.
    ///
    /// With `follow`, the operations after it go to where they would then begin: on other machines an operation that
    /// comes late would hold up all behind it, and one that could come early is often held up itself.
    pub(super) fn put(&mut self, shop: &Shop, op: u32, to: usize, follow: bool) -> bool {
        let at = self.timing.place_of(op);
        if to == at || to == at + 1 || shop.ops[op as usize].fixed {
            return false;
        }
        self.goals.clear();
        self.goals.push((to, at, op));
        if to < at {
            let mut k = 0;
            while let Some(&(_, _, x)) = self.goals.get(k) {
                k += 1;
                for l in shop.before(x) {
                    if !shop.ops[l.op as usize].fixed && self.timing.place_of(l.op) >= to {
                        self.aim(l.op, to);
                    }
                }
            }
            if follow {
                self.followers_earlier(shop, op, to);
            }
        } else {
            self.followers_later(shop, follow);
        }
        self.rearrange()
    }

    /// Gives an operation a place to go to, if it has none yet.
    fn aim(&mut self, op: u32, to: usize) {
        if !self.goals.iter().any(|g| g.2 == op) {
            self.goals.push((to, self.timing.place_of(op), op));
        }
    }

    /// The first place at which operations start at `time` or later, if the order were sorted by starts.
    fn place_at(&self, time: Minute) -> usize {
        let times = &self.timing.times;
        let order = &self.decisions.order;
        order.partition_point(|&x| times[x as usize].start < time)
    }

    /// When an operation would end, put before the one that is now at place `to`.
    fn end_at(&self, op: u32, to: usize) -> Minute {
        let t = &self.timing.times[op as usize];
        let there = self.decisions.order.get(to).or(self.decisions.order.last());
        let start = there.map_or(t.start, |&x| self.timing.times[x as usize].start);
        start + t.end - t.start
    }

    /// What waits for `op`, one after another, comes earlier with it as long as that is a gain.
    fn followers_earlier(&mut self, shop: &Shop, op: u32, to: usize) {
        let (mut x, mut x_to) = (op, to);
        while let [l] = shop.after(x) {
            let place = self.timing.place_of(l.op);
            if shop.ops[l.op as usize].fixed {
                return;
            }
            let mut goal = self.place_at(self.end_at(x, x_to) + l.min).max(x_to);
            for b in shop.before(l.op) {
                if b.op != x && !shop.ops[b.op as usize].fixed {
                    goal = goal.max(self.timing.place_of(b.op) + 1);
                }
            }
            if goal >= place {
                return;
            }
            self.aim(l.op, goal);
            (x, x_to) = (l.op, goal);
        }
    }

    /// What waits for operations that come later comes later with them, where it must or else would hold up others.
    fn followers_later(&mut self, shop: &Shop, follow: bool) {
        let mut done = 0;
        while done < self.goals.len() {
            // By old places, so that all an operation waits for has its goal before it.
            let rest = &mut self.goals[done..];
            rest.sort_unstable_by_key(|g| g.1);
            let (to, _, x) = rest[0];
            done += 1;
            for l in shop.after(x) {
                if shop.ops[l.op as usize].fixed {
                    continue;
                }
                let mut goal = to;
                if follow {
                    goal = goal.max(self.place_at(self.end_at(x, to) + l.min));
                }
                let place = self.timing.place_of(l.op);
                if goal <= place {
                    continue;
                }
                match self.goals.iter_mut().find(|g| g.2 == l.op) {
                    Some(known) => known.0 = known.0.max(goal),
                    None => self.goals.push((goal, place, l.op)),
                }
            }
        }
    }

    /// Puts every operation with a goal before what is now at that place.
    fn rearrange(&mut self) -> bool {
        let goals = &mut self.goals;
        goals.sort_unstable_by_key(|g| g.1);
        self.moved.extend(goals.iter().map(|g| g.2));
        goals.sort_unstable();
        let lo = goals.iter().map(|g| g.0.min(g.1)).min().unwrap_or(0);
        let hi = goals.iter().map(|g| g.0.max(g.1 + 1)).max().unwrap_or(0);
        self.window = (lo, hi);
        let order = &mut self.decisions.order;
        self.undo_order.extend_from_slice(&order[lo..hi]);
        for &op in &self.moved {
            self.marked[op as usize] = true;
        }
        let mut write = lo;
        let mut next = 0;
        for (k, &op) in self.undo_order.iter().enumerate() {
            while let Some(g) = goals.get(next).filter(|g| g.0 <= lo + k) {
                order[write] = g.2;
                write += 1;
                next += 1;
            }
            if !self.marked[op as usize] {
                order[write] = op;
                write += 1;
            }
        }
        for g in &goals[next..] {
            order[write] = g.2;
            write += 1;
        }
        for &op in &self.moved {
            self.marked[op as usize] = false;
        }
        if order[lo..hi] == self.undo_order[..] {
            self.undo_order.clear();
            self.moved.clear();
            self.window = (0, 0);
            return false;
        }
        true
    }
}
