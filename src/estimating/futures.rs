//! How long a route takes and what it costs in many futures.
//!
//! One draw a job for each element: if the first dowel of a block fights back, so do the others, because it is the same
//! iron, the same drill and the same person. So all steps of one element in one job share a ratio to their standard, drawn
//! from the element's own spread. A setup is an act of its own and has a draw of its own. What the shop, the person, the
//! kind of work and the job add to that is [`super::variation`]'s, the same as for the plan.

use super::cost::{CostError, Costing, OperationCost};
use super::route::{Operation, Route};
use super::variation::{Cause, World, key_of};
use crate::units::spread::{RatioDistribution, SpreadError};
use crate::units::{Minutes, Money, Spread, plain};
use rand::Rng;
use rust_decimal::Decimal;
use rust_decimal::prelude::{FromPrimitive, ToPrimitive};
use std::collections::BTreeMap;

impl Operation {
    /// The code of the element that takes most of its run: the kind of work it is. Its title when it has no steps.
    #[must_use]
    pub fn main_element(&self) -> &str {
        let mut runs: BTreeMap<&str, Decimal> = BTreeMap::new();
        for step in &self.steps {
            *runs.entry(&step.code).or_default() += step.run().0;
        }
        runs.into_iter()
            .max_by_key(|&(_, run)| run)
            .map_or(&self.title, |(code, _)| code)
    }

    /// Setup as it is expected: the standard times the mean of its spread.
    #[must_use]
    pub fn expected_setup(&self) -> Minutes {
        self.setup * mean_ratio(&self.setup_spread)
    }

    /// Setup and run as they are expected.
    #[must_use]
    pub fn expected(&self) -> Minutes {
        self.expected_setup() + self.expected_run()
    }

    /// Run as it is expected: each step's standard times the mean of its spread.
    #[must_use]
    pub fn expected_run(&self) -> Minutes {
        self.steps
            .iter()
            .map(|s| s.run() * mean_ratio(&s.spread))
            .sum()
    }
}

fn drawn(spread: Spread) -> Result<(Spread, RatioDistribution), SpreadError> {
    Ok((spread, spread.distribution()?))
}

/// The mean ratio as an exact figure, to six places.
fn mean_ratio(spread: &Spread) -> Decimal {
    Decimal::from_f64(spread.mean()).map_or(Decimal::ONE, |mean| mean.round_dp(6))
}

/// What a route's times depend on, laid out for quick sampling.
#[derive(Debug, Clone)]
pub struct TimeSampler {
    /// One draw for each element of the job and for each setup.
    pub(super) draws: Vec<(Spread, RatioDistribution)>,
    /// What each draw is drawn by: a number for the element's code, or for the operation that is set up.
    pub(super) keys: Vec<u64>,
    /// For each operation, minutes at the standard and the draw they go with.
    pub(super) terms: Vec<Vec<(f64, usize)>>,
    /// For each operation, its number and the element it is most of.
    pub(super) operations: Vec<(u64, u64)>,
}

impl TimeSampler {
    fn new(route: &Route) -> Result<Self, SpreadError> {
        let mut draws = Vec::new();
        let mut keys = Vec::new();
        let mut draw_of = BTreeMap::new();
        let mut terms = Vec::with_capacity(route.operations.len());
        for operation in &route.operations {
            let mut mine = vec![(plain(operation.setup.0), draws.len())];
            draws.push(drawn(operation.setup_spread)?);
            keys.push(u64::from(operation.number));
            for step in &operation.steps {
                let draw = match draw_of.get(step.code.as_str()) {
                    Some(&draw) => draw,
                    None => {
                        draws.push(drawn(step.spread)?);
                        keys.push(key_of(&step.code));
                        draw_of.insert(step.code.as_str(), draws.len() - 1);
                        draws.len() - 1
                    }
                };
                mine.push((plain(step.run().0), draw));
            }
            terms.push(mine);
        }
        let operations = route.operations.iter();
        Ok(Self {
            draws,
            keys,
            terms,
            operations: operations
                .map(|o| (u64::from(o.number), key_of(o.main_element())))
                .collect(),
        })
    }

