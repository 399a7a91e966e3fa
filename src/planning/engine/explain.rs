//! Why a job comes when it does, and what would help.
//!
//! The chain is the job's critical path in the plan: from its end back, each operation with what it waited for last.
//! Improvements are tried, not estimated: the plan is timed again with the measure taken, and what the job gains is
//! reported beside what it costs the others.

use crate::planning::engine::{
    model::{
        Minute, Model, ModelError,
        build::Shop,
        calendar::{NEVER, WorkingTime},
        plan::Plan,
    },
    timing::{Decisions, Times, Timing},
};

/// What an operation waited for last.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WaitedFor {
    /// Its job to be released.
    Release,
    /// An operation it follows, and the time that must lie between.
    Operation {
        /// The operation before.
        operation: usize,
        /// Minutes that must pass.
        lag: Minute,
    },
    /// Its machine, which another operation had.
    Machine {
        /// The machine.
        machine: usize,
        /// The operation that had it.
        operation: usize,
    },
    /// Its person, whom another operation had.
    Person {
        /// The person.
        person: usize,
        /// The operation that had them.
        operation: usize,
    },
}

/// One link of the chain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ChainLink {
    /// The operation.
    pub operation: usize,
    /// What it waited for last.
    pub waited_for: WaitedFor,
    /// Minutes from when that was over until it began: hours in which machine and person are not both there.
    pub closed: Minute,
    /// Minutes it held the chain itself: until its end, or until the person was free when that was waited for.
    pub held: Minute,
}

/// A measure that was tried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    /// Two more hours at the end of a machine's and its people's day.
    Overtime {
        /// The machine.
        machine: usize,
        /// When the overtime begins.
        from: Minute,
        /// When it ends.
        until: Minute,
    },
    /// This operation before that one on the machine or with the person.
    Order {
        /// Goes first.
        first: usize,
        /// Goes second.
        second: usize,
    },
    /// A person who learns to do an operation.
    Training {
        /// The person.
        person: usize,
        /// The operation.
        operation: usize,
    },
}

/// A measure that brings the job forward, and what it costs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Improvement {
    /// The measure.
    pub measure: Measure,
    /// Minutes the job is done earlier.
    pub gains: Minute,
    /// Weighted minutes of lateness that all other jobs together lose by it; negative when they gain as well.
    pub others_lose: Minute,
}

/// Why a job comes when it does.
#[derive(Debug, Clone)]
pub struct Explanation {
    /// When it is done.
    pub done: Minute,
    /// The chain that holds it, from its first link on.
    pub chain: Vec<ChainLink>,
    /// What would help, the most first.
    pub improvements: Vec<Improvement>,
}

/// Length of the overtime tried, in minutes.
const OVERTIME: Minute = 120;

/// Days of overtime tried for each machine of the chain.
const DAYS: usize = 10;

/// Minutes behind a plan's end for which hours are kept while measures are tried: half a year.
const ROOM: Minute = 182 * 1440;

/// Explains job `job` of a plan.
///
/// # Errors
/// When the model cannot be planned, or has no such job with operations.
pub fn explain(model: &Model, plan: &Plan, job: usize) -> Result<Explanation, ModelError> {
    let model = &near(model, plan);
    let shop = Shop::build(model)?;
    if job >= shop.jobs.len() || plan.assignments.len() != shop.ops.len() {
        return Err(ModelError::Reference {
            what: "job",
            index: job,
        });
    }
    let mut trials = Trials::new(model, &shop, plan, job);
    trials.overtime(plan)?;
    trials.order();
    trials.training()?;
    let mut improvements = trials.improvements;
    improvements.sort_by_key(|i| (-i.gains, i.others_lose));
    Ok(Explanation {
        done: trials.done,
        chain: trials.chain,
        improvements,
    })
}

/// The plan as it is, and what was tried on it.
struct Trials<'a> {
    model: &'a Model,
    shop: &'a Shop,
    job: usize,
    decisions: Decisions,
    timing: Timing,
    /// When the job is done in the plan as it is.
    done: Minute,
    /// Weighted lateness of the plan as it is.
    lateness: Minute,
    chain: Vec<ChainLink>,
    improvements: Vec<Improvement>,
}

impl<'a> Trials<'a> {
    fn new(model: &'a Model, shop: &'a Shop, plan: &Plan, job: usize) -> Self {
        let decisions = Decisions::of_plan(shop, plan);
        let mut timing = Timing::new(shop);
        let lateness = timing.full(shop, &decisions).lateness;
        Self {
            done: done(shop, &timing.times, job),
            chain: chain(shop, &timing, &decisions, job),
            model,
            shop,
            job,
            decisions,
            timing,
            lateness,
            improvements: Vec::new(),
        }
    }

