//! Quick work: a call for work without a variant, saved as it is typed, priced and dated from the current plan, and
//! quoted as it was read out.

use super::answer_enquiry::{Simulator, plan_state};
use super::{Actor, AppError, Refusal};
use crate::db::enquiries::{self, Enquiry, EnquiryDetails};
use crate::db::people::Role;
use crate::db::plans::{self, Age};
use crate::db::quick_work::{self, QuickWork};
use crate::db::settings::Settings;
use crate::db::{DbError, ShopTx, cutting, decisions, machines, quotes, settings, standards};
use crate::enquiry::quote::{NewQuote, Quote, QuoteState, Terms};
use crate::enquiry::{Answer, Quick, QuickError, QuickKnowledge, Simulation, quick};
use crate::estimating::{Element, RatesError};
use crate::units::{Code, Money};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use uuid::Uuid;

/// The same work always draws the same numbers: two callers hear the same price for it, and no figure changes between two
/// looks.
const SEED: u64 = 1;

/// Why quick work has no price yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoQuickPrice {
    /// The shop has not set the rates that every price needs.
    Rates(RatesError),
    /// The work makes no route or has no cost.
    Work(QuickError),
}

/// A call for quick work with all that its screen shows.
#[derive(Debug)]
pub struct QuickEnquiry {
    /// The call.
    pub enquiry: Enquiry,
    /// What is to be done.
    pub work: QuickWork,
    /// Standard times to pick from.
    pub elements: Vec<Element>,
    /// Quotes given for it, newest first, at most twenty.
    pub quotes: Vec<Quote>,
    /// The answer, or why there is none.
    pub answer: Result<Answer, NoQuickPrice>,
}

/// What a caller says of quick work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuickCall {
    /// Who is calling.
    pub caller: String,
    /// How to reach them.
    pub contact: String,
    /// By when.
    pub wanted_by: Option<NaiveDate>,
    /// Anything else.
    pub note: String,
    /// What is to be done.
    pub work: QuickWork,
}

/// What was read out to the caller.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReadOut {
    /// The price before tax.
    pub net: Money,
    /// The day.
    pub ready_on: Option<NaiveDate>,
}

/// Which quick work is to be quoted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct QuickQuoteRequest {
    /// The enquiry.
    pub id: Uuid,
    /// What was read out.
    pub read_out: ReadOut,
    /// When that was worked out.
    pub read_out_at: Option<DateTime<Utc>>,
    /// Until when its slot in the plan is reserved, at most until the quote expires; `None`: not at all.
    pub reserve_until: Option<NaiveDate>,
}

/// Opens a call for quick work with nothing said yet, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`].
pub async fn open_quick(actor: &Actor) -> Result<Uuid, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let (id, _) = enquiries::create(&mut tx, &EnquiryDetails::default()).await?;
    quick_work::save(&mut tx, id, &QuickWork::default()).await?;
    tx.commit().await?;
    Ok(id)
}

/// The standard times that a call for quick work is picked from, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`], [`AppError::Db`].
pub async fn work_to_pick(actor: &Actor) -> Result<Vec<Element>, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    Ok(standards::list(&mut tx).await?)
}

/// Saves what the caller has said by now, for the office. Nobody is stale against themselves.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`DbError::Stale`] when somebody else changed it after `version`; [`AppError::Db`].
pub async fn save_quick(
    actor: &Actor,
    id: Uuid,
    version: i32,
    call: &QuickCall,
) -> Result<(), AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let stored = enquiries::lock(&mut tx, id).await?.details;
    work_of(&mut tx, id).await?;
    let details = EnquiryDetails {
        caller: call.caller.clone(),
        contact: call.contact.clone(),
        wanted_by: call.wanted_by,
        note: call.note.clone(),
        ..stored
    };
    enquiries::save(&mut tx, id, version, &details).await?;
    quick_work::save(&mut tx, id, &call.work).await?;
    tx.commit().await?;
    Ok(())
}

/// Prices and dates a call for quick work as of a moment, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`], [`DbError::NotFound`] for a call that is not for quick work, [`AppError::Db`],
/// [`AppError::Failed`].
pub async fn quick_enquiry(
    actor: &Actor,
    simulator: &Simulator,
    id: Uuid,
    at: DateTime<Utc>,
) -> Result<QuickEnquiry, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let enquiry = enquiries::get(&mut tx, id).await?;
    let work = work_of(&mut tx, id).await?;
    let quotes = quotes::list(&mut tx, QuoteState::ALL, Some(id), None, 20).await?;
    let settings = settings::get(&mut tx).await?;
    let question = Question::read(&mut tx, &enquiry, &work, &settings, at).await?;
    let elements = standards::list(&mut tx).await?;
    drop(tx);
    let answer = match question {
        Ok(question) => question.answer(actor, simulator, at).await?,
        Err(why) => Err(why),
    };
    Ok(QuickEnquiry {
        enquiry,
        work,
        elements,
        quotes,
        answer,
    })
}

