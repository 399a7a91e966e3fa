//! Whether a plan may be carried out, by the rules alone.
//!
//! Knows the model and the plan and nothing of the search: hours are counted here minute stretch by minute stretch from
//! the windows, and what stands on a machine's table is read from the plan itself. Every test and every debug build
//! asks it.

use std::fmt;

use super::{
    Minute, Model,
    calendar::WorkingTime,
    plan::{Assignment, LATEST, Plan, Value},
    ties::settle_ties,
};

/// A rule that a plan breaks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Violation {
    /// The operation at fault; `None` when it is the plan as a whole.
    pub operation: Option<usize>,
    /// The rule, in words.
    pub what: String,
}

impl fmt::Display for Violation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.operation {
            Some(op) => write!(f, "operation {op}: {}", self.what),
            None => f.write_str(&self.what),
        }
    }
}

/// All rules the plan breaks; empty for a plan that may be carried out.
#[must_use]
pub fn validate(model: &Model, plan: &Plan) -> Vec<Violation> {
    if plan.assignments.len() != model.operations.len() {
        return vec![Violation {
            operation: None,
            what: "not one assignment for each operation".into(),
        }];
    }
    let mut found = Vec::new();
    let before_on_machine = previous_on_machines(model, plan, &mut found);
    check_people(model, plan, &mut found);
    for (i, a) in plan.assignments.iter().enumerate() {
        check_operation(model, i, a, before_on_machine[i], &mut found);
    }
    for link in &model.links {
        let wait = plan.assignments[link.after].start - plan.assignments[link.before].end;
        if wait < link.min_lag {
            let what = format!(
                "starts {wait} min after operation {}, {} are needed",
                link.before, link.min_lag
            );
            found.push(Violation {
                operation: Some(link.after),
                what,
            });
        }
        if let Some(max) = link.max_lag.filter(|&max| wait > max) {
            let what = format!(
                "starts {wait} min after operation {}, {max} are allowed",
                link.before
            );
            found.push(Violation {
                operation: Some(link.after),
                what,
            });
        }
    }
    let value = revalue(model, plan);
    let stated = plan.value;
    if found.is_empty()
        && (
            value.lateness,
            value.setup,
            value.in_progress,
            value.makespan,
            0,
        ) != (
            stated.lateness,
            stated.setup,
            stated.in_progress,
            stated.makespan,
            stated.broken,
        )
    {
        found.push(Violation {
            operation: None,
            what: format!("is worth {value:?}, not {stated:?}"),
        });
    }
    found
}

/// What a plan is worth by its assignments, `broken` aside.
#[must_use]
pub fn revalue(model: &Model, plan: &Plan) -> Value {
    let mut value = Value::default();
    let mut done: Vec<Option<Minute>> = vec![None; model.jobs.len()];
    for (op, a) in model.operations.iter().zip(&plan.assignments) {
        done[op.job] = Some(done[op.job].map_or(a.end, |d| d.max(a.end)));
        value.setup += a.setup;
    }
    for (job, done) in model.jobs.iter().zip(done) {
        if let Some(done) = done {
            value.makespan = value.makespan.max(done);
            value.in_progress += done - job.release;
            value.lateness += job.weight * job.due.map_or(0, |due| (done - due).clamp(0, LATEST));
        }
    }
    value
}

/// The operation before each on its machine; overlaps are violations.
fn previous_on_machines(
    model: &Model,
    plan: &Plan,
    found: &mut Vec<Violation>,
) -> Vec<Option<usize>> {
    let mut by_machine = vec![Vec::new(); model.machines.len()];
    for (i, a) in plan.assignments.iter().enumerate() {
        match model.operations[i].modes.get(a.mode) {
            Some(mode) => {
                // Fixed work of no length takes no machine, and leaves nothing on its table.
                let takes = model.operations[i].fixed.is_none() || a.start < a.end;
                if let Some(m) = mode.machine.filter(|_| takes) {
                    by_machine[m].push(i);
                }
            }
            None => found.push(Violation {
                operation: Some(i),
                what: "is in a mode it does not have".into(),
            }),
        }
    }
    let mut before = vec![None; model.operations.len()];
    for (machine, stays) in model.machines.iter().zip(&mut by_machine) {
        stays.sort_by_key(|&i| (plan.assignments[i].start, plan.assignments[i].end));
        settle_ties(model, plan, machine.on_table, stays);
        for pair in stays.windows(2) {
            before[pair[1]] = Some(pair[0]);
            if plan.assignments[pair[1]].start < plan.assignments[pair[0]].end {
                let what = format!("is on the machine before operation {} has left it", pair[0]);
                found.push(Violation {
                    operation: Some(pair[1]),
                    what,
                });
            }
        }
    }
    before
}

