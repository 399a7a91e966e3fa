//! What moves the stock: counts, write-offs, orders and what came of them, and tooling that goes out with a job.

use super::body::Body;
use super::idempotency::keyed;
use super::job_steps::JobEntered;
use super::nothing;
use super::versions;
use crate::app::enter_job::{HandJob, HandWork, enter_job};
use crate::app::lend_tool;
use crate::app::move_stock::{self, SeenOrder};
use crate::db::people::Role;
use crate::db::stock::{self, Order, OrderDetails};
use crate::db::tools;
use crate::estimating::made::MOST_PIECES;
use crate::web::screens::stock::{LEAST, MOST};
use crate::web::ui::{Answer, FormErrors, SignedIn, WebError};
use actix_web::http::header::LOCATION;
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// Under `/api/v1/stock` and `/api/v1/tooling`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/stock/{id}/counts").post(count))
        .service(web::resource("/api/v1/stock/{id}/write-offs").post(write_off))
        .service(web::resource("/api/v1/stock/{id}/batches").post(make))
        .service(
            web::resource("/api/v1/stock/{id}/orders")
                .get(orders)
                .post(order),
        )
        .service(
            web::resource("/api/v1/stock/{id}/orders/{order}")
                .get(one)
                .put(expect)
                .delete(give_up),
        )
        .service(web::resource("/api/v1/stock/{id}/orders/{order}/received").post(receive))
        .service(
            web::resource("/api/v1/tooling/{id}/loan")
                .put(lend)
                .delete(bring_back),
        );
}

#[derive(OpenApi)]
#[openapi(paths(
    count, write_off, make, orders, order, one, expect, give_up, receive, lend, bring_back
))]
pub(super) struct Doc;

/// What was counted.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewCount {
    /// What was on hand by the program when it was counted.
    seen: String,
    counted: String,
    /// Why it differs, or that it was counted.
    why: String,
}

/// What a count said.
#[derive(Debug, Serialize, ToSchema)]
struct Counted {
    /// Whether it differed from what was on hand by the program.
    differed: bool,
}

fn quantity(errors: &mut FormErrors, field: &str, raw: &str) -> Option<Decimal> {
    errors.decimal(field, raw, LEAST..=MOST)
}

/// Enters a count of an item.
#[utoipa::path(post, path = "/api/v1/stock/{id}/counts", operation_id = "count_stock", tag = "Stock",
    params(("id" = Uuid, Path, description = "The item")),
    request_body = NewCount,
    responses((status = 200, description = "It is entered", body = Counted),
              (status = 409, description = "What is on hand has changed since")))]
async fn count(who: SignedIn, id: web::Path<Uuid>, body: Body<NewCount>) -> Answer {
    let mut errors = FormErrors::default();
    let whole = Decimal::ZERO..=MOST;
    let seen = errors.decimal("seen", &body.seen, -MOST..=MOST);
    let counted = errors.decimal("counted", &body.counted, whole);
    let why = errors.required_text("why", &body.why, 200);
    let (Some(seen), Some(counted), Some(why)) = (seen, counted, why) else {
        return Err(errors.into());
    };
    let differed = move_stock::count(&who.actor(), *id, seen, counted, &why).await?;
    Ok(HttpResponse::Ok().json(Counted { differed }).into())
}

/// Goods that are lost, broken or used up.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewWriteOff {
    quantity: String,
    why: String,
}

/// Writes goods off.
#[utoipa::path(post, path = "/api/v1/stock/{id}/write-offs", operation_id = "write_off_stock", tag = "Stock",
    params(("id" = Uuid, Path, description = "The item"),
           ("Idempotency-Key" = Option<String>, Header)),
    request_body = NewWriteOff,
    responses((status = 204, description = "They are written off")))]
