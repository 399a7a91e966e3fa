//! Everything an answer is computed from, read in one go.

use crate::castings::RemedyRule;
use crate::db::castings_on_shelf::{self, Outcome, Ownership, ShelfState};
use crate::db::enquiries::EnquiryDetails;
use crate::db::plans::{self, Age, FUTURES_SEED, Freshness};
use crate::db::{
    DbError, ShopTx, castings, corrupt, cutting, machines, remedy_rules, settings, sightings,
    standards,
};
use crate::enquiry::{
    Answer, AnswerError, Asked, Knowledge, OwnBlock, ShelfCasting, Supply, Wish, Work, answer,
};
use crate::estimating::Element;
use crate::planning::engine::model::ModelError;
use crate::planning::engine::promise::PlannedDates;
use crate::planning::{Candidate, ReadyDates};
use crate::sourcing::Watch;
use crate::units::Code;
use chrono::{DateTime, TimeDelta, Utc};
use rand::SeedableRng;
use rand_pcg::Pcg64;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use uuid::Uuid;

/// How long a plan's futures are used again before they are drawn from the moment it is by then.
const KEPT_FOR: TimeDelta = TimeDelta::minutes(5);

/// Shops whose plans are kept drawn at once; a week of sixty jobs in 1,000 futures takes some 10 MB.
const SHOPS_KEPT: usize = 4;

/// Futures drawn of a plan at most; an answer with more goes through them again.
const PLAN_FUTURES: u32 = 1_000;

/// The running plans of shops with their futures drawn, kept between calls until the plan or what it rests on changes.
#[derive(Debug, Clone, Default)]
pub struct DrawnPlans(Arc<Mutex<HashMap<Uuid, Drawn>>>);

#[derive(Debug, Clone)]
struct Drawn {
    /// What it was drawn of: the version of the floor, when the plan was made, and how many futures.
    of: (i64, Option<DateTime<Utc>>, u32),
    at: DateTime<Utc>,
    dates: Arc<PlannedDates>,
}

impl DrawnPlans {
    /// The plan of a shop with its futures drawn.
    async fn of(
        &self,
        tx: &mut ShopTx,
        age: &Age,
        now: DateTime<Utc>,
        futures: u32,
    ) -> Result<Arc<PlannedDates>, DbError> {
        let shop_id = tx.shop_id();
        let of = (
            age.floor_version,
            age.made_at,
            futures.clamp(1, PLAN_FUTURES),
        );
        let known = {
            let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            kept.get(&shop_id).cloned()
        };
        if let Some(drawn) = known
            && drawn.of == of
            && (now - drawn.at).abs() < KEPT_FOR
        {
            return Ok(drawn.dates);
        }
        let read = plans::read(tx, now).await?;
        let dates = tokio::task::spawn_blocking(move || draw(read, of.2))
            .await
            .map_err(|why| corrupt("plan", why))?
            .map_err(|why| corrupt("floor", why))?;
        let dates = Arc::new(dates);
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.len() >= SHOPS_KEPT && !kept.contains_key(&shop_id) {
            let oldest = kept.iter().min_by_key(|(_, drawn)| drawn.at);
            if let Some(oldest) = oldest.map(|(id, _)| *id) {
                kept.remove(&oldest);
            }
        }
        kept.insert(
            shop_id,
            Drawn {
                of,
                at: now,
                dates: dates.clone(),
            },
        );
        Ok(dates)
    }
}

/// The plan as it can be carried out now, in many futures.
fn draw(read: plans::Read, futures: u32) -> Result<PlannedDates, ModelError> {
    let (model, plan) = read.carry_over()?;
    let mut rng = Pcg64::seed_from_u64(FUTURES_SEED);
    PlannedDates::new(
        &model.model,
        &plan,
        model.origin,
        model.kinds,
        model.skills,
        futures as usize,
        &mut rng,
    )
}

/// The dates of a running plan, with how fresh it is.
#[derive(Debug, Clone)]
struct FreshDates {
    plan: Arc<PlannedDates>,
    fresh: &'static str,
}

impl ReadyDates for FreshDates {
    fn ready(
        &self,
        candidate: &Candidate,
        release: &[DateTime<Utc>],
        minutes: &[f64],
    ) -> Vec<Option<DateTime<Utc>>> {
        self.plan.ready(candidate, release, minutes)
    }

    fn missing(&self, candidate: &Candidate) -> Vec<String> {
        self.plan.missing(candidate)
    }

    fn basis(&self) -> String {
        format!("{} {}", self.plan.basis(), self.fresh)
    }
}

/// How fresh the plan under an answer is, as a sentence.
fn how_fresh(age: &Age) -> &'static str {
    match (age.plan_version, age.freshness) {
        (None, _) => "No plan was made yet; this one was made on the spot.",
        (_, Freshness::Fresh) => "The plan is up to date.",
        (_, Freshness::Planning { usable: true, .. }) => {
            "The plan is up to date and is being improved."
        }
        (_, Freshness::Planning { .. } | Freshness::Stale { .. }) => {
            "The shop has changed since the plan was made; its order was kept and put on today's clock."
        }
    }
}