    /// Minutes of each operation, setup included, of job `job` in one future that everything shares; operation `i` is done
    /// by one of `able[i]`, or by nobody in particular when there is none. Writes as many as `out` has room for.
    ///
    /// The same element of the same job has the same luck in whichever option it stands.
    pub fn sample_in(&self, world: &World, job: u64, able: &[Vec<u64>], out: &mut [f64]) {
        let ratios: Vec<f64> = self
            .draws
            .iter()
            .zip(&self.keys)
            .map(|((_, ratio), key)| {
                let mut rng = world.generator(Cause::Own, job ^ key.rotate_left(17));
                ratio.sample(&mut rng)
            })
            .collect();
        let whole = world.log_shop() + world.log_job(job);
        let each = self.terms.iter().zip(&self.operations).enumerate();
        for (minutes, (i, (terms, &(number, element)))) in out.iter_mut().zip(each) {
            let key = job ^ number.rotate_left(40);
            let person = able.get(i).and_then(|able| world.who(able, key));
            let log = whole
                + world.log_element(element)
                + person.map_or(0.0, |person| world.log_person(person));
            let own: f64 = terms
                .iter()
                .map(|&(standard, draw)| standard * ratios.get(draw).copied().unwrap_or(1.0))
                .sum();
            *minutes = own * log.exp() * world.rework(key);
        }
    }

    /// Minutes of each operation, setup included, in one future. Writes as many as `out` has room for.
    pub fn sample(&self, rng: &mut impl Rng, out: &mut [f64]) {
        let ratios: Vec<f64> = self
            .draws
            .iter()
            .map(|(_, ratio)| ratio.sample(rng))
            .collect();
        for (minutes, terms) in out.iter_mut().zip(&self.terms) {
            *minutes = terms
                .iter()
                .map(|&(standard, draw)| standard * ratios.get(draw).copied().unwrap_or(1.0))
                .sum();
        }
    }

    /// Mean (minutes) and variance (minutes²) of the total by the elements' own spreads alone: draws are independent, so
    /// their variances add, each times the square of all the standard minutes that go with it.
    #[must_use]
    pub fn moments(&self) -> (f64, f64) {
        let mut weights = vec![0.0; self.draws.len()];
        for &(standard, draw) in self.terms.iter().flatten() {
            if let Some(weight) = weights.get_mut(draw) {
                *weight += standard;
            }
        }
        self.draws.iter().zip(weights).fold(
            (0.0, 0.0),
            |(mean, variance), ((spread, _), weight)| {
                (
                    mean + weight * spread.mean(),
                    variance + weight * weight * spread.variance(),
                )
            },
        )
    }
}

impl Route {
    /// Its times, laid out for quick sampling.
    ///
    /// # Errors
    /// [`SpreadError`] for a spread that makes no sense, which no element without faults has.
    pub fn sampler(&self) -> Result<TimeSampler, SpreadError> {
        TimeSampler::new(self)
    }

    /// Closed-form mean (minutes) and variance (minutes²) of the time of all operations together.
    ///
    /// # Errors
    /// As [`Route::sampler`].
    pub fn moments(&self) -> Result<(f64, f64), SpreadError> {
        Ok(self.sampler()?.moments())
    }
}

/// The direct cost of a route in minor units of its currency for given minutes, quick enough for thousands of futures.
///
/// At the expected minutes and the expected number of failures it agrees with the exact build-up to within rounding.
/// Setup and run of an operation are taken to keep the proportion they are expected to have.
#[derive(Debug, Clone)]
pub struct CostSampler {
    /// For each operation: minor units a minute, and minor units whatever the minutes.
    operations: Vec<(f64, f64)>,
    inspected: usize,
    donor: f64,
}

impl CostSampler {
    /// Lays the costs out.
    ///
    /// # Errors
    /// [`CostError`], as the exact build-up would.
    pub fn new(costing: &Costing) -> Result<Self, CostError> {
        let operations = costing
            .route
            .operations
            .iter()
            .map(|operation| {
                let cost = OperationCost::of(operation, costing.rates)?;
                let minutes = plain(operation.expected().0);
                let timed = cost.labour.amount.plus(match &cost.machine {
                    Some(line) => line.amount,
                    None => Money::zero(cost.labour.amount.currency()),
                })?;
                let whole = cost.total(timed.currency())?;
                let a_minute = if minutes > 0.0 {
                    minor(timed) / minutes
                } else {
                    0.0
                };
                Ok((a_minute, minor(whole.minus(timed)?)))
            })
            .collect::<Result<_, CostError>>()?;
        let donor = match costing.donor {
            Some(donor) => {
                donor.checked_failures()?;
                minor(donor.price)
            }
            None => 0.0,
        };
        Ok(Self {
            operations,
            inspected: costing.route.inspected_after(),
            donor,
        })
    }

    /// Direct cost in minor units for the minutes of each operation, setup included, when so many donors failed first.
    #[must_use]
    pub fn direct(&self, minutes: &[f64], failures: u32) -> i64 {
        self.cost(minutes, f64::from(failures))
            .round()
            .to_i64()
            .unwrap_or(i64::MAX)
    }

