//! `/api/v1/quotes`: those that were given, and what became of them. For the office.

use super::body::Body;
use super::idempotency::keyed;
use super::nothing;
use super::paging::Which;
use super::versions;
use crate::app::lose_quote::lose_quote;
use crate::app::reserve_slot::reserve_slot;
use crate::app::win_quote::{Won, win_quote};
use crate::db::lists::{self, QuoteSort, QuoteView};
use crate::db::people::Role;
use crate::db::quotes;
use crate::enquiry::quote::Quote;
use crate::units::{Code, Money};
use crate::web::ui::{Answer, FormErrors, SignedIn};
use actix_web::http::header::LOCATION;
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// `/api/v1/quotes`, one of them, and what became of it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/quotes").get(list))
        .service(web::resource("/api/v1/quotes/{id}").get(one))
        .service(web::resource("/api/v1/quotes/{id}/slot").put(slot))
        .service(web::resource("/api/v1/quotes/{id}/accepted").post(accepted))
        .service(web::resource("/api/v1/quotes/{id}/declined").post(declined));
}

#[derive(OpenApi)]
#[openapi(paths(list, one, accepted, declined, slot))]
pub(super) struct Doc;

/// A quote as it was given, and what became of it.
#[derive(Debug, Serialize, ToSchema)]
struct QuoteShown {
    id: Uuid,
    number: i64,
    enquiry_id: Uuid,
    title: String,
    valid_until: NaiveDate,
    promised_on: Option<NaiveDate>,
    #[schema(value_type = Object)]
    net: Money,
    #[schema(value_type = Object)]
    tax: Money,
    #[schema(value_type = Object)]
    gross: Money,
    given_at: DateTime<Utc>,
    /// `sent`, `won`, `lost` or `lapsed`.
    state: &'static str,
    decided_at: Option<DateTime<Utc>>,
    /// Why it was declined.
    why: Option<String>,
    version: i32,
}

impl From<Quote> for QuoteShown {
    fn from(quote: Quote) -> Self {
        Self {
            id: quote.id,
            number: quote.number,
            enquiry_id: quote.enquiry_id,
            title: quote.title,
            valid_until: quote.valid_until,
            promised_on: quote.promised_on,
            net: quote.net,
            tax: quote.tax,
            gross: quote.gross,
            given_at: quote.created_at,
            state: quote.state.code(),
            decided_at: quote.decided_at,
            why: quote.lost_why,
            version: quote.version,
        }
    }
}

/// Quotes, and how many there are in all.
#[derive(Debug, Serialize, ToSchema)]
struct QuotesListed {
    quotes: Vec<QuoteShown>,
    all: i64,
}

/// Quotes, the latest first.
#[utoipa::path(get, path = "/api/v1/quotes", operation_id = "list_quotes", tag = "Quotes",
    params(("view" = Option<String>, Query, description = "`open` (when left out), `accepted`, `no_sale` or `all`"),
           ("q" = Option<String>, Query, description = "A number, or a part of offer or customer"),
           ("limit" = Option<u32>, Query),
           ("offset" = Option<u32>, Query)),
    responses((status = 200, description = "The quotes, and how many there are in all", body = QuotesListed)))]
async fn list(who: SignedIn, which: web::Query<Which>) -> Answer {
    who.require(Role::Office)?;
    let view: QuoteView = which.view()?;
    let rows = which.rows()?;
    let mut tx = who.begin().await?;
    let part = rows.latest_first();
    let (found, all) = lists::quotes(&mut tx, view, &which.q, QuoteSort::Number, part).await?;
    let quotes = found.into_iter().map(|row| QuoteShown::from(row.quote));
    let listed = QuotesListed {
        quotes: quotes.collect(),
        all,
    };
    Ok(HttpResponse::Ok().json(listed).into())
}

/// One quote.
#[utoipa::path(get, path = "/api/v1/quotes/{id}", operation_id = "read_quote", tag = "Quotes",
    params(("id" = Uuid, Path, description = "The quote")),
    responses((status = 200, description = "The quote; its version in ETag", body = QuoteShown)))]
