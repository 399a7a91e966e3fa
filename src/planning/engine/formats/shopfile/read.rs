//! From a shop file to the model: names become numbers, hours become working time.

use std::collections::BTreeMap;

use super::{FileFixed, FileHours, FileJob, ShopFile, unreadable, working_time};
use crate::planning::engine::model::{
    self, Fixed, Goal, Link, Mode, Model, ModelError, calendar::WorkingTime,
};
use crate::planning::{Calendar, Hours, Shift};

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
            let here = first + k;
            let place = format!("job {}, operation {}", job.name, op.name);
            let people: Vec<usize> = match &op.skill {
                None => Vec::new(),
                Some(skill) => {
                    let able: Vec<usize> = (0..self.people.len())
                        .filter(|&p| self.people[p].skills.contains(skill))
                        .collect();
                    if able.is_empty() {
                        return Err(unreadable(format!("{place}: nobody has the skill {skill}")));
                    }
                    able
                }
            };
            let mut modes = Vec::new();
            for m in &op.machines {
                let attended = m
                    .attended
                    .unwrap_or(if people.is_empty() { 0 } else { m.run });
                modes.push(Mode {
                    machine: Some(self.machine(&m.machine, &place)?),
                    setup: m.setup,
                    setup_same_key: m.setup_same_key.unwrap_or(m.setup),
                    run: m.run,
                    attended,
                });
            }
            if let Some(run) = op.outside {
                modes.push(Mode {
                    machine: None,
                    setup: 0,
                    setup_same_key: 0,
                    run,
                    attended: 0,
                });
            }
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
            match &op.after {
                None if k > 0 => {
                    model.links.push(Link {
                        before: here - 1,
                        after: here,
                        min_lag: 0,
                        max_lag: None,
                    });
                }
                None => {}
                Some(links) => {
                    for l in links {
                        let before = job
                            .operations
                            .iter()
                            .position(|o| o.name == l.operation)
                            .ok_or_else(|| {
                                unreadable(format!(
                                    "{place}: its job has no operation {}",
                                    l.operation
                                ))
                            })?;
                        model.links.push(Link {
                            before: first + before,
                            after: here,
                            min_lag: l.min_lag,
                            max_lag: l.max_lag,
                        });
                    }
                }
            }
        }
        Ok(())
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
            Some(FileHours::Windows { windows }) => Ok(WorkingTime::from_windows(windows.clone())),
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