    fn cost(&self, minutes: &[f64], failures: f64) -> f64 {
        let mut whole = self.donor;
        let mut lost = self.donor;
        for (i, (&(a_minute, fixed), &minutes)) in self.operations.iter().zip(minutes).enumerate() {
            let cost = a_minute * minutes + fixed;
            whole += cost;
            if i < self.inspected {
                lost += cost;
            }
        }
        whole + failures * lost
    }
}

/// Index of the order statistic that `percent` of `n` futures do not exceed: the smallest `i` with
/// `(i + 1) / n ≥ percent / 100` (the inverse of the empirical distribution function; Hyndman and Fan 1996,
/// definition 1, from memory). A promise made at it is never made on fewer futures than said.
#[must_use]
pub fn rank(percent: u32, n: usize) -> usize {
    let needed = n.saturating_mul(percent.min(100) as usize).div_ceil(100);
    needed.saturating_sub(1).min(n.saturating_sub(1))
}

/// The same for a share from 0 to 1.
#[must_use]
pub fn rank_of_share(share: f64, n: usize) -> usize {
    // A whole number of futures is not one more by the last bit of a product.
    let needed = (share.clamp(0.0, 1.0) * n as f64 - 1e-6).ceil().max(0.0) as usize;
    needed.saturating_sub(1).min(n.saturating_sub(1))
}

/// The figure that suffices in `percent` of 100 of the futures, by [`rank`]; `None` without futures.
#[must_use]
pub fn percentile(futures: &[i64], percent: u32) -> Option<i64> {
    let mut sorted = futures.to_vec();
    if sorted.is_empty() {
        return None;
    }
    let at = rank(percent, sorted.len());
    let (_, value, _) = sorted.select_nth_unstable(at);
    Some(*value)
}

/// Out of exact money into simulation: minor units as a plain number.
fn minor(money: Money) -> f64 {
    plain(money.amount()) * 10_f64.powi(i32::try_from(money.currency().minor_digits()).unwrap_or(2))
}

#[cfg(test)]
mod tests {
    use crate::estimating::tests::{route_of, typical};
    use crate::estimating::variation::{Variation, Worlds, key_of};
    use rust_decimal::dec;

    /// The same future makes a kind of work and a person as slow in a quote as in the plan, and what is done again takes
    /// its share once more: set beside the same future without any of it.
    #[test]
    fn an_option_has_the_factors_of_the_plan() {
        let route = route_of(&typical());
        let sampler = route.sampler().unwrap();
        let variation = Variation {
            person_percent: dec!(15),
            element_percent: dec!(20),
            rework_percent: dec!(30),
            rework_share_percent: dec!(50),
            ..Variation::none()
        };
        let (with, without) = (
            Worlds::new(5, variation.shares()),
            Worlds::new(5, Variation::none().shares()),
        );
        let able = vec![vec![3]; route.operations.len()];
        let mut again = 0;
        for k in 0..40 {
            let mut minutes = [vec![0.0; able.len()], vec![0.0; able.len()]];
            let world = with.world(k);
            sampler.sample_in(&world, 9, &able, &mut minutes[0]);
            sampler.sample_in(&without.world(k), 9, &able, &mut minutes[1]);
            for (at, operation) in route.operations.iter().enumerate() {
                let slow =
                    world.log_element(key_of(operation.main_element())) + world.log_person(3);
                let ratio = minutes[0][at] / (minutes[1][at] * slow.exp());
                let is = |share: f64| (ratio - share).abs() < 1e-9;
                assert!(is(1.0) || is(1.5), "{k}, {at}: {ratio}");
                again += i32::from(is(1.5));
            }
        }
        // Thirty in a hundred of 480, give or take four standard deviations of 10.
        assert_eq!(able.len(), 12);
        assert!((again - 144).abs() < 40, "{again}");
    }

    /// Two jobs have luck of their own, and so have two elements of one job, whatever their keys.
    #[test]
    fn no_two_draws_are_one() {
        let sampler = route_of(&typical()).sampler().unwrap();
        let world = Worlds::new(5, Variation::none().shares()).world(1);
        let mut drawn: Vec<u64> = Vec::new();
        for job in 0..8 {
            let mut minutes = vec![0.0; 12];
            sampler.sample_in(&world, job, &[], &mut minutes);
            drawn.extend(minutes.iter().map(|m| m.to_bits()));
        }
        let all = drawn.len();
        drawn.sort_unstable();
        drawn.dedup();
        assert_eq!(drawn.len(), all);
    }
}
