//! The answer: every option simulated over the same number of futures, compared, and one recommended.

use super::advice::{self, Offered, Waiting};
use super::bargain::Percentiles;
use super::options;
use super::own_block;
use super::proportion;
use super::range::{PriceRange, ReadyRange, day_share_percent, percent_of};
use super::related::RelatedDonor;
use super::say;
use super::simulation::{Dropped, Simulated, Simulation, simulate};
use super::ways::Options;
use super::wish::{Knowledge, SearchLimits, ShelfCasting, Wish};
use crate::castings::Conversion;
use crate::estimating::futures::percentile;
use crate::estimating::{CostBuildUp, Route};
use crate::planning::ReadyDates;
use crate::units::{Minutes, Money, MoneyError};
use chrono::{DateTime, NaiveDate, Utc};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// One way to satisfy an enquiry.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Hash,
    Serialize,
    Deserialize,
    EnumString,
    IntoStaticStr,
    VariantArray,
)]
#[serde(rename_all = "snake_case")]
#[strum(serialize_all = "snake_case")]
pub enum OptionKind {
    /// Inspect the caller's own block, and say then what it needs.
    Inspect,
    /// Repair the caller's own block.
    Repair,
    /// Convert the caller's own block.
    ConvertOwn,
    /// Convert a donor from the shelf.
    ConvertShelf,
    /// Buy a donor and convert it.
    ConvertBought,
    /// Buy a particular donor that is on offer and convert it.
    ConvertOffered,
    /// One of the wanted kind is on the shelf.
    Shelf,
    /// Buy a particular one of the wanted kind that is on offer.
    Offered,
    /// Find one of the wanted kind.
    Hunt,
    /// Listed work on a part, with no casting to find.
    Work,
}

impl OptionKind {
    /// Whether it is a conversion.
    #[must_use]
    pub fn is_conversion(self) -> bool {
        matches!(
            self,
            Self::ConvertOwn | Self::ConvertShelf | Self::ConvertBought | Self::ConvertOffered
        )
    }
}

/// On which terms an option is offered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Terms {
    /// A price.
    Fixed,
    /// A price if the casting proves sound; if not, what was spent on it is charged.
    IfSound {
        /// What is charged then, before tax.
        lost: Money,
        /// The chance, in per cent, that it proves sound.
        sound_percent: u32,
    },
    /// A search: nothing is promised, and the casting is charged at cost plus handling (common practice, no source).
    Search(SearchTerms),
}

/// The terms of a search. All amounts are before tax.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SearchTerms {
    /// Charged whether or not one is found.
    pub fee: Money,
    /// What is added to the cost of castings, in per cent.
    pub handling_percent: Decimal,
    /// The quoted price of the work once one is found.
    pub work: Money,
    /// How far it goes.
    pub limits: SearchLimits,
    /// The chance, in per cent, that one is found within the limits.
    pub found_percent: u32,
}

/// Working time on one kind of machine.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MachineTime {
    /// The kind of machine.
    pub machine_kind: String,
    /// Expected, setups included.
    pub expected: Minutes,
    /// What suffices in the shop's confidence of futures.
    pub at_confidence: Minutes,
}

/// What is known of an option that can be done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Figures {
    /// Price before tax as it turns out over the futures in which a block is delivered.
    pub price: PriceRange,
    /// The build-up of the price the shop would quote: sufficient in the shop's confidence of futures.
    pub build_up: CostBuildUp,
    /// On which terms.
    pub terms: Terms,
    /// What it is compared at with the others, before tax: what suffices in the shop's confidence of futures, with what
    /// each sound casting costs in those that fail.
    pub compared: Money,
    /// Ready times over the futures.
    pub ready: ReadyRange,
    /// The day that holds with the shop's confidence, in the shop's time zone.
    pub ready_day: Option<NaiveDate>,
    /// The chance, in per cent, that it is ready on the wanted day or before, if one was named.
    pub in_time_percent: Option<u32>,
    /// Per cent of futures in which it is never ready, because no casting is found.
    pub never_percent: u32,
    /// Cost and ready day as they are distributed over the futures.
    #[serde(default)]
    pub percentiles: Percentiles,
    /// What it needs and the shop has not: kinds of machine, and somebody for a skill. There is no date without them.
    #[serde(default)]
    pub lacks: Vec<String>,
    /// Working time by kind of machine.
    pub machines: Vec<MachineTime>,
    /// The route.
    pub route: Route,
    /// The remedies, for a conversion.
    pub conversion: Option<Conversion>,
    /// The donor's pattern and what stays different for good, when it is not of the wanted pattern.
    #[serde(default)]
    pub related: Option<RelatedDonor>,
}

