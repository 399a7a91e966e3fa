//! The answer: every option simulated over the same number of futures, compared, and one recommended.

use super::advice::{self, Offered};
use super::options::{self, Options};
use super::proportion;
use super::range::{PriceRange, ReadyRange, percent_of};
use super::say;
use super::simulation::{Dropped, Simulated, Simulation, simulate};
use super::wish::{Knowledge, ShelfCasting, Wish};
use crate::castings::Conversion;
use crate::estimating::{CostBuildUp, Route};
use crate::planning::ReadyDates;
use crate::units::{Minutes, Money, MoneyError};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use strum::{EnumString, IntoStaticStr, VariantArray};

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
    /// Repair the caller's own block.
    Repair,
    /// Convert the caller's own block.
    ConvertOwn,
    /// Convert a donor from the shelf.
    ConvertShelf,
    /// Buy a donor and convert it.
    ConvertBought,
    /// One of the wanted kind is on the shelf.
    Shelf,
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
            Self::ConvertOwn | Self::ConvertShelf | Self::ConvertBought
        )
    }
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
    /// Ready times over the futures.
    pub ready: ReadyRange,
    /// The chance, in per cent, that it is ready on the wanted day or before, if one was named.
    pub in_time_percent: Option<u32>,
    /// Per cent of futures in which it is never ready, because no casting is found.
    pub never_percent: u32,
    /// Working time by kind of machine.
    pub machines: Vec<MachineTime>,
    /// The route.
    pub route: Route,
    /// The remedies, for a conversion.
    pub conversion: Option<Conversion>,
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
}

impl OptionAnswer {
    /// The figures, if it can be done.
    #[must_use]
    pub fn figures(&self) -> Option<&Figures> {
        match &self.outcome {
            Outcome::Possible(figures) => Some(figures),
            Outcome::Impossible { .. } => None,
        }
    }
}

/// The best conversion against finding one, future by future.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Comparison {
    /// Key of the conversion.
    pub conversion: String,
    /// Per cent of futures in which converting is cheaper. Where none is found, converting wins.
    pub cheaper_percent: u32,
    /// Per cent of futures in which converting is sooner.
    pub sooner_percent: u32,
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
    /// How many futures were simulated.
    pub futures: u32,
    /// The options: what can be done first, cheapest first; then what cannot.
    pub options: Vec<OptionAnswer>,
    /// Converting against finding one, where both can be done.
    pub comparison: Option<Comparison>,
    /// Key of the option the shop would take, if any.
    pub recommended: Option<String>,
    /// How far the plan the dates are taken from was up to date, when they are taken from one.
    #[serde(default)]
    pub plan: Option<PlanState>,
    /// One sentence to say on the phone.
    pub sentence: String,
}

impl Answer {
    /// The option with this key.
    #[must_use]
    pub fn option(&self, key: &str) -> Option<&OptionAnswer> {
        self.options.iter().find(|option| option.key == key)
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
    let mut done = Vec::new();
    let mut impossible = Vec::new();
    let mut try_all = |options: Options, done: &mut Vec<Simulated>| -> Result<(), AnswerError> {
        impossible.extend(options.impossible);
        for proposal in options.proposals {
            let stream = done.len() + impossible.len();
            match simulate(
                &proposal,
                wish,
                knowledge,
                dates,
                simulation,
                (stream, None),
            ) {
                Ok(simulated) => done.push(simulated),
                Err(why) => impossible.push(why.reason(&proposal)?),
            }
        }
        Ok(())
    };
    try_all(options::conversions(wish, knowledge, today), &mut done)?;
    // What converting would cost stands in for a price nobody has seen.
    let borrowed = cheapest(&done)
        .and_then(|s| s.option.figures())
        .map(|f| f.price.likely);
    try_all(
        options::found_and_own(wish, knowledge, today, borrowed)?,
        &mut done,
    )?;

    let again = |simulated: &Simulated, limit| {
        let Simulated {
            proposal, stream, ..
        } = simulated;
        simulate(
            proposal,
            wish,
            knowledge,
            dates,
            simulation,
            (*stream, Some(limit)),
        )
    };
    let mut done = in_proportion(done, &mut impossible, again)?;

    let comparison = compare(&done, knowledge)?;
    done.sort_by_key(|s| s.option.figures().map(|f| f.price.likely.amount()));
    let recommended = recommend(&done, knowledge).map(|s| s.option.key.clone());
    let mut answer = Answer {
        wanted: wish.wanted.name.clone(),
        wanted_by: wish.wanted_by,
        at: simulation.now,
        confidence_percent: knowledge.policy.confidence_percent,
        futures: simulation.futures,
        options: done
            .into_iter()
            .map(|s| s.option)
            .chain(impossible)
            .collect(),
        comparison,
        recommended,
        plan: None,
        sentence: String::new(),
    };
    answer.sentence = say::sentence(&answer, knowledge.zone);
    Ok(answer)
}

/// The options with no figure out of [proportion]. One that has such a figure is simulated again, this time stopping at
/// the limit; one that still has is set beside what cannot be done.
fn in_proportion(
    done: Vec<Simulated>,
    impossible: &mut Vec<OptionAnswer>,
    again: impl Fn(&Simulated, i64) -> Result<Simulated, Dropped>,
) -> Result<Vec<Simulated>, AnswerError> {
    let prices: Vec<Vec<i64>> = done.iter().map(Simulated::delivered).collect();
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
/// The price below which an offered casting wins is where buying it costs as much as converting, both expected, before
/// overhead and margin, which are in proportion on both sides. An offer at price p costs p, its carriage c and its
/// inspection i; with chance q it is good and needs the rest of the work w; else the shop converts after all, at C:
/// p + c + i + q·w + (1 − q)·C = C, so p = q·(C − w) − c − i.
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
        let nothing_found = ready(hunt) == never;
        cheaper += usize::from(nothing_found || conversion.price.get(k) < hunt.price.get(k));
        sooner += usize::from(ready(conversion) < ready(hunt));
    }
    let mean = conversion.direct.iter().map(|&m| m as f64).sum::<f64>() / n.max(1) as f64;
    let hunt_wins_below = hunt.offer.as_ref().and_then(|terms| {
        let minor =
            terms.chance_good * (mean - terms.rest_of_work) - terms.carriage - terms.inspection;
        (minor >= 1.0).then(|| Money::from_minor(minor.floor() as i64, knowledge.currency))
    });
    Ok(Some(Comparison {
        conversion: conversion.option.key.clone(),
        cheaper_percent: percent_of(cheaper, n),
        sooner_percent: percent_of(sooner, n),
        hunt_wins_below,
    }))
}

/// The option the shop would take: [`advice::best`].
fn recommend<'a>(done: &'a [Simulated], knowledge: &Knowledge) -> Option<&'a Simulated> {
    let possible: Vec<(&Simulated, Offered)> = done
        .iter()
        .filter_map(|simulated| {
            let figures = simulated.option.figures()?;
            let ready = figures.ready.at_confidence;
            let offered = Offered {
                net: figures.build_up.net.amount(),
                ready: ready.map(|at| at.with_timezone(&knowledge.zone).date_naive()),
                in_time_percent: figures.in_time_percent,
                never_percent: figures.never_percent,
            };
            Some((simulated, offered))
        })
        .collect();
    let offered: Vec<Offered> = possible.iter().map(|(_, offered)| *offered).collect();
    let best = advice::best(&offered, knowledge.policy.confidence_percent)?;
    possible.get(best).map(|(simulated, _)| *simulated)
}
