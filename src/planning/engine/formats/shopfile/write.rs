//! From a model to a shop file.

use std::collections::BTreeMap;

use super::{
    FileChangeover, FileFixed, FileHours, FileJob, FileLink, FileMachine, FileMode, FileOperation,
    FilePerson, ShopFile, promises,
};
use crate::planning::engine::model::{Goal, Model, calendar::WorkingTime};

impl ShopFile {
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