/// Whether an option can be done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "outcome", rename_all = "snake_case")]
pub enum Outcome {
    /// It can.
    Possible(Box<Figures>),
    /// It cannot, and why.
    Impossible {
        /// The reasons, one sentence each.
        reasons: Vec<String>,
    },
    /// Nobody knows what such a casting costs: none was seen, and the shop has not said. It is asked.
    PriceUnknown {
        /// The variant whose price is unknown.
        variant: Uuid,
    },
}

/// One option beside the others.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OptionAnswer {
    /// A key that stays the same while the caller talks, e.g. `convert-shelf:<variant>`.
    pub key: String,
    /// Which way.
    pub kind: OptionKind,
    /// Title, e.g. "Convert a Tarn 4/90 farm from the shelf".
    pub title: String,
    /// The casting it counts on, when that is on the shelf.
    pub casting: Option<ShelfCasting>,
    /// What could go wrong and what the customer must hear, one sentence each.
    pub risks: Vec<String>,
    /// Whether it can be done, and the figures.
    pub outcome: Outcome,
    /// What to say of it on the phone; empty when it cannot be done.
    pub sentence: String,
}

impl OptionAnswer {
    /// The figures, if it can be done.
    #[must_use]
    pub fn figures(&self) -> Option<&Figures> {
        match &self.outcome {
            Outcome::Possible(figures) => Some(figures),
            Outcome::Impossible { .. } | Outcome::PriceUnknown { .. } => None,
        }
    }
}

/// The best conversion against finding one, future by future.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Comparison {
    /// Key of the conversion.
    pub conversion: String,
    /// Per cent of futures in which converting is cheaper: also where there is something to convert and none of the wanted
    /// kind is found.
    pub cheaper_percent: u32,
    /// Per cent of futures in which converting is sooner; `None` where neither has a date in any.
    pub sooner_percent: Option<u32>,
    /// The asked price below which an offered casting of the wanted kind is worth buying rather than converting;
    /// `None` when no price is low enough.
    pub hunt_wins_below: Option<Money>,
}

/// How far the plan that dates are taken from is up to date.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PlanState {
    /// There was none; one was made by rules for this answer.
    NoneYet,
    /// It was made from the shop as it is.
    Current,
    /// It was made from the shop as it is, and a better one is being looked for.
    Improving,
    /// The shop has changed, or time has gone on, since it was made; its order was kept.
    Outdated,
}

/// The answer to the phone.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answer {
    /// What is wanted.
    pub wanted: String,
    /// The day it is wanted by.
    pub wanted_by: Option<NaiveDate>,
    /// When this answer was computed.
    pub at: DateTime<Utc>,
    /// The shop's confidence, in per cent.
    pub confidence_percent: u32,
    /// The share of futures, in per cent, that a day at that confidence takes, when the shop's record asks for another.
    #[serde(default)]
    pub day_share_percent: Option<u32>,
    /// How many futures were simulated.
    pub futures: u32,
    /// The options: what can be done first, cheapest first; then what cannot.
    pub options: Vec<OptionAnswer>,
    /// Converting against finding one, where both can be done.
    pub comparison: Option<Comparison>,
    /// Key of the option the shop would take, if any.
    pub recommended: Option<String>,
    /// Key of the cheapest option that is ready by the wanted day with the shop's confidence, if any is.
    pub in_time: Option<String>,
    /// How far the plan the dates are taken from was up to date, when they are taken from one.
    #[serde(default)]
    pub plan: Option<PlanState>,
    /// What to say on the phone of the recommended option.
    pub sentence: String,
}

impl Answer {
    /// The option with this key.
    #[must_use]
    pub fn option(&self, key: &str) -> Option<&OptionAnswer> {
        self.options.iter().find(|option| option.key == key)
    }

