//! From a shop file to the model: names become numbers, hours become working time.

use std::collections::{BTreeMap, BTreeSet};

use super::{
    FileFixed, FileHours, FileJob, FileLink, FileOperation, ShopFile, unreadable, working_time,
};
use crate::planning::engine::model::{
    self, Fixed, Goal, Link, Mode, Model, ModelError,
    calendar::{NEVER, WorkingTime},
};
use crate::planning::{Calendar, Hours, Shift, calendar::in_reach};

/// Setup keys as numbers, in the order they are met.
#[derive(Default)]
struct Keys(BTreeMap<String, u32>);

impl Keys {
    fn number(&mut self, key: &str) -> u32 {
        let next = self.0.len() as u32;
        *self.0.entry(key.to_owned()).or_insert(next)
    }
}

impl ShopFile {
    /// The model of the shop.
    ///
    /// # Errors
    /// The first name that is not defined, or fault of the model.
    pub fn model(&self) -> Result<Model, ModelError> {
        let goal = match self.goal.as_str() {
            "promises" => Goal::Promises,
            "makespan" => Goal::Makespan,
            other => {
                return Err(unreadable(format!(
                    "goal is promises or makespan, not {other}"
                )));
            }
        };
        self.check_names()?;
        let mut model = Model::empty(goal);
        let mut keys = Keys::default();
        for m in &self.machines {
            model.machines.push(model::Machine {
                name: m.name.clone(),
                calendar: self.working_time(m.hours.as_deref())?,
                on_table: m.on_table.as_deref().map(|k| keys.number(k)),
            });
        }
        for p in &self.people {
            let calendar = self.working_time(p.hours.as_deref())?;
            model.people.push(model::Person {
                name: p.name.clone(),
                calendar,
            });
        }
        for job in &self.jobs {
            self.add_job(&mut model, job, &mut keys)?;
        }
        for c in &self.changeovers {
            model
                .changeovers
                .insert((keys.number(&c.from), keys.number(&c.to)), c.minutes);
        }
        model.check()?;
        Ok(model)
    }

    /// No two of a kind by the same name: what refers to it would mean either.
    fn check_names(&self) -> Result<(), ModelError> {
        once("machines", "", self.machines.iter().map(|m| &m.name))?;
        once("people", "", self.people.iter().map(|p| &p.name))?;
        once("jobs", "", self.jobs.iter().map(|j| &j.name))?;
        for job in &self.jobs {
            let place = format!("job {}: ", job.name);
            once("operations", &place, job.operations.iter().map(|o| &o.name))?;
            for op in &job.operations {
                let place = format!("job {}, operation {}: ", job.name, op.name);
                once("machines", &place, op.machines.iter().map(|m| &m.machine))?;
                let after = op.after.iter().flatten();
                once("waits for", &place, after.map(|l| &l.operation))?;
            }
        }
        let pairs: Vec<String> = self
            .changeovers
            .iter()
            .map(|c| format!("from {} to {}", c.from, c.to))
            .collect();
        once("changeovers", "", pairs.iter())
    }

    fn add_job(&self, model: &mut Model, job: &FileJob, keys: &mut Keys) -> Result<(), ModelError> {
        let j = model.jobs.len();
        let first = model.operations.len();
        model.jobs.push(model::Job {
            name: job.name.clone(),
            release: job.release,
            due: job.due,
            weight: job.weight,
        });
        for (k, op) in job.operations.iter().enumerate() {
            let place = format!("job {}, operation {}", job.name, op.name);
            let people = self.able(op, &place)?;
            let modes = self.modes(op, !people.is_empty(), &place)?;
            let fixed = op
                .fixed
                .as_ref()
                .map(|f| self.fixed(f, &modes, &place))
                .transpose()?;
            model.operations.push(model::Operation {
                job: j,
                name: op.name.clone(),
                modes,
                people,
                setup_key: op.setup_key.as_deref().map(|k| keys.number(k)),
                may_pause: op.may_pause,
                fixed,
                spread: op.spread,
            });
            model.links.extend(links(job, k, first, &place)?);
        }
        Ok(())
    }

    /// Indices of the people with the skill of an operation; none when it asks for no skill.
    fn able(&self, op: &FileOperation, place: &str) -> Result<Vec<usize>, ModelError> {
        let Some(skill) = &op.skill else {
            return Ok(Vec::new());
        };
        let able: Vec<usize> = (0..self.people.len())
            .filter(|&p| self.people[p].skills.contains(skill))
            .collect();
        if able.is_empty() {
            return Err(unreadable(format!("{place}: nobody has the skill {skill}")));
        }
        Ok(able)
    }