/// Why nothing can be answered yet, in words for the screen.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unanswerable {
    /// The caller has not said what they want.
    #[error("Choose what the caller wants, and every way to get it stands here side by side.")]
    NothingWanted,
    /// The shop has not said something that every price needs.
    #[error("{0}")]
    Missing(String),
}

/// A wish with all that is known: ready to be answered away from the database.
#[derive(Debug, Clone)]
pub struct Question {
    wish: Wish,
    knowledge: Knowledge,
    dates: FreshDates,
}

impl Question {
    /// Works the answer out.
    ///
    /// # Errors
    /// As [`answer()`].
    pub fn answer(
        &self,
        now: DateTime<Utc>,
        futures: u32,
        seed: u64,
    ) -> Result<Answer, AnswerError> {
        answer(
            &self.wish,
            &self.knowledge,
            &self.dates,
            Asked { now, futures, seed },
        )
    }
}

/// How the shop goes about things: its remedy rules and its standard times. An enquiry's form and its answer rest on the
/// same, read once.
#[derive(Debug, Clone)]
pub struct Ways {
    /// What is done about which differences.
    pub rules: Vec<RemedyRule>,
    /// What each piece of work takes.
    pub elements: Vec<Element>,
}

impl Ways {
    /// Reads them.
    ///
    /// # Errors
    /// [`DbError`].
    pub async fn load(tx: &mut ShopTx) -> Result<Self, DbError> {
        Ok(Self {
            rules: remedy_rules::list(tx).await?,
            elements: standards::list(tx).await?,
        })
    }
}

/// Reads all that the shop knows about what a caller wants, for an answer in so many futures.
///
/// # Errors
/// [`DbError`]. What the shop has yet to say is not an error but an [`Unanswerable`].
pub async fn load(
    tx: &mut ShopTx,
    ways: Ways,
    said: &EnquiryDetails,
    now: DateTime<Utc>,
    plans: &DrawnPlans,
    futures: u32,
) -> Result<Result<Question, Unanswerable>, DbError> {
    let Some(wanted_id) = said.wanted_variant_id else {
        return Ok(Err(Unanswerable::NothingWanted));
    };
    let machines = machines::machines(tx).await?;
    let rates = match machines::rates(tx, &machines).await? {
        Ok(rates) => rates,
        Err(why) => return Ok(Err(Unanswerable::Missing(why.to_string()))),
    };
    let settings = settings::get(tx).await?;
    let wanted = castings::variant(tx, wanted_id).await?;
    let pattern = castings::pattern(tx, wanted.pattern_id).await?;
    let today = now.with_timezone(&settings.time_zone).date_naive();

    let mut supplies = Vec::new();
    for variant in castings::variants_of(tx, pattern.id).await? {
        let mut mine = castings_on_shelf::list(tx, ShelfState::ALL, Some(variant.id)).await?;
        mine.retain(|c| c.details.ownership == Ownership::Shop);
        let outcomes = |outcome: Outcome| {
            let count = mine
                .iter()
                .filter(|c| c.inspection.is_some_and(|(o, _)| o == outcome))
                .count();
            u32::try_from(count).unwrap_or(u32::MAX)
        };
        let mut free: Vec<ShelfCasting> = mine
            .iter()
            .filter(|c| c.state == ShelfState::OnShelf)
            .filter(|c| {
                c.inspection
                    .is_none_or(|(outcome, _)| outcome == Outcome::Good)
            })
            .map(|c| ShelfCasting {
                id: c.id,
                number: c.number,
                cost: c.details.cost,
            })
            .collect();
        free.sort_by_key(|c| c.cost.amount());
        supplies.push(Supply {
            shelf: free,
            watch: sightings::watch(tx, variant.id)
                .await?
                .unwrap_or_else(|| Watch::new(variant.id, today, settings.currency)),
            sightings: sightings::of_variant(tx, variant.id).await?,
            inspected_good: outcomes(Outcome::Good),
            inspected_bad: outcomes(Outcome::Failed),
            variant,
        });
    }
    let own = match said.brings_variant_id {
        Some(id) => Some(OwnBlock {
            variant: castings::variant(tx, id).await?,
            repairs: once_each(&said.repairs),
        }),
        None => None,
    };
    let knowledge = Knowledge {
        pattern,
        supplies,
        rules: ways.rules,
        elements: ways.elements,
        cutting: cutting::usual(tx).await?,
        rates,
        policy: settings.policy.clone(),
        currency: settings.currency,
        zone: settings.time_zone,
    };
    let wish = Wish {
        wanted,
        wanted_by: said.wanted_by,
        own,
        also: once_each(&said.also),
    };
    let age = plans::age(tx, now).await?;
    let dates = FreshDates {
        plan: plans.of(tx, &age, now, futures).await?,
        fresh: how_fresh(&age),
    };
    Ok(Ok(Question {
        wish,
        knowledge,
        dates,
    }))
}

fn once_each(codes: &[String]) -> Work {
    codes.iter().map(|code| (code.clone(), 1)).collect()
}
