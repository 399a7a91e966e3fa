//! Late jobs and the waits on their critical chains.

use rand::Rng;

use super::Moves;
use crate::planning::engine::{
    model::{Goal, Minute, build::Shop},
    random::below,
};

impl Moves {
    /// A job that costs something, drawn by what it costs; any when none does, and now and then in any case.
    pub(super) fn costly_job(&mut self, shop: &Shop, rng: &mut impl Rng) -> Option<u32> {
        if self.costly_draws == 0 {
            self.look_for_costly(shop);
            self.costly_draws = shop.jobs.len().div_ceil(16);
        }
        self.costly_draws -= 1;
        match self.costly.last() {
            Some(&(sum, _)) if below(rng, 8) > 0 => {
                let draw = rng.next_u64() % sum;
                let k = self.costly.partition_point(|c| c.0 <= draw);
                self.costly.get(k).map(|c| c.1)
            }
            _ => {
                let op = self.movable[below(rng, self.movable.len() as u32) as usize];
                Some(shop.ops[op as usize].job)
            }
        }
    }

    fn look_for_costly(&mut self, shop: &Shop) {
        self.costly.clear();
        let done = self.timing.all_done();
        let last = done.iter().copied().max().unwrap_or(0);
        let mut sum: u64 = 0;
        for (j, job) in shop.jobs.iter().enumerate() {
            let cost = match shop.goal {
                Goal::Promises => job.late(done[j]),
                Goal::Makespan => Minute::from(done[j] == last),
            };
            if cost > 0 {
                // The square root evens the odds a little between a very late job and a few late ones.
                sum += (cost as f64).sqrt().ceil() as u64;
                self.costly.push((sum, j as u32));
            }
        }
    }

    /// Walks back from the job's end; the chain holds pairs (operation, the one it waited for on machine or person).
    pub(super) fn walk_chain(&mut self, shop: &Shop, job: u32) {
        self.chain.clear();
        let times = &self.timing.times;
        let last = shop
            .sinks(&shop.jobs[job as usize])
            .iter()
            .copied()
            .max_by_key(|&op| times[op as usize].end);
        let Some(mut op) = last else { return };
        while !shop.ops[op as usize].fixed {
            let mut until = shop.ops[op as usize].release;
            let (mut by, mut resource) = (None, false);
            for l in shop.before(op) {
                let ready = times[l.op as usize].end + l.min;
                if ready >= until {
                    (until, by) = (ready, Some(l.op));
                }
            }
            if let Some(b) = self.timing.machine_before(op)
                && times[b as usize].end > until
            {
                (until, by, resource) = (times[b as usize].end, Some(b), true);
            }
            if let Some(b) = self.timing.person_before(op)
                && times[b as usize].attended_until > until
            {
                (by, resource) = (Some(b), true);
            }
            let Some(b) = by else { return };
            if resource {
                self.chain.push((op, b));
            }
            op = b;
        }
    }
}