    /// Days by which an option is ready after the wanted day, with the shop's confidence; `None` when no day is wanted,
    /// it has none, or it is ready in time.
    #[must_use]
    pub fn days_late(&self, figures: &Figures) -> Option<i64> {
        let late = (figures.ready_day? - self.wanted_by?).num_days();
        (late > 0).then_some(late)
    }
}

/// Why there is no answer at all.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AnswerError {
    /// Sums that do not add up.
    #[error(transparent)]
    Money(#[from] MoneyError),
    /// The wanted variant is not among the supplies of its pattern.
    #[error("the wanted variant is not a casting of the pattern “{0}”")]
    NotOfPattern(String),
}

/// Answers a wish from what the shop knows.
///
/// # Errors
/// [`AnswerError`]. An option that cannot be costed is not an error: it is in the answer with the reason.
pub fn answer(
    wish: &Wish,
    knowledge: &Knowledge,
    dates: &dyn ReadyDates,
    simulation: Simulation,
) -> Result<Answer, AnswerError> {
    let today = simulation.now.with_timezone(&knowledge.zone).date_naive();
    let together = simulation.together(dates);
    let how = (simulation, &together);
    let mut done = Vec::new();
    let mut impossible = Vec::new();
    let mut try_all = |options: Options, done: &mut Vec<Simulated>| -> Result<(), AnswerError> {
        impossible.extend(options.impossible);
        for proposal in options.proposals {
            match simulate(&proposal, wish, knowledge, dates, how, None) {
                Ok(simulated) => done.push(simulated),
                Err(why) => impossible.push(why.reason(&proposal)?),
            }
        }
        Ok(())
    };
    try_all(options::conversions(wish, knowledge, today), &mut done)?;
    try_all(options::found_and_own(wish, knowledge, today)?, &mut done)?;

    let again = |simulated: &Simulated, limit| {
        let proposal = &simulated.proposal;
        simulate(proposal, wish, knowledge, dates, how, Some(limit))
    };
    let mut done = in_proportion(done, &mut impossible, again)?;

    let comparison = compare(&done, knowledge)?;
    done.sort_by_key(|s| s.option.figures().map(|f| f.price.likely.amount()));
    let advised = recommend(&done, wish, knowledge, today);
    let mut answer = Answer {
        wanted: wish.wanted.name.clone(),
        wanted_by: wish.wanted_by,
        at: simulation.now,
        confidence_percent: knowledge.policy.confidence_percent,
        day_share_percent: day_share_percent(knowledge.days, &knowledge.policy),
        futures: simulation.futures,
        options: done
            .into_iter()
            .map(|s| s.option)
            .chain(impossible)
            .collect(),
        comparison,
        recommended: advised.recommended,
        in_time: advised.in_time,
        plan: None,
        sentence: String::new(),
    };
    say::fill_in(&mut answer, knowledge);
    Ok(answer)
}

/// The options with no figure out of [proportion]. One that has such a figure is simulated again, this time stopping at
/// the limit; one that still has is set beside what cannot be done.
fn in_proportion(
    done: Vec<Simulated>,
    impossible: &mut Vec<OptionAnswer>,
    again: impl Fn(&Simulated, i64) -> Result<Simulated, Dropped>,
) -> Result<Vec<Simulated>, AnswerError> {
    // An inspection delivers no block: it is no measure of what one costs.
    let prices: Vec<Vec<i64>> = done
        .iter()
        .filter(|s| s.option.kind != OptionKind::Inspect)
        .map(Simulated::delivered)
        .collect();
    let Some(limit) = proportion::limit(&prices) else {
        return Ok(done);
    };
    let within = |simulated: &Simulated| simulated.dearest().is_none_or(|most| most <= limit);
    let mut kept = Vec::with_capacity(done.len());
    for simulated in done {
        if within(&simulated) {
            kept.push(simulated);
            continue;
        }
        match again(&simulated, limit) {
            Ok(stopped) if within(&stopped) => kept.push(stopped),
            Ok(stopped) => impossible.push(Dropped::OutOfProportion.reason(&stopped.proposal)?),
            Err(why) => impossible.push(why.reason(&simulated.proposal)?),
        }
    }
    Ok(kept)
}