    /// Modes of an operation; the whole run is attended when people are asked for and the file says nothing else.
    fn modes(
        &self,
        op: &FileOperation,
        attends: bool,
        place: &str,
    ) -> Result<Vec<Mode>, ModelError> {
        let mut modes = Vec::new();
        for m in &op.machines {
            modes.push(Mode {
                machine: Some(self.machine(&m.machine, place)?),
                setup: m.setup,
                setup_same_key: m.setup_same_key.unwrap_or(m.setup),
                run: m.run,
                attended: m.attended.unwrap_or(if attends { m.run } else { 0 }),
            });
        }
        modes.extend(op.outside.map(|run| Mode {
            machine: None,
            setup: 0,
            setup_same_key: 0,
            run,
            attended: 0,
        }));
        Ok(modes)
    }

    fn machine(&self, name: &str, place: &str) -> Result<usize, ModelError> {
        let found = self.machines.iter().position(|x| x.name == name);
        found.ok_or_else(|| unreadable(format!("{place}: there is no machine {name}")))
    }

    fn fixed(&self, f: &FileFixed, modes: &[Mode], place: &str) -> Result<Fixed, ModelError> {
        let machine = f
            .machine
            .as_deref()
            .map(|m| self.machine(m, place))
            .transpose()?;
        let mode = modes.iter().position(|m| m.machine == machine);
        let person = match &f.person {
            None => None,
            Some(name) => Some(
                self.people
                    .iter()
                    .position(|p| p.name == *name)
                    .ok_or_else(|| unreadable(format!("{place}: there is no person {name}")))?,
            ),
        };
        Ok(Fixed {
            mode: mode.ok_or_else(|| {
                unreadable(format!(
                    "{place}: it is fixed to a machine that cannot do it"
                ))
            })?,
            person,
            start: f.start,
            attended_until: f.attended_until.unwrap_or(if person.is_some() {
                f.end
            } else {
                f.start
            }),
            end: f.end,
        })
    }

    fn working_time(&self, name: Option<&str>) -> Result<WorkingTime, ModelError> {
        let Some(name) = name else {
            return Ok(WorkingTime::always());
        };
        match self.hours.get(name) {
            None => Err(unreadable(format!("there are no hours {name}"))),
            Some(FileHours::Windows { windows }) => {
                let fault = windows
                    .iter()
                    .find(|(from, to)| from >= to || *from < -NEVER || *to > NEVER);
                match fault {
                    None => Ok(WorkingTime::from_windows(windows.clone())),
                    Some((from, to)) => Err(unreadable(format!(
                        "hours {name}: a window must end after it begins, and within {NEVER} minutes of the origin, \
                         not from {from} to {to}"
                    ))),
                }
            }
            Some(FileHours::Shifts {
                zone,
                until,
                shifts,
                holidays,
                stops,
            }) => {
                let origin = self.origin.ok_or_else(|| {
                    unreadable("hours in shifts need an origin in the file".into())
                })?;
                let dates = [origin, *until].into_iter();
                let mut dates = dates.chain(stops.iter().flat_map(|&(from, to)| [from, to]));
                if let Some(date) = dates.find(|&date| !in_reach(date)) {
                    return Err(unreadable(format!(
                        "hours {name}: {date} is not in the years 1970 to 2199"
                    )));
                }
                let shifts = shifts
                    .iter()
                    .map(|s| Shift {
                        weekday: s.day,
                        start: s.from,
                        end: s.to,
                    })
                    .collect();
                let hours = Hours {
                    zone: *zone,
                    shifts,
                    holidays: holidays.clone(),
                    overtime: Vec::new(),
                    stops: stops.clone(),
                };
                Ok(working_time(
                    &Calendar::build(&hours, origin, *until),
                    origin,
                ))
            }
        }
    }
}

/// Fails at the first name that comes twice among things of one kind.
fn once<'a>(
    what: &str,
    place: &str,
    names: impl Iterator<Item = &'a String>,
) -> Result<(), ModelError> {
    let mut seen = BTreeSet::new();
    for name in names {
        if !seen.insert(name) {
            return Err(unreadable(format!("{place}{what}: {name} is there twice")));
        }
    }
    Ok(())
}

/// Links to operation `k` of a job whose first operation is `first` in the model; without any in the file, it follows
/// the one before.
fn links(job: &FileJob, k: usize, first: usize, place: &str) -> Result<Vec<Link>, ModelError> {
    let after = first + k;
    let Some(links) = &job.operations[k].after else {
        let before = (k > 0).then(|| Link {
            before: after - 1,
            after,
            min_lag: 0,
            max_lag: None,
        });
        return Ok(before.into_iter().collect());
    };
    let link = |l: &FileLink| {
        let before = job.operations.iter().position(|o| o.name == l.operation);
        let before = before.ok_or_else(|| {
            unreadable(format!("{place}: its job has no operation {}", l.operation))
        })?;
        Ok(Link {
            before: first + before,
            after,
            min_lag: l.min_lag,
            max_lag: l.max_lag,
        })
    };
    links.iter().map(link).collect()
}
