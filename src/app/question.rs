//! What a customer asks, with all that the shop knows about it: read in one transaction, answered away from the database.

use super::catalogue::Catalogue;
use crate::castings::{Metal, Pattern, Variant};
use crate::db::enquiries::{Enquiry, EnquiryDetails};
use crate::db::plans::{self, Age};
use crate::db::quick_work::QuickWork;
use crate::db::related_patterns::Which;
use crate::db::settings::{self, Settings};
use crate::db::{
    DbError, ShopTx, castings, crack_repairs, cutting, machines, order_of_work, related_patterns,
    sightings, stock, supplies,
};
use crate::enquiry::{
    Answer, AnswerError, Knowledge, OwnBlock, PlanState, Quick, QuickError, QuickKnowledge,
    RelatedSupply, SearchLimits, ShelfCasting, Simulation, Supply, Wish, Work, answer,
};
use crate::estimating::cutting_data::CuttingData;
use crate::estimating::{Rates, RatesError};
use crate::planning::{Freshness, ReadyDates};
use crate::sourcing::Watch;
use crate::stock::Outcome;
use crate::units::{Currency, Money};
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::HashMap;
use std::sync::Arc;
use uuid::Uuid;

/// Why an enquiry has no answer yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Unanswerable {
    /// Nobody has said what the customer wants.
    NothingWanted,
    /// The shop has not set the rates that every price needs.
    Rates(RatesError),
    /// The options cannot be compared at all.
    Answer(AnswerError),
    /// The work that is asked for makes no route or has no cost.
    Work(QuickError),
}

/// Every answer draws the same numbers: whoever asks for the same at the same moment is told the same.
const SEED: u64 = 1;

/// An enquiry with all that the shop knows about it: ready to be answered away from the database.
#[derive(Debug, Clone)]
pub struct Question {
    asked: Arc<Asked>,
    age: Age,
    at: DateTime<Utc>,
}

/// What an enquiry names.
enum Wanted<'a> {
    Work(&'a QuickWork),
    Variant(Uuid),
}

/// What is asked for, with what the shop knows about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Asked {
    /// A casting of some variant.
    Casting(Box<(Wish, Knowledge)>),
    /// Work alone.
    Work(Box<(Quick, QuickKnowledge)>),
}

impl Question {
    /// Reads all that the shop knows about what a customer wants; `work` when it is work alone.
    ///
    /// # Errors
    /// [`DbError`]. What the shop has yet to say is not an error but an [`Unanswerable`].
    pub async fn read(
        tx: &mut ShopTx,
        catalogue: &Catalogue,
        enquiry: &Enquiry,
        work: Option<&QuickWork>,
        at: DateTime<Utc>,
    ) -> Result<Result<Self, Unanswerable>, DbError> {
        let said = &enquiry.details;
        let wanted = match (work, said.wanted_variant_id) {
            (Some(work), _) => Wanted::Work(work),
            (None, Some(variant_id)) => Wanted::Variant(variant_id),
            (None, None) => return Ok(Err(Unanswerable::NothingWanted)),
        };
        let machines = machines::machines(tx).await?;
        let rates = match machines::rates(tx, &machines).await? {
            Ok(rates) => rates,
            Err(why) => return Ok(Err(Unanswerable::Rates(why))),
        };
        let settings = settings::get(tx).await?;
        let asked = match wanted {
            Wanted::Work(work) => {
                Asked::of_work(tx, catalogue, enquiry, work, rates, settings).await?
            }
            Wanted::Variant(id) => {
                let wanted = castings::variant(tx, id).await?;
                let today = at.with_timezone(&settings.time_zone).date_naive();
                Asked::of_casting(tx, catalogue, (wanted, said), rates, settings, today).await?
            }
        };
        Ok(Ok(Self {
            asked: Arc::new(asked),
            age: plans::age(tx, at).await?,
            at,
        }))
    }

    /// How fresh the plan was when the question was read.
    #[must_use]
    pub fn age(&self) -> &Age {
        &self.age
    }

