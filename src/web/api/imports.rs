//! Tables from spreadsheets, taken in whole or not at all, and taken out again while nothing rests on them.

use super::body::Body;
use super::idempotency::keyed;
use crate::app::imports::{self, Kind, Looked, MOST};
use crate::app::take_starting_set::take_starting_set;
use crate::db::imports as kept;
use crate::db::people::Role;
use crate::units::Code;
use crate::web::screens::imports::{ImportForm, fault_words};
use crate::web::ui::{Answer, FormErrors, SignedIn, WebError};
use actix_web::{HttpRequest, HttpResponse, web};
use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// `/api/v1/imports` and `/api/v1/starting-set`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/imports/{kind}/preview").post(look))
        .service(
            web::resource("/api/v1/imports/{kind}")
                .get(newest)
                .post(take),
        )
        .service(web::resource("/api/v1/imports/{kind}/{id}").delete(undo))
        .service(web::resource("/api/v1/starting-set").post(start));
}

#[derive(OpenApi)]
#[openapi(paths(look, newest, take, undo, start))]
pub(super) struct Doc;

/// A table as it was read.
#[derive(Debug, Serialize, ToSchema)]
struct TableRead {
    headings: Vec<String>,
    /// What each column holds; none for what is not taken.
    columns: Vec<Option<&'static str>>,
    /// The rows that read, by column.
    rows: Vec<BTreeMap<&'static str, String>>,
    /// What is wrong.
    faults: Vec<TableFault>,
    /// Whether there are more rows than are taken at once.
    too_many: bool,
    /// The key of the import, by which it is undone; null when it was only looked at.
    import: Option<Uuid>,
}

/// What is wrong with a row.
#[derive(Debug, Serialize, ToSchema)]
struct TableFault {
    /// Its number; the headings are row 1.
    row: usize,
    detail: String,
}

impl TableRead {
    fn of(looked: Looked, import: Option<Uuid>) -> Self {
        let faults = looked.faults.iter().map(|(row, fault)| TableFault {
            row: *row,
            detail: fault_words(fault),
        });
        Self {
            faults: faults.collect(),
            headings: looked.headings,
            columns: looked.columns,
            rows: looked
                .rows
                .into_iter()
                .map(|(_, cells)| cells.into_iter().collect())
                .collect(),
            too_many: looked.too_many,
            import,
        }
    }
}

fn of_code(code: &str) -> Result<Kind, WebError> {
    Kind::from_code(code).ok_or(WebError::NotFound("this kind of table"))
}

fn sent<'a>(
    who: &SignedIn,
    kind: Kind,
    form: &'a ImportForm,
) -> Result<imports::Sent<'a>, WebError> {
    let mut errors = FormErrors::default();
    let sent = form.read(kind, who.shop.currency, &mut errors);
    if errors.is_empty() {
        Ok(sent)
    } else {
        Err(errors.into())
    }
}

/// What would be taken in of a table. Nothing is kept.
#[utoipa::path(post, path = "/api/v1/imports/{kind}/preview", operation_id = "preview_import", tag = "Shop",
    params(("kind" = String, Path, description = "`customers`, `castings`, `stock`, `sightings` or `past-work`")),
    request_body = ImportForm,
    responses((status = 200, description = "The rows, and what is wrong", body = TableRead)))]
async fn look(who: SignedIn, kind: web::Path<String>, body: Body<ImportForm>) -> Answer {
    who.require(Role::Office)?;
    let kind = of_code(&kind)?;
    let looked = imports::look(&who.actor(), kind, sent(&who, kind, &body)?).await?;
    Ok(HttpResponse::Ok().json(TableRead::of(looked, None)).into())
}

/// Takes a table in: all of it, or none where something is wrong, which is said by row (`table.3`).
#[utoipa::path(post, path = "/api/v1/imports/{kind}", operation_id = "import", tag = "Shop",
    params(("kind" = String, Path, description = "`customers`, `castings`, `stock`, `sightings` or `past-work`"),
           ("Idempotency-Key" = Option<String>, Header)),
    request_body = ImportForm,
    responses((status = 201, description = "All of it is taken in", body = TableRead)))]
