//! What a customer asks, with all that the shop knows about it: read in one transaction, answered away from the database.

use super::catalogue::Catalogue;
use crate::castings::Variant;
use crate::db::castings_on_shelf::{self, Outcome, Ownership, ShelfState};
use crate::db::enquiries::{Enquiry, EnquiryDetails};
use crate::db::plans::{self, Age};
use crate::db::quick_work::QuickWork;
use crate::db::related_patterns::Which;
use crate::db::settings::{self, Settings};
use crate::db::{
    DbError, ShopTx, castings, crack_repairs, cutting, machines, order_of_work, related_patterns,
    sightings, stock,
};
use crate::enquiry::{
    Answer, AnswerError, Knowledge, OwnBlock, PlanState, Quick, QuickError, QuickKnowledge,
    RelatedSupply, SearchLimits, ShelfCasting, Simulation, Supply, Wish, Work, answer,
};
use crate::estimating::{Rates, RatesError};
use crate::planning::{Freshness, ReadyDates};
use crate::sourcing::Watch;
use crate::units::{Code, Currency, Money};
use chrono::{DateTime, NaiveDate, Utc};
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
    asked: Asked,
    age: Age,
    at: DateTime<Utc>,
}

/// What an enquiry names.
enum Wanted<'a> {
    Work(&'a QuickWork),
    Variant(Uuid),
}

/// What is asked for, with what the shop knows about it.
#[derive(Debug, Clone)]
enum Asked {
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
            asked,
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
        let answer = match &self.asked {
            Asked::Casting(asked) => {
                answer(&asked.0, &asked.1, dates, simulation).map_err(Unanswerable::Answer)?
            }
            Asked::Work(asked) => asked
                .0
                .answer(&asked.1, dates, simulation)
                .map_err(Unanswerable::Work)?,
        };
        Ok(Answer {
            plan: Some(plan_state(&self.age)),
            ..answer
        })
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
        let pattern = castings::pattern(tx, wanted.pattern_id).await?;
        let supplies = supplies(tx, pattern.id, &settings, today).await?;
        let wish = wish(tx, wanted, said, settings.currency).await?;
        let cutting = cutting::for_metal(tx, pattern.metal).await?;
        let related = related(tx, pattern.id, &settings, today).await?;
        let knowledge = Knowledge {
            pattern,
            supplies,
            related,
            rules: catalogue.rules.clone(),
            elements: catalogue.elements.clone(),
            made: stock::made_parts(tx).await?,
            cutting,
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

/// The patterns whose castings can be donors for this one, with what the shop knows about getting one.
async fn related(
    tx: &mut ShopTx,
    pattern_id: Uuid,
    settings: &Settings,
    today: NaiveDate,
) -> Result<Vec<RelatedSupply>, DbError> {
    let which = Which {
        wanted: Some(pattern_id),
        ..Which::default()
    };
    let mut related = Vec::new();
    for relation in related_patterns::list(tx, which).await? {
        let pattern = castings::pattern(tx, relation.donor).await?;
        related.push(RelatedSupply {
            cutting: cutting::for_metal(tx, pattern.metal).await?,
            supplies: supplies(tx, pattern.id, settings, today).await?,
            relation,
            pattern,
        });
    }
    Ok(related)
}

/// Every variant of a pattern with what the shop knows about getting one.
async fn supplies(
    tx: &mut ShopTx,
    pattern_id: Uuid,
    settings: &Settings,
    today: NaiveDate,
) -> Result<Vec<Supply>, DbError> {
    let mut supplies = Vec::new();
    for variant in castings::variants_of(tx, &[pattern_id]).await? {
        let mut mine = castings_on_shelf::list(tx, ShelfState::ALL, Some(variant.id)).await?;
        mine.retain(|c| c.details.ownership == Ownership::Shop);
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
            inspected: castings_on_shelf::inspected(tx, variant.id).await?,
            variant,
        });
    }
    Ok(supplies)
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
