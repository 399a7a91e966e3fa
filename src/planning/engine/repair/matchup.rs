//! An old plan timed again with as little moved as possible: match-up (Bean, Birge, Mittenthal and Noon 1991,
//! from memory).
//!
//! A machine that stands still for a morning moves what was on it and what follows that in its jobs. Whatever else can
//! keep its place keeps it: an operation that cannot goes into the first gap behind it, or pushes what stands behind it
//! on its machine, or simply goes when machine and person are next free. Which of them does least harm is found by
//! trying.

use crate::planning::engine::{
    futures::Simulation,
    model::{
        Minute,
        build::{FlatMode, JobGoal, NONE, Shop},
        calendar::NEVER,
        fit::earliest_fit,
        plan::{LATEST, Plan},
    },
    timing::{Choice, Decisions, Timing},
};

/// What a minute weighs by which work comes at another time that has nothing to do with what happened; work on a
/// machine that it happened to weighs one. Common practice, no source.
const UNAFFECTED_WEIGHT: Minute = 10;

/// Which operations that are put off push those behind them on their machine; the others look for a gap.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Pushing {
    /// None.
    None,
    /// Those that their own hours put off, on their own machine.
    Affected,
    /// All.
    All,
}

/// An old plan in a model that may have changed since.
#[derive(Debug)]
pub(super) struct MatchUp {
    /// Old starts by operation; what is fixed is where it is.
    starts: Vec<Minute>,
    /// By operation: it was in the old plan.
    known: Vec<bool>,
    /// Setups in the old order.
    setups: Vec<Minute>,
    /// Machines with an operation that cannot be where it was to be, or takes longer than was left for it.
    affected: Vec<bool>,
    /// Something was to begin before now: the clock has overtaken the plan.
    overtaken: bool,
    /// By job: how late it was, in minutes.
    late: Vec<Minute>,
    /// By operation: nothing happened to its job, and none of its job's work is on such a machine.
    unaffected: Vec<bool>,
}

/// A stay on a machine, or with a person.
#[derive(Debug, Clone, Copy)]
struct Stay {
    start: Minute,
    end: Minute,
    op: u32,
}

/// What a machine or person is taken for: what is settled, and what may still be put off.
#[derive(Debug, Clone, Default)]
struct Occupancy {
    settled: Vec<Stay>,
    ahead: Vec<Stay>,
}

/// The end of the stay that one from `start` to `end` meets.
fn clash(stays: &[Stay], start: Minute, end: Minute) -> Option<Minute> {
    let next = stays.partition_point(|s| s.end <= start);
    stays.get(next).filter(|s| s.start < end).map(|s| s.end)
}

impl Occupancy {
    fn settle(&mut self, stay: Stay) {
        let at = self.settled.partition_point(|s| s.end < stay.end);
        self.settled.insert(at, stay);
    }

    /// The end of the settled stay that one from `start` to `end` meets.
    fn settled_until(&self, start: Minute, end: Minute) -> Option<Minute> {
        clash(&self.settled, start, end)
    }

    fn leave(&mut self, op: u32) {
        self.ahead.retain(|s| s.op != op);
    }
}

/// An operation as it would be at its old start, or behind it.
#[derive(Debug, Clone, Copy)]
struct Place {
    start: Minute,
    attended_until: Minute,
    end: Minute,
}

/// The earliest place from a minute on by the hours alone.
fn place(
    shop: &Shop,
    op: u32,
    choice: Choice,
    mode: &FlatMode,
    setup: Minute,
    from: Minute,
) -> Place {
    let attended = if choice.person == NONE {
        0
    } else {
        setup + mode.attended.min(mode.run)
    };
    let alone = setup + mode.run - attended;
    let (start, attended_until, end) = earliest_fit(
        shop,
        mode.machine,
        choice.person,
        shop.ops[op as usize].may_pause,
        from,
        attended,
        alone,
    );
    Place {
        start,
        attended_until,
        end,
    }
}

