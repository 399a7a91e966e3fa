//! `/api/v1/enquiries`: a call, the answer to it, and the quotes given. Money is in all of it, so it is for the office.

use super::body::Body;
use super::enquiry_list;
use super::idempotency::{self, keyed};
use super::nothing;
use super::{bargain, versions};
use crate::app::Refusal;
use crate::app::answer_enquiry::{ReadOut, answer_enquiry};
use crate::app::catalogue::{Catalogue, catalogue};
use crate::app::close_enquiry::close_enquiry;
use crate::app::give_quote::{QuoteRequest, give_quote};
use crate::app::once;
use crate::app::quick_enquiry::{QuickCall, open_quick};
use crate::app::save_enquiry::{open_enquiry, save_enquiry_seen};
use crate::db::enquiries::{self, Enquiry, EnquiryDetails};
use crate::db::people::Role;
use crate::enquiry::quote::Quote;
use crate::estimating::Element;
use crate::units::{Code, Money};
use crate::web::screens::enquiries::{CallForm, QuickForm};
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, FormErrors, Reply, SignedIn, WebError};
use actix_web::http::header::LOCATION;
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::{DateTime, NaiveDate, Utc};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// `/api/v1/enquiries` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/api/v1/enquiries")
            .get(enquiry_list::list)
            .post(add),
    )
    .service(web::resource("/api/v1/enquiries/{id}").get(one).put(change))
    .service(web::resource("/api/v1/enquiries/{id}/answer").get(answer))
    .service(web::resource("/api/v1/enquiries/{id}/sooner").get(enquiry_list::sooner))
    .service(web::resource("/api/v1/enquiries/{id}/bargain").post(bargain::look))
    .service(web::resource("/api/v1/enquiries/{id}/quotes").post(quote))
    .service(web::resource("/api/v1/enquiries/{id}/closed").put(close));
}

#[derive(OpenApi)]
#[openapi(paths(add, one, change, answer, quote, close, bargain::look))]
pub(super) struct Doc;

/// An enquiry as it is sent out.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Enquiry)]
pub(super) struct Shown {
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
    #[schema(value_type = Option<String>)]
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
#[derive(Debug, Default, Deserialize, ToSchema)]
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
#[derive(Debug, Default, Deserialize, Serialize, ToSchema)]
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

/// A standard time and how often it is wanted.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
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
            ..QuickForm::default()
        };
        form.read(elements, &mut errors)
            .filter(|_| errors.is_empty())
            .ok_or(errors)
    }
}

impl NewEnquiry {
    /// What is said, or complaints by the names it was sent under.
    fn details(
        self,
        catalogue: &Catalogue,
        who: &SignedIn,
        blank: CallForm,
    ) -> Result<EnquiryDetails, FormErrors> {
        let form = CallForm {
            caller: self.caller,
            contact: self.contact,
            wanted: self.wanted_variant_id.unwrap_or_default(),
            wanted_by: self.wanted_by.unwrap_or_default(),
            brings: self.brings_variant_id.unwrap_or_default(),
            brings_note: self.brings_note,
            repairs: self.repairs,
            also: self.also,
            note: self.note,
            search_most: self.search_most.unwrap_or_default(),
            search_ends_on: self.search_ends_on.unwrap_or_default(),
            purpose: self.purpose,
            condition: self.condition,
            ..blank
        };
        let mut errors = FormErrors::default();
        form.read(catalogue, who.shop.currency, &mut errors)
            .ok_or_else(|| as_sent(&errors))
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

/// Takes a call down.
#[utoipa::path(post, path = "/api/v1/enquiries", operation_id = "open_enquiry", tag = "Enquiries",
    params(("Idempotency-Key" = Option<String>, Header)),
    request_body = NewEnquiry,
    responses((status = 201, description = "The enquiry; its address in Location, its version in ETag", body = Shown)))]
async fn add(req: HttpRequest, who: SignedIn, body: Body<NewEnquiry>) -> Answer {
    who.require(Role::Office)?;
    let keyed = keyed(&req, &who, &body.sent)?;
    let actor = who.actor();
    let catalogue = catalogue(&actor).await?;
    let id = if let Some(work) = &body.quick {
        let call = body.quick(work, &catalogue.elements)?;
        open_quick(&actor, &call, keyed.as_ref()).await?
    } else {
        let details = body.form.details(&catalogue, &who, CallForm::default())?;
        open_enquiry(&actor, &details, keyed.as_ref()).await?
    };
    let enquiry = enquiries::get(&mut who.begin().await?, id).await?;
    Ok(versions::created(
        format!("/api/v1/enquiries/{}", enquiry.id),
        enquiry.version,
        Shown::from(enquiry),
    ))
}

/// One enquiry.
#[utoipa::path(get, path = "/api/v1/enquiries/{id}", operation_id = "read_enquiry", tag = "Enquiries",
    params(("id" = Uuid, Path, description = "The enquiry")),
    responses((status = 200, description = "The enquiry; its version in ETag", body = Shown)))]
