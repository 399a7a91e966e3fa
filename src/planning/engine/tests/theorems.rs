//! The engine against rules that are proved best.

use rand::SeedableRng;
use rand_pcg::Pcg64;

use crate::planning::engine::{
    formats::classical::job_shop,
    model::{Goal, Link, Minute, Mode, Model, validator::validate},
    random::below,
    solve::{SolveOptions, solve},
};

fn moves(iterations: u64) -> SolveOptions {
    SolveOptions {
        seed: 1,
        iterations: Some(iterations),
        rounds: u32::MAX,
    }
}

fn run(model: &Model, iterations: u64) -> crate::planning::engine::model::plan::Value {
    let outcome = solve(model, &moves(iterations), &mut |_| false).unwrap();
    assert!(validate(model, &outcome.plan).is_empty());
    outcome.plan.value
}

/// Jobs of one operation on one machine: times 1 to 20.
fn one_machine(n: usize, rng: &mut Pcg64) -> (Model, Vec<Minute>) {
    let times: Vec<Minute> = (0..n).map(|_| Minute::from(1 + below(rng, 20))).collect();
    let mut model = job_shop(
        &times
            .iter()
            .map(|&t| vec![vec![(0, t)]])
            .collect::<Vec<_>>(),
    );
    model.goal = Goal::Promises;
    (model, times)
}

/// Smith (1956): Σ weight × completion on one machine is least in order of time over weight.
#[test]
fn weighted_shortest_time_first() {
    let mut rng = Pcg64::seed_from_u64(21);
    for _ in 0..12 {
        let (mut model, times) = one_machine(10, &mut rng);
        for job in &mut model.jobs {
            // Promised for the origin, a job is late by its completion.
            job.due = Some(0);
            job.weight = 1 + i64::from(below(&mut rng, 9));
        }
        let mut order: Vec<usize> = (0..10).collect();
        order.sort_by(|&a, &b| {
            (times[a] * model.jobs[b].weight).cmp(&(times[b] * model.jobs[a].weight))
        });
        let (mut now, mut best) = (0, 0);
        for j in order {
            now += times[j];
            best += model.jobs[j].weight * now;
        }
        assert_eq!(run(&model, 20_000).lateness, best);
    }
}

/// Jackson (1955): the maximum lateness on one machine is least in order of promises. Here max (C + q), with outside
/// work of length q = D − d behind each job, is the makespan.
#[test]
fn earliest_due_date_first() {
    let mut rng = Pcg64::seed_from_u64(22);
    for _ in 0..12 {
        let (mut model, times) = one_machine(10, &mut rng);
        model.goal = Goal::Makespan;
        let due: Vec<Minute> = (0..10)
            .map(|_| Minute::from(below(&mut rng, 100)))
            .collect();
        for (j, d) in due.iter().enumerate() {
            let mut tail = model.operations[j].clone();
            tail.modes = vec![Mode {
                machine: None,
                setup: 0,
                setup_same_key: 0,
                run: 100 - d,
                attended: 0,
            }];
            model.operations.push(tail);
            model.links.push(Link {
                before: j,
                after: 10 + j,
                min_lag: 0,
                max_lag: None,
            });
        }
        let mut order: Vec<usize> = (0..10).collect();
        order.sort_by_key(|&j| due[j]);
        let (mut now, mut worst) = (0, Minute::MIN);
        for j in order {
            now += times[j];
            worst = worst.max(now - due[j]);
        }
        assert_eq!(run(&model, 20_000).makespan, 100 + worst);
    }
}

/// Johnson (1954): two machines in a row, those quicker on the first in order of it, then the others in falling order
/// of the second.
#[test]
fn two_machines_in_a_row() {
    let mut rng = Pcg64::seed_from_u64(23);
    for _ in 0..12 {
        let jobs: Vec<(Minute, Minute)> = (0..15)
            .map(|_| {
                (
                    Minute::from(1 + below(&mut rng, 30)),
                    Minute::from(1 + below(&mut rng, 30)),
                )
            })
            .collect();
        let mut order = jobs.clone();
        order.sort_by_key(|&(a, b)| if a < b { (0, a) } else { (1, -b) });
        let (mut first, mut second) = (0, 0);
        for (a, b) in order {
            first += a;
            second = first.max(second) + b;
        }
        let rows: Vec<_> = jobs
            .iter()
            .map(|&(a, b)| vec![vec![(0, a)], vec![(1, b)]])
            .collect();
        assert_eq!(run(&job_shop(&rows), 60_000).makespan, second);
    }
}

/// Moore (1968), with Hodgson's algorithm: the least number of late jobs on one machine. A plan has no fewer, and the
/// engine is late at all just when that number is not zero.
#[test]
fn fewest_late_jobs() {
    let mut rng = Pcg64::seed_from_u64(24);
    let (mut none, mut some) = (0, 0);
    for _ in 0..40 {
        let (mut model, times) = one_machine(10, &mut rng);
        let mut elapsed = 0;
        for (job, time) in model.jobs.iter_mut().zip(&times) {
            elapsed += time;
            job.due = Some((elapsed + Minute::from(below(&mut rng, 30)) - 10).max(*time));
        }
        let mut order: Vec<usize> = (0..10).collect();
        order.sort_by_key(|&j| model.jobs[j].due);
        let (mut on_time, mut now): (Vec<Minute>, Minute) = (Vec::new(), 0);
        for j in order {
            on_time.push(times[j]);
            now += times[j];
            if Some(now) > model.jobs[j].due {
                let longest = (0..on_time.len()).max_by_key(|&k| on_time[k]).unwrap();
                now -= on_time.swap_remove(longest);
            }
        }
        let fewest = 10 - on_time.len();
        let outcome = solve(&model, &moves(20_000), &mut |_| false).unwrap();
        let late = model
            .jobs
            .iter()
            .zip(&outcome.plan.assignments)
            .filter(|(j, a)| Some(a.end) > j.due)
            .count();
        assert!(late >= fewest);
        assert_eq!(late == 0, fewest == 0);
        if fewest == 0 { none += 1 } else { some += 1 }
    }
    assert!(none > 3 && some > 3, "{none} {some}");
}
