//! The planning engine.
pub mod calendar;
pub mod classical;
mod graph;
pub mod model;
mod relink;
mod tabu;

/// dev
pub fn dev(model: &model::Model, seed: u64, target: i32, secs: f64) -> (i32, u64, f64) {
    use rand::SeedableRng;
    let mut g = graph::Graph::new(model).unwrap();
    let n = g.len();
    let mut rng = rand_pcg::Pcg64::seed_from_u64(seed);
    // job-round-robin start
    let mut order: Vec<u32> = (0..n as u32).collect();
    let mut k = vec![0; model.jobs.len()];
    let mut key = vec![0; n];
    for i in 0..n { let j = model.operations[i].job; key[i] = k[j]; k[j] += 1; }
    order.sort_by_key(|&i| key[i as usize]);
    let start = graph::Sequence { order, mode: vec![0; n], makespan: i32::MAX };
    fn cpu() -> f64 { std::fs::read_to_string("/proc/thread-self/schedstat").unwrap().split(" ").next().unwrap().parse::<f64>().unwrap() * 1e-9 }
    let t0 = cpu();
    let mut its = 0u64;
    let mut at = 0.0;
    let best = relink::search(&mut g, &start, model.machines.len(), model.jobs.len(), target, &mut rng, &mut relink::Watch {
        stop: &mut |k| { its += k; cpu() - t0 > secs },
        found: &mut |_b| at = cpu() - t0,
    });
    g.load(&best.order, &best.mode);
    assert_eq!(g.makespan(), best.makespan);
    (best.makespan, its, at)
}