/// Quotes a call for quick work as it was read out, for the office. It is worked out again for the moment of the reading:
/// when it comes to another price or day on the plan as it is now, nothing is quoted, and the caller must hear the new
/// figures first.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::NoQuickPrice`]; [`Refusal::FiguresMoved`] with the new figures;
/// [`Refusal::Unbalanced`]; [`DbError::Stale`] when the call was changed meanwhile; [`AppError::Db`],
/// [`AppError::Failed`].
pub async fn give_quick_quote(
    actor: &Actor,
    simulator: &Simulator,
    request: QuickQuoteRequest,
    now: DateTime<Utc>,
) -> Result<Quote, AppError> {
    actor.require(Role::Office)?;
    let id = request.id;
    let mut tx = actor.begin().await?;
    let enquiry = enquiries::get(&mut tx, id).await?;
    let work = work_of(&mut tx, id).await?;
    let settings = settings::get(&mut tx).await?;
    let keeps = TimeDelta::minutes(settings.selling.answer_keeps_minutes.into());
    let at = request
        .read_out_at
        .filter(|at| (now - keeps..=now).contains(at))
        .unwrap_or(now);
    let question = Question::read(&mut tx, &enquiry, &work, &settings, at).await?;
    drop(tx);
    let answer = match question {
        Ok(question) => question.answer(actor, simulator, at).await?,
        Err(why) => Err(why),
    };
    let answer = answer.map_err(Refusal::NoQuickPrice)?;
    let terms = Terms {
        today: now.with_timezone(&settings.time_zone).date_naive(),
        valid_days: settings.quote_valid_days,
        request_key: None,
    };
    let kept =
        serde_json::to_value(&answer).map_err(|why| AppError::failed("keeping the answer", why))?;
    let new = NewQuote::of_option(&answer, quick::OPTION, id, terms, kept).ok_or_else(|| {
        Refusal::OptionGone {
            key: quick::OPTION.to_owned(),
        }
    })?;
    let now_says = ReadOut {
        net: new.net,
        ready_on: new.promised_on,
    };
    if now_says != request.read_out {
        return Err(Refusal::FiguresMoved(now_says).into());
    }
    let valid_until = new.valid_until;
    let new = new.checked().map_err(Refusal::Unbalanced)?;

    let mut tx = actor.begin().await?;
    let unchanged = enquiries::lock(&mut tx, id).await?.details == enquiry.details
        && work_of(&mut tx, id).await? == work;
    if !unchanged {
        return Err(DbError::Stale("this enquiry").into());
    }
    let (quote_id, _) = quotes::create(&mut tx, &new).await?;
    if let Some(until) = request.reserve_until {
        decisions::hold_slot(&mut tx, quote_id, until.min(valid_until)).await?;
    }
    let quote = quotes::get(&mut tx, quote_id).await?;
    tx.commit().await?;
    Ok(quote)
}

async fn work_of(tx: &mut ShopTx, id: Uuid) -> Result<QuickWork, DbError> {
    let work = quick_work::get(tx, id).await?;
    work.ok_or(DbError::NotFound("quick work in this enquiry"))
}

/// What is asked, with all that the shop knows about it.
struct Question {
    quick: Quick,
    knowledge: QuickKnowledge,
    age: Age,
}

impl Question {
    async fn read(
        tx: &mut ShopTx,
        enquiry: &Enquiry,
        work: &QuickWork,
        settings: &Settings,
        at: DateTime<Utc>,
    ) -> Result<Result<Self, NoQuickPrice>, DbError> {
        let machines = machines::machines(tx).await?;
        let rates = match machines::rates(tx, &machines).await? {
            Ok(rates) => rates,
            Err(why) => return Ok(Err(NoQuickPrice::Rates(why))),
        };
        Ok(Ok(Self {
            quick: Quick {
                list: work.list.clone(),
                wanted_by: enquiry.details.wanted_by,
                arrives_on: work.arrives_on,
            },
            knowledge: QuickKnowledge {
                elements: standards::list(tx).await?,
                cutting: cutting::usual(tx).await?,
                rates,
                policy: settings.policy.clone(),
                zone: settings.time_zone,
            },
            age: plans::age(tx, at).await?,
        }))
    }

    /// No transaction is open meanwhile but the short one that reads the plan when it is not drawn yet.
    async fn answer(
        self,
        actor: &Actor,
        simulator: &Simulator,
        at: DateTime<Utc>,
    ) -> Result<Result<Answer, NoQuickPrice>, AppError> {
        let futures = simulator.futures;
        let dates = simulator.plans.dates(actor, &self.age, at, futures).await?;
        let plan = Some(plan_state(&self.age));
        let simulation = Simulation {
            now: at,
            futures,
            seed: SEED,
        };
        let answer = tokio::task::spawn_blocking(move || {
            self.quick.answer(&self.knowledge, &*dates, simulation)
        })
        .await
        .map_err(|why| AppError::failed("the answer", why))?;
        Ok(answer
            .map(|answer| Answer { plan, ..answer })
            .map_err(NoQuickPrice::Work))
    }
}
