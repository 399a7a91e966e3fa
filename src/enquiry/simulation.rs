//! One option simulated over many futures: what is procured when, how long the work takes, what it costs and when it is
//! ready.

use super::answer::{AnswerError, Figures, MachineTime, OptionAnswer};
use super::bargain::Percentiles;
use super::pricing::{OfferTerms, Pricing};
use super::procurement::Procurement;
use super::proportion::MOST_TIMES_CHEAPEST;
use super::range::{PriceRange, ReadyRange, chance_of, percent_of};
use super::ways::{Proposal, Way};
use super::wish::{Knowledge, Wish};
use crate::estimating::cost::{CostError, Costing};
use crate::estimating::futures::{CostSampler, percentile};
use crate::estimating::variation::Cause;
use crate::estimating::{Operation, Route, Together};
use crate::planning::{Candidate, ReadyDates, ready::CandidateOperation};
use crate::sourcing::hunt::Spent;
use crate::units::{Minutes, Money, MoneyError, plain};
use chrono::{DateTime, Duration, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;
use std::collections::BTreeMap;
use uuid::Uuid;

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

impl Simulation {
    /// What the options of one answer share. Every one is played in the plan's own futures, and draws by what is drawn and not
    /// one after another.
    pub(super) fn together(&self, dates: &dyn ReadyDates) -> Together {
        let futures = self.futures.max(1) as usize;
        Together::new((0..futures).map(|k| dates.world(k)), self.seed)
    }
}

/// An option with the futures behind it.
pub(super) struct Simulated {
    pub(super) option: OptionAnswer,
    /// What was simulated.
    pub(super) proposal: Proposal,
    /// Price before tax, minor units, in each future.
    pub(super) price: Vec<i64>,
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

/// Why a proposal has no figures.
#[derive(Debug, thiserror::Error)]
pub(super) enum Dropped {
    #[error(transparent)]
    Cost(#[from] CostError),
    #[error("No sound one turned up in any of the simulated outcomes.")]
    NothingFound,
    #[error(
        "The work alone comes to {0} before tax: the most to pay leaves nothing for the casting."
    )]
    NoRoom(Money),
    #[error("The day on which the search ends is past.")]
    SearchOver,
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

/// Simulates one proposal: working time, procurement, cost, price and ready time in each future; with the price in minor
/// units at which the shop stops, if there is one. `together` is what the options of the answer share.
///
/// # Errors
/// [`Dropped`]: why the proposal has no figures.
pub(super) fn simulate(
    proposal: &Proposal,
    wish: &Wish,
    knowledge: &Knowledge,
    dates: &dyn ReadyDates,
    (simulation, together): (Simulation, &Together),
    limit: Option<i64>,
) -> Result<Simulated, Dropped> {
    let way = &proposal.way;
    let costing = Costing {
        route: &way.route,
        rates: &knowledge.rates,
        policy: &knowledge.policy,
        donor: way.donor,
    };
    let costs = CostSampler::new(&costing)?;
    let work = Work::draw(way, &costs, dates, together, simulation)?;
    let pricing = Pricing::new(costing, way, &costs, &work, wish, knowledge)?;
    let procurement = pricing.within_limits(&way.procurement, simulation.now)?;
    let mut draws = Draws::of(work, way, &procurement, &costs, dates, simulation);
    let price = pricing.prices(&draws)?;
    if let Some(limit) = limit {
        draws.stop_at(limit, &price);
    }
    let ready = draws.ready(&way.route, dates, simulation.now);
    let confidence = knowledge.policy.confidence_percent;
    let range = PriceRange::of(
        &draws.delivered(&price),
        &knowledge.policy,
        knowledge.currency,
    )
    .ok_or(if limit.is_some() {
        Dropped::OutOfProportion
    } else {
        Dropped::NothingFound
    })?;
    let futures = draws.release.len();
    let never = draws.released().filter(|released| !released).count();
    let priced = pricing.priced(&draws, &range, percent_of(futures - never, futures))?;
    let ready_percentiles = ReadyRange::percentiles(&ready, knowledge.days);
    let ready_range = ReadyRange::of(&ready_percentiles, confidence);
    let day = |time: DateTime<Utc>| time.with_timezone(&knowledge.zone).date_naive();
    let figures = Figures {
        price: range,
        build_up: priced.build_up,
        terms: priced.terms,
        compared: priced.compared,
        ready_day: ready_range.at_confidence.map(day),
        ready: ready_range,
        in_time_percent: wish.wanted_by.map(|by| {
            chance_of(
                knowledge.days,
                ready_by(&ready, by, knowledge.zone),
                futures,
            )
        }),
        never_percent: percent_of(never, futures),
        percentiles: Percentiles {
            full_cost: pricing.full_costs(&draws)?,
            ready: ready_percentiles
                .into_iter()
                .map(|time| time.map(day))
                .collect(),
        },
        lacks: dates.missing(&candidate(&way.route)),
        machines: machine_times(&way.route, &draws.minutes, confidence),
        route: way.route.clone(),
        conversion: way.conversion.clone(),
        related: way.related.clone(),
    };
    Ok(Simulated {
        option: proposal.possible(figures, wish.purpose),
        proposal: proposal.clone(),
        price,
        ready,
        released: draws.released().collect(),
        offer: pricing.offer_terms(),
    })
}

/// A key of a variant's castings, for what is drawn of them.
fn casting_key(variant: Uuid) -> u64 {
    let (high, low) = variant.as_u64_pair();
    high ^ low
}

/// What was drawn of the work on one sound casting, future by future.
pub(super) struct Work {
    /// Working minutes, one row of operations a future.
    pub(super) minutes: Vec<f64>,
    /// Direct cost, minor units, a donor of the shop's own included.
    pub(super) direct: Vec<i64>,
}

impl Work {
    fn draw(
        way: &Way,
        costs: &CostSampler,
        dates: &dyn ReadyDates,
        together: &Together,
        simulation: Simulation,
    ) -> Result<Self, CostError> {
        let times = way.route.sampler()?;
        let operations = way.route.operations.iter();
        let able: Vec<Vec<u64>> = operations.map(|o| dates.able(&o.skill)).collect();
        let minutes = together.sample(&times, &able);
        // A route without operations costs the same in every future.
        let n = way.route.operations.len();
        let futures = simulation.futures.max(1) as usize;
        let direct = (0..futures)
            .map(|k| costs.direct(minutes.get(k * n..(k + 1) * n).unwrap_or_default(), 0))
            .collect();
        Ok(Self { minutes, direct })
    }
}

/// What was drawn of a proposal, future by future.
pub(super) struct Draws {
    /// Working minutes, inspections of castings that fail included; one row of operations a future.
    minutes: Vec<f64>,
    /// Direct cost of the work on one sound casting, minor units: see [`Work::direct`].
    pub(super) work: Vec<i64>,
    /// When there is a block to work on; `None` when there never is.
    release: Vec<Option<DateTime<Utc>>>,
    /// Direct cost of all, castings that fail and what was bought included, minor units.
    pub(super) direct: Vec<i64>,
    /// Castings that failed.
    pub(super) failed: Vec<u32>,
    /// What was spent on finding one.
    pub(super) spent: Vec<Option<Spent>>,
}

impl Draws {
    fn of(
        work: Work,
        way: &Way,
        procurement: &Procurement,
        costs: &CostSampler,
        dates: &dyn ReadyDates,
        simulation: Simulation,
    ) -> Self {
        let operations = way.route.operations.len();
        let inspected = way.route.inspected_after();
        let futures = work.direct.len();
        let donor = way
            .donor
            .map_or(0, |donor| donor.price.to_minor().unwrap_or(0));
        let mut draws = Self {
            minutes: work.minutes,
            work: work.direct,
            release: Vec::with_capacity(futures),
            direct: Vec::with_capacity(futures),
            failed: Vec::with_capacity(futures),
            spent: Vec::with_capacity(futures),
        };
        for k in 0..futures {
            let Some(mine) = draws.minutes.get_mut(k * operations..(k + 1) * operations) else {
                break;
            };
            // Options that hunt one variant, or take it from one shelf, meet with the same in each future.
            let key = casting_key(way.casting_of) ^ simulation.seed;
            let mut rng = dates.world(k).generator(Cause::Procurement, key);
            let procured = procurement.sample(&mut rng);
            let spent = procured.spent.map_or(0, |spent| spent.total_minor());
            let not_taken = donor.saturating_mul(i64::from(procured.replaced));
            let whole = costs.direct(mine, procured.failed);
            draws
                .direct
                .push(whole.saturating_add(spent).saturating_sub(not_taken));
            // Every casting that fails has been through the inspection as well.
            for minutes in mine.iter_mut().take(inspected) {
                *minutes *= f64::from(procured.failed.saturating_add(1));
            }
            let release = procured
                .days
                .and_then(|days| simulation.now.checked_add_signed(days_from(days)));
            draws.release.push(release);
            draws.failed.push(procured.failed);
            draws.spent.push(procured.spent);
        }
        draws
    }

    /// Nothing is delivered in the futures that would cost more than the limit, minor units.
    fn stop_at(&mut self, limit: i64, price: &[i64]) {
        for (release, price) in self.release.iter_mut().zip(price) {
            if *price > limit {
                *release = None;
            }
        }
    }

    pub(super) fn released(&self) -> impl Iterator<Item = bool> {
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
    pub(super) fn delivered(&self, values: &[i64]) -> Vec<i64> {
        values
            .iter()
            .zip(self.released())
            .filter(|(_, released)| *released)
            .map(|(value, _)| *value)
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
