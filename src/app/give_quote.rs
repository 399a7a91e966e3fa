//! Gives a quote: one option of an answer that was read out, as it was read out, whatever has changed since. When there is
//! reason to look again first, the office is asked.

use super::answer_enquiry::{Simulator, asked};
use super::catalogue::Catalogue;
use super::kept_answer::SaidAnswer;
use super::question::Question;
use super::{Actor, AppError, Refusal, name_customers};
use crate::db::enquiries::{self, Enquiry};
use crate::db::people::Role;
use crate::db::plans::{self, Age};
use crate::db::quick_work::{self, QuickWork};
use crate::db::settings::{self, Settings};
use crate::db::{DbError, ShopTx, decisions, quotes};
use crate::enquiry::bargain::{Bargain, BargainFault, BargainRules, Bargained, bargain};
use crate::enquiry::doubt::{self, Doubt, Standing};
use crate::enquiry::quote::{CheckedQuote, NewQuote, Quote, Terms};
use crate::enquiry::{Answer, OptionAnswer};
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

/// Which quote is asked for.
#[derive(Debug, Clone)]
pub struct QuoteRequest {
    /// The enquiry.
    pub enquiry_id: Uuid,
    /// The answer that was read out.
    pub answer_id: Uuid,
    /// The option's key in it.
    pub option: String,
    /// Until when its slot in the plan is reserved, at most until the quote expires; `None`: not at all.
    pub reserve_until: Option<NaiveDate>,
    /// The form it is asked with: the same form sent twice makes one quote.
    pub request_key: Option<Uuid>,
    /// What was agreed beyond the answer; `None`: the option as it was said.
    pub bargain: Option<Bargain>,
    /// The quote beside which it is given, as another option on one paper.
    pub alternative_to: Option<Uuid>,
    /// Whether somebody has looked at the doubts and wants it as it was said.
    pub confirmed: bool,
}

/// Quotes one option of an answer to an enquiry, for the office.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::OptionGone`], [`Refusal::Unbalanced`]; [`Refusal::Doubts`] unless confirmed;
/// [`AppError::Db`], [`AppError::Failed`].
pub async fn give_quote(
    actor: &Actor,
    simulator: &Simulator,
    request: &QuoteRequest,
    now: DateTime<Utc>,
) -> Result<Quote, AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    if let Some(given) = given_already(&mut tx, request).await? {
        return Ok(given);
    }
    let ids = (request.enquiry_id, request.answer_id);
    let read = Read {
        said: SaidAnswer::read(&mut tx, ids).await?,
        enquiry: enquiries::get(&mut tx, request.enquiry_id).await?,
        work: quick_work::get(&mut tx, request.enquiry_id).await?,
        settings: settings::get(&mut tx).await?,
        age: plans::age(&mut tx, now).await?,
    };
    drop(tx);
    if !request.confirmed {
        let doubts = read.doubts(actor, simulator, &request.option, now).await?;
        if !doubts.is_empty() {
            return Err(Refusal::Doubts(doubts).into());
        }
    }
    let new = read.quote(actor, request, now)?;
    write(actor, request, &new).await
}

/// The quote that was made with the same form already.
async fn given_already(tx: &mut ShopTx, request: &QuoteRequest) -> Result<Option<Quote>, AppError> {
    let Some(key) = request.request_key else {
        return Ok(None);
    };
    Ok(quotes::of_request(tx, key)
        .await?
        .filter(|quote| quote.enquiry_id == request.enquiry_id))
}

/// All that a quote is made from.
struct Read {
    said: SaidAnswer,
    enquiry: Enquiry,
    work: Option<QuickWork>,
    settings: Settings,
    /// How fresh the plan is now.
    age: Age,
}

impl Read {
    async fn doubts(
        &self,
        actor: &Actor,
        simulator: &Simulator,
        key: &str,
        now: DateTime<Utc>,
    ) -> Result<Vec<Doubt>, AppError> {
        let kept = &self.said.kept;
        let said = self.said.option(key)?;
        let same_call = asked(&self.enquiry, self.work.as_ref())? == kept.asked;
        let plan = (self.age.floor_version, self.age.made_at);
        let plan_changed = (kept.floor_version, kept.plan_made_at) != plan;
        // The plan tells whether the day still holds, and the shelf whether the casting is still free, of the same call only.
        let look = same_call && (plan_changed || said.casting.is_some());
        let fresh = match look {
            true => self.asked_again(actor, simulator, now).await?,
            false => None,
        };
        let standing = Standing {
            at: kept.at,
            now,
            keeps_minutes: self.settings.selling.answer_keeps_minutes,
            same_call,
            said,
            again: look.then(|| fresh.as_ref().and_then(|answer| answer.option(key))),
        };
        let mut doubts = standing.doubts();
        doubts.extend(doubt::of_policy(&self.settings.policy));
        Ok(doubts)
    }