impl MatchUp {
    /// Looks at an old plan; `decisions` are its order and choices in this model, `known` says which operations it has.
    pub fn new(shop: &Shop, old: &Plan, known: Vec<bool>, decisions: &Decisions) -> Self {
        let starts: Vec<Minute> = (0..shop.ops.len())
            .map(|i| match shop.fixed[i] {
                Some(fixed) => fixed.start,
                None => old.assignments.get(i).map_or(NEVER, |a| a.start.min(NEVER)),
            })
            .collect();
        let mut new = Self {
            starts,
            known,
            setups: setups(shop, decisions),
            affected: vec![false; shop.machines()],
            overtaken: false,
            late: Vec::new(),
            unaffected: Vec::new(),
        };
        let mut jobs = vec![false; shop.jobs.len()];
        let mut ends: Vec<Minute> = shop.fixed.iter().map(|f| f.map_or(0, |f| f.end)).collect();
        // What was on each machine and with each person last, and until when.
        let mut last: Vec<Option<(u32, Minute)>> = vec![None; shop.machines() + shop.people_count];
        // None where the work is on no machine, outside the shop.
        let machine_of = |op: u32| {
            let choice = decisions.choice[op as usize];
            let machine = shop.modes(op)[choice.mode as usize].machine as usize;
            (machine < shop.machines()).then_some(machine)
        };
        for &op in &decisions.order {
            if !new.known[op as usize] {
                continue;
            }
            let start = new.starts[op as usize];
            new.overtaken |= start < 0;
            let (choice, at) = new.at_old_start(shop, decisions, op);
            ends[op as usize] = at.end;
            let person = (choice.person != NONE).then(|| shop.machines() + choice.person as usize);
            let mut at_fault = (at.start != start).then_some(op);
            for (resource, until) in [(machine_of(op), at.end), (person, at.attended_until)] {
                let Some(last) = resource.and_then(|r| last.get_mut(r)) else {
                    continue;
                };
                let late = last.filter(|(_, end)| *end > start && until > start);
                at_fault = at_fault.or(late.map(|(before, _)| before));
                *last = Some((op, until));
            }
            let late = shop
                .before(op)
                .iter()
                .find(|l| ends[l.op as usize] + l.min > start);
            at_fault = at_fault.or(late.map(|l| if new.known[l.op as usize] { l.op } else { op }));
            if let Some(op) = at_fault {
                jobs[shop.ops[op as usize].job as usize] = true;
                if let Some(machine) = machine_of(op) {
                    new.affected[machine] = true;
                }
            }
        }
        let mut done = vec![Minute::MIN; shop.jobs.len()];
        for (op, &end) in shop.ops.iter().zip(&ends) {
            let done = &mut done[op.job as usize];
            *done = end.max(*done);
        }
        new.late = minutes_late(shop, |job| Some(done[job as usize]));
        for &op in &decisions.order {
            if machine_of(op).is_some_and(|machine| new.affected[machine]) {
                jobs[shop.ops[op as usize].job as usize] = true;
            }
        }
        new.unaffected = shop.ops.iter().map(|op| !jobs[op.job as usize]).collect();
        new
    }

    /// An operation at its old start, or as soon after it as the hours allow.
    fn at_old_start(&self, shop: &Shop, decisions: &Decisions, op: u32) -> (Choice, Place) {
        let choice = decisions.choice[op as usize];
        let mode = &shop.modes(op)[choice.mode as usize];
        let from = shop.ops[op as usize].release.max(self.starts[op as usize]);
        (
            choice,
            place(shop, op, choice, mode, self.setups[op as usize], from),
        )
    }

    /// Minutes by which operations begin at another time than they were to, those of unaffected jobs counted more.
    pub fn disturbance(&self, timing: &Timing) -> Minute {
        let all = self.starts.iter().zip(&timing.times).enumerate();
        let known = all.filter(|(i, _)| self.known[*i]);
        let weighed = known.map(|(i, (&was, now))| {
            let by = (now.start.min(NEVER) - was.clamp(-NEVER, NEVER)).abs();
            by * if self.unaffected[i] {
                UNAFFECTED_WEIGHT
            } else {
                1
            }
        });
        weighed.sum()
    }

    /// Minutes by which unaffected operations begin later. Not counted when something should have begun before now: a
    /// short delay is then better shared by all than borne by one operation that loses its place.
    fn unaffected_delay(&self, timing: &Timing) -> Minute {
        if self.overtaken {
            return 0;
        }
        let all = self.starts.iter().zip(&timing.times).enumerate();
        let theirs = all.filter(|(i, _)| self.known[*i] && self.unaffected[*i]);
        let later = theirs.map(|(_, (&was, now))| (now.start.min(NEVER) - was).max(0));
        later.sum()
    }