    /// Times the plan with a measure taken and keeps the measure if the job gains by it.
    fn record(
        &mut self,
        measure: Measure,
        shop: &Shop,
        decisions: &Decisions,
        timing: &mut Timing,
    ) {
        let value = timing.once(shop, decisions);
        let gains = self.done - done(shop, &timing.times, self.job);
        if value.broken == 0 && gains > 0 {
            let goal = &shop.jobs[self.job];
            let own = goal.late(self.done) - goal.late(self.done - gains);
            self.improvements.push(Improvement {
                measure,
                gains,
                others_lose: value.lateness - self.lateness + own,
            });
        }
    }

    /// Overtime on each machine of the chain, at the end of each of the first days.
    fn overtime(&mut self, plan: &Plan) -> Result<(), ModelError> {
        let model = self.model;
        let on = |l: &ChainLink| {
            let mode = plan.assignments[l.operation].mode;
            model.operations[l.operation].modes[mode].machine
        };
        let mut machines: Vec<usize> = self.chain.iter().filter_map(on).collect();
        machines.sort_unstable();
        machines.dedup();
        for machine in machines {
            let windows = model.machines[machine].calendar.windows().iter();
            let closings = windows.map(|w| w.1);
            let done = self.done;
            for from in closings.filter(|&c| c >= 0 && c < done).take(DAYS) {
                let until = from + OVERTIME;
                let shop = Shop::build(&with_overtime(model, machine, from, until))?;
                let measure = Measure::Overtime {
                    machine,
                    from,
                    until,
                };
                let decisions = self.decisions.clone();
                self.record(measure, &shop, &decisions, &mut Timing::new(&shop));
            }
        }
        Ok(())
    }

    /// Each operation of the chain before the one that has its machine or person.
    fn order(&mut self) {
        for link in self.chain.clone() {
            let (WaitedFor::Machine { operation, .. } | WaitedFor::Person { operation, .. }) =
                link.waited_for
            else {
                continue;
            };
            let (first, second) = (link.operation, operation);
            if let Some(other) = before(self.shop, &self.decisions, &self.timing, first, second) {
                let measure = Measure::Order { first, second };
                self.record(measure, self.shop, &other, &mut self.timing.clone());
            }
        }
    }

    /// Each operation of the chain that waits for its person, by each person who cannot do it yet.
    fn training(&mut self) -> Result<(), ModelError> {
        let model = self.model;
        for link in self.chain.clone() {
            if !matches!(link.waited_for, WaitedFor::Person { .. }) {
                continue;
            }
            let able = &model.operations[link.operation].people;
            for person in (0..model.people.len()).filter(|p| !able.contains(p)) {
                let mut with = model.clone();
                with.operations[link.operation].people.push(person);
                let shop = Shop::build(&with)?;
                let mut other = self.decisions.clone();
                other.choice[link.operation].person = person as u32;
                let measure = Measure::Training {
                    person,
                    operation: link.operation,
                };
                self.record(measure, &shop, &other, &mut Timing::new(&shop));
            }
        }
        Ok(())
    }
}

/// The model with a machine and those who are at work that day kept on from `from` until `until`.
fn with_overtime(model: &Model, machine: usize, from: Minute, until: Minute) -> Model {
    let mut with = model.clone();
    with.machines[machine].calendar = with.machines[machine].calendar.or((from, until));
    for person in &mut with.people {
        let mut windows = person.calendar.windows().iter().rev();
        if let Some(&(_, close)) = windows.find(|w| w.1 <= until && w.1 > from - 480) {
            person.calendar = person.calendar.or((close, until));
        }
    }
    with
}

/// The same model with its hours cut off a while behind the plan's end. What is tried puts nothing off for longer than
/// the work there is takes, and each try lays all hours out anew.
fn near(model: &Model, plan: &Plan) -> Model {
    let ends = plan
        .assignments
        .iter()
        .map(|a| a.end)
        .filter(|&end| end < NEVER);
    let until = ends.max().unwrap_or(0) + ROOM;
    let mut near = model.clone();
    let machines = near.machines.iter_mut().map(|m| &mut m.calendar);
    for calendar in machines.chain(near.people.iter_mut().map(|p| &mut p.calendar)) {
        if !calendar.is_always() {
            let windows = calendar.windows().iter().take_while(|w| w.0 < until);
            *calendar = WorkingTime::from_windows(windows.map(|w| (w.0, w.1.min(until))).collect());
        }
    }
    near
}

/// When a job is done; 0 for one without operations.
fn done(shop: &Shop, times: &[Times], job: usize) -> Minute {
    shop.sinks(&shop.jobs[job])
        .iter()
        .map(|&op| times[op as usize].end)
        .max()
        .unwrap_or(0)
}