async fn write_off(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<NewWriteOff>,
) -> Answer {
    let mut errors = FormErrors::default();
    let quantity = quantity(&mut errors, "quantity", &body.quantity);
    let why = errors.required_text("why", &body.why, 200);
    let Some((quantity, why)) = quantity.zip(why) else {
        return Err(errors.into());
    };
    let keyed = keyed(&req, &who, &body.sent)?;
    move_stock::write_off(&who.actor(), *id, (quantity, &why), keyed.as_ref()).await?;
    Ok(nothing())
}

/// An order.
#[derive(Debug, Serialize, ToSchema)]
struct OrderShown {
    id: Uuid,
    #[schema(value_type = String)]
    quantity: Decimal,
    supplier: String,
    ordered_on: NaiveDate,
    /// The day it is expected, when somebody has said.
    expected_on: Option<NaiveDate>,
    /// How much of it has come.
    #[schema(value_type = String)]
    come: Decimal,
    /// Whether more of it is to come.
    open: bool,
    version: i32,
}

impl From<Order> for OrderShown {
    fn from(order: Order) -> Self {
        Self {
            id: order.id,
            quantity: order.details.quantity,
            supplier: order.details.supplier,
            ordered_on: order.details.ordered_on,
            expected_on: order.details.expected_on,
            come: order.come,
            open: order.open,
            version: order.version,
        }
    }
}

/// The open orders of an item, the next to come first.
#[utoipa::path(get, path = "/api/v1/stock/{id}/orders", operation_id = "list_stock_orders", tag = "Stock",
    params(("id" = Uuid, Path, description = "The item")),
    responses((status = 200, description = "The orders", body = Vec<OrderShown>)))]
async fn orders(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    stock::item(&mut tx, *id).await?;
    let orders = stock::orders(&mut tx, *id).await?;
    let shown: Vec<OrderShown> = orders.into_iter().map(OrderShown::from).collect();
    Ok(HttpResponse::Ok().json(shown).into())
}

async fn shown(who: &SignedIn, (item_id, id): (Uuid, Uuid)) -> Result<OrderShown, WebError> {
    let order = stock::order_of(&mut who.begin().await?, item_id, id).await?;
    Ok(order.into())
}

/// One order, open or closed.
#[utoipa::path(get, path = "/api/v1/stock/{id}/orders/{order}", operation_id = "read_stock_order", tag = "Stock",
    params(("id" = Uuid, Path, description = "The item"),
           ("order" = Uuid, Path, description = "The order")),
    responses((status = 200, description = "The order; its version in ETag", body = OrderShown)))]
async fn one(who: SignedIn, ids: web::Path<(Uuid, Uuid)>) -> Answer {
    let order = shown(&who, ids.into_inner()).await?;
    Ok(versions::tagged(order.version, order))
}

/// Goods that are ordered. Days are text, so that a wrong one is complained about by field.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewOrder {
    quantity: String,
    supplier: String,
    /// The day it is expected, when somebody has said.
    #[serde(default)]
    expected_on: Option<String>,
}

fn coming(
    errors: &mut FormErrors,
    raw: Option<&str>,
    today: NaiveDate,
) -> Option<Option<NaiveDate>> {
    let raw = raw.unwrap_or_default();
    errors.optional(raw, |errors| {
        crate::web::screens::stock::coming(errors, "expected_on", raw, today)
    })
}

/// Writes down that goods are ordered.
#[utoipa::path(post, path = "/api/v1/stock/{id}/orders", operation_id = "order_stock", tag = "Stock",
    params(("id" = Uuid, Path, description = "The item"),
           ("Idempotency-Key" = Option<String>, Header)),
    request_body = NewOrder,
    responses((status = 201, description = "The order; its address in Location, its version in ETag", body = OrderShown)))]
