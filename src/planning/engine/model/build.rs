//! The model laid out for speed: flat arrays, joint calendars, fixed work as blocked time.

use std::collections::BTreeMap;

use super::{
    Fixed, Goal, Minute, Mode, Model, ModelError,
    calendar::{NEVER, WorkingTime},
    fit::earliest_fit,
    plan::LATEST,
};

/// No machine, person, operation or key.
pub(crate) const NONE: u32 = u32::MAX;

/// A link seen from one of its ends.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Lag {
    pub op: u32,
    pub min: Minute,
    pub max: Minute,
}

/// No longest lag.
pub(crate) const NO_MAX: Minute = Minute::MAX;

/// A mode with its machine as a plain number.
#[derive(Debug, Clone, Copy)]
pub(crate) struct FlatMode {
    pub machine: u32,
    pub setup: Minute,
    pub setup_same_key: Minute,
    pub run: Minute,
    pub attended: Minute,
}

/// An operation, 64 bytes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Op {
    pub release: Minute,
    pub job: u32,
    pub key: u32,
    modes: (u32, u32),
    people: (u32, u32),
    before: (u32, u32),
    after: (u32, u32),
    pub may_pause: bool,
    pub fixed: bool,
    /// Nothing of its job waits for it.
    pub sink: bool,
}

/// A stretch of a machine's time that fixed work takes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Block {
    pub start: Minute,
    pub end: Minute,
    pub key: u32,
}

/// A job as the goal sees it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct JobGoal {
    pub release: Minute,
    pub due: Minute,
    pub weight: Minute,
    /// Its operations that nothing in it waits for.
    sinks: (u32, u32),
}

impl JobGoal {
    /// What it costs to be done then: weight times minutes after the promise.
    #[inline]
    pub fn late(&self, done: Minute) -> Minute {
        if done > self.due {
            self.weight * (done - self.due).min(LATEST)
        } else {
            0
        }
    }
}

/// The model laid out for speed.
#[derive(Debug, Clone)]
pub(crate) struct Shop {
    pub goal: Goal,
    pub ops: Vec<Op>,
    pub jobs: Vec<JobGoal>,
    pub fixed: Vec<Option<Fixed>>,
    /// Every calendar once: shops have many machines and people and few different hours, and few stay in the cache.
    calendars: Vec<WorkingTime>,
    /// Index of each machine's hours; outside work is machine `machines` and never closes.
    hours: Vec<u32>,
    pub on_table: Vec<u32>,
    pub people_count: usize,
    /// Hours in which anybody works; without people, in which any machine does.
    pub attended_hours: WorkingTime,
    /// Index of the common hours of machine `m` and person `p` at `m * people + p`.
    joint: Vec<u32>,
    pub machine_blocks: Vec<Vec<Block>>,
    pub person_blocks: Vec<Vec<Block>>,
    /// Changeovers sorted by pair of keys.
    changeovers: Vec<((u32, u32), Minute)>,
    /// Some link has a longest lag.
    pub has_max_lags: bool,
    modes: Vec<FlatMode>,
    people: Vec<u32>,
    before: Vec<Lag>,
    after: Vec<Lag>,
    sinks: Vec<u32>,
}

pub(crate) fn narrow(x: usize) -> u32 {
    u32::try_from(x).unwrap_or(NONE)
}

fn slice<T>(all: &[T], (from, to): (u32, u32)) -> &[T] {
    &all[from as usize..to as usize]
}

/// The links by operation: those before it, and those after it.
fn lags(model: &Model) -> (Vec<Vec<Lag>>, Vec<Vec<Lag>>) {
    let n = model.operations.len();
    let (mut before, mut after) = (vec![Vec::new(); n], vec![Vec::new(); n]);
    for l in &model.links {
        let lag = |op: usize| Lag {
            op: narrow(op),
            min: l.min_lag,
            max: l.max_lag.unwrap_or(NO_MAX),
        };
        before[l.after].push(lag(l.before));
        after[l.before].push(lag(l.after));
    }
    (before, after)
}

