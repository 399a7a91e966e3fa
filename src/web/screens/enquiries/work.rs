//! What a call on the screen and one sent by a program have in common: working the answer out, and giving a quote.

use crate::app::answer_enquiry::{self, Unanswerable, Ways};
use crate::db::enquiries::{self, Enquiry};
use crate::db::quotes::{self, NewQuote, Quote};
use crate::db::{ShopTx, decisions, settings};
use crate::enquiry::Answer;
use crate::units::Code;
use crate::web::shell::site::Site;
use crate::web::ui::{SignedIn, WebError};
use actix_web::web;
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use uuid::Uuid;

/// The answer, or what is missing for one.
pub(in crate::web) type Answered = Result<Answer, Unanswerable>;

/// Loads what the shop knows and works the answer out away from the web workers.
pub(in crate::web) async fn answer_to(
    mut tx: ShopTx,
    site: &Site,
    ways: Ways,
    enquiry: &Enquiry,
    at: DateTime<Utc>,
) -> Result<Answered, WebError> {
    let (plans, futures) = (&site.plans, site.futures);
    let asked = answer_enquiry::load(&mut tx, ways, &enquiry.details, at, plans, futures);
    let question = match asked.await? {
        Ok(question) => question,
        Err(why) => return Ok(Err(why)),
    };
    drop(tx);
    let seed = u64::try_from(enquiry.number).unwrap_or(0);
    let worked = web::block(move || question.answer(at, futures, seed))
        .await
        .map_err(|error| WebError::Internal(error.to_string()))?;
    Ok(worked.map_err(|error| Unanswerable::Missing(error.to_string())))
}

/// How long an answer that was read out may be turned into a quote as it stands.
const ANSWER_KEEPS: TimeDelta = TimeDelta::hours(12);

/// Days for which a quote's place in the plan is held unless somebody says otherwise: common practice, no source.
const SLOT_DAYS: Days = Days::new(5);

/// Until when a place in the plan is held when a quote is given today.
pub(in crate::web) fn slot_until(who: &SignedIn) -> NaiveDate {
    let today = Utc::now().with_timezone(&who.shop.time_zone).date_naive();
    today.checked_add_days(SLOT_DAYS).unwrap_or(today)
}

/// Which quote is asked for.
#[derive(Debug)]
pub(in crate::web) struct QuoteAsked<'a> {
    /// The option's key in the answer.
    pub option: &'a str,
    /// When the answer was worked out.
    pub at: Option<DateTime<Utc>>,
    /// Until when its place in the plan is held; not beyond the day the quote itself holds until.
    pub hold_until: Option<NaiveDate>,
}

/// Quotes one option of an enquiry: as it was worked out at `at`, or now when that is no recent moment.
pub(in crate::web) async fn quote(
    who: &SignedIn,
    site: &Site,
    enquiry_id: Uuid,
    asked: QuoteAsked<'_>,
) -> Result<Quote, WebError> {
    let now = Utc::now();
    let at = asked
        .at
        .filter(|at| *at <= now && now - *at <= ANSWER_KEEPS)
        .unwrap_or(now);
    let mut tx = who.begin().await?;
    let enquiry = enquiries::get(&mut tx, enquiry_id).await?;
    let settings = settings::get(&mut tx).await?;
    let ways = Ways::load(&mut tx).await?;
    let answer = match answer_to(tx, site, ways, &enquiry, at).await? {
        Ok(answer) => answer,
        Err(why) => return Err(WebError::Unprocessable(why.to_string())),
    };
    let Some((option, figures)) = answer
        .option(asked.option)
        .and_then(|option| Some((option, option.figures()?)))
    else {
        return Err(WebError::Unprocessable(
            "This option cannot be quoted any more: something it rests on has changed. Go back and look at the answer again."
                .to_owned(),
        ));
    };
    let today = now.with_timezone(&who.shop.time_zone).date_naive();
    let valid_until = today
        .checked_add_days(Days::new(u64::from(settings.quote_valid_days)))
        .unwrap_or(today);
    let snapshot = serde_json::to_value(&answer).map_err(|e| WebError::Internal(e.to_string()))?;
    let new = NewQuote {
        enquiry_id,
        option_kind: option.kind.code().to_owned(),
        // A job is known by what it makes; the option alone says only from what.
        title: format!("{}: {}", answer.wanted, option.title),
        casting_id: option.casting.as_ref().map(|casting| casting.id),
        valid_until,
        promised_on: figures
            .ready
            .at_confidence
            .map(|t| t.with_timezone(&who.shop.time_zone).date_naive()),
        net: figures.build_up.net,
        tax: figures.build_up.tax,
        gross: figures.build_up.gross,
        lines: figures.build_up.lines.clone(),
        answer: snapshot,
        route: figures.route.clone(),
    };
    let mut tx = who.begin().await?;
    let (id, _) = quotes::create(&mut tx, &new).await?;
    if let Some(until) = asked.hold_until {
        decisions::hold_slot(&mut tx, id, until.min(valid_until)).await?;
    }
    let quote = quotes::get(&mut tx, id).await?;
    tx.commit().await?;
    Ok(quote)
}