async fn order(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<NewOrder>,
) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let quantity = quantity(&mut errors, "quantity", &body.quantity);
    let supplier = errors.required_text("supplier", &body.supplier, 120);
    let expected_on = coming(&mut errors, body.expected_on.as_deref(), who.today());
    let (Some(quantity), Some(supplier), Some(expected_on)) = (quantity, supplier, expected_on)
    else {
        return Err(errors.into());
    };
    let details = OrderDetails {
        quantity,
        supplier,
        ordered_on: who.today(),
        expected_on,
    };
    let keyed = keyed(&req, &who, &body.sent)?;
    let order_id = move_stock::order(&who.actor(), *id, &details, keyed.as_ref()).await?;
    let order = shown(&who, (*id, order_id)).await?;
    Ok(versions::created(
        format!("/api/v1/stock/{id}/orders/{order_id}"),
        order.version,
        order,
    ))
}

fn seen(req: &HttpRequest, (item_id, id): (Uuid, Uuid)) -> Result<SeenOrder, WebError> {
    Ok(SeenOrder {
        item_id,
        id,
        version: versions::seen(req)?,
    })
}

/// The day goods are expected.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct ExpectedDay {
    /// None when nobody knows any more.
    expected_on: Option<String>,
}

/// Changes the day that an open order is expected.
#[utoipa::path(put, path = "/api/v1/stock/{id}/orders/{order}", operation_id = "expect_stock_order", tag = "Stock",
    params(("id" = Uuid, Path, description = "The item"),
           ("order" = Uuid, Path, description = "The order"),
           ("If-Match" = String, Header)),
    request_body = ExpectedDay,
    responses((status = 200, description = "The order as it is now", body = OrderShown),
              (status = 412, description = "Somebody else changed it meanwhile, or it is closed")))]
async fn expect(
    req: HttpRequest,
    who: SignedIn,
    ids: web::Path<(Uuid, Uuid)>,
    body: Body<ExpectedDay>,
) -> Answer {
    who.require(Role::Office)?;
    let ids = ids.into_inner();
    let seen = seen(&req, ids)?;
    let mut errors = FormErrors::default();
    let Some(on) = coming(&mut errors, body.expected_on.as_deref(), who.today()) else {
        return Err(errors.into());
    };
    let changed = move_stock::expect(&who.actor(), seen, on).await;
    changed.map_err(versions::passed)?;
    let order = shown(&who, ids).await?;
    Ok(versions::tagged(order.version, order))
}

/// A part that is made here, for the shelf. The day is text, so that a wrong one is complained about by field.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct NewBatch {
    /// How many.
    pieces: u32,
    due_on: String,
    /// Whether a day that is questioned is meant.
    #[serde(default)]
    confirmed: bool,
}

/// Opens a job that makes some for the shelf.
#[utoipa::path(post, path = "/api/v1/stock/{id}/batches", operation_id = "make_stock", tag = "Stock",
    params(("id" = Uuid, Path, description = "The item"),
           ("Idempotency-Key" = Option<String>, Header)),
    request_body = NewBatch,
    responses((status = 201, description = "The job; its address in Location", body = JobEntered),
              (status = 409, description = "The due date is doubtful; send `confirmed` to keep it")))]
async fn make(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<NewBatch>,
) -> Answer {
    who.require(Role::Office)?;
    let keyed = keyed(&req, &who, &body.sent)?;
    let mut errors = FormErrors::default();
    if !(1..=MOST_PIECES).contains(&body.pieces) {
        errors.add("pieces", format!("Enter 1 to {MOST_PIECES}"));
    }
    let due_on = errors.date("due_on", &body.due_on);
    let Some(due_on) = due_on.filter(|_| errors.is_empty()) else {
        return Err(errors.into());
    };
    let job = HandJob {
        title: String::new(),
        customer: String::new(),
        work: HandWork::Made(*id, body.pieces),
        due_on,
        value: None,
        due_confirmed: body.confirmed,
    };
    let (id, number) = enter_job(&who.actor(), &job, who.today(), keyed.as_ref()).await?;
    Ok(HttpResponse::Created()
        .insert_header((LOCATION, format!("/api/v1/jobs/{id}")))
        .json(JobEntered { id, number })
        .into())
}

