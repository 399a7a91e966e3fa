//! Whether a model can be planned at all: every index points somewhere, every time is within bounds, nothing waits for
//! itself, and what is pinned can be done where it is pinned.

use super::{Fixed, Job, Minute, Mode, Model, ModelError, Operation, calendar::WorkingTime};

/// Longest single time accepted, in minutes: about 190 years. Keeps every sum far from overflow.
const LONGEST: Minute = 100_000_000;

/// Most that the weights of all jobs may come to: times [`LATEST`](super::plan::LATEST) that is a quarter of what a
/// whole number holds.
const MOST_WEIGHT: i64 = 5_000_000_000;

/// Whether a time is near enough to the origin.
fn within(time: Minute) -> bool {
    (-LONGEST..=LONGEST).contains(&time)
}

impl Model {
    /// Finds what makes the model impossible to plan.
    ///
    /// # Errors
    /// The first fault found, in words that name the operation or job.
    pub fn check(&self) -> Result<(), ModelError> {
        for job in &self.jobs {
            check_job(job)?;
        }
        if self.jobs.iter().map(|j| j.weight).sum::<i64>() > MOST_WEIGHT {
            return Err(ModelError::Weights);
        }
        for (i, op) in self.operations.iter().enumerate() {
            self.check_operation(i, op)?;
        }
        if self
            .changeovers
            .values()
            .any(|t| !(0..=LONGEST).contains(t))
        {
            return Err(ModelError::Changeover);
        }
        self.check_links()
    }

    fn check_operation(&self, i: usize, op: &Operation) -> Result<(), ModelError> {
        if op.job >= self.jobs.len() {
            return Err(ModelError::Reference {
                what: "job",
                index: op.job,
            });
        }
        if op.modes.is_empty() {
            return self.fault(i, "it has no machine that can do it");
        }
        if let Some(&p) = op.people.iter().find(|&&p| p >= self.people.len()) {
            return Err(ModelError::Reference {
                what: "person",
                index: p,
            });
        }
        if !op.spread.is_finite() || !(0.0..=10.0).contains(&op.spread) {
            return self.fault(i, "its spread must be 0 to 10");
        }
        for mode in &op.modes {
            if mode.machine.is_some_and(|m| m >= self.machines.len()) {
                return Err(ModelError::Reference {
                    what: "machine",
                    index: mode.machine.unwrap_or_default(),
                });
            }
            let times = [mode.setup, mode.setup_same_key, mode.run, mode.attended];
            if times.iter().any(|t| !(0..=LONGEST).contains(t)) || mode.attended > mode.run {
                return self.fault(
                    i,
                    "its times must not be negative, nor its attended part longer than its run",
                );
            }
        }
        let Some(f) = op.fixed else { return Ok(()) };
        let Some(mode) = op.modes.get(f.mode) else {
            return self.fault(i, "it is fixed in a mode it does not have");
        };
        let in_order = f.start <= f.attended_until && f.attended_until <= f.end;
        if !in_order || f.start < -LONGEST || f.end > LONGEST {
            return self.fault(i, "its fixed times are not in order");
        }
        if f.person.is_some_and(|p| p >= self.people.len())
            || (mode.machine.is_none() && f.person.is_some())
        {
            return self.fault(i, "it is fixed to a person it cannot have");
        }
        if f.start > 0 {
            return self.check_pinned(i, op, mode, &f);
        }
        Ok(())
    }

    /// A pinned operation must be possible where it is pinned; a started one is a fact.
    fn check_pinned(
        &self,
        i: usize,
        op: &Operation,
        mode: &Mode,
        f: &Fixed,
    ) -> Result<(), ModelError> {
        let skilled = match f.person {
            Some(p) => op.people.contains(&p),
            None => op.people.is_empty() || (mode.attended == 0 && f.attended_until == f.start),
        };
        if !skilled {
            return self.fault(
                i,
                "it is pinned to a person without the skill, or to nobody",
            );
        }
        let always = WorkingTime::always();
        let machine = mode.machine.map_or(&always, |m| &self.machines[m].calendar);
        let person = f.person.map_or(&always, |p| &self.people[p].calendar);
        let works = |hours: &WorkingTime, until: Minute| {
            let throughout = hours.open_between(f.start, until) == until - f.start;
            until == f.start
                || (hours.is_open(f.start)
                    && hours.is_open(until - 1)
                    && (op.may_pause || throughout))
        };
        if !works(machine, f.end) {
            return self.fault(
                i,
                "it is pinned to hours in which its machine does not work",
            );
        }
        if !works(person, f.attended_until) {
            return self.fault(i, "it is pinned to hours in which its person does not work");
        }
        Ok(())
    }

    fn fault(&self, op: usize, what: &'static str) -> Result<(), ModelError> {
        Err(ModelError::Operation {
            job: self.job_name(op),
            operation: self.operations[op].name.clone(),
            what,
        })
    }

    fn check_links(&self) -> Result<(), ModelError> {
        let n = self.operations.len();
        let mut waiting = vec![0usize; n];
        let mut after = vec![Vec::new(); n];
        for link in &self.links {
            if link.before >= n || link.after >= n {
                return Err(ModelError::Reference {
                    what: "operation",
                    index: link.before.max(link.after),
                });
            }
            if !(0..=LONGEST).contains(&link.min_lag)
                || link
                    .max_lag
                    .is_some_and(|m| m < link.min_lag || m > LONGEST)
            {
                return Err(ModelError::Operation {
                    job: self.job_name(link.after),
                    operation: self.operations[link.after].name.clone(),
                    what: "the wait before it must not be negative, nor the longest shorter than the shortest",
                });
            }
            waiting[link.after] += 1;
            after[link.before].push(link.after);
        }
        let mut free: Vec<usize> = (0..n).filter(|&i| waiting[i] == 0).collect();
        let mut seen = 0;
        while let Some(i) = free.pop() {
            seen += 1;
            for &j in &after[i] {
                waiting[j] -= 1;
                if waiting[j] == 0 {
                    free.push(j);
                }
            }
        }
        match (0..n).find(|&i| waiting[i] > 0) {
            Some(i) if seen < n => Err(ModelError::Operation {
                job: self.job_name(i),
                operation: self.operations[i].name.clone(),
                what: "it waits, through others, for itself",
            }),
            _ => Ok(()),
        }
    }

    fn job_name(&self, op: usize) -> String {
        self.jobs
            .get(self.operations[op].job)
            .map_or_else(String::new, |j| j.name.clone())
    }
}

fn check_job(job: &Job) -> Result<(), ModelError> {
    if job.weight < 0 || job.weight > 1_000_000 {
        return Err(ModelError::Job {
            job: job.name.clone(),
            what: "its weight must be 0 to 1,000,000",
        });
    }
    if !within(job.release) || !job.due.is_none_or(within) {
        return Err(ModelError::Job {
            job: job.name.clone(),
            what: "its release or promise is too far away",
        });
    }
    Ok(())
}
