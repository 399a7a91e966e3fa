//! A shop as a JSON file: what `borewright plan solve` reads.
//!
//! All times are whole minutes from the file's origin, where nothing says otherwise. Names tie things together.
//!
//! ```json
//! {
//!   "goal": "promises",
//!   "origin": "2026-11-23T00:00:00Z",
//!   "hours": {
//!     "days":  { "zone": "Europe/London", "until": "2027-01-01T00:00:00Z", "holidays": ["2026-12-25"],
//!                "shifts": [{ "day": "Mon", "from": "08:00", "to": "16:30" }, { "day": "Tue", "from": "08:00", "to": "16:30" }] },
//!     "short": { "windows": [[480, 720], [1920, 2160]] }
//!   },
//!   "machines": [{ "name": "Mill", "hours": "days", "on_table": "rear face" }],
//!   "people": [{ "name": "Wyn", "hours": "short", "skills": ["milling"] }],
//!   "jobs": [{
//!     "name": "101", "release": 0, "due": 2880, "weight": 2,
//!     "operations": [
//!       { "name": "10", "skill": "milling", "setup_key": "rear face", "may_pause": true, "spread": 0.2,
//!         "machines": [{ "machine": "Mill", "setup": 30, "setup_same_key": 5, "run": 90, "attended": 45 }] },
//!       { "name": "20", "outside": 4320, "after": [{ "operation": "10", "min_lag": 60, "max_lag": 5760 }] }
//!     ]
//!   }],
//!   "changeovers": [{ "from": "rear face", "to": "sump face", "minutes": 20 }]
//! }
//! ```
//!
//! Left out, `goal` is `promises` (the other is `makespan`), `hours` of a machine or person never close, `release` is
//! 0, `weight` is 1, `due` is no promise, `setup_same_key` is `setup`, `attended` is `run` where a skill is named,
//! `after` is the operation written before. Fixed work (started or pinned) says
//! `"fixed": { "machine": "Mill", "person": "Wyn", "start": -30, "attended_until": 15, "end": 60 }`.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, NaiveTime, Utc, Weekday};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::{
    calendar::WorkingTime,
    model::{self, Fixed, Goal, Link, Minute, Mode, Model, ModelError},
    plan::Plan,
};
use crate::planning::{Calendar, Hours, Shift, calendar::floor_minute};

/// A shop file.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShopFile {
    /// `promises` or `makespan`.
    #[serde(default = "promises")]
    goal: String,
    /// Minute zero; needed where hours are given as shifts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    origin: Option<DateTime<Utc>>,
    #[serde(default)]
    hours: BTreeMap<String, FileHours>,
    machines: Vec<FileMachine>,
    #[serde(default)]
    people: Vec<FilePerson>,
    jobs: Vec<FileJob>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    changeovers: Vec<FileChangeover>,
}