impl Shop {
    /// Lays out a model.
    ///
    /// # Errors
    /// When the model has a fault ([`Model::check`]), or an operation fits in no calendar at all.
    pub fn build(model: &Model) -> Result<Self, ModelError> {
        model.check()?;
        let n = model.operations.len();
        let mut shop = Self {
            goal: model.goal,
            ops: Vec::with_capacity(n),
            jobs: Vec::with_capacity(model.jobs.len()),
            fixed: model.operations.iter().map(|o| o.fixed).collect(),
            calendars: Vec::new(),
            hours: Vec::new(),
            on_table: model
                .machines
                .iter()
                .map(|m| m.on_table.unwrap_or(NONE))
                .collect(),
            people_count: model.people.len(),
            attended_hours: if model.people.is_empty() {
                WorkingTime::any(model.machines.iter().map(|m| &m.calendar))
            } else {
                WorkingTime::any(model.people.iter().map(|p| &p.calendar))
            },
            joint: Vec::new(),
            machine_blocks: vec![Vec::new(); model.machines.len()],
            person_blocks: vec![Vec::new(); model.people.len()],
            changeovers: model.changeovers.iter().map(|(k, v)| (*k, *v)).collect(),
            has_max_lags: model.links.iter().any(|l| l.max_lag.is_some()),
            modes: Vec::new(),
            people: Vec::new(),
            before: Vec::new(),
            after: Vec::new(),
            sinks: Vec::new(),
        };
        shop.lay_out_calendars(model);
        let (before, after) = lags(model);
        for i in 0..n {
            shop.lay_out_operation(model, i, [&before[i], &after[i]]);
        }
        let blocks = shop.machine_blocks.iter_mut();
        for blocks in blocks.chain(&mut shop.person_blocks) {
            blocks.retain(|b| b.start < b.end);
            blocks.sort_unstable_by_key(|b| (b.start, b.end));
        }
        shop.lay_out_jobs(model, &after);
        shop.check_fits(model)?;
        Ok(shop)
    }

    /// Hours of machines, and common hours of each machine and person.
    fn lay_out_calendars(&mut self, model: &Model) {
        let always = WorkingTime::always();
        let machines = model.machines.iter().map(|m| &m.calendar);
        for hours in machines.chain([&always]) {
            let k = self.calendar(hours);
            self.hours.push(k);
        }
        let people: Vec<u32> = model
            .people
            .iter()
            .map(|p| self.calendar(&p.calendar))
            .collect();
        let mut common: BTreeMap<(u32, u32), u32> = BTreeMap::new();
        for k in 0..self.hours.len() {
            for &person in &people {
                let pair = (self.hours[k], person);
                let known = common.get(&pair).copied();
                let joint = known.unwrap_or_else(|| {
                    let both =
                        self.calendars[pair.0 as usize].and(&self.calendars[person as usize]);
                    self.calendar(&both)
                });
                common.insert(pair, joint);
                self.joint.push(joint);
            }
        }
    }

    /// Appends operation `i`, and the time it takes of its machine and person when it is fixed.
    fn lay_out_operation(&mut self, model: &Model, i: usize, [before, after]: [&[Lag]; 2]) {
        let op = &model.operations[i];
        let outside = narrow(model.machines.len());
        let w0 = narrow(self.modes.len());
        self.modes.extend(op.modes.iter().map(|m: &Mode| FlatMode {
            machine: m.machine.map_or(outside, narrow),
            setup: m.setup,
            setup_same_key: m.setup_same_key,
            run: m.run,
            attended: m.attended,
        }));
        let p0 = narrow(self.people.len());
        self.people.extend(op.people.iter().map(|&p| narrow(p)));
        let b0 = narrow(self.before.len());
        self.before.extend_from_slice(before);
        let a0 = narrow(self.after.len());
        self.after.extend_from_slice(after);
        let key = op.setup_key.unwrap_or(NONE);
        self.ops.push(Op {
            release: model.jobs[op.job].release,
            job: narrow(op.job),
            key,
            modes: (w0, narrow(self.modes.len())),
            people: (p0, narrow(self.people.len())),
            before: (b0, narrow(self.before.len())),
            after: (a0, narrow(self.after.len())),
            may_pause: op.may_pause,
            fixed: op.fixed.is_some(),
            sink: false,
        });
        let Some(f) = op.fixed else { return };
        if let Some(m) = op.modes[f.mode].machine {
            self.machine_blocks[m].push(Block {
                start: f.start,
                end: f.end,
                key,
            });
        }
        if let Some(p) = f.person {
            self.person_blocks[p].push(Block {
                start: f.start,
                end: f.attended_until,
                key,
            });
        }
    }

    /// Appends the jobs with their sinks: the operations that nothing in the job waits for.
    fn lay_out_jobs(&mut self, model: &Model, after: &[Vec<Lag>]) {
        let mut sinks = vec![Vec::new(); model.jobs.len()];
        for (i, op) in model.operations.iter().enumerate() {
            let same_job = |l: &Lag| model.operations[l.op as usize].job == op.job;
            if !after[i].iter().any(same_job) {
                sinks[op.job].push(narrow(i));
                self.ops[i].sink = true;
            }
        }
        for (job, sinks) in model.jobs.iter().zip(sinks) {
            let from = narrow(self.sinks.len());
            self.sinks.extend(sinks);
            self.jobs.push(JobGoal {
                release: job.release,
                due: job.due.unwrap_or(Minute::MAX),
                weight: job.weight,
                sinks: (from, narrow(self.sinks.len())),
            });
        }
    }

