//! Which of several stays of no length at one minute came first on their machine.
//!
//! A plan says when, not in which order; for work that takes no time that is not the same. It leaves its setup key on
//! the table all the same, so the order shows in the setups of what comes next.

use super::{Model, plan::Plan};

/// Orders tried before a machine's stays are left as they stand.
const TRIES: u32 = 100_000;

/// Puts stays of no length that begin at the same minute into an order in which every setup is the one that the plan
/// states, if there is one. `stays` are those of one machine by start and end; none else change places.
pub(super) fn settle_ties(model: &Model, plan: &Plan, on_table: Option<u32>, stays: &mut [usize]) {
    let takes_no_time = |i: usize| plan.assignments[i].start == plan.assignments[i].end;
    let mut from = 0;
    while from < stays.len() {
        let run = stays[from..]
            .iter()
            .take_while(|&&i| takes_no_time(i))
            .count();
        let to = from + run;
        if run > 1 {
            let before = match from.checked_sub(1) {
                Some(k) => model.operations[stays[k]].setup_key,
                None => on_table,
            };
            let next = stays.get(to).copied();
            if let Some(order) = order(model, plan, before, &stays[from..to], next) {
                stays[from..to].copy_from_slice(&order);
            }
        }
        from = to + 1;
    }
}

/// An order of stays of no length between what the table holds `before` and the stay that comes `next`.
fn order(
    model: &Model,
    plan: &Plan,
    before: Option<u32>,
    run: &[usize],
    next: Option<usize>,
) -> Option<Vec<usize>> {
    let start = |k: usize| plan.assignments[run[k]].start;
    // Those that tie stand together: the places of each tie are its own.
    let tie = |k: usize| {
        let from = (0..k)
            .rev()
            .take_while(|&j| start(j) == start(k))
            .last()
            .unwrap_or(k);
        let to = (k..run.len()).take_while(|&j| start(j) == start(k)).count() + k;
        from..to
    };
    let as_stated = |i: usize, key: Option<u32>| {
        let (op, a) = (&model.operations[i], &plan.assignments[i]);
        let mode = op.modes.get(a.mode);
        op.fixed.is_some() || mode.is_none_or(|m| model.setup_after(i, m, key) == a.setup)
    };
    let keys = |from: Option<u32>| {
        let later = run.iter().map(|&i| model.operations[i].setup_key);
        std::iter::once(from).chain(later)
    };
    if run
        .iter()
        .chain(&next)
        .zip(keys(before))
        .all(|(&i, key)| as_stated(i, key))
    {
        return None;
    }
    let waits_for: Vec<Vec<usize>> = (0..run.len())
        .map(|k| {
            let earlier = model.links.iter().filter(|l| l.after == run[k]);
            earlier
                .filter_map(|l| run.iter().position(|&i| i == l.before))
                .collect()
        })
        .collect();
    let mut picked: Vec<usize> = Vec::with_capacity(run.len());
    let mut used = vec![false; run.len()];
    let mut untried = tie(0).start;
    for _ in 0..TRIES {
        let place = picked.len();
        let key = match picked.last() {
            Some(&k) => model.operations[run[k]].setup_key,
            None => before,
        };
        if place == run.len() && next.is_none_or(|i| as_stated(i, key)) {
            return Some(picked.iter().map(|&k| run[k]).collect());
        }
        let candidates = if place < run.len() {
            untried..tie(place).end
        } else {
            0..0
        };
        let fits = |&k: &usize| {
            !used[k] && waits_for[k].iter().all(|&b| used[b]) && as_stated(run[k], key)
        };
        if let Some(k) = candidates.into_iter().find(fits) {
            used[k] = true;
            picked.push(k);
            untried = if picked.len() < run.len() {
                tie(picked.len()).start
            } else {
                0
            };
        } else {
            let k = picked.pop()?;
            used[k] = false;
            untried = k + 1;
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use crate::planning::engine::{
        formats::classical::job_shop,
        model::{
            Minute, Model,
            plan::{Assignment, Plan, Value},
            validator::{revalue, validate},
        },
    };

    /// One machine: two stays of no length with keys of their own, then half an hour that needs no setup behind the
    /// first of them.
    fn shop() -> (Model, Plan) {
        let mut model = job_shop(&[vec![vec![(0, 0)]], vec![vec![(0, 0)]], vec![vec![(0, 30)]]]);
        for (op, key) in model.operations.iter_mut().zip([1, 2, 1]) {
            op.setup_key = Some(key);
        }
        model.operations[2].modes[0].setup = 20;
        let stay = |start: Minute, end: Minute| Assignment {
            mode: 0,
            person: None,
            start,
            setup: 0,
            attended_until: start,
            end,
        };
        let mut plan = Plan {
            assignments: vec![stay(0, 0), stay(0, 0), stay(0, 30)],
            value: Value::default(),
        };
        plan.value = revalue(&model, &plan);
        (model, plan)
    }

    #[test]
    fn stays_of_no_length_stand_in_the_order_that_the_setups_tell() {
        let (mut model, mut plan) = shop();
        assert_eq!(validate(&model, &plan), vec![]);
        // With the other key last, the setup is missing.
        model.links.push(crate::planning::engine::model::Link {
            before: 0,
            after: 1,
            min_lag: 0,
            max_lag: None,
        });
        assert_eq!(validate(&model, &plan).len(), 3);
        model.links.clear();
        for op in &mut model.operations[..2] {
            op.setup_key = Some(2);
        }
        assert_eq!(validate(&model, &plan).len(), 3);
        // A fixed stay of no length leaves nothing on the table.
        let (mut model, _) = shop();
        model.operations[0].fixed = Some(crate::planning::engine::model::Fixed {
            mode: 0,
            person: None,
            start: -5,
            attended_until: -5,
            end: -5,
        });
        (plan.assignments[0].start, plan.assignments[0].end) = (-5, -5);
        plan.assignments[0].attended_until = -5;
        assert_eq!(validate(&model, &plan).len(), 3);
    }
}