    /// The moment as of which it is asked.
    #[must_use]
    pub fn at(&self) -> DateTime<Utc> {
        self.at
    }

    /// What is asked for, with what the shop knows about it.
    pub(super) fn asked(&self) -> &Arc<Asked> {
        &self.asked
    }

    /// An answer to the same that was given for somebody else, as it is now.
    pub(super) fn made_mine(&self, answer: Answer) -> Answer {
        Answer {
            at: self.at,
            plan: Some(plan_state(&self.age)),
            ..answer
        }
    }

    /// Simulates every option in so many futures, on the caller's thread.
    ///
    /// # Errors
    /// [`Unanswerable::Answer`], [`Unanswerable::Work`].
    pub fn answer(&self, dates: &dyn ReadyDates, futures: u32) -> Result<Answer, Unanswerable> {
        let simulation = Simulation {
            now: self.at,
            futures,
            seed: SEED,
        };
        let answer = match &*self.asked {
            Asked::Casting(asked) => {
                answer(&asked.0, &asked.1, dates, simulation).map_err(Unanswerable::Answer)?
            }
            Asked::Work(asked) => asked
                .0
                .answer(&asked.1, dates, simulation)
                .map_err(Unanswerable::Work)?,
        };
        Ok(self.made_mine(answer))
    }
}

impl Asked {
    async fn of_work(
        tx: &mut ShopTx,
        catalogue: &Catalogue,
        enquiry: &Enquiry,
        work: &QuickWork,
        rates: Rates,
        settings: Settings,
    ) -> Result<Self, DbError> {
        let quick = Quick {
            list: work.list.clone(),
            wanted_by: enquiry.details.wanted_by,
            arrives_on: work.arrives_on,
        };
        let knowledge = QuickKnowledge {
            elements: catalogue.elements.clone(),
            made: stock::made_parts(tx).await?,
            cutting: cutting::usual(tx).await?,
            order: order_of_work::get(tx).await?.1,
            rates,
            days: settings.days,
            policy: settings.policy,
            zone: settings.time_zone,
        };
        Ok(Self::Work(Box::new((quick, knowledge))))
    }

    async fn of_casting(
        tx: &mut ShopTx,
        catalogue: &Catalogue,
        (wanted, said): (Variant, &EnquiryDetails),
        rates: Rates,
        settings: Settings,
        today: NaiveDate,
    ) -> Result<Self, DbError> {
        let pattern_id = wanted.pattern_id;
        let which = Which {
            wanted: Some(pattern_id),
            ..Which::default()
        };
        let relations = related_patterns::list(tx, which).await?;
        let donors = relations.iter().map(|relation| relation.donor);
        let patterns: Vec<Uuid> = std::iter::once(pattern_id).chain(donors).collect();
        let mut known = known(tx, &patterns, &settings, today).await?;
        let wish = wish(tx, wanted, said, settings.currency).await?;
        let of_wanted = known
            .remove(&pattern_id)
            .ok_or(DbError::NotFound("the pattern"))?;
        let mut related = Vec::new();
        for relation in relations {
            let of_donor = known
                .remove(&relation.donor)
                .ok_or(DbError::NotFound("the pattern"))?;
            related.push(RelatedSupply {
                relation,
                pattern: of_donor.pattern,
                supplies: of_donor.supplies,
                cutting: of_donor.cutting,
            });
        }
        let knowledge = Knowledge {
            pattern: of_wanted.pattern,
            supplies: of_wanted.supplies,
            cutting: of_wanted.cutting,
            related,
            rules: catalogue.rules.clone(),
            elements: catalogue.elements.clone(),
            made: stock::made_parts(tx).await?,
            order: order_of_work::get(tx).await?.1,
            rates,
            days: settings.days,
            policy: settings.policy,
            selling: settings.selling,
            crack_repairs: crack_repairs::list(tx).await?,
            currency: settings.currency,
            zone: settings.time_zone,
        };
        Ok(Self::Casting(Box::new((wish, knowledge))))
    }
}

/// A pattern with what is known of getting each of its variants, and how its metal is cut.
struct Known {
    pattern: Pattern,
    supplies: Vec<Supply>,
    cutting: CuttingData,
}