fn promises() -> String {
    "promises".into()
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(untagged)]
enum FileHours {
    Windows {
        windows: Vec<(Minute, Minute)>,
    },
    Shifts {
        zone: Tz,
        until: DateTime<Utc>,
        shifts: Vec<FileShift>,
        #[serde(default)]
        holidays: BTreeSet<NaiveDate>,
        #[serde(default)]
        stops: Vec<(DateTime<Utc>, DateTime<Utc>)>,
    },
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileShift {
    day: Weekday,
    #[serde(with = "clock")]
    from: NaiveTime,
    #[serde(with = "clock")]
    to: NaiveTime,
}

/// A time on the wall clock as `08:00`.
mod clock {
    use chrono::NaiveTime;
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub fn serialize<S: Serializer>(time: &NaiveTime, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(&time.format("%H:%M"))
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<NaiveTime, D::Error> {
        let text = String::deserialize(from)?;
        NaiveTime::parse_from_str(&text, "%H:%M")
            .map_err(|_| D::Error::custom(format!("{text:?} is no time like 08:00")))
    }
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileMachine {
    name: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    hours: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    on_table: Option<String>,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FilePerson {
    name: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    hours: Option<String>,
    #[serde(default)]
    skills: BTreeSet<String>,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileJob {
    name: String,
    #[serde(default)]
    release: Minute,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    due: Option<Minute>,
    #[serde(default = "one")]
    weight: i64,
    operations: Vec<FileOperation>,
}

fn one() -> i64 {
    1
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileOperation {
    name: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    machines: Vec<FileMode>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    outside: Option<Minute>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    skill: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    setup_key: Option<String>,
    #[serde(default)]
    may_pause: bool,
    #[serde(default)]
    spread: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    after: Option<Vec<FileLink>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    fixed: Option<FileFixed>,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileMode {
    machine: String,
    #[serde(default)]
    setup: Minute,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    setup_same_key: Option<Minute>,
    run: Minute,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    attended: Option<Minute>,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileLink {
    operation: String,
    #[serde(default)]
    min_lag: Minute,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    max_lag: Option<Minute>,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileFixed {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    machine: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    person: Option<String>,
    start: Minute,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    attended_until: Option<Minute>,
    end: Minute,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileChangeover {
    from: String,
    to: String,
    minutes: Minute,
}

fn unreadable(what: String) -> ModelError {
    ModelError::Unreadable(what)
}

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
    /// Reads a shop file.
    ///
    /// # Errors
    /// Where the text is not one, with line and column.
    pub fn read(text: &str) -> Result<Self, ModelError> {
        serde_json::from_str(text).map_err(|e| unreadable(format!("not a shop file: {e}")))
    }

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

    /// A model as a file; people who can do the same share a skill made up for it.
    #[must_use]
    pub fn of_model(model: &Model) -> Self {
        let hours_name = |kind: &str, i: usize, w: &WorkingTime| {
            (!w.is_always()).then(|| format!("{kind} {}", i + 1))
        };
        let key = |k: Option<u32>| k.map(|k| format!("key {k}"));
        let mut hours = BTreeMap::new();
        let mut skills: BTreeMap<&[usize], String> = BTreeMap::new();
        for op in &model.operations {
            let next = format!("skill {}", skills.len() + 1);
            if !op.people.is_empty() {
                skills.entry(&op.people).or_insert(next);
            }
        }
        let mut machines = Vec::new();
        for (i, m) in model.machines.iter().enumerate() {
            let name = hours_name("machine", i, &m.calendar);
            if let Some(name) = &name {
                hours.insert(
                    name.clone(),
                    FileHours::Windows {
                        windows: m.calendar.windows().to_vec(),
                    },
                );
            }
            machines.push(FileMachine {
                name: m.name.clone(),
                hours: name,
                on_table: key(m.on_table),
            });
        }
        let mut people = Vec::new();
        for (i, p) in model.people.iter().enumerate() {
            let name = hours_name("person", i, &p.calendar);
            if let Some(name) = &name {
                hours.insert(
                    name.clone(),
                    FileHours::Windows {
                        windows: p.calendar.windows().to_vec(),
                    },
                );
            }
            let known = skills
                .iter()
                .filter(|(able, _)| able.contains(&i))
                .map(|(_, s)| s.clone())
                .collect();
            people.push(FilePerson {
                name: p.name.clone(),
                hours: name,
                skills: known,
            });
        }
        let machine_name = |m: usize| model.machines[m].name.clone();
        let operation = |i: usize| {
            let op = &model.operations[i];
            FileOperation {
                name: op.name.clone(),
                machines: op
                    .modes
                    .iter()
                    .filter_map(|m| {
                        Some(FileMode {
                            machine: machine_name(m.machine?),
                            setup: m.setup,
                            setup_same_key: Some(m.setup_same_key),
                            run: m.run,
                            attended: Some(m.attended),
                        })
                    })
                    .collect(),
                outside: op.modes.iter().find(|m| m.machine.is_none()).map(|m| m.run),
                skill: skills.get(op.people.as_slice()).cloned(),
                setup_key: key(op.setup_key),
                may_pause: op.may_pause,
                spread: op.spread,
                after: Some(
                    model
                        .links
                        .iter()
                        .filter(|l| l.after == i)
                        .map(|l| FileLink {
                            operation: model.operations[l.before].name.clone(),
                            min_lag: l.min_lag,
                            max_lag: l.max_lag,
                        })
                        .collect(),
                ),
                fixed: op.fixed.map(|f| FileFixed {
                    machine: op
                        .modes
                        .get(f.mode)
                        .and_then(|m| m.machine)
                        .map(machine_name),
                    person: f.person.map(|p| model.people[p].name.clone()),
                    start: f.start,
                    attended_until: Some(f.attended_until),
                    end: f.end,
                }),
            }
        };
        let jobs = model
            .jobs
            .iter()
            .enumerate()
            .map(|(j, job)| FileJob {
                name: job.name.clone(),
                release: job.release,
                due: job.due,
                weight: job.weight,
                operations: (0..model.operations.len())
                    .filter(|&i| model.operations[i].job == j)
                    .map(operation)
                    .collect(),
            })
            .collect();
        Self {
            goal: if model.goal == Goal::Makespan {
                "makespan".into()
            } else {
                promises()
            },
            origin: None,
            hours,
            machines,
            people,
            jobs,
            changeovers: model
                .changeovers
                .iter()
                .map(|(&(a, b), &minutes)| FileChangeover {
                    from: format!("key {a}"),
                    to: format!("key {b}"),
                    minutes,
                })
                .collect(),
        }
    }
}

/// A working calendar in minutes from the origin.
pub(super) fn working_time(calendar: &Calendar, origin: DateTime<Utc>) -> WorkingTime {
    let zero = floor_minute(origin);
    let minute = |at: DateTime<Utc>| floor_minute(at) - zero;
    WorkingTime::from_windows(
        calendar
            .intervals()
            .map(|(a, b)| (minute(a), minute(b)))
            .collect(),
    )
}

/// One operation of a plan, for people and programs to read.
#[derive(Debug, Clone, Serialize)]
pub struct PlannedOperation {
    /// Job.
    pub job: String,
    /// Operation.
    pub operation: String,
    /// Machine; none for outside work.
    pub machine: Option<String>,
    /// Who attends it.
    pub person: Option<String>,
    /// Start of the setup.
    pub start: Minute,
    /// Setup minutes.
    pub setup: Minute,
    /// When the person is free again.
    pub attended_until: Minute,
    /// When the machine is free again.
    pub end: Minute,
}

/// The operations of a plan by start.
#[must_use]
pub fn planned(model: &Model, plan: &Plan) -> Vec<PlannedOperation> {
    let mut rows: Vec<PlannedOperation> = model
        .operations
        .iter()
        .zip(&plan.assignments)
        .map(|(op, a)| PlannedOperation {
            job: model.jobs[op.job].name.clone(),
            operation: op.name.clone(),
            machine: op
                .modes
                .get(a.mode)
                .and_then(|m| m.machine)
                .map(|m| model.machines[m].name.clone()),
            person: a.person.map(|p| model.people[p].name.clone()),
            start: a.start,
            setup: a.setup,
            attended_until: a.attended_until,
            end: a.end,
        })
        .collect();
    rows.sort_by(|a, b| (a.start, &a.job, &a.operation).cmp(&(b.start, &b.job, &b.operation)));
    rows
}

#[cfg(test)]
mod tests {
    use super::super::{sample::Sample, solve::first_plan, validator::validate};
    use super::*;

    /// The example of this page, as a file.
    fn example() -> String {
        let page = include_str!("shopfile.rs");
        let lines = page
            .lines()
            .skip_while(|l| *l != "//! ```json")
            .skip(1)
            .take_while(|l| *l != "//! ```");
        lines
            .map(|l| l.trim_start_matches("//!"))
            .collect::<Vec<_>>()
            .join("\n")
    }

    #[test]
    fn the_example_is_read_and_planned() {
        let model = ShopFile::read(&example()).unwrap().model().unwrap();
        let plan = first_plan(&model).unwrap();
        assert!(
            validate(&model, &plan).is_empty(),
            "{:?}",
            validate(&model, &plan)
        );
        // Rear face is on the table: 5 + 45 attended from 08:00, 45 alone; then an hour's wait and three days away.
        let rows = planned(&model, &plan);
        assert_eq!(
            (
                rows[0].start,
                rows[0].setup,
                rows[0].attended_until,
                rows[0].end
            ),
            (480, 5, 530, 575)
        );
        assert_eq!((rows[1].start, rows[1].end), (635, 4955));
    }

    #[test]
    fn a_model_survives_its_file() {
        let mut sample = Sample::week();
        sample.lags = 10;
        let model = sample.make(8, None);
        let text = serde_json::to_string(&ShopFile::of_model(&model)).unwrap();
        let again = ShopFile::read(&text).unwrap().model().unwrap();
        assert_eq!(first_plan(&model).unwrap(), first_plan(&again).unwrap());
    }

    #[test]
    fn faults_are_named() {
        let fault = |from: &str, to: &str| {
            let text = example().replacen(from, to, 1);
            ShopFile::read(&text)
                .and_then(|f| f.model())
                .unwrap_err()
                .to_string()
        };
        assert!(
            fault("\"machine\": \"Mill\"", "\"machine\": \"Hone\"").contains("no machine Hone")
        );
        assert!(
            fault("\"skill\": \"milling\"", "\"skill\": \"honing\"")
                .contains("nobody has the skill honing")
        );
        assert!(
            fault("\"operation\": \"10\"", "\"operation\": \"15\"").contains("no operation 15")
        );
        assert!(fault("\"run\": 90", "\"run\": -90").contains("must not be negative"));
        assert!(fault("08:00", "8 o'clock").contains("not a shop file"));
    }
}
