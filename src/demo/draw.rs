//! What is drawn with a fixed seed: live jobs with their routes, and sightings of the scarce block.

use super::seed::{Seed, SeedError};
use crate::castings::Conversion;
use crate::estimating::{CuttingData, OrderOfWork, Route, cutting_data};
use crate::sourcing::{Fate, Sighting};
use crate::units::{Minutes, Money};
use chrono::{Datelike, Days, NaiveDate, Weekday};
use rand::{Rng, RngExt};
use rand_distr::{Distribution, LogNormal};
use rust_decimal::Decimal;
use rust_decimal::prelude::{FromPrimitive, ToPrimitive};
use uuid::Uuid;

/// A live job, as far as it has come.
#[derive(Debug, Clone)]
pub struct LiveJob {
    /// Which of the kinds of work it is.
    pub(super) kind: usize,
    /// What is to be done, and for whom.
    pub title: String,
    /// For whom.
    pub customer: String,
    /// The day the shop works to.
    pub due_on: NaiveDate,
    /// The day promised, for most.
    pub promised_on: Option<NaiveDate>,
    /// Its route.
    pub route: Route,
    /// How many of its operations are done.
    pub done: usize,
    /// Whether the next one is begun.
    pub begun: bool,
}

/// One thing a job can be.
#[derive(Debug)]
pub(super) struct Kind {
    /// What is to be done.
    pub(super) title: String,
    /// Its route.
    pub(super) route: Route,
    /// How often, against the others.
    pub(super) weight: u32,
    /// The name of what comes out: a variant, or the pattern of the customer's own block.
    pub(super) wanted: String,
    /// The donor, of a conversion.
    pub(super) conversion: Option<Donor>,
    /// The variant that is wanted; for a repair, one of the pattern.
    pub(super) variant_id: Option<Uuid>,
    /// The elements of a repair.
    pub(super) codes: Vec<String>,
}

/// The donor of a conversion.
#[derive(Debug)]
pub(super) struct Donor {
    /// Its variant.
    pub(super) variant_id: Uuid,
    /// The name of that.
    pub(super) donor_name: String,
}

/// Of every twenty live jobs, the one whose customer could not wait: the longest work there is, not begun, and promised
/// for the first working day, the next one for a day later. Whatever the day, the first cannot be kept.
const HURRIED: u32 = 13;

/// Draws the live jobs: conversions planned by the shop's own rules, and repairs. The first are nearly done and due at
/// once, the last are untouched and due in weeks.
///
/// # Errors
/// [`SeedError`] when a job names what the seed does not have, or has no route.
pub fn live_jobs(
    seed: &Seed,
    today: NaiveDate,
    rng: &mut impl Rng,
) -> Result<Vec<LiveJob>, SeedError> {
    let kinds = kinds(seed)?;
    let all: u32 = kinds.iter().map(|kind| kind.weight).sum();
    let customers = &seed.jobs.customers.names;
    let count = seed.jobs.count;
    let mut jobs = Vec::new();
    for place in 0..count {
        let mut drawn = rng.random_range(0..all.max(1));
        let hurried = place % 20 == HURRIED;
        let any = kinds.iter().enumerate().find(|(_, kind)| {
            let found = drawn < kind.weight;
            drawn = drawn.saturating_sub(kind.weight);
            found
        });
        let longest = kinds.iter().enumerate();
        let longest = longest.max_by_key(|(_, kind)| work(&kind.route));
        let Some((at, kind)) = (if hurried { longest } else { any }) else {
            continue;
        };
        let customer = pick(customers, rng).map_or("a customer", String::as_str);
        let operations = kind.route.operations.len();
        // How far it has come falls from nearly all to nothing over the first four tenths.
        let share = 1.0 - 2.5 * f64::from(place) / f64::from(count.max(1));
        let share = (share + rng.random_range(-0.15..0.15)).clamp(0.0, 0.95);
        let done = (share * f64::from(u32::try_from(operations).unwrap_or(u32::MAX)))
            .to_usize()
            .unwrap_or(0)
            .min(operations.saturating_sub(1));
        let done = if hurried { 0 } else { done };
        // Promised with room to spare, but for a few customers in a hurry.
        let room = rng.random_range(0..8);
        let days = if hurried {
            place / 20
        } else {
            2 + place * 3 / 4 + room
        };
        let due_on = working_day(seed, today, days);
        let promised = rng.random_bool(0.8) || hurried;
        let later = if promised { rng.random_range(0..4) } else { 0 };
        let later = if hurried { 0 } else { later };
        jobs.push(LiveJob {
            kind: at,
            title: format!("{} for {customer}", kind.title),
            customer: customer.to_owned(),
            due_on,
            promised_on: promised.then(|| working_day(seed, due_on, later)),
            route: kind.route.clone(),
            done,
            begun: done > 0 && rng.random_bool(0.3),
        });
    }
    Ok(jobs)
}

/// Setup and run of a route.
fn work(route: &Route) -> Minutes {
    route.operations.iter().map(|o| o.setup + o.run).sum()
}

