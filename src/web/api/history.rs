//! `/api/v1/history`: who changed what, and when.

use super::paging::Rows;
use crate::db::DbError;
use crate::db::history::{self, Change};
use crate::db::people::Role;
use crate::units::Code;
use crate::web::ui::history::Kept;
use crate::web::ui::{Answer, SignedIn};
use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// `/api/v1/history/{what}/{id}`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/history/{what}/{id}").get(list));
}

#[derive(OpenApi)]
#[openapi(paths(list))]
pub(super) struct Doc;

/// Which changes.
#[derive(Debug, Deserialize)]
struct Which {
    limit: Option<u32>,
    offset: Option<u32>,
}

/// A change.
#[derive(Debug, Serialize, ToSchema)]
struct ChangeKept {
    at: DateTime<Utc>,
    /// By whom; none for the program itself.
    by: Option<String>,
    /// `insert`, `update` or `delete`.
    action: String,
    fields: Vec<FieldChanged>,
}

/// A field before and after, as the database writes it.
#[derive(Debug, Serialize, ToSchema)]
struct FieldChanged {
    field: String,
    before: Option<String>,
    after: Option<String>,
}

impl From<Change> for ChangeKept {
    fn from(change: Change) -> Self {
        let fields = change.fields.into_iter().map(|field| FieldChanged {
            field: field.field,
            before: field.before,
            after: field.after,
        });
        Self {
            at: change.at,
            by: change.person,
            action: change.action,
            fields: fields.collect(),
        }
    }
}

/// Changes, and how many there are in all.
#[derive(Debug, Serialize, ToSchema)]
struct HistoryListed {
    changes: Vec<ChangeKept>,
    all: i64,
}

/// The changes of a thing, the latest first.
#[utoipa::path(get, path = "/api/v1/history/{what}/{id}", operation_id = "list_history", tag = "Shop",
    params(("what" = String, Path, description = "`casting`, `customer`, `job`, `quote`, `stock_item` or `tool`"),
           ("id" = Uuid, Path, description = "Its key"),
           ("limit" = Option<u32>, Query),
           ("offset" = Option<u32>, Query)),
    responses((status = 200, description = "The changes, and how many there are in all", body = HistoryListed)))]
async fn list(who: SignedIn, path: web::Path<(String, Uuid)>, which: web::Query<Which>) -> Answer {
    who.require(Role::Office)?;
    let missing = DbError::NotFound("this history");
    let (what, id) = path.into_inner();
    let Some(kept) = Kept::from_code(&what) else {
        return Err(missing.into());
    };
    let rows = Rows::of(which.limit, which.offset).check()?;
    let mut tx = who.begin().await?;
    let (changes, all) = history::list(&mut tx, kept.code(), id, rows.latest_first()).await?;
    if all == 0 {
        return Err(missing.into());
    }
    let listed = HistoryListed {
        changes: changes.into_iter().map(ChangeKept::from).collect(),
        all,
    };
    Ok(HttpResponse::Ok().json(listed).into())
}
