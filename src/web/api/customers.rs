//! `/api/v1/customers`: found by name or number.

use crate::db::customers::{self, Found};
use crate::db::people::Role;
use crate::web::ui::{Answer, SignedIn};
use actix_web::{HttpResponse, web};
use serde::{Deserialize, Serialize};
use utoipa::OpenApi;

/// The most that are offered at once.
const MOST: u32 = 8;

/// `/api/v1/customers`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/customers").get(find));
}

#[derive(OpenApi)]
#[openapi(paths(find))]
pub(super) struct Doc;

#[derive(Debug, Deserialize)]
struct Typed {
    #[serde(default)]
    q: String,
}

#[derive(Debug, Serialize)]
struct Offered {
    customers: Vec<Found>,
}

/// `GET /api/v1/customers?q=…`: at most eight customers whose name, telephone or email has `q` in it, or that of somebody
/// there, who is then named as `contact`.
#[utoipa::path(get, path = "/api/v1/customers", operation_id = "find_customers", tag = "Customers",
    params(("q" = Option<String>, Query, description = "A part of a name, telephone number or email")),
    responses((status = 200, description = "`customers`: key, name, phone, email, contact", body = serde_json::Value)))]
async fn find(who: SignedIn, typed: web::Query<Typed>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let customers = customers::find(&mut tx, &typed.q, MOST).await?;
    Ok(HttpResponse::Ok().json(Offered { customers }).into())
}