/// Decisions with `first` before `second`, and with it what it waits for; `None` when it waits for `second` itself.
fn before(
    shop: &Shop,
    d: &Decisions,
    timing: &Timing,
    first: usize,
    second: usize,
) -> Option<Decisions> {
    if shop.ops[first].fixed || shop.ops[second].fixed {
        return None;
    }
    let (to, at) = (
        timing.place_of(second as u32),
        timing.place_of(first as u32),
    );
    if to >= at {
        return None;
    }
    let mut goes = vec![false; shop.ops.len()];
    goes[first] = true;
    for &op in d.order[to..at].iter().rev() {
        goes[op as usize] = shop.after(op).iter().any(|l| goes[l.op as usize]);
    }
    if goes[second] {
        return None;
    }
    let mut other = d.clone();
    other.order[to..=at].sort_by_key(|&op| !goes[op as usize]);
    Some(other)
}

/// The chain from the job's end back, turned round.
fn chain(shop: &Shop, timing: &Timing, d: &Decisions, job: usize) -> Vec<ChainLink> {
    let times = &timing.times;
    let mut chain = Vec::new();
    let sinks = shop.sinks(&shop.jobs[job]).iter().copied();
    let mut next = sinks
        .max_by_key(|&op| times[op as usize].end)
        .map(|op| (op, times[op as usize].end));
    while let Some((op, until)) = next.take() {
        let t = &times[op as usize];
        let mut ready = shop.ops[op as usize].release;
        let mut waited_for = WaitedFor::Release;
        for l in shop.before(op) {
            let end = times[l.op as usize].end;
            if end + l.min >= ready {
                ready = end + l.min;
                waited_for = WaitedFor::Operation {
                    operation: l.op as usize,
                    lag: l.min,
                };
                next = Some((l.op, end));
            }
        }
        let choice = d.choice[op as usize];
        let machine = shop.modes(op)[choice.mode as usize].machine as usize;
        if let Some(before) = timing.machine_before(op)
            && times[before as usize].end > ready
        {
            ready = times[before as usize].end;
            waited_for = WaitedFor::Machine {
                machine,
                operation: before as usize,
            };
            next = Some((before, ready));
        }
        if let Some(before) = timing.person_before(op)
            && times[before as usize].attended_until > ready
        {
            ready = times[before as usize].attended_until;
            waited_for = WaitedFor::Person {
                person: choice.person as usize,
                operation: before as usize,
            };
            next = Some((before, ready));
        }
        chain.push(ChainLink {
            operation: op as usize,
            waited_for,
            closed: (t.start - ready).max(0),
            held: until - t.start,
        });
        if shop.ops[op as usize].fixed {
            break;
        }
    }
    chain.reverse();
    chain
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planning::engine::{
        formats::{classical::job_shop, sample::Sample},
        model::calendar::WorkingTime,
        solve::first_plan,
    };

    /// Waits, closed hours and held times of a chain add up to the job's end, in any plan.
    #[test]
    fn the_chain_adds_up_to_the_end() {
        let model = Sample::week().make(12, None);
        let plan = first_plan(&model).unwrap();
        for job in 0..model.jobs.len() {
            let e = explain(&model, &plan, job).unwrap();
            let mut at = model.jobs[model.operations[e.chain[0].operation].job].release;
            for link in &e.chain {
                if let WaitedFor::Operation { lag, .. } = link.waited_for {
                    at += lag;
                }
                at += link.closed + link.held;
            }
            assert_eq!(at, e.done, "job {job}");
        }
    }

    /// Two jobs on one machine, eight hours each, eight hours a day: the second waits a day for the first. Going first
    /// gains it that day at the other's cost, and so, in part, does overtime.
    #[test]
    fn what_helps_is_found_by_trying() {
        let mut model = job_shop(&[vec![vec![(0, 480)]], vec![vec![(0, 480)]]]);
        model.goal = crate::planning::engine::model::Goal::Promises;
        model.machines[0].calendar =
            WorkingTime::from_windows((0..9).map(|d| (d * 1440, d * 1440 + 480)).collect());
        for (job, due) in model.jobs.iter_mut().zip([480, 1000]) {
            job.due = Some(due);
        }
        for op in &mut model.operations {
            op.may_pause = true;
        }
        let plan = first_plan(&model).unwrap();
        let e = explain(&model, &plan, 1).unwrap();
        assert_eq!(e.done, 1920);
        assert_eq!(e.chain.len(), 2);
        assert_eq!(
            e.chain[1].waited_for,
            WaitedFor::Machine {
                machine: 0,
                operation: 0
            }
        );
        assert_eq!((e.chain[1].closed, e.chain[1].held), (960, 480));
        let order = e
            .improvements
            .iter()
            .find(|h| {
                h.measure
                    == Measure::Order {
                        first: 1,
                        second: 0,
                    }
            })
            .unwrap();
        assert_eq!((order.gains, order.others_lose), (1440, 1440));
        let overtime = Measure::Overtime {
            machine: 0,
            from: 480,
            until: 600,
        };
        let overtime = e
            .improvements
            .iter()
            .find(|h| h.measure == overtime)
            .unwrap();
        assert_eq!((overtime.gains, overtime.others_lose), (120, 0));
    }
}