async fn take(
    req: HttpRequest,
    who: SignedIn,
    kind: web::Path<String>,
    body: Body<ImportForm>,
) -> Answer {
    who.require(Role::Office)?;
    let kind = of_code(&kind)?;
    let keyed = keyed(&req, &who, &body.sent)?;
    let sent = sent(&who, kind, &body)?;
    let (looked, import) = imports::take(&who.actor(), kind, sent, keyed.as_ref()).await?;
    if import.is_none() {
        let mut errors = FormErrors::default();
        for (row, fault) in &looked.faults {
            errors.add(&format!("table.{row}"), fault_words(fault));
        }
        if looked.too_many {
            errors.add("table", format!("Send at most {MOST} rows at once"));
        } else if errors.is_empty() {
            errors.add("table", "Send a table with its headings in the first row");
        }
        return Err(errors.into());
    }
    Ok(HttpResponse::Created()
        .json(TableRead::of(looked, import))
        .into())
}

/// The last import of a kind, while it can be undone.
#[derive(Debug, Serialize, ToSchema)]
struct LastImport {
    id: Uuid,
    at: chrono::DateTime<chrono::Utc>,
    rows: i64,
}

/// The last import of a kind.
#[utoipa::path(get, path = "/api/v1/imports/{kind}", operation_id = "read_import", tag = "Shop",
    params(("kind" = String, Path, description = "`customers`, `castings`, `stock`, `sightings` or `past-work`")),
    responses((status = 200, description = "It; null where there is none to undo", body = Option<LastImport>)))]
async fn newest(who: SignedIn, kind: web::Path<String>) -> Answer {
    who.require(Role::Office)?;
    let kind = of_code(&kind)?;
    let last = kept::newest(&mut who.begin().await?, kind.code()).await?;
    let last = last.map(|import| LastImport {
        id: import.id,
        at: import.at,
        rows: import.count,
    });
    Ok(HttpResponse::Ok().json(last).into())
}

/// How many rows of an import were taken out again.
#[derive(Debug, Serialize, ToSchema)]
struct TakenOut {
    removed: i64,
    /// Those that were used or changed since.
    stayed: i64,
}

/// Takes an import out again; what was used or changed since stays.
#[utoipa::path(delete, path = "/api/v1/imports/{kind}/{id}", operation_id = "undo_import", tag = "Shop",
    params(("kind" = String, Path, description = "Its kind"),
           ("id" = Uuid, Path, description = "The import")),
    responses((status = 200, description = "How many rows were removed and how many stayed", body = TakenOut)))]
async fn undo(who: SignedIn, at: web::Path<(String, Uuid)>) -> Answer {
    let (kind, id) = at.into_inner();
    let (removed, stayed) = imports::undo(&who.actor(), of_code(&kind)?, id).await?;
    Ok(HttpResponse::Ok().json(TakenOut { removed, stayed }).into())
}

/// How many of each were added to a new shop.
#[derive(Debug, Serialize, ToSchema)]
struct StartingSet {
    machines: usize,
    labour_rates: usize,
    standard_times: usize,
    everyday_work: usize,
    fitting_texts: usize,
    rules: usize,
    shifts: usize,
}

/// Fills a new shop with what it has none of yet. All of it is a starting point for the shop's own figures.
#[utoipa::path(post, path = "/api/v1/starting-set", operation_id = "take_starting_set", tag = "Shop",
    responses((status = 200, description = "How many of each were added", body = StartingSet)))]
async fn start(who: SignedIn) -> Answer {
    let taken = take_starting_set(&who.actor()).await?;
    let set = StartingSet {
        machines: taken.machines,
        labour_rates: taken.labour_rates,
        standard_times: taken.standard_times,
        everyday_work: taken.templates,
        fitting_texts: taken.fitting_texts,
        rules: taken.rules,
        shifts: taken.shifts,
    };
    Ok(HttpResponse::Ok().json(set).into())
}