/// Cancels what is left of an open order.
#[utoipa::path(delete, path = "/api/v1/stock/{id}/orders/{order}", operation_id = "give_up_stock_order", tag = "Stock",
    params(("id" = Uuid, Path, description = "The item"),
           ("order" = Uuid, Path, description = "The order"),
           ("If-Match" = String, Header)),
    responses((status = 204, description = "No more of it is expected"),
              (status = 412, description = "Somebody else changed it meanwhile, or it is closed")))]
async fn give_up(req: HttpRequest, who: SignedIn, ids: web::Path<(Uuid, Uuid)>) -> Answer {
    let seen = seen(&req, ids.into_inner())?;
    let gone = move_stock::give_up(&who.actor(), seen).await;
    gone.map_err(versions::passed)?;
    Ok(nothing())
}

/// Goods of an order that came.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct GoodsReceived {
    quantity: String,
    /// Whether no more will come.
    #[serde(default)]
    last: bool,
}

/// Takes in goods of an open order. It closes when all of it has come.
#[utoipa::path(post, path = "/api/v1/stock/{id}/orders/{order}/received", operation_id = "receive_stock", tag = "Stock",
    params(("id" = Uuid, Path, description = "The item"),
           ("order" = Uuid, Path, description = "The order"),
           ("If-Match" = String, Header)),
    request_body = GoodsReceived,
    responses((status = 204, description = "They are on hand"),
              (status = 412, description = "Somebody else changed it meanwhile, or it is closed")))]
async fn receive(
    req: HttpRequest,
    who: SignedIn,
    ids: web::Path<(Uuid, Uuid)>,
    body: Body<GoodsReceived>,
) -> Answer {
    let seen = seen(&req, ids.into_inner())?;
    let mut errors = FormErrors::default();
    let Some(came) = quantity(&mut errors, "quantity", &body.quantity) else {
        return Err(errors.into());
    };
    let received = move_stock::receive(&who.actor(), seen, came, body.last).await;
    received.map_err(versions::passed)?;
    Ok(nothing())
}

/// A job that tooling goes out with.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct ToolLoan {
    job_id: Uuid,
    /// The day it comes back; that of the job when left out.
    #[serde(default)]
    back_on: Option<String>,
}

/// Lends tooling to a job, or changes the day it comes back.
#[utoipa::path(put, path = "/api/v1/tooling/{id}/loan", operation_id = "lend_tooling", tag = "Stock",
    params(("id" = Uuid, Path, description = "The tooling")),
    request_body = ToolLoan,
    responses((status = 204, description = "It is out with the job")))]
async fn lend(who: SignedIn, id: web::Path<Uuid>, body: Body<ToolLoan>) -> Answer {
    let mut errors = FormErrors::default();
    let back = body.back_on.as_deref().unwrap_or_default();
    let back_on = errors.optional(back, |errors| {
        crate::web::screens::stock::coming(errors, "back_on", back, who.today())
    });
    let Some(back_on) = back_on else {
        return Err(errors.into());
    };
    let out = tools::get(&mut who.begin().await?, *id).await?.out;
    if out.is_none_or(|out| out.job_id != body.job_id) {
        lend_tool::take_out(&who.actor(), *id, body.job_id).await?;
    }
    lend_tool::expect_back(&who.actor(), *id, body.job_id, back_on).await?;
    Ok(nothing())
}

/// Takes tooling back from the job it is out with.
#[utoipa::path(delete, path = "/api/v1/tooling/{id}/loan", operation_id = "return_tooling", tag = "Stock",
    params(("id" = Uuid, Path, description = "The tooling")),
    responses((status = 204, description = "It is in the shop")))]
async fn bring_back(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let out = tools::get(&mut who.begin().await?, *id).await?.out;
    if let Some(out) = out {
        lend_tool::bring_back(&who.actor(), *id, out.job_id).await?;
    }
    Ok(nothing())
}