fn check_people(model: &Model, plan: &Plan, found: &mut Vec<Violation>) {
    let mut by_person = vec![Vec::new(); model.people.len()];
    for (i, a) in plan.assignments.iter().enumerate() {
        if let Some(p) = a.person {
            match by_person.get_mut(p) {
                Some(attended) if a.attended_until > a.start => attended.push(i),
                Some(_) => {}
                None => found.push(Violation {
                    operation: Some(i),
                    what: "has a person who is not there".into(),
                }),
            }
        }
    }
    for attended in &mut by_person {
        attended.sort_by_key(|&i| plan.assignments[i].start);
        for pair in attended.windows(2) {
            if plan.assignments[pair[1]].start < plan.assignments[pair[0]].attended_until {
                let what = format!("needs a person who still attends operation {}", pair[0]);
                found.push(Violation {
                    operation: Some(pair[1]),
                    what,
                });
            }
        }
    }
}

fn check_operation(
    model: &Model,
    i: usize,
    a: &Assignment,
    before: Option<usize>,
    found: &mut Vec<Violation>,
) {
    let op = &model.operations[i];
    let mut fault = |what: String| {
        found.push(Violation {
            operation: Some(i),
            what,
        })
    };
    let Some(mode) = op.modes.get(a.mode) else {
        return;
    };
    if let Some(f) = op.fixed {
        if (a.mode, a.person, a.start, a.attended_until, a.end)
            != (f.mode, f.person, f.start, f.attended_until, f.end)
        {
            fault("is not where it was fixed".into());
        }
        return;
    }
    if a.start < model.jobs[op.job].release {
        fault("starts before its job is released".into());
    }
    let always = WorkingTime::always();
    let machine = mode
        .machine
        .map_or(&always, |m| &model.machines[m].calendar);
    let key_before = match (mode.machine, before) {
        (Some(_), Some(b)) => model.operations[b].setup_key,
        (Some(m), None) => model.machines[m].on_table,
        (None, _) => None,
    };
    let setup = model.setup_after(i, mode, key_before);
    if a.setup != setup {
        fault(format!(
            "has {} min of setup where {setup} are needed",
            a.setup
        ));
    }
    let attended = if op.people.is_empty() {
        0
    } else {
        setup + mode.attended
    };
    let alone = setup + mode.run - attended;
    let mut joint = machine.clone();
    if attended > 0 {
        match a.person {
            Some(p) if op.people.contains(&p) => joint = machine.and(&model.people[p].calendar),
            _ => fault("has nobody with the skill to attend it".into()),
        }
    }
    if a.start > a.attended_until || a.attended_until > a.end {
        fault("has its times out of order".into());
        return;
    }
    for (name, hours, from, to, work) in [
        ("attended", &joint, a.start, a.attended_until, attended),
        ("unattended", machine, a.attended_until, a.end, alone),
    ] {
        let open = hours.open_between(from, to);
        if open != work {
            fault(format!("has {open} open minutes for {work} min {name}"));
        }
        if !op.may_pause && to - from != work {
            fault(format!("pauses in its {name} part"));
        }
        if work > 0 && !hours.is_open(to - 1) {
            fault(format!("ends its {name} part while closed"));
        }
    }
    if !(if attended > 0 { &joint } else { machine }).is_open(a.start) {
        fault("starts while closed".into());
    }
}