    /// Every operation must fit somewhere, alone in the shop, with the longest of its setups.
    fn check_fits(&self, model: &Model) -> Result<(), ModelError> {
        let nobody = [NONE];
        for (i, op) in self.ops.iter().enumerate() {
            let i = i as u32;
            let people = if self.people(i).is_empty() {
                &nobody[..]
            } else {
                self.people(i)
            };
            let fits = op.fixed
                || self.modes(i).iter().any(|w| {
                    let setup = self
                        .changeovers
                        .iter()
                        .filter(|c| c.0.1 == op.key)
                        .map(|c| c.1);
                    let setup = setup.fold(w.setup.max(w.setup_same_key), Minute::max);
                    people.iter().any(|&p| {
                        let attended = if p == NONE { 0 } else { setup + w.attended };
                        earliest_fit(
                            self,
                            w.machine,
                            p,
                            op.may_pause,
                            op.release,
                            attended,
                            setup + w.run - attended,
                        )
                        .2 < NEVER
                    })
                });
            if !fits {
                let o = &model.operations[i as usize];
                return Err(ModelError::Operation {
                    job: model.jobs[o.job].name.clone(),
                    operation: o.name.clone(),
                    what: "it fits in no working hours of a machine and a person that could do it",
                });
            }
        }
        Ok(())
    }

    /// Promise of each job.
    pub fn dues(&self) -> Vec<Minute> {
        self.jobs.iter().map(|j| j.due).collect()
    }

    #[inline]
    pub fn modes(&self, op: u32) -> &[FlatMode] {
        slice(&self.modes, self.ops[op as usize].modes)
    }

    #[inline]
    pub fn people(&self, op: u32) -> &[u32] {
        slice(&self.people, self.ops[op as usize].people)
    }

    #[inline]
    pub fn before(&self, op: u32) -> &[Lag] {
        slice(&self.before, self.ops[op as usize].before)
    }

    #[inline]
    pub fn after(&self, op: u32) -> &[Lag] {
        slice(&self.after, self.ops[op as usize].after)
    }

    #[inline]
    pub fn sinks(&self, job: &JobGoal) -> &[u32] {
        slice(&self.sinks, job.sinks)
    }

    /// The least setup an operation can have in a mode, whatever came before.
    pub fn least_setup(&self, mode: &FlatMode, key: u32) -> Minute {
        let to = self
            .changeovers
            .iter()
            .filter(|c| c.0.1 == key)
            .map(|c| c.1);
        to.fold(mode.setup.min(mode.setup_same_key), Minute::min)
    }

    /// All operations in an order that respects the links.
    pub fn topological(&self) -> Vec<u32> {
        let n = self.ops.len() as u32;
        let mut waiting: Vec<usize> = (0..n).map(|i| self.before(i).len()).collect();
        let mut order: Vec<u32> = (0..n).filter(|&i| waiting[i as usize] == 0).collect();
        let mut k = 0;
        while let Some(&op) = order.get(k) {
            k += 1;
            for l in self.after(op) {
                waiting[l.op as usize] -= 1;
                if waiting[l.op as usize] == 0 {
                    order.push(l.op);
                }
            }
        }
        order
    }

    /// Number of machines; the number itself stands for outside work.
    #[inline]
    pub fn machines(&self) -> usize {
        self.on_table.len()
    }

    /// The index of a calendar, which joins the others if there is none like it.
    fn calendar(&mut self, hours: &WorkingTime) -> u32 {
        let known = self.calendars.iter().position(|c| c == hours);
        narrow(known.unwrap_or_else(|| {
            self.calendars.push(hours.clone());
            self.calendars.len() - 1
        }))
    }

    /// Hours of a machine.
    #[inline]
    pub fn hours(&self, machine: u32) -> &WorkingTime {
        &self.calendars[self.hours[machine as usize] as usize]
    }

    /// Hours in which machine and person are both there.
    #[inline]
    pub fn joint(&self, machine: u32, person: u32) -> &WorkingTime {
        &self.calendars[self.joint_hours(machine, person) as usize]
    }

    /// Which hours those are: a number that is the same for the same hours.
    #[inline]
    pub fn joint_hours(&self, machine: u32, person: u32) -> u32 {
        self.joint[machine as usize * self.people_count + person as usize]
    }

    /// Setup minutes after an operation with key `before`.
    #[inline]
    pub fn setup(&self, mode: &FlatMode, key: u32, before: u32) -> Minute {
        if before == NONE || key == NONE {
            return mode.setup;
        }
        if before == key {
            return mode.setup_same_key;
        }
        match self
            .changeovers
            .binary_search_by_key(&(before, key), |c| c.0)
        {
            Ok(k) => self.changeovers[k].1,
            Err(_) => mode.setup,
        }
    }
}
