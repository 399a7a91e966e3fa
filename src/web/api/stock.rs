//! `/api/v1/stock`: bought-in parts and materials with what is on hand, wanted and on its way.

use super::paging::Which;
use crate::db::lists::{self, ItemSort, ItemView, Part};
use crate::db::stock::Item;
use crate::web::ui::{Answer, SignedIn};
use actix_web::{HttpResponse, web};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::Serialize;
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// `/api/v1/stock`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/stock").get(list));
}

#[derive(OpenApi)]
#[openapi(paths(list))]
pub(super) struct Doc;

/// An item of the stock. Quantities are text, so that no digit is lost.
#[derive(Debug, Serialize, ToSchema)]
struct ItemShown {
    id: Uuid,
    name: String,
    /// The unit of its quantities.
    unit: String,
    kept_at: String,
    supplier: String,
    #[schema(value_type = String)]
    on_hand: Decimal,
    /// What open jobs still want of it.
    #[schema(value_type = String)]
    wanted: Decimal,
    /// What is on order or being made and has not come.
    #[schema(value_type = String)]
    on_order: Decimal,
    /// The first day some of that is expected.
    next_on: Option<NaiveDate>,
    /// What should be there.
    #[schema(value_type = Option<String>)]
    minimum: Option<Decimal>,
    version: i32,
}

impl From<Item> for ItemShown {
    fn from(item: Item) -> Self {
        let on_order = item.level().on_order;
        Self {
            id: item.id,
            name: item.details.name,
            unit: item.details.unit,
            kept_at: item.details.kept_at,
            supplier: item.details.supplier,
            on_hand: item.on_hand,
            wanted: item.wanted,
            on_order,
            next_on: item.next_on,
            minimum: item.details.minimum,
            version: item.version,
        }
    }
}

/// Items, and how many there are in all.
#[derive(Debug, Serialize, ToSchema)]
struct ItemsListed {
    items: Vec<ItemShown>,
    all: i64,
}

/// Items of the stock, by name.
#[utoipa::path(get, path = "/api/v1/stock", operation_id = "list_stock", tag = "Stock",
    params(("view" = Option<String>, Query, description = "`kept` (when left out), `to_order` or `all`: no longer kept too"),
           ("q" = Option<String>, Query, description = "A part of name, place or supplier"),
           ("limit" = Option<u32>, Query),
           ("offset" = Option<u32>, Query)),
    responses((status = 200, description = "The items, and how many there are in all", body = ItemsListed)))]
async fn list(who: SignedIn, which: web::Query<Which>) -> Answer {
    let view: ItemView = which.view()?;
    let rows = which.rows()?;
    let part = Part {
        descending: false,
        ..rows.latest_first()
    };
    let mut tx = who.begin().await?;
    let (found, all) = lists::items(&mut tx, view, &which.q, ItemSort::Name, part).await?;
    let listed = ItemsListed {
        items: found.into_iter().map(ItemShown::from).collect(),
        all,
    };
    Ok(HttpResponse::Ok().json(listed).into())
}