    /// The same question asked now; `None` when it has no answer any more.
    async fn asked_again(
        &self,
        actor: &Actor,
        simulator: &Simulator,
        now: DateTime<Utc>,
    ) -> Result<Option<Answer>, AppError> {
        let mut tx = actor.begin().await?;
        let catalogue = Catalogue::read(&mut tx).await?;
        let work = self.work.as_ref();
        let question = Question::read(&mut tx, &catalogue, &self.enquiry, work, now).await?;
        drop(tx);
        match question {
            Ok(question) => Ok(simulator.answer(actor, question).await?.ok()),
            Err(_) => Ok(None),
        }
    }

    fn quote(
        &self,
        actor: &Actor,
        request: &QuoteRequest,
        now: DateTime<Utc>,
    ) -> Result<CheckedQuote, AppError> {
        let terms = Terms {
            today: now.with_timezone(&self.settings.time_zone).date_naive(),
            valid_days: self.settings.quote_valid_days,
            request_key: request.request_key,
        };
        let snapshot = self.said.kept.answer.clone();
        let key = &request.option;
        let new = NewQuote::of_option(&self.said.answer, key, self.enquiry.id, terms, snapshot)
            .ok_or_else(|| Refusal::option_gone(key))?;
        let mut new = match &request.bargain {
            Some(asked) => {
                let bargained = self.bargained(actor, key, asked)?;
                new.bargained(bargained, &asked.reason)
            }
            None => new,
        };
        new.offered_on.alternative_to = request.alternative_to;
        Ok(new.checked().map_err(Refusal::Unbalanced)?)
    }

    /// What comes of a bargain; below the floor, for the owner only.
    fn bargained(&self, actor: &Actor, key: &str, asked: &Bargain) -> Result<Bargained, AppError> {
        let bargained = bargain(self.said.option(key)?, asked, rules(&self.settings))
            .map_err(Refusal::Bargain)?;
        if bargained.differs && asked.reason.trim().is_empty() {
            return Err(Refusal::Bargain(BargainFault::NoReason).into());
        }
        if bargained.below_floor() && actor.require(Role::Owner).is_err() {
            let floor = bargained.floor;
            return Err(Refusal::BelowFloor { floor }.into());
        }
        Ok(bargained)
    }
}

fn rules(settings: &Settings) -> BargainRules {
    BargainRules {
        tax_percent: settings.policy.tax_percent,
        least_margin_percent: settings.selling.least_margin_percent,
    }
}

/// What would come of a bargain over an option of an answer, for the office; nothing is written. `ids` are the enquiry's and
/// the answer's.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::OptionGone`]; [`AppError::Db`].
pub async fn try_bargain(
    actor: &Actor,
    ids: (Uuid, Uuid),
    key: &str,
    asked: &Bargain,
) -> Result<(OptionAnswer, Result<Bargained, BargainFault>), AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let said = SaidAnswer::read(&mut tx, ids).await?;
    let settings = settings::get(&mut tx).await?;
    drop(tx);
    let option = said.option(key)?.clone();
    let bargained = bargain(&option, asked, rules(&settings));
    Ok((option, bargained))
}

async fn write(
    actor: &Actor,
    request: &QuoteRequest,
    new: &CheckedQuote,
) -> Result<Quote, AppError> {
    let mut tx = actor.begin().await?;
    // Two requests with one form take turns here: the second finds what the first has given.
    enquiries::lock(&mut tx, request.enquiry_id).await?;
    if let Some(given) = given_already(&mut tx, request).await? {
        return Ok(given);
    }
    if let Some(first) = request.alternative_to {
        let first = quotes::get(&mut tx, first).await?;
        if first.enquiry_id != request.enquiry_id || first.offered_on.alternative_to.is_some() {
            return Err(DbError::NotFound("this quote").into());
        }
        let number = first.number;
        first
            .check_undecided()
            .map_err(|why| Refusal::Quote { number, why })?;
    }
    let (id, _) = quotes::create(&mut tx, new).await?;
    name_customers::name_caller_within(&mut tx, request.enquiry_id).await?;
    if let Some(until) = request.reserve_until {
        decisions::hold_slot(&mut tx, id, until.min(new.quote().valid_until)).await?;
    }
    let quote = quotes::get(&mut tx, id).await?;
    tx.commit().await?;
    Ok(quote)
}