/// Conversions and repairs with their routes.
pub(super) fn kinds(seed: &Seed) -> Result<Vec<Kind>, SeedError> {
    let file = "jobs.toml";
    let data = iron()?;
    let order = OrderOfWork::default();
    let fault = |why: String| SeedError { file, why };
    let mut kinds = Vec::new();
    for drawn in &seed.jobs.conversion {
        let donor = seed.variant(file, &drawn.donor)?;
        let wanted = seed.variant(file, &drawn.wanted)?;
        let pattern = seed
            .patterns
            .iter()
            .find(|pattern| pattern.id == wanted.pattern_id)
            .ok_or_else(|| fault(format!("{} has no pattern", wanted.name)))?;
        let conversion = Conversion::plan(pattern, donor, wanted, &seed.rules)
            .map_err(|error| fault(error.to_string()))?;
        let route =
            Route::for_conversion(&conversion, &[], pattern, &seed.elements, (&data, &order))
                .map_err(|error| fault(format!("{} to {}: {error}", donor.name, wanted.name)))?;
        kinds.push(Kind {
            title: format!("{} converted to {}", donor.name, wanted.name),
            route,
            weight: drawn.weight,
            wanted: wanted.name.clone(),
            conversion: Some(Donor {
                variant_id: donor.id,
                donor_name: donor.name.clone(),
            }),
            variant_id: Some(wanted.id),
            codes: Vec::new(),
        });
    }
    for drawn in &seed.jobs.repair {
        let pattern = seed.pattern(file, &drawn.pattern)?;
        let codes: Vec<(String, u32)> = drawn
            .elements
            .iter()
            .map(|code| (code.clone(), 1))
            .collect();
        let route = Route::for_elements(&codes, pattern, &seed.elements, (&data, &order))
            .map_err(|error| fault(format!("{}: {error}", drawn.title)))?;
        kinds.push(Kind {
            title: format!("{}, {}", drawn.title, pattern.name),
            route,
            weight: drawn.weight,
            wanted: pattern.name.clone(),
            conversion: None,
            variant_id: seed
                .variants
                .iter()
                .find(|variant| variant.pattern_id == pattern.id)
                .map(|variant| variant.id),
            codes: drawn.elements.clone(),
        });
    }
    Ok(kinds)
}

/// Cutting data for cast iron, which is what blocks are made of.
fn iron() -> Result<CuttingData, SeedError> {
    cutting_data::starting_points()
        .into_iter()
        .find(|data| data.work == "grey cast iron")
        .ok_or_else(|| SeedError {
            file: "cutting data",
            why: "grey cast iron is missing".to_owned(),
        })
}

/// A day so many calendar days on, moved off weekends and the shop's holidays to the next working day.
pub(super) fn working_day(seed: &Seed, from: NaiveDate, days: u32) -> NaiveDate {
    let works = |day: &NaiveDate| {
        !matches!(day.weekday(), Weekday::Sat | Weekday::Sun)
            && !seed
                .calendars
                .holiday
                .iter()
                .any(|holiday| (holiday.month, holiday.day) == (day.month(), day.day()))
    };
    let first = from
        .checked_add_days(Days::new(u64::from(days)))
        .unwrap_or(from);
    first.iter_days().take(30).find(works).unwrap_or(first)
}

pub(super) fn pick<'a, T>(from: &'a [T], rng: &mut impl Rng) -> Option<&'a T> {
    (!from.is_empty())
        .then(|| rng.random_range(0..from.len()))
        .and_then(|at| from.get(at))
}

/// Draws the sightings of the scarce block: days spread evenly over the years before today, prices log-normal about the
/// middle one. Most went to someone else; of the three that were bought, one was scrap.
///
/// # Errors
/// [`SeedError`] when the seed's figures make no distribution or its variant is missing.
pub fn sightings(
    seed: &Seed,
    today: NaiveDate,
    rng: &mut impl Rng,
) -> Result<Vec<Sighting>, SeedError> {
    let file = "market.toml";
    let fault = |why: String| SeedError { file, why };
    let drawn = &seed.market.sightings;
    let variant = seed.variant(file, &drawn.variant)?;
    let middle = drawn.middle_price.to_f64().unwrap_or(f64::NAN);
    let prices = LogNormal::new(middle.ln(), drawn.price_spread)
        .map_err(|error| fault(error.to_string()))?;
    let horizon = 365 * drawn.years.max(1);
    let mut ages: Vec<u32> = (0..drawn.count)
        .map(|_| rng.random_range(3..horizon))
        .collect();
    ages.sort_unstable_by(|a, b| b.cmp(a));
    ages.into_iter()
        .zip(0_u32..)
        .map(|(age, place)| {
            let seen_on = today
                .checked_sub_days(Days::new(u64::from(age)))
                .unwrap_or(today);
            // Asked in round tens, as sellers do.
            let asked = Decimal::from_f64(prices.sample(rng) / 10.0)
                .map(|tens| Money::new(tens.round() * Decimal::TEN, seed.shop.shop.currency))
                .ok_or_else(|| fault("a price that is no number".to_owned()))?;
            let mut sighting = Sighting::new(Uuid::now_v7(), variant.id, seen_on);
            sighting.place = pick(&drawn.places, rng).cloned().unwrap_or_default();
            sighting.condition = pick(&drawn.conditions, rng).cloned().unwrap_or_default();
            // One in ten names no price.
            sighting.asked = (place % 10 != 4).then_some(asked);
            (sighting.fate, sighting.acceptable) = match place {
                1 | 6 => (Fate::BoughtGood, true),
                3 => (Fate::BoughtScrap, true),
                5 => (Fate::PassedOver, false),
                _ if age <= 14 => (Fate::Open, true),
                _ => (Fate::SoldElsewhere, true),
            };
            Ok(sighting)
        })
        .collect()
}

#[cfg(test)]
mod tests;