    /// Minutes by which jobs come later behind their promises than they did, each weighed. What others gain by it does
    /// not make up for that.
    pub fn added_lateness(
        &self,
        shop: &Shop,
        timing: &Timing,
        weigh: impl Fn(&JobGoal) -> Minute,
    ) -> Minute {
        let now = minutes_late(shop, |job| timing.done(shop, job));
        let jobs = shop.jobs.iter().zip(now.iter().zip(&self.late));
        jobs.map(|(job, (now, was))| weigh(job) * (now - was).max(0))
            .sum()
    }

    /// The old plan in the new model: of the ways to put off what must be put off, the one that adds least
    /// lateness, and of those the one that disturbs least. Leaves `timing` at it.
    pub fn settle(&self, shop: &Shop, decisions: Decisions, timing: &mut Timing) -> Decisions {
        let mut judge = |d: &Decisions| {
            let value = timing.once(shop, d);
            let added_lateness = self.added_lateness(shop, timing, |_| 1);
            (
                value.broken,
                added_lateness,
                self.unaffected_delay(timing),
                self.disturbance(timing),
            )
        };
        let mut best = (judge(&decisions), decisions.clone());
        // Where nothing happened the old order is the plan; and longest lags tie operations together.
        let happened = self.unaffected.contains(&false) || self.known.contains(&false);
        if happened && !shop.has_max_lags {
            let put_off = [Pushing::None, Pushing::Affected, Pushing::All]
                .map(|pushes| self.put_off(shop, &decisions, pushes));
            let replayed = self.replayed(shop, &decisions);
            for other in put_off.into_iter().chain([replayed]) {
                let worth = judge(&other);
                if worth < best.0 {
                    best = (worth, other);
                }
            }
        }
        timing.once(shop, &best.1);
        best.1
    }

    /// Every operation at its old start, or as soon after it as possible: one that cannot begin in its turn holds up no
    /// other.
    fn replayed(&self, shop: &Shop, decisions: &Decisions) -> Decisions {
        let mut timing = Timing::new(shop);
        Simulation::of_starts(self.starts.iter().copied(), decisions).replay(shop, &mut timing);
        let mut order = decisions.order.clone();
        order.sort_by_key(|&op| timing.times[op as usize].start);
        Decisions {
            order,
            choice: decisions.choice.clone(),
        }
    }

    /// Every operation at its old start where that can be; the others as early as the gaps, or the pushing, allow.
    fn put_off(&self, shop: &Shop, decisions: &Decisions, pushes: Pushing) -> Decisions {
        let machines = shop.machines();
        let mut taken = self.taken(shop, decisions);
        // Ends and new starts of what is settled.
        let mut ends: Vec<Minute> = shop.fixed.iter().map(|f| f.map_or(0, |f| f.end)).collect();
        let mut starts = self.starts.clone();
        let nothing = Occupancy::default();
        for &op in &decisions.order {
            let (choice, mut at) = self.at_old_start(shop, decisions, op);
            let mode = &shop.modes(op)[choice.mode as usize];
            let on = Some(mode.machine as usize).filter(|&m| m < machines);
            let with = (choice.person != NONE).then(|| machines + choice.person as usize);
            for resource in on.into_iter().chain(with) {
                taken[resource].leave(op);
            }
            let both = [on, with].map(|r| r.map_or(&nothing, |r| &taken[r]));
            let links = shop.before(op).iter();
            let ready = links
                .map(|l| ends[l.op as usize] + l.min)
                .fold(shop.ops[op as usize].release, Minute::max);
            let keeps = self.known[op as usize]
                && at.start == self.starts[op as usize]
                && ready <= at.start
                && both[0].settled_until(at.start, at.end).is_none()
                && both[1].settled_until(at.start, at.attended_until).is_none();
            if !keeps {
                let pushes = match pushes {
                    Pushing::None => false,
                    Pushing::Affected => on.is_some_and(|m| self.affected[m]),
                    Pushing::All => true,
                };
                at = first_gap(shop, op, (choice, mode), both, ready, pushes);
            }
            ends[op as usize] = at.end;
            starts[op as usize] = at.start;
            let spared = if keeps {
                (mode.setup - self.setups[op as usize]).max(0)
            } else {
                0
            };
            let mut settle = |resource: usize, start: Minute, end: Minute| {
                if at.start < end {
                    taken[resource].settle(Stay { start, end, op });
                }
            };
            if let Some(m) = on {
                settle(m, at.start - spared, at.end);
            }
            if let Some(p) = with {
                settle(p, at.start, at.attended_until);
            }
        }
        let mut order = decisions.order.clone();
        // Stable: what waits for work that takes no time stays behind it.
        order.sort_by_key(|&op| starts[op as usize]);
        Decisions {
            order,
            choice: decisions.choice.clone(),
        }
    }

