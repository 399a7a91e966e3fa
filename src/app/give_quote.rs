//! Gives a quote: one option of an answer that was read out, as it was read out, whatever has changed since. When there is
//! reason to look again first, the office is asked.

use super::answer_enquiry::{Question, Simulator};
use super::catalogue::Catalogue;
use super::{Actor, AppError, Refusal};
use crate::db::answers::{self, KeptAnswer};
use crate::db::enquiries::{self, Enquiry};
use crate::db::people::Role;
use crate::db::settings::{self, Settings};
use crate::db::{DbError, ShopTx, decisions, plans, quotes};
use crate::enquiry::bargain::{Bargain, BargainFault, BargainRules, Bargained, bargain};
use crate::enquiry::doubt::{Doubt, Standing};
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
    let kept = answers::get(&mut tx, request.answer_id).await?;
    if kept.enquiry_id != request.enquiry_id {
        return Err(DbError::NotFound("this answer").into());
    }
    let enquiry = enquiries::get(&mut tx, request.enquiry_id).await?;
    let settings = settings::get(&mut tx).await?;
    let read = Read {
        changed: plan_changed(&mut tx, &kept, now).await?,
        again: match request.confirmed {
            true => None,
            false => Some(again(&mut tx, &enquiry, now).await?),
        },
        answer: serde_json::from_value(kept.answer.clone())
            .map_err(|why| AppError::failed("reading the answer", why))?,
        kept,
        enquiry,
        settings,
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

async fn plan_changed(
    tx: &mut ShopTx,
    kept: &KeptAnswer,
    now: DateTime<Utc>,
) -> Result<bool, DbError> {
    let age = plans::age(tx, now).await?;
    Ok((kept.floor_version, kept.plan_made_at) != (age.floor_version, age.made_at))
}

/// The same question asked now; `None` when it has no answer any more.
async fn again(
    tx: &mut ShopTx,
    enquiry: &Enquiry,
    now: DateTime<Utc>,
) -> Result<Option<Question>, AppError> {
    let catalogue = Catalogue::read(tx).await?;
    Ok(Question::read(tx, &catalogue, enquiry, now).await?.ok())
}

/// All that a quote is made from.
struct Read {
    kept: KeptAnswer,
    answer: Answer,
    enquiry: Enquiry,
    settings: Settings,
    /// Whether the plan has changed since the answer.
    changed: bool,
    /// The question as it stands now, when it may have to be asked again.
    again: Option<Option<Question>>,
}

impl Read {
    async fn doubts(
        &self,
        actor: &Actor,
        simulator: &Simulator,
        key: &str,
        now: DateTime<Utc>,
    ) -> Result<Vec<Doubt>, AppError> {
        let asked = serde_json::to_value(&self.enquiry.details)
            .map_err(|why| AppError::failed("comparing the call", why))?;
        let same_call = asked == self.kept.asked;
        let said = self.answer.option(key).ok_or_else(|| gone(key))?;
        // The plan tells whether the day still holds, and the shelf whether the casting is still free, of the same call only.
        let look = same_call && (self.changed || said.casting.is_some());
        let fresh = match (look, self.again.clone().flatten()) {
            (true, Some(question)) => simulator.answer(actor, question).await?.ok(),
            _ => None,
        };
        let standing = Standing {
            at: self.kept.at,
            now,
            keeps_minutes: self.settings.selling.answer_keeps_minutes,
            same_call,
            said,
            again: look.then(|| fresh.as_ref().and_then(|answer| answer.option(key))),
        };
        Ok(standing.doubts())
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
        let snapshot = self.kept.answer.clone();
        let key = &request.option;
        let new = NewQuote::of_option(&self.answer, key, self.enquiry.id, terms, snapshot)
            .ok_or_else(|| gone(key))?;
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
        let option = self.answer.option(key).ok_or_else(|| gone(key))?;
        let bargained = bargain(option, asked, rules(&self.settings)).map_err(Refusal::Bargain)?;
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
        confidence_percent: settings.policy.confidence_percent,
    }
}

/// What would come of a bargain over an option of an answer, for the office; nothing is written.
///
/// # Errors
/// [`AppError::NotAllowed`]; [`Refusal::OptionGone`]; [`AppError::Db`].
pub async fn try_bargain(
    actor: &Actor,
    (enquiry_id, answer_id): (Uuid, Uuid),
    key: &str,
    asked: &Bargain,
) -> Result<(OptionAnswer, Result<Bargained, BargainFault>), AppError> {
    actor.require(Role::Office)?;
    let mut tx = actor.begin().await?;
    let kept = answers::get(&mut tx, answer_id).await?;
    if kept.enquiry_id != enquiry_id {
        return Err(DbError::NotFound("this answer").into());
    }
    let settings = settings::get(&mut tx).await?;
    drop(tx);
    let answer: Answer = serde_json::from_value(kept.answer)
        .map_err(|why| AppError::failed("reading the answer", why))?;
    let option = answer.option(key).ok_or_else(|| gone(key))?.clone();
    let bargained = bargain(&option, asked, rules(&settings));
    Ok((option, bargained))
}

fn gone(key: &str) -> Refusal {
    Refusal::OptionGone {
        key: key.to_owned(),
    }
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
    if let Some(until) = request.reserve_until {
        decisions::hold_slot(&mut tx, id, until.min(new.quote().valid_until)).await?;
    }
    let quote = quotes::get(&mut tx, id).await?;
    tx.commit().await?;
    Ok(quote)
}
