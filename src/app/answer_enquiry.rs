//! Answers an enquiry: reads what the shop knows, ends the transaction, and simulates every option on a thread of its own.

use super::catalogue::Catalogue;
use super::drawn_plans::DrawnPlans;
use super::question::{Question, Unanswerable};
use super::shared_answers::SharedAnswers;
use super::{Actor, AppError};
use crate::db::answers::{self, NewAnswer};
use crate::db::enquiries::{self, Enquiry};
use crate::db::people::Role;
use crate::db::plans::Age;
use crate::db::quick_work::{self, QuickWork};
use crate::db::{ShopTx, quotes};
use crate::enquiry::Answer;
use crate::enquiry::quote::{Quote, QuoteState};
use crate::units::Code;
use chrono::{DateTime, Utc};
use serde_json::Value;
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// How answers are simulated. Clones share the plans that are drawn already, and the last answers.
#[derive(Debug, Clone)]
pub struct Simulator {
    /// Plans with their futures drawn.
    pub plans: DrawnPlans,
    /// Futures of each option.
    pub futures: u32,
    answers: SharedAnswers,
}

impl Simulator {
    /// A simulator with nothing drawn yet.
    #[must_use]
    pub fn new(futures: u32) -> Self {
        Self {
            plans: DrawnPlans::default(),
            futures,
            answers: SharedAnswers::default(),
        }
    }

    /// Answers a question. No transaction is open meanwhile but the short one that reads the plan when it is not drawn yet.
    ///
    /// # Errors
    /// [`AppError::Db`], [`AppError::Failed`]. What keeps it from being answered is not an error but an [`Unanswerable`].
    #[tracing::instrument(name = "answer", skip_all)]
    pub async fn answer(
        &self,
        actor: &Actor,
        question: Question,
    ) -> Result<Result<Answer, Unanswerable>, AppError> {
        let (age, at) = (*question.age(), question.at());
        let dates = self.plans.dates(actor, &age, at, self.futures).await?;
        let shop_id = actor.shop_id();
        self.answers
            .get(shop_id, question, dates, self.futures)
            .await
    }
}

/// An enquiry with its answer and all that its screen shows.
#[derive(Debug)]
pub struct AnsweredEnquiry {
    /// The enquiry.
    pub enquiry: Enquiry,
    /// The work that is asked for, when no casting is.
    pub work: Option<QuickWork>,
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
    let work = quick_work::get(&mut tx, enquiry_id).await?;
    let question = Question::read(&mut tx, &catalogue, &enquiry, work.as_ref(), at).await?;
    drop(tx);
    let asked = asked(&enquiry, work.as_ref())?;
    let answer = match question {
        Ok(question) => {
            let age = *question.age();
            match simulator.answer(actor, question).await? {
                Ok(answer) => Ok(keep(actor, (enquiry_id, &asked), &age, answer).await?),
                Err(why) => Err(why),
            }
        }
        Err(why) => Err(why),
    };
    Ok(AnsweredEnquiry {
        enquiry,
        work,
        catalogue,
        quotes,
        answer,
    })
}

/// What the customer has said, as it is kept beside an answer.
///
/// # Errors
/// [`AppError::Failed`].
pub(super) fn asked(enquiry: &Enquiry, work: Option<&QuickWork>) -> Result<Value, AppError> {
    let failed = |why| AppError::failed("writing down what is asked", why);
    match work {
        Some(work) => serde_json::to_value((&enquiry.details, work)).map_err(failed),
        None => serde_json::to_value(&enquiry.details).map_err(failed),
    }
}

/// Keeps an answer as it is read out.
async fn keep(
    actor: &Actor,
    (enquiry_id, asked): (Uuid, &Value),
    age: &Age,
    answer: Answer,
) -> Result<ReadOut, AppError> {
    let failed = |why| AppError::failed("keeping the answer", why);
    // The moment is no figure: the same figures a minute later are the same answer.
    let timeless = Answer {
        at: DateTime::UNIX_EPOCH,
        ..answer.clone()
    };
    let figures = serde_json::to_vec(&timeless).map_err(failed)?;
    let new = NewAnswer {
        enquiry_id,
        at: answer.at,
        asked,
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