async fn one(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    shown(&who, *id).await
}

async fn shown(who: &SignedIn, id: Uuid) -> Answer {
    let quote = quotes::get(&mut who.begin().await?, id).await?;
    Ok(versions::tagged(quote.version, QuoteShown::from(quote)))
}

/// A quote is accepted. The day is text, so that a wrong one is complained about by field.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Acceptance {
    /// The day the shop works to.
    due_on: String,
    /// Whether a day that is questioned is meant.
    #[serde(default)]
    confirmed: bool,
}

/// The job that an accepted quote became.
#[derive(Debug, Serialize, ToSchema)]
struct JobOpened {
    id: Uuid,
    number: i64,
}

/// Marks a quote as accepted and opens its job.
#[utoipa::path(post, path = "/api/v1/quotes/{id}/accepted", operation_id = "accept_quote", tag = "Quotes",
    params(("id" = Uuid, Path, description = "The quote"),
           ("If-Match" = String, Header),
           ("Idempotency-Key" = Option<String>, Header)),
    request_body = Acceptance,
    responses((status = 201, description = "The job; its address in Location", body = JobOpened),
              (status = 409, description = "The due date is doubtful; send `confirmed` to keep it"),
              (status = 412, description = "Somebody else changed the quote meanwhile")))]
async fn accepted(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<Acceptance>,
) -> Answer {
    who.require(Role::Office)?;
    let version = versions::seen(&req)?;
    let mut errors = FormErrors::default();
    let Some(due_on) = errors.date("due_on", &body.due_on) else {
        return Err(errors.into());
    };
    let won = Won {
        quote_id: *id,
        version,
        due_on,
        confirmed: body.confirmed,
    };
    let keyed = keyed(&req, &who, &body.sent)?;
    let (id, number) = win_quote(&who.actor(), won, who.today(), keyed.as_ref())
        .await
        .map_err(versions::passed)?;
    Ok(HttpResponse::Created()
        .insert_header((LOCATION, format!("/api/v1/jobs/{id}")))
        .json(JobOpened { id, number })
        .into())
}

/// Until when a slot is reserved. The day is text, so that a wrong one is complained about by field.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct SlotKept {
    /// To the end of this day; none releases the slot.
    until: Option<String>,
}

/// Reserves the slot of a quote in the plan, as if it were a job, or releases it.
#[utoipa::path(put, path = "/api/v1/quotes/{id}/slot", operation_id = "keep_slot", tag = "Quotes",
    params(("id" = Uuid, Path, description = "The quote")),
    request_body = SlotKept,
    responses((status = 204, description = "It is reserved, or released")))]
async fn slot(who: SignedIn, id: web::Path<Uuid>, body: Body<SlotKept>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let until = body.until.as_deref().unwrap_or_default();
    let Some(until) = errors.optional(until, |errors| errors.date("until", until)) else {
        return Err(errors.into());
    };
    quotes::get(&mut who.begin().await?, *id).await?;
    reserve_slot(&who.actor(), *id, until, who.today()).await?;
    Ok(nothing())
}

/// Why a quote is declined.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Refusal {
    why: String,
}

/// Marks a quote as declined.
#[utoipa::path(post, path = "/api/v1/quotes/{id}/declined", operation_id = "decline_quote", tag = "Quotes",
    params(("id" = Uuid, Path, description = "The quote"),
           ("If-Match" = String, Header)),
    request_body = Refusal,
    responses((status = 200, description = "The quote as it is now", body = QuoteShown)))]
async fn declined(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<Refusal>,
) -> Answer {
    who.require(Role::Office)?;
    let version = versions::seen(&req)?;
    let mut errors = FormErrors::default();
    let Some(why) = errors.required_text("why", &body.why, 500) else {
        return Err(errors.into());
    };
    lose_quote(&who.actor(), *id, version, &why)
        .await
        .map_err(versions::passed)?;
    shown(&who, *id).await
}
