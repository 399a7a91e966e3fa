//! One option simulated over many futures: what is procured when, how long the work takes, what it costs and when it is
//! ready.

use super::answer::{AnswerError, Figures, MachineTime, OptionAnswer};
use super::options::{self, Proposal, Way};
use super::procurement::Procurement;
use super::proportion::MOST_TIMES_CHEAPEST;
use super::range::{PriceRange, ReadyRange, percent_of};
use super::wish::{Knowledge, Wish};
use crate::estimating::cost::{CostError, Costing};
use crate::estimating::futures::{CostSampler, percentile, plain};
use crate::estimating::{CostBuildUp, Operation, Route};
use crate::planning::{Candidate, ReadyDates, ready::CandidateOperation};
use crate::sourcing::hunt::Spent;
use crate::units::{Minutes, Money, MoneyError};
use chrono::{DateTime, Duration, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use rand_pcg::Pcg64;
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;
use std::collections::BTreeMap;

/// When and how options are simulated.
#[derive(Debug, Clone, Copy)]
pub struct Simulation {
    /// Now.
    pub now: DateTime<Utc>,
    /// How many futures to simulate; at least one.
    pub futures: u32,
    /// Seed: the same seed and knowledge give the same answer, so figures do not dance while a caller talks.
    pub seed: u64,
}

/// An option with the futures behind it.
pub(super) struct Simulated {
    pub(super) option: OptionAnswer,
    /// What was simulated.
    pub(super) proposal: Proposal,
    /// The stream of random numbers it was simulated with.
    pub(super) stream: usize,
    /// Price before tax, minor units, in each future.
    pub(super) price: Vec<i64>,
    /// Direct cost, minor units, in each future.
    pub(super) direct: Vec<i64>,
    /// Ready time in each future.
    pub(super) ready: Vec<Option<DateTime<Utc>>>,
    /// Whether there is a block to work on, in each future.
    pub(super) released: Vec<bool>,
    /// For a hunt: what decides how much an offered casting is worth.
    pub(super) offer: Option<OfferTerms>,
}

impl Simulated {
    /// Prices of the futures in which a block is delivered, minor units.
    pub(super) fn delivered(&self) -> Vec<i64> {
        let both = self.price.iter().zip(&self.released);
        both.filter(|(_, released)| **released)
            .map(|(price, _)| *price)
            .collect()
    }

    /// The dearest of all figures shown of it, minor units.
    pub(super) fn dearest(&self) -> Option<i64> {
        let figures = self.option.figures()?;
        let PriceRange {
            low,
            likely,
            high,
            at_confidence,
        } = figures.price;
        [low, likely, high, at_confidence, figures.build_up.net]
            .into_iter()
            .map(|money| money.to_minor().unwrap_or(i64::MAX))
            .max()
    }
}

/// What decides how much an offered casting is worth, in minor units.
pub(super) struct OfferTerms {
    pub(super) chance_good: f64,
    pub(super) carriage: f64,
    pub(super) inspection: f64,
    pub(super) rest_of_work: f64,
}

/// Why a proposal has no figures.
#[derive(Debug, thiserror::Error)]
pub(super) enum Dropped {
    #[error(transparent)]
    Cost(#[from] CostError),
    #[error("No sound one turned up in any of the simulated outcomes.")]
    NothingFound,
    #[error("It would cost more than {MOST_TIMES_CHEAPEST} times as much as the cheapest option.")]
    OutOfProportion,
}

impl Dropped {
    /// The option with the reason why it has no figures.
    ///
    /// # Errors
    /// Sums that do not add up are no matter of one option.
    pub(super) fn reason(self, proposal: &Proposal) -> Result<OptionAnswer, AnswerError> {
        match self {
            Self::Cost(CostError::Money(error)) => Err(error.into()),
            why => Ok(proposal.impossible(vec![why.to_string()])),
        }
    }
}

impl From<MoneyError> for Dropped {
    fn from(error: MoneyError) -> Self {
        Self::Cost(error.into())
    }
}

/// Simulates one proposal: procurement, working time, cost and ready time in each future; with a stream of random
/// numbers, and the price in minor units at which the shop stops, if there is one.
///
/// # Errors
/// [`Dropped`]: why the proposal has no figures.
pub(super) fn simulate(
    proposal: &Proposal,
    wish: &Wish,
    knowledge: &Knowledge,
    dates: &dyn ReadyDates,
    simulation: Simulation,
    (stream, limit): (usize, Option<i64>),
) -> Result<Simulated, Dropped> {
    let way = &proposal.way;
    let costing = Costing {
        route: &way.route,
        rates: &knowledge.rates,
        policy: &knowledge.policy,
        donor: way.donor,
    };
    let costs = CostSampler::new(&costing)?;
    let mut draws = Draws::of(way, &costs, simulation, stream)?;
    let price = draws
        .direct
        .iter()
        .map(|&minor| {
            let cost = Money::from_minor(minor, knowledge.currency);
            knowledge.policy.price(cost)?.rounded().to_minor()
        })
        .collect::<Result<Vec<i64>, MoneyError>>()?;
    if let Some(limit) = limit {
        draws.stop_at(limit, &price);
    }
    let ready = draws.ready(&way.route, dates, simulation.now);
    let confidence = knowledge.policy.confidence_percent;
    let range = PriceRange::of(&draws.delivered(&price), confidence, knowledge.currency).ok_or(
        if limit.is_some() {
            Dropped::OutOfProportion
        } else {
            Dropped::NothingFound
        },
    )?;
    let procured = match &way.procurement {
        Procurement::Hunt(_) => {
            options::procurement_lines(&draws.spent_on_found(), knowledge.currency)?
        }
        _ => Vec::new(),
    };
    let build_up = CostBuildUp::of_futures(&costing, procured, &draws.delivered(&draws.to_cover))?;
    let futures = draws.release.len();
    let figures = Figures {
        price: range,
        ready: ReadyRange::of(&ready, confidence),
        in_time_percent: wish
            .wanted_by
            .map(|by| percent_of(ready_by(&ready, by, knowledge.zone), futures)),
        never_percent: percent_of(
            draws.released().filter(|released| !released).count(),
            futures,
        ),
        machines: machine_times(&way.route, &draws.minutes, confidence),
        route: way.route.clone(),
        conversion: way.conversion.clone(),
        build_up,
    };
    Ok(Simulated {
        option: proposal.possible(figures),
        proposal: proposal.clone(),
        stream,
        price,
        ready,
        released: draws.released().collect(),
        direct: draws.direct,
        offer: OfferTerms::of(way, &costs),
    })
}

/// What was drawn of a proposal, future by future.
struct Draws {
    /// Working minutes, one row of operations a future.
    minutes: Vec<f64>,
    /// When there is a block to work on; `None` when there never is.
    release: Vec<Option<DateTime<Utc>>>,
    /// Direct cost, minor units.
    direct: Vec<i64>,
    /// The same without the shop's own donors that fail, which are charged at their expectation.
    to_cover: Vec<i64>,
    /// What a hunt's money went on.
    parts: Vec<Option<Spent>>,
}

impl Draws {
    fn of(
        way: &Way,
        costs: &CostSampler,
        simulation: Simulation,
        stream: usize,
    ) -> Result<Self, CostError> {
        let futures = simulation.futures.max(1) as usize;
        let operations = way.route.operations.len();
        let times = way.route.sampler()?;
        let inspected = way.route.inspected_after();
        let mut rng = Pcg64::new(u128::from(simulation.seed), stream as u128);
        let mut draws = Self {
            minutes: vec![0.0; futures * operations],
            release: Vec::with_capacity(futures),
            direct: Vec::with_capacity(futures),
            to_cover: Vec::with_capacity(futures),
            parts: Vec::with_capacity(futures),
        };
        for k in 0..futures {
            let Some(mine) = draws.minutes.get_mut(k * operations..(k + 1) * operations) else {
                break;
            };
            times.sample(&mut rng, mine);
            let procured = way.procurement.sample(costs, &mut rng);
            let whole = costs
                .direct(mine, procured.failed)
                .saturating_add(procured.spent_minor);
            draws.to_cover.push(match way.procurement {
                Procurement::Hunt(_) => whole,
                _ => costs.direct(mine, 0),
            });
            draws.direct.push(whole);
            // Every casting that fails has been through the inspection as well.
            for minutes in mine.iter_mut().take(inspected) {
                *minutes *= f64::from(procured.failed.saturating_add(1));
            }
            draws.release.push(
                procured
                    .days
                    .and_then(|days| simulation.now.checked_add_signed(days_from(days))),
            );
            draws.parts.push(procured.parts);
        }
        Ok(draws)
    }

    /// Nothing is delivered in the futures that would cost more than the limit, minor units.
    fn stop_at(&mut self, limit: i64, price: &[i64]) {
        for (release, price) in self.release.iter_mut().zip(price) {
            if *price > limit {
                *release = None;
            }
        }
    }

    fn released(&self) -> impl Iterator<Item = bool> {
        self.release.iter().map(Option::is_some)
    }

    /// When the job is ready in each future.
    fn ready(
        &self,
        route: &Route,
        dates: &dyn ReadyDates,
        now: DateTime<Utc>,
    ) -> Vec<Option<DateTime<Utc>>> {
        // A future without a casting is played from now like the others, and its ready time is dropped below.
        let starts: Vec<DateTime<Utc>> = self.release.iter().map(|r| r.unwrap_or(now)).collect();
        let mut ready = dates.ready(&candidate(route), &starts, &self.minutes);
        for (ready, release) in ready.iter_mut().zip(&self.release) {
            if release.is_none() {
                *ready = None;
            }
        }
        ready
    }

    /// A price is asked for a block that is delivered: futures without one do not count towards it.
    fn delivered(&self, values: &[i64]) -> Vec<i64> {
        values
            .iter()
            .zip(self.released())
            .filter(|(_, released)| *released)
            .map(|(value, _)| *value)
            .collect()
    }

    /// What the money of a hunt went on in the futures that found something.
    fn spent_on_found(&self) -> Vec<Spent> {
        self.parts
            .iter()
            .zip(self.released())
            .filter(|(_, released)| *released)
            .filter_map(|(parts, _)| *parts)
            .collect()
    }
}

/// In how many futures the job is ready by the end of a day.
pub(super) fn ready_by(ready: &[Option<DateTime<Utc>>], by: NaiveDate, zone: Tz) -> usize {
    ready
        .iter()
        .flatten()
        .filter(|time| time.with_timezone(&zone).date_naive() <= by)
        .count()
}

impl OfferTerms {
    /// Of a hunt; nothing else is offered for sale.
    fn of(way: &Way, costs: &CostSampler) -> Option<Self> {
        let Procurement::Hunt(hunt) = &way.procurement else {
            return None;
        };
        let expected: Vec<f64> = way
            .route
            .operations
            .iter()
            .map(|o| plain(o.expected().0))
            .collect();
        let whole = costs.direct(&expected, 0) as f64;
        let inspection = costs.direct(&expected, 1) as f64 - whole;
        Some(Self {
            chance_good: hunt.outlook().good.chance(),
            carriage: hunt.carriage_minor() as f64,
            inspection,
            rest_of_work: whole - inspection,
        })
    }
}

fn days_from(days: f64) -> TimeDelta {
    // Bounded by the horizon of a hunt, so it fits.
    Duration::minutes((days * 1440.0).round() as i64)
}

/// The route as the planner sees it.
pub(super) fn candidate(route: &Route) -> Candidate {
    let index_of = |number: u32| route.operations.iter().position(|o| o.number == number);
    Candidate {
        operations: route
            .operations
            .iter()
            .map(|operation| CandidateOperation {
                number: operation.number,
                machine_kind: operation.machine_kind.clone(),
                skill: operation.skill.clone(),
                setup_key: operation.setup_key.clone(),
                after: operation
                    .after
                    .iter()
                    .filter_map(|&number| index_of(number))
                    .collect(),
                attended_share: attended_share(operation),
                outside_days: operation.outside.map(|(_, days)| days),
            })
            .collect(),
    }
}

/// Setup is attended, and of the run its share.
fn attended_share(operation: &Operation) -> f64 {
    let (setup, run) = (plain(operation.setup.0), plain(operation.run.0));
    let share = plain(operation.attended_share);
    if setup + run > 0.0 {
        (setup + run * share) / (setup + run)
    } else {
        1.0
    }
}

/// Working time by kind of machine, outside work left out.
pub(super) fn machine_times(route: &Route, minutes: &[f64], confidence: u32) -> Vec<MachineTime> {
    let n = route.operations.len().max(1);
    let mut kinds: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (i, operation) in route.operations.iter().enumerate() {
        if operation.outside.is_none() {
            kinds.entry(&operation.machine_kind).or_default().push(i);
        }
    }
    kinds
        .into_iter()
        .map(|(kind, members)| {
            let expected = members
                .iter()
                .filter_map(|&i| route.operations.get(i))
                .map(Operation::expected)
                .sum();
            let totals: Vec<i64> = minutes
                .chunks(n)
                .map(|future| {
                    let total: f64 = members.iter().filter_map(|&i| future.get(i)).sum();
                    total.ceil() as i64
                })
                .collect();
            let enough = percentile(&totals, confidence);
            MachineTime {
                machine_kind: kind.to_owned(),
                expected,
                at_confidence: enough
                    .and_then(Decimal::from_i64)
                    .map_or(expected, |m| Minutes(m).max(expected)),
            }
        })
        .collect()
}
