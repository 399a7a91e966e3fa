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
        let skills = skills(model);
        let mut hours = BTreeMap::new();
        let machines = model.machines.iter().enumerate().map(|(i, m)| FileMachine {
            name: m.name.clone(),
            hours: name_hours(&mut hours, format!("machine {}", i + 1), &m.calendar),
            on_table: key(m.on_table),
        });
        let machines = machines.collect();
        let people = model.people.iter().enumerate().map(|(i, p)| FilePerson {
            name: p.name.clone(),
            hours: name_hours(&mut hours, format!("person {}", i + 1), &p.calendar),
            skills: skills
                .iter()
                .filter(|(able, _)| able.contains(&i))
                .map(|(_, s)| s.clone())
                .collect(),
        });
        let people = people.collect();
        let jobs = model.jobs.iter().enumerate().map(|(j, job)| FileJob {
            name: job.name.clone(),
            release: job.release,
            due: job.due,
            weight: job.weight,
            operations: (0..model.operations.len())
                .filter(|&i| model.operations[i].job == j)
                .map(|i| operation(model, i, &skills))
                .collect(),
        });
        let changeovers = model.changeovers.iter();
        Self {
            goal: if model.goal == Goal::Makespan {
                "makespan".into()
            } else {
                promises()
            },
            wait_per_setup: model.wait_per_setup,
            origin: None,
            jobs: jobs.collect(),
            hours,
            machines,
            people,
            changeovers: changeovers
                .map(|(&(a, b), &minutes)| FileChangeover {
                    from: format!("key {a}"),
                    to: format!("key {b}"),
                    minutes,
                })
                .collect(),
        }
    }
}

/// The name of each group of people who can do an operation: a skill made up for them.
type Skills<'a> = BTreeMap<&'a [usize], String>;

fn skills(model: &Model) -> Skills<'_> {
    let mut skills = Skills::new();
    for op in &model.operations {
        let next = format!("skill {}", skills.len() + 1);
        if !op.people.is_empty() {
            skills.entry(&op.people).or_insert(next);
        }
    }
    skills
}

/// Files hours under a name; `None` for hours that never close.
fn name_hours(
    hours: &mut BTreeMap<String, FileHours>,
    name: String,
    calendar: &WorkingTime,
) -> Option<String> {
    if calendar.is_always() {
        return None;
    }
    let windows = calendar.windows().to_vec();
    hours.insert(name.clone(), FileHours::Windows { windows });
    Some(name)
}

fn key(key: Option<u32>) -> Option<String> {
    key.map(|key| format!("key {key}"))
}

fn operation(model: &Model, i: usize, skills: &Skills) -> FileOperation {
    let op = &model.operations[i];
    let machine_name = |m: usize| model.machines[m].name.clone();
    let modes = op.modes.iter().filter_map(|m| {
        Some(FileMode {
            machine: machine_name(m.machine?),
            setup: m.setup,
            setup_same_key: Some(m.setup_same_key),
            run: m.run,
            attended: Some(m.attended),
        })
    });
    let links = model.links.iter().filter(|l| l.after == i);
    let after = links.map(|l| FileLink {
        operation: model.operations[l.before].name.clone(),
        min_lag: l.min_lag,
        max_lag: l.max_lag,
    });
    FileOperation {
        name: op.name.clone(),
        machines: modes.collect(),
        outside: op.modes.iter().find(|m| m.machine.is_none()).map(|m| m.run),
        skill: skills.get(op.people.as_slice()).cloned(),
        setup_key: key(op.setup_key),
        may_pause: op.may_pause,
        spread: op.spread,
        after: Some(after.collect()),
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
}