async fn one(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let enquiry = enquiries::get(&mut tx, *id).await?;
    Ok(shown(enquiry))
}

fn shown(enquiry: Enquiry) -> Reply {
    versions::tagged(enquiry.version, Shown::from(enquiry))
}

/// Changes what is said in an enquiry, all of it. Work alone is changed on its screen.
#[utoipa::path(put, path = "/api/v1/enquiries/{id}", operation_id = "change_enquiry", tag = "Enquiries",
    params(("id" = Uuid, Path, description = "The enquiry"),
           ("If-Match" = String, Header)),
    request_body = NewEnquiry,
    responses((status = 200, description = "The enquiry as it is now", body = Shown)))]
async fn change(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<NewEnquiry>,
) -> Answer {
    who.require(Role::Office)?;
    let version = versions::seen(&req)?;
    if body.quick.is_some() {
        let mut errors = FormErrors::default();
        errors.add("quick", "Work alone is changed on its screen; leave it out");
        return Err(errors.into());
    }
    let actor = who.actor();
    let catalogue = catalogue(&actor).await?;
    let details = body.form.details(&catalogue, &who, CallForm::default())?;
    save_enquiry_seen(&actor, *id, version, &details)
        .await
        .map_err(versions::passed)?;
    let mut tx = who.begin().await?;
    let enquiry = enquiries::get(&mut tx, *id).await?;
    Ok(shown(enquiry))
}

/// An answer with its key, by which it is quoted as it was sent.
#[derive(Debug, Serialize)]
struct Sent {
    id: Uuid,
    #[serde(flatten)]
    answer: crate::enquiry::Answer,
}

/// The whole answer as it stands now.
#[utoipa::path(get, path = "/api/v1/enquiries/{id}/answer", operation_id = "answer_enquiry", tag = "Enquiries",
    params(("id" = Uuid, Path, description = "The enquiry")),
    responses((status = 200, description = "Options side by side with price, ready day, chances and risks; `id` is what a \
               quote is made from", body = serde_json::Value)))]
async fn answer(who: SignedIn, site: web::Data<Site>, id: web::Path<Uuid>) -> Answer {
    let answered = answer_enquiry(&who.actor(), &site.simulator, *id, Utc::now()).await?;
    match answered.answer {
        Ok(ReadOut { id, answer }) => Ok(HttpResponse::Ok().json(Sent { id, answer }).into()),
        Err(why) => Err(WebError::Refused(Refusal::Unanswerable(why))),
    }
}

/// Which option to quote.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = QuoteChoice)]
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
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = QuoteGiven)]
struct Given {
    id: Uuid,
    number: i64,
    title: String,
    valid_until: NaiveDate,
    promised_on: Option<NaiveDate>,
    #[schema(value_type = Object)]
    net: Money,
    #[schema(value_type = Object)]
    tax: Money,
    #[schema(value_type = Object)]
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

/// Gives a quote.
#[utoipa::path(post, path = "/api/v1/enquiries/{id}/quotes", operation_id = "give_quote", tag = "Enquiries",
    params(("id" = Uuid, Path, description = "The enquiry"),
           ("Idempotency-Key" = Option<String>, Header)),
    request_body = Choice,
    responses((status = 201, description = "The quote; its page in Location", body = Given)))]
async fn quote(
    req: HttpRequest,
    who: SignedIn,
    site: web::Data<Site>,
    id: web::Path<Uuid>,
    choice: Body<Choice>,
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
    let keyed = keyed(&req, &who, &choice.sent)?;
    let key = keyed.as_ref().map(idempotency::as_uuid);
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
        request_key: choice.request_key.or(key),
        bargain,
        alternative_to: choice.alternative_to,
        confirmed: choice.confirmed,
    };
    let quote = give_quote(&who.actor(), &site.simulator, &request, Utc::now()).await?;
    // A key that gave a quote gives the same one again: whether it was asked for then too is looked at here.
    if keyed.is_some() {
        once::finish(who.begin().await?, quote.id, keyed.as_ref()).await?;
    }
    let given = Given::from(quote);
    Ok(HttpResponse::Created()
        .insert_header((LOCATION, given.address.clone()))
        .json(given)
        .into())
}

/// Whether a call is closed.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Closing {
    closed: bool,
}

/// Closes a call without a sale, or opens it again.
#[utoipa::path(put, path = "/api/v1/enquiries/{id}/closed", operation_id = "close_enquiry", tag = "Enquiries",
    params(("id" = Uuid, Path, description = "The enquiry"),
           ("If-Match" = String, Header)),
    request_body = Closing,
    responses((status = 204, description = "It is closed, or open")))]
async fn close(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<Closing>,
) -> Answer {
    let version = versions::seen(&req)?;
    let closed = close_enquiry(&who.actor(), *id, version, body.closed).await;
    closed.map_err(versions::passed)?;
    Ok(nothing())
}