    /// What machines and then people are taken for: by fixed work, and by operations that could be at their old start.
    fn taken(&self, shop: &Shop, decisions: &Decisions) -> Vec<Occupancy> {
        let machines = shop.machines();
        let mut taken = vec![Occupancy::default(); machines + shop.people_count];
        let blocks = shop.machine_blocks.iter().chain(&shop.person_blocks);
        for (taken, blocks) in taken.iter_mut().zip(blocks) {
            let fixed = blocks.iter().map(|b| Stay {
                start: b.start,
                end: b.end,
                op: NONE,
            });
            taken.settled.extend(fixed);
        }
        for &op in &decisions.order {
            let (choice, at) = self.at_old_start(shop, decisions, op);
            if at.start != self.starts[op as usize] || !self.known[op as usize] {
                continue;
            }
            let mode = &shop.modes(op)[choice.mode as usize];
            // Whatever came between it and what has the same on the table would have it set up anew.
            let spared = (mode.setup - self.setups[op as usize]).max(0);
            let mut take = |resource: usize, start: Minute, end: Minute| {
                if let Some(taken) = taken.get_mut(resource).filter(|_| at.start < end) {
                    let place = taken.ahead.partition_point(|s| s.end < end);
                    taken.ahead.insert(place, Stay { start, end, op });
                }
            };
            if (mode.machine as usize) < machines {
                take(mode.machine as usize, at.start - spared, at.end);
            }
            if choice.person != NONE {
                take(
                    machines + choice.person as usize,
                    at.start,
                    at.attended_until,
                );
            }
        }
        taken
    }
}

/// The first place from `from` on at which an operation, set up anew whatever comes before it there, meets nothing on
/// its machine and with its person: nothing settled, and unless it pushes nothing ahead on the machine either.
fn first_gap(
    shop: &Shop,
    op: u32,
    (choice, mode): (Choice, &FlatMode),
    [machine, person]: [&Occupancy; 2],
    mut from: Minute,
    pushes: bool,
) -> Place {
    loop {
        let at = place(shop, op, choice, mode, mode.setup, from);
        let end = at.end.min(NEVER);
        let meets = machine
            .settled_until(at.start, end)
            .or_else(|| person.settled_until(at.start, at.attended_until))
            .or_else(|| clash(&machine.ahead, at.start, end).filter(|_| !pushes))
            .or_else(|| clash(&person.ahead, at.start, at.attended_until));
        match meets {
            Some(until) if at.end < NEVER => from = until,
            _ => return at,
        }
    }
}

/// How late each job is when it is done then, in minutes.
fn minutes_late(shop: &Shop, done: impl Fn(u32) -> Option<Minute>) -> Vec<Minute> {
    let jobs = (0..).zip(&shop.jobs);
    jobs.map(|(j, job)| {
        let done = done(j).unwrap_or(Minute::MIN).min(NEVER);
        done.saturating_sub(job.due).clamp(0, LATEST)
    })
    .collect()
}

/// The setup of each operation in its old order.
fn setups(shop: &Shop, decisions: &Decisions) -> Vec<Minute> {
    let mut table = shop.on_table.clone();
    // What is fixed now stands first on its machine; of more than one, the last.
    for (key, blocks) in table.iter_mut().zip(&shop.machine_blocks) {
        if let Some(first) = blocks.first().filter(|b| b.start <= 0) {
            *key = first.key;
        }
    }
    let mut setups = vec![0; shop.ops.len()];
    for &op in &decisions.order {
        let mode = &shop.modes(op)[decisions.choice[op as usize].mode as usize];
        let key = shop.ops[op as usize].key;
        let before = table.get_mut(mode.machine as usize);
        setups[op as usize] = match before {
            Some(before) => {
                let setup = shop.setup(mode, key, *before);
                *before = key;
                setup
            }
            None => shop.setup(mode, key, NONE),
        };
    }
    setups
}
