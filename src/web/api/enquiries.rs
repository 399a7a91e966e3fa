//! `/api/v1/enquiries`: a call, the answer to it, and the quotes given. Money is in all of it, so it is for the office.

use super::bargain;
use crate::app::Refusal;
use crate::app::answer_enquiry::{ReadOut, answer_enquiry};
use crate::app::catalogue::catalogue;
use crate::app::give_quote::{QuoteRequest, give_quote};
use crate::app::quick_enquiry::{QuickCall, open_quick};
use crate::app::save_enquiry::open_enquiry;
use crate::db::enquiries::{self, Enquiry};
use crate::db::people::Role;
use crate::enquiry::quote::Quote;
use crate::estimating::Element;
use crate::units::{Code, Money};
use crate::web::screens::enquiries::{CallForm, QuickForm};
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, FormErrors, Reply, SignedIn, WebError};
use actix_web::http::header::LOCATION;
use actix_web::{HttpResponse, web};
use chrono::{DateTime, NaiveDate, Utc};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// `/api/v1/enquiries` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/api/v1/enquiries", web::post().to(add))
        .route("/api/v1/enquiries/{id}", web::get().to(one))
        .route("/api/v1/enquiries/{id}/answer", web::get().to(answer))
        .route(
            "/api/v1/enquiries/{id}/bargain",
            web::post().to(bargain::look),
        )
        .route("/api/v1/enquiries/{id}/quotes", web::post().to(quote));
}

/// An enquiry as it is sent out.
#[derive(Debug, Serialize)]
struct Shown {
    id: Uuid,
    number: i64,
    caller: String,
    contact: String,
    wanted_variant_id: Option<Uuid>,
    wanted_by: Option<NaiveDate>,
    brings_variant_id: Option<Uuid>,
    brings_note: String,
    repairs: Vec<String>,
    also: Vec<String>,
    note: String,
    /// Before tax, in the shop's currency.
    search_most: Option<Decimal>,
    search_ends_on: Option<NaiveDate>,
    purpose: &'static str,
    condition: &'static str,
    state: &'static str,
    created_at: DateTime<Utc>,
    version: i32,
}

impl From<Enquiry> for Shown {
    fn from(enquiry: Enquiry) -> Self {
        let details = enquiry.details;
        Self {
            id: enquiry.id,
            number: enquiry.number,
            caller: details.caller,
            contact: details.contact,
            wanted_variant_id: details.wanted_variant_id,
            wanted_by: details.wanted_by,
            brings_variant_id: details.brings_variant_id,
            brings_note: details.brings_note,
            repairs: details.repairs,
            also: details.also,
            note: details.note,
            search_most: details.search_most,
            search_ends_on: details.search_ends_on,
            purpose: details.purpose.code(),
            condition: details.condition.code(),
            state: enquiry.state.code(),
            created_at: enquiry.created_at,
            version: enquiry.version,
        }
    }
}

/// A call as a program sends it; what is left out was not said. Keys and days are text, so that a wrong one is
/// complained about by field.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct NewEnquiry {
    caller: String,
    contact: String,
    wanted_variant_id: Option<String>,
    wanted_by: Option<String>,
    brings_variant_id: Option<String>,
    brings_note: String,
    repairs: Vec<String>,
    also: Vec<String>,
    note: String,
    search_most: Option<String>,
    search_ends_on: Option<String>,
    purpose: String,
    condition: String,
    /// Work alone, without a casting.
    quick: Option<NewWork>,
}

/// Work picked from the shop's standard times.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct NewWork {
    /// What is worked on.
    part: String,
    /// The work.
    lines: Vec<NewLine>,
    /// Cylinders of the part.
    cylinders: Option<u32>,
    /// Main bearings of the part.
    mains: Option<u32>,
    /// The day on which the customer brings it; here when left out.
    arrives_on: Option<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct NewLine {
    /// The code of a standard time.
    code: String,
    /// How many times.
    #[serde(default = "once")]
    count: u32,
}

fn once() -> u32 {
    1
}

impl NewEnquiry {
    /// A call for work alone. What names a casting does not go with it.
    fn quick(&self, work: &NewWork, elements: &[Element]) -> Result<QuickCall, FormErrors> {
        let mut errors = FormErrors::default();
        if self.wanted_variant_id.is_some() {
            errors.add(
                "wanted_variant_id",
                "Leave it out when work alone is wanted",
            );
        }
        let number = |n: Option<u32>| n.map(|n| n.to_string()).unwrap_or_default();
        let form = QuickForm {
            caller: self.caller.clone(),
            contact: self.contact.clone(),
            part: work.part.clone(),
            work: work.lines.iter().map(|line| line.code.clone()).collect(),
            count: work
                .lines
                .iter()
                .map(|line| line.count.to_string())
                .collect(),
            cylinders: number(work.cylinders),
            mains: number(work.mains),
            wanted_by: self.wanted_by.clone().unwrap_or_default(),
            arrives_on: work.arrives_on.clone().unwrap_or_default(),
            note: self.note.clone(),
            version: String::new(),
        };
        form.read(elements, &mut errors)
            .filter(|_| errors.is_empty())
            .ok_or(errors)
    }
}

/// Complaints of the form under the names they were sent by.
fn as_sent(errors: &FormErrors) -> FormErrors {
    let mut sent = FormErrors::default();
    for (field, message) in errors.iter() {
        let field = match field {
            "wanted" => "wanted_variant_id",
            "brings" => "brings_variant_id",
            other => other,
        };
        sent.add(field, message);
    }
    sent
}

