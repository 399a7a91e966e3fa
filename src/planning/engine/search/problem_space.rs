//! Search in the space of problems (Storer, Wu and Vaccari 1992): the promises are put elsewhere, a rule plans by
//! those, and the plan is judged by the true ones.
//!
//! One promise put earlier or later moves a whole job among all others, which no small change of an order can do. Each
//! try costs a whole plan by rule, so this is for finding the region; what is near is left to [`super::anneal`].

use rand::Rng;

use super::anneal::worse_allowed;
use crate::planning::engine::{
    construction::{dispatch::Dispatcher, rules::DispatchRule},
    model::{Minute, build::Shop, plan::Value},
    random::below,
    timing::{Decisions, Timing},
};

/// Tries in succession that may bring nothing better. The same for a large shop as for a small one, where each costs
/// more: annealing makes better use of the time.
const PATIENCE: u32 = 20;

/// The furthest that a promise is moved at once, and the unit of temperature (simulated annealing at one temperature),
/// in mean operations. Picked on two invented industrial shops, where most differences were within the noise.
const FURTHEST: f64 = 20.0;
const HEAT: f64 = 1.0;

/// Searches on from the plan of a rule until `stop` says so (asked after each try) or many tries in succession
/// brought nothing better.
pub(crate) fn search(
    shop: &Shop,
    timing: &mut Timing,
    how: DispatchRule,
    mut best: (Decisions, Value),
    rng: &mut impl Rng,
    stop: &mut dyn FnMut(&Value) -> bool,
) -> (Decisions, Value) {
    let mut dispatcher = Dispatcher::new(shop);
    let mut dues = shop.dues();
    let promised: Vec<u32> = (0..shop.jobs.len() as u32)
        .filter(|&j| shop.jobs[j as usize].due < Minute::MAX)
        .collect();
    let scale = dispatcher.mean.max(1.0);
    // Decisions may be those of another rule than theirs by now, so the walk begins at the rule's own plan.
    let decisions = dispatcher.plan(timing, how, &dues);
    let mut value = timing.once(shop, decisions);
    let mut late = late_jobs(shop, timing, &promised);
    let mut rounds_without_gain = 0;
    while rounds_without_gain < PATIENCE && value.lateness > 0 {
        rounds_without_gain += 1;
        let of_late = !late.is_empty() && below(rng, 4) > 0;
        let from = if of_late { &late } else { &promised };
        let job = from[below(rng, from.len() as u32) as usize] as usize;
        // Short steps are likelier.
        let u = (f64::from(below(rng, 1000)) + 1.0) / 1000.0;
        let step = (scale * FURTHEST * u * u) as Minute;
        let earlier = below(rng, 8) < if of_late { 7 } else { 2 };
        let old = dues[job];
        dues[job] += if earlier { -step } else { step };
        let decisions = dispatcher.plan(timing, how, &dues);
        let tried = timing.once(shop, decisions);
        let allowed = worse_allowed(HEAT * scale, rng);
        if tried.broken <= value.broken && (tried.lateness - value.lateness) as f64 <= allowed {
            value = tried;
            late = late_jobs(shop, timing, &promised);
            if tried.compare(&best.1, shop.objective()).is_lt() {
                best.0.copy(decisions);
                best.1 = tried;
                rounds_without_gain = 0;
            }
        } else {
            dues[job] = old;
        }
        if stop(&best.1) {
            break;
        }
    }
    best
}

/// Jobs that come late in the plan last timed.
fn late_jobs(shop: &Shop, timing: &Timing, promised: &[u32]) -> Vec<u32> {
    let late = |&j: &u32| {
        let done = timing.done(shop, j);
        done.is_some_and(|done| shop.jobs[j as usize].late(done) > 0)
    };
    promised.iter().copied().filter(late).collect()
}
