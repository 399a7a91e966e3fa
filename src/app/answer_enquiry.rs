//! Answers an enquiry: reads what the shop knows, ends the transaction, and simulates every option on a thread of its own.

use super::catalogue::Catalogue;
use super::drawn_plans::DrawnPlans;
use super::{Actor, AppError};
use crate::castings::Variant;
use crate::db::answers::{self, NewAnswer};
use crate::db::castings_on_shelf::{self, Outcome, Ownership, ShelfState};
use crate::db::enquiries::{self, Enquiry, EnquiryDetails};
use crate::db::people::Role;
use crate::db::plans::{self, Age};
use crate::db::settings::Settings;
use crate::db::{
    DbError, ShopTx, castings, crack_repairs, cutting, machines, quotes, settings, sightings,
};
use crate::enquiry::quote::{Quote, QuoteState};
use crate::enquiry::{
    Answer, AnswerError, Knowledge, OwnBlock, PlanState, SearchLimits, ShelfCasting, Simulation,
    Supply, Wish, Work, answer,
};
use crate::estimating::RatesError;
use crate::planning::{Freshness, ReadyDates};
use crate::sourcing::Watch;
use crate::units::{Code, Currency, Money};
use chrono::{DateTime, NaiveDate, Utc};
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// How answers are simulated. Clones share the plans that are drawn already.
#[derive(Debug, Clone)]
pub struct Simulator {
    /// Plans with their futures drawn.
    pub plans: DrawnPlans,
    /// Futures of each option.
    pub futures: u32,
}

impl Simulator {
    /// A simulator with nothing drawn yet.
    #[must_use]
    pub fn new(futures: u32) -> Self {
        Self {
            plans: DrawnPlans::default(),
            futures,
        }
    }

    /// Answers a question. No transaction is open meanwhile but the short one that reads the plan when it is not drawn yet.
    ///
    /// # Errors
    /// [`AppError::Db`], [`AppError::Failed`]. What keeps it from being answered is not an error but an [`Unanswerable`].
    pub async fn answer(
        &self,
        actor: &Actor,
        question: Question,
    ) -> Result<Result<Answer, Unanswerable>, AppError> {
        let (age, at) = (question.age, question.at);
        let dates = self.plans.dates(actor, &age, at, self.futures).await?;
        let futures = self.futures;
        let simulated = tokio::task::spawn_blocking(move || question.answer(&*dates, futures));
        let answer = simulated
            .await
            .map_err(|why| AppError::failed("the answer", why))?;
        Ok(answer.map_err(Unanswerable::Answer))
    }
}

/// Why an enquiry has no answer yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Unanswerable {
    /// Nobody has said what the customer wants.
    NothingWanted,
    /// The shop has not set the rates that every price needs.
    Rates(RatesError),
    /// The options cannot be compared at all.
    Answer(AnswerError),
}

/// An enquiry with its answer and all that its screen shows.
#[derive(Debug)]
pub struct AnsweredEnquiry {
    /// The enquiry.
    pub enquiry: Enquiry,
    /// What its form chooses from.
    pub catalogue: Catalogue,
    /// Quotes given for it, newest first, at most twenty.
    pub quotes: Vec<Quote>,
    /// The answer as it is kept, or why there is none.
    pub answer: Result<ReadOut, Unanswerable>,
}

/// An answer that stands on a screen, or is sent to a program, and is kept as it is: a quote is made from it.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadOut {
    /// Its key.
    pub id: Uuid,
    /// The answer.
    pub answer: Answer,
}

/// Answers an enquiry as of a moment, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`], [`AppError::Failed`].
pub async fn answer_enquiry(
    actor: &Actor,
    simulator: &Simulator,
    enquiry_id: Uuid,
    at: DateTime<Utc>,
) -> Result<AnsweredEnquiry, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let catalogue = Catalogue::read(&mut tx).await?;
    answer_within(actor, simulator, tx, catalogue, enquiry_id, at).await
}

/// The same with a catalogue that is read already.
///
/// # Errors
/// As [`answer_enquiry`].
pub async fn answer_with(
    actor: &Actor,
    simulator: &Simulator,
    catalogue: Catalogue,
    enquiry_id: Uuid,
    at: DateTime<Utc>,
) -> Result<AnsweredEnquiry, AppError> {
    actor.require(Role::Office)?;
    let tx = actor.begin().await?;
    answer_within(actor, simulator, tx, catalogue, enquiry_id, at).await
}

async fn answer_within(
    actor: &Actor,
    simulator: &Simulator,
    mut tx: ShopTx,
    catalogue: Catalogue,
    enquiry_id: Uuid,
    at: DateTime<Utc>,
) -> Result<AnsweredEnquiry, AppError> {
    let enquiry = enquiries::get(&mut tx, enquiry_id).await?;
    let quotes = quotes::list(&mut tx, QuoteState::ALL, Some(enquiry_id), None, 20).await?;
    let question = Question::read(&mut tx, &catalogue, &enquiry, at).await?;
    drop(tx);
    let answer = match question {
        Ok(question) => {
            let age = question.age;
            match simulator.answer(actor, question).await? {
                Ok(answer) => Ok(keep(actor, &enquiry, &age, answer).await?),
                Err(why) => Err(why),
            }
        }
        Err(why) => Err(why),
    };
    Ok(AnsweredEnquiry {
        enquiry,
        catalogue,
        quotes,
        answer,
    })
}