async fn add(who: SignedIn, body: web::Json<NewEnquiry>) -> Answer {
    who.require(Role::Office)?;
    let body = body.into_inner();
    let actor = who.actor();
    let catalogue = catalogue(&actor).await?;
    if let Some(work) = &body.quick {
        let call = body.quick(work, &catalogue.elements)?;
        return Ok(created(open_quick(&actor, &call).await?));
    }
    let form = CallForm {
        caller: body.caller,
        contact: body.contact,
        wanted: body.wanted_variant_id.unwrap_or_default(),
        wanted_by: body.wanted_by.unwrap_or_default(),
        brings: body.brings_variant_id.unwrap_or_default(),
        brings_note: body.brings_note,
        repairs: body.repairs,
        also: body.also,
        note: body.note,
        search_most: body.search_most.unwrap_or_default(),
        search_ends_on: body.search_ends_on.unwrap_or_default(),
        purpose: body.purpose,
        condition: body.condition,
        version: String::new(),
    };
    let mut errors = FormErrors::default();
    let Some(details) = form.read(&catalogue, who.shop.currency, &mut errors) else {
        return Err(as_sent(&errors).into());
    };
    Ok(created(open_enquiry(&actor, &details).await?))
}

fn created(enquiry: Enquiry) -> Reply {
    HttpResponse::Created()
        .insert_header((LOCATION, format!("/api/v1/enquiries/{}", enquiry.id)))
        .json(Shown::from(enquiry))
        .into()
}

async fn one(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let enquiry = enquiries::get(&mut tx, *id).await?;
    Ok(HttpResponse::Ok().json(Shown::from(enquiry)).into())
}

/// An answer with its key, by which it is quoted as it was sent.
#[derive(Debug, Serialize)]
struct Sent {
    id: Uuid,
    #[serde(flatten)]
    answer: crate::enquiry::Answer,
}

/// The whole answer as it stands now.
async fn answer(who: SignedIn, site: web::Data<Site>, id: web::Path<Uuid>) -> Answer {
    let answered = answer_enquiry(&who.actor(), &site.simulator, *id, Utc::now()).await?;
    match answered.answer {
        Ok(ReadOut { id, answer }) => Ok(HttpResponse::Ok().json(Sent { id, answer }).into()),
        Err(why) => Err(WebError::Refused(Refusal::Unanswerable(why))),
    }
}

/// Which option to quote.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Choice {
    /// Its key in the answer.
    option: String,
    /// The `id` of the answer it is quoted from; the answer of now when left out.
    #[serde(default)]
    answer: Option<Uuid>,
    /// A key of the caller's own: sent twice, it makes one quote.
    #[serde(default)]
    request_key: Option<Uuid>,
    /// Whether it is quoted as it was said, whatever speaks against it.
    #[serde(default)]
    confirmed: bool,
    /// Until when its place in the plan is held; not held when left out. Text, so that a wrong one is complained about by
    /// field.
    #[serde(default)]
    hold_until: Option<String>,
    /// What was agreed beyond the answer; as it was said when left out.
    #[serde(default)]
    bargain: Option<bargain::Asked>,
    /// The quote beside which it is given, as another option on one paper.
    #[serde(default)]
    alternative_to: Option<Uuid>,
}

/// A quote as it was given.
#[derive(Debug, Serialize)]
struct Given {
    id: Uuid,
    number: i64,
    title: String,
    valid_until: NaiveDate,
    promised_on: Option<NaiveDate>,
    net: Money,
    tax: Money,
    gross: Money,
    /// Where its page is.
    address: String,
}

impl From<Quote> for Given {
    fn from(quote: Quote) -> Self {
        Self {
            id: quote.id,
            number: quote.number,
            title: quote.title,
            valid_until: quote.valid_until,
            promised_on: quote.promised_on,
            net: quote.net,
            tax: quote.tax,
            gross: quote.gross,
            address: format!("/quotes/{}", quote.id),
        }
    }
}

async fn quote(
    who: SignedIn,
    site: web::Data<Site>,
    id: web::Path<Uuid>,
    choice: web::Json<Choice>,
) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let until = choice.hold_until.as_deref();
    let hold_until = until.and_then(|text| errors.date("hold_until", text));
    let asked = choice.bargain.as_ref();
    let bargain = asked.and_then(|asked| asked.read(&who, &mut errors));
    if !errors.is_empty() {
        return Err(errors.into());
    }
    let answer_id = match choice.answer {
        Some(id) => id,
        None => {
            let answered = answer_enquiry(&who.actor(), &site.simulator, *id, Utc::now()).await?;
            match answered.answer {
                Ok(read_out) => read_out.id,
                Err(why) => return Err(WebError::Refused(Refusal::Unanswerable(why))),
            }
        }
    };
    let request = QuoteRequest {
        enquiry_id: *id,
        answer_id,
        option: choice.option.clone(),
        reserve_until: hold_until,
        request_key: choice.request_key,
        bargain,
        alternative_to: choice.alternative_to,
        confirmed: choice.confirmed,
    };
    let quote = give_quote(&who.actor(), &site.simulator, &request, Utc::now()).await?;
    let given = Given::from(quote);
    Ok(HttpResponse::Created()
        .insert_header((LOCATION, given.address.clone()))
        .json(given)
        .into())
}