/// What is known of these patterns, by their keys: every variant with what the shop knows about getting one. All of them are
/// read at once.
async fn known(
    tx: &mut ShopTx,
    patterns: &[Uuid],
    settings: &Settings,
    today: NaiveDate,
) -> Result<HashMap<Uuid, Known>, DbError> {
    let mut all = HashMap::new();
    let mut of_metal: Vec<(Metal, CuttingData)> = Vec::new();
    for pattern in castings::these_patterns(tx, patterns).await? {
        let metal = pattern.metal;
        let cutting = match of_metal.iter().find(|(known, _)| *known == metal) {
            Some((_, cutting)) => cutting.clone(),
            None => {
                let cutting = cutting::for_metal(tx, metal).await?;
                of_metal.push((metal, cutting.clone()));
                cutting
            }
        };
        all.insert(
            pattern.id,
            Known {
                pattern,
                supplies: Vec::new(),
                cutting,
            },
        );
    }
    for supply in supply(tx, patterns, settings, today).await? {
        if let Some(known) = all.get_mut(&supply.variant.pattern_id) {
            known.supplies.push(supply);
        }
    }
    Ok(all)
}

/// Every variant of some patterns with what the shop knows about getting one.
async fn supply(
    tx: &mut ShopTx,
    patterns: &[Uuid],
    settings: &Settings,
    today: NaiveDate,
) -> Result<Vec<Supply>, DbError> {
    let variants = castings::variants_of(tx, patterns).await?;
    let keys: Vec<Uuid> = variants.iter().map(|variant| variant.id).collect();
    let free = supplies::free(tx, &keys).await?;
    let watches = sightings::watches(tx, &keys).await?;
    let seen = sightings::of_variants(tx, &keys).await?;
    let inspected = supplies::inspected(tx, &keys).await?;
    let known = variants.into_iter().map(|variant| {
        let mut shelf: Vec<ShelfCasting> = free
            .iter()
            .filter(|c| c.variant_id == variant.id)
            .filter(|c| c.outcome.is_none_or(|outcome| outcome == Outcome::Good))
            .map(|c| ShelfCasting {
                id: c.id,
                number: c.number,
                cost: c.cost,
            })
            .collect();
        shelf.sort_by_key(|c| c.cost.amount());
        let watch = watches.iter().find(|w| w.variant_id == variant.id).cloned();
        let seen = seen.iter().filter(|s| s.variant_id == variant.id);
        Supply {
            shelf,
            watch: watch.unwrap_or_else(|| Watch::new(variant.id, today, settings.currency)),
            sightings: seen.cloned().collect(),
            inspected: inspected.get(&variant.id).copied().unwrap_or_default(),
            variant,
        }
    });
    Ok(known.collect())
}

async fn wish(
    tx: &mut ShopTx,
    wanted: Variant,
    said: &EnquiryDetails,
    currency: Currency,
) -> Result<Wish, DbError> {
    let own = match said.brings_variant_id {
        Some(id) => Some(OwnBlock {
            variant: castings::variant(tx, id).await?,
            repairs: once_each(&said.repairs),
            condition: said.condition,
        }),
        None => None,
    };
    Ok(Wish {
        wanted,
        wanted_by: said.wanted_by,
        own,
        also: once_each(&said.also),
        search: SearchLimits {
            most: said.search_most.map(|most| Money::new(most, currency)),
            ends_on: said.search_ends_on,
        },
        purpose: said.purpose,
    })
}

/// Work by element code, each once.
fn once_each(codes: &[String]) -> Work {
    codes.iter().map(|code| (code.clone(), 1)).collect()
}

fn plan_state(age: &Age) -> PlanState {
    match (age.plan_version, age.freshness) {
        (None, _) => PlanState::NoneYet,
        (_, Freshness::Fresh) => PlanState::Current,
        (_, Freshness::Planning { usable: true, .. }) => PlanState::Improving,
        (_, Freshness::Planning { .. } | Freshness::Stale { .. }) => PlanState::Outdated,
    }
}