/// Keeps an answer as it is read out.
async fn keep(
    actor: &Actor,
    enquiry: &Enquiry,
    age: &Age,
    answer: Answer,
) -> Result<ReadOut, AppError> {
    let failed = |why| AppError::failed("keeping the answer", why);
    let asked = serde_json::to_value(&enquiry.details).map_err(failed)?;
    // The moment is no figure: the same figures a minute later are the same answer.
    let timeless = Answer {
        at: DateTime::UNIX_EPOCH,
        ..answer.clone()
    };
    let figures = serde_json::to_vec(&timeless).map_err(failed)?;
    let new = NewAnswer {
        enquiry_id: enquiry.id,
        at: answer.at,
        asked: &asked,
        floor_version: age.floor_version,
        plan_made_at: age.made_at,
        figures_hash: &Sha256::digest(&figures),
        answer: &serde_json::to_value(&answer).map_err(failed)?,
    };
    let mut tx = actor.begin().await?;
    let id = answers::keep(&mut tx, &new).await?;
    tx.commit().await?;
    Ok(ReadOut { id, answer })
}

/// Every answer draws the same numbers: whoever asks for the same at the same moment is told the same.
const SEED: u64 = 1;

/// An enquiry with all that the shop knows about it: ready to be answered away from the database.
#[derive(Debug, Clone)]
pub struct Question {
    wish: Wish,
    knowledge: Knowledge,
    age: Age,
    at: DateTime<Utc>,
}

impl Question {
    /// Reads all that the shop knows about what a customer wants.
    ///
    /// # Errors
    /// [`DbError`]. What the shop has yet to say is not an error but an [`Unanswerable`].
    pub async fn read(
        tx: &mut ShopTx,
        catalogue: &Catalogue,
        enquiry: &Enquiry,
        at: DateTime<Utc>,
    ) -> Result<Result<Self, Unanswerable>, DbError> {
        let said = &enquiry.details;
        let Some(wanted_id) = said.wanted_variant_id else {
            return Ok(Err(Unanswerable::NothingWanted));
        };
        let machines = machines::machines(tx).await?;
        let rates = match machines::rates(tx, &machines).await? {
            Ok(rates) => rates,
            Err(why) => return Ok(Err(Unanswerable::Rates(why))),
        };
        let settings = settings::get(tx).await?;
        let today = at.with_timezone(&settings.time_zone).date_naive();
        let wanted = castings::variant(tx, wanted_id).await?;
        let pattern = castings::pattern(tx, wanted.pattern_id).await?;
        let supplies = supplies(tx, pattern.id, &settings, today).await?;
        let wish = wish(tx, wanted, said, settings.currency).await?;
        let knowledge = Knowledge {
            pattern,
            supplies,
            rules: catalogue.rules.clone(),
            elements: catalogue.elements.clone(),
            cutting: cutting::usual(tx).await?,
            rates,
            policy: settings.policy,
            selling: settings.selling,
            crack_repairs: crack_repairs::list(tx).await?,
            currency: settings.currency,
            zone: settings.time_zone,
        };
        Ok(Ok(Self {
            wish,
            knowledge,
            age: plans::age(tx, at).await?,
            at,
        }))
    }

    /// How fresh the plan was when the question was read.
    #[must_use]
    pub fn age(&self) -> &Age {
        &self.age
    }

    /// Simulates every option in so many futures, on the caller's thread.
    ///
    /// # Errors
    /// As [`answer()`].
    pub fn answer(&self, dates: &dyn ReadyDates, futures: u32) -> Result<Answer, AnswerError> {
        let simulation = Simulation {
            now: self.at,
            futures,
            seed: SEED,
        };
        let answer = answer(&self.wish, &self.knowledge, dates, simulation)?;
        Ok(Answer {
            plan: Some(plan_state(&self.age)),
            ..answer
        })
    }
}

/// Every variant of a pattern with what the shop knows about getting one.
async fn supplies(
    tx: &mut ShopTx,
    pattern_id: Uuid,
    settings: &Settings,
    today: NaiveDate,
) -> Result<Vec<Supply>, DbError> {
    let mut supplies = Vec::new();
    for variant in castings::variants_of(tx, pattern_id).await? {
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

pub(super) fn plan_state(age: &Age) -> PlanState {
    match (age.plan_version, age.freshness) {
        (None, _) => PlanState::NoneYet,
        (_, Freshness::Fresh) => PlanState::Current,
        (_, Freshness::Planning { usable: true, .. }) => PlanState::Improving,
        (_, Freshness::Planning { .. } | Freshness::Stale { .. }) => PlanState::Outdated,
    }
}
