//! `/api/v1/customers`: found by name or number; two that are one made one, and parted again.

use super::body::Body;
use super::nothing;
use super::versions;
use crate::app::merge_customers::{merge_customers, part_customers};
use crate::db::customer_links::{self, Merge};
use crate::db::customers::{self, Found};
use crate::db::people::Role;
use crate::web::ui::{Answer, SignedIn};
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// The most that are offered at once.
const MOST: u32 = 8;

/// `/api/v1/customers`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/customers").get(find))
        .service(web::resource("/api/v1/customers/{id}/merged").post(merge))
        .service(web::resource("/api/v1/customers/{id}/merges").get(merges))
        .service(web::resource("/api/v1/customers/{id}/merges/{merge}").delete(part));
}

#[derive(OpenApi)]
#[openapi(paths(find, merge, merges, part))]
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

/// The customer that another turns out to be.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct MergeInto {
    into: Uuid,
}

/// Merges a customer into another that is the same one.
#[utoipa::path(post, path = "/api/v1/customers/{id}/merged", operation_id = "merge_customers", tag = "Customers",
    params(("id" = Uuid, Path, description = "The customer that goes"),
           ("If-Match" = String, Header)),
    request_body = MergeInto,
    responses((status = 204, description = "They are one")))]
async fn merge(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<MergeInto>,
) -> Answer {
    who.require(Role::Office)?;
    let version = versions::seen(&req)?;
    let merged = merge_customers(&who.actor(), *id, version, body.into).await;
    merged.map_err(versions::passed)?;
    Ok(nothing())
}

/// A customer that was merged into another.
#[derive(Debug, Serialize, ToSchema)]
struct MergeShown {
    id: Uuid,
    /// The customer that went.
    customer_id: Uuid,
    name: String,
    at: DateTime<Utc>,
    by: Option<String>,
}

impl From<Merge> for MergeShown {
    fn from(merge: Merge) -> Self {
        Self {
            id: merge.id,
            customer_id: merge.gone_id,
            name: merge.name,
            at: merge.at,
            by: merge.person,
        }
    }
}

/// What was merged into a customer, the last first.
#[utoipa::path(get, path = "/api/v1/customers/{id}/merges", operation_id = "list_merges", tag = "Customers",
    params(("id" = Uuid, Path, description = "The customer")),
    responses((status = 200, description = "The merges", body = Vec<MergeShown>)))]
async fn merges(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    customers::get(&mut tx, *id).await?;
    let merges = customer_links::merges(&mut tx, *id).await?;
    let shown: Vec<MergeShown> = merges.into_iter().map(MergeShown::from).collect();
    Ok(HttpResponse::Ok().json(shown).into())
}

/// Separates two customers that were merged.
#[utoipa::path(delete, path = "/api/v1/customers/{id}/merges/{merge}", operation_id = "part_customers", tag = "Customers",
    params(("id" = Uuid, Path, description = "The customer that stayed"),
           ("merge" = Uuid, Path, description = "The merge")),
    responses((status = 204, description = "They are two customers again")))]
async fn part(who: SignedIn, ids: web::Path<(Uuid, Uuid)>) -> Answer {
    who.require(Role::Office)?;
    let (kept, merge) = ids.into_inner();
    part_customers(&who.actor(), kept, merge).await?;
    Ok(nothing())
}