fn cheapest(done: &[Simulated]) -> Option<&Simulated> {
    done.iter()
        .filter(|s| s.option.kind.is_conversion())
        .min_by_key(|s| s.option.figures().map(|f| f.price.likely.amount()))
}

/// The cheapest conversion against finding one.
///
/// The price below which an offered casting wins is where buying it costs the customer as much as converting does in the
/// middle of the futures. An offer at price p costs p and its carriage c, both with handling h, and its inspection i; with
/// chance q it is good and needs the rest of the work w; else the shop converts after all, at C:
/// (p + c)·(1 + h) + i + q·w + (1 − q)·C = C, so p = (q·(C − w) − i)/(1 + h) − c.
fn compare(done: &[Simulated], knowledge: &Knowledge) -> Result<Option<Comparison>, MoneyError> {
    let hunt = done.iter().find(|s| s.option.kind == OptionKind::Hunt);
    let (Some(conversion), Some(hunt)) = (cheapest(done), hunt) else {
        return Ok(None);
    };
    let never = DateTime::<Utc>::MAX_UTC;
    let n = conversion.price.len();
    let mut cheaper = 0;
    let mut sooner = 0;
    for k in 0..n {
        let ready = |s: &Simulated| s.ready.get(k).copied().flatten().unwrap_or(never);
        let there = |s: &Simulated| s.released.get(k).copied().unwrap_or(false);
        let costs_less = conversion.price.get(k) < hunt.price.get(k);
        cheaper += usize::from(there(conversion) && (costs_less || !there(hunt)));
        sooner += usize::from(ready(conversion) < ready(hunt));
    }
    let mut dates = conversion.ready.iter().chain(&hunt.ready);
    let dated = dates.any(Option::is_some);
    let middle = percentile(&conversion.price, 50).unwrap_or(0) as f64;
    let hunt_wins_below = hunt.offer.as_ref().and_then(|terms| {
        let worth = terms.chance_good * (middle - terms.rest_of_work) - terms.inspection;
        let minor = worth / terms.with_handling - terms.carriage;
        (minor >= 1.0).then(|| Money::from_minor(minor.floor() as i64, knowledge.currency))
    });
    Ok(Some(Comparison {
        conversion: conversion.option.key.clone(),
        cheaper_percent: percent_of(cheaper, n),
        sooner_percent: dated.then(|| percent_of(sooner, n)),
        hunt_wins_below,
    }))
}

/// Keys of the options the advice names.
struct Advised {
    recommended: Option<String>,
    in_time: Option<String>,
}

/// The option the shop would take, and the cheapest in time: [`advice`].
fn recommend(done: &[Simulated], wish: &Wish, knowledge: &Knowledge, today: NaiveDate) -> Advised {
    let possible: Vec<(&OptionAnswer, Offered)> = done
        .iter()
        // An inspection is a first step, not a block.
        .filter(|s| s.option.kind != OptionKind::Inspect)
        .filter_map(|simulated| {
            let figures = simulated.option.figures()?;
            let offered = Offered {
                price: figures.compared.amount(),
                ready: figures.ready_day,
                never_percent: figures.never_percent,
            };
            Some((&simulated.option, offered))
        })
        .collect();
    let offered: Vec<Offered> = possible.iter().map(|(_, offered)| *offered).collect();
    let waiting = Waiting {
        from: wish.wanted_by.unwrap_or(today),
        week: knowledge.selling.week_of_waiting.amount(),
    };
    let key = |index: usize| possible.get(index).map(|(option, _)| option.key.clone());
    let inspection = || {
        done.iter()
            .find(|s| s.option.kind == OptionKind::Inspect)
            .map(|s| s.option.key.clone())
    };
    let best = || advice::best(&offered, waiting).and_then(key);
    // What their own block needs is found out before another is bought or made.
    let own = wish.own.as_ref();
    let recommended = match own.is_some_and(|own| own_block::needs_unknown(own, wish)) {
        true => inspection().or_else(best),
        false => best().or_else(inspection),
    };
    Advised {
        recommended,
        in_time: wish
            .wanted_by
            .and_then(|by| advice::cheapest_by(&offered, by))
            .and_then(key),
    }
}
