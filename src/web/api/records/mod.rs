//! Everything that is kept on a form of its own, as JSON: machines, standard times, people, patterns and the rest. What each
//! kind has is what its form has, so that a field is declared once.

mod describe;

pub(super) use describe::describe;

use super::body::Body;
use super::idempotency::keyed;
use super::nothing;
use super::paging::Which;
use super::versions;
use crate::app::once;
use crate::db::{DbError, ShopTx};
use crate::web::screens;
use crate::web::ui::record::{At, Each, Record, Sheet, Values, beside_list};
use crate::web::ui::{Answer, Reply, SignedIn, WebError};
use actix_web::{HttpRequest, HttpResponse, web};
use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;
use uuid::Uuid;

/// The addresses of every kind.
pub fn routes(cfg: &mut web::ServiceConfig) {
    screens::records(&mut Mount(cfg));
}

struct Mount<'a>(&'a mut web::ServiceConfig);

impl Each for Mount<'_> {
    fn record<R: Record>(&mut self) {
        let (api, cfg) = (R::API, &mut *self.0);
        if adds::<R>() {
            cfg.service(web::resource(fresh::<R>()).get(begin::<R>));
        }
        if api.lists {
            let all = web::resource(api.all).get(list::<R>);
            cfg.service(if adds::<R>() { all.post(add::<R>) } else { all });
        } else if adds::<R>() {
            cfg.service(beside_list(web::resource(api.all).post(add::<R>)));
        }
        let one = web::resource(api.one).get(read::<R>).patch(change::<R>);
        cfg.service(if deletes::<R>() {
            one.delete(remove::<R>)
        } else {
            one
        });
    }
}

/// Whether new ones are added.
fn adds<R: Record>() -> bool {
    !R::PATHS.add.is_empty()
}

/// Whether one can be deleted.
fn deletes<R: Record>() -> bool {
    !R::PATHS.delete.is_empty()
}

/// Where a new one begins.
fn fresh<R: Record>() -> String {
    format!("{}/new", R::API.all)
}

/// A record as it is kept.
#[derive(Debug, Serialize, ToSchema)]
struct RecordShown {
    /// Its key; that of what it belongs to where the address names a place on it.
    id: Uuid,
    /// Where it is found.
    address: String,
    /// What it is called.
    title: String,
    version: i32,
    #[schema(value_type = Object)]
    values: Values,
}

impl RecordShown {
    fn of<R: Record>(sheet: &mut Sheet<R>) -> Self {
        let id = sheet.draft.key();
        Self {
            id,
            address: sheet.at.of::<R>(id, &sheet.typed).api_address::<R>(),
            title: sheet.words().what,
            version: *sheet.draft.version(),
            values: sheet.values(),
        }
    }
}

/// Records, and how many there are in all.
#[derive(Debug, Serialize, ToSchema)]
struct RecordListed {
    records: Vec<RecordShown>,
    all: usize,
}

/// What a new one starts with, and what it takes.
#[derive(Debug, Serialize, ToSchema)]
struct RecordStart {
    #[schema(value_type = Object)]
    values: Values,
    /// JSON Schema, draft 2020-12.
    #[schema(value_type = Object)]
    schema: Value,
}

async fn list<R: Record>(who: SignedIn, at: At, which: web::Query<Which>) -> Answer {
    who.require(R::READ)?;
    let rows = which.rows()?;
    let mut tx = who.begin().await?;
    let all = R::list(&mut tx, &who, &at).await?;
    let count = all.len();
    let some = all.into_iter();
    let some = some.skip(rows.offset as usize).take(rows.limit as usize);
    let mut records = Vec::new();
    let mut read: Option<R::Around> = None;
    for record in some {
        let around = match read.take() {
            Some(around) if !R::AROUND_EACH => around,
            _ => R::around(&mut tx, &who, &at, Some(&record)).await?,
        };
        let stored = Some(record.clone());
        let mut sheet = Sheet::new(who.clone(), at.clone(), around, record, stored);
        records.push(RecordShown::of(&mut sheet));
        read = Some(sheet.around);
    }
    let listed = RecordListed {
        records,
        all: count,
    };
    Ok(HttpResponse::Ok().json(listed).into())
}

/// What a new one starts with.
async fn begin<R: Record>(who: SignedIn, at: At) -> Answer {
    who.require(R::WRITE)?;
    let mut tx = who.begin().await?;
    let around = R::around(&mut tx, &who, &at, None).await?;
    let sheet = blank::<R>(&who, at, around);
    let start = RecordStart {
        values: sheet.values(),
        schema: sheet.schema(),
    };
    Ok(HttpResponse::Ok().json(start).into())
}

/// A new one, with what its form leaves empty left empty.
fn blank<R: Record>(who: &SignedIn, at: At, around: R::Around) -> Sheet<R> {
    let draft = R::blank(&around, who, &at);
    let mut sheet = Sheet::new(who.clone(), at, around, draft, None);
    R::begin(&mut sheet.typed, &sheet.at);
    sheet
}

/// One that is kept, as its address names it.
async fn stored<R: Record>(who: &SignedIn, at: At, tx: &mut ShopTx) -> Result<Sheet<R>, WebError> {
    let sheet = Sheet::<R>::stored(who.clone(), at, tx).await?;
    if sheet.draft.is_there() {
        Ok(sheet)
    } else {
        Err(WebError::NotFound("this record"))
    }
}

async fn read<R: Record>(who: SignedIn, at: At) -> Answer {
    who.require(R::READ)?;
    let mut tx = who.begin().await?;
    let mut sheet = stored::<R>(&who, at, &mut tx).await?;
    Ok(tagged(&mut sheet))
}

fn tagged<R: Record>(sheet: &mut Sheet<R>) -> Reply {
    let shown = RecordShown::of(sheet);
    versions::tagged(shown.version, shown)
}

async fn created<R: Record>(who: &SignedIn, at: At) -> Answer {
    let mut tx = who.begin().await?;
    let shown = RecordShown::of(&mut stored::<R>(who, at, &mut tx).await?);
    Ok(versions::created(
        shown.address.clone(),
        shown.version,
        shown,
    ))
}

fn may_change<R: Record>(who: &SignedIn) -> Result<(), WebError> {
    who.require(R::WRITE)?;
    if R::IN_PERSON {
        who.require_in_person()?;
    }
    Ok(())
}

async fn add<R: Record>(who: SignedIn, req: HttpRequest, at: At, sent: Body<Values>) -> Answer {
    may_change::<R>(&who)?;
    let mut tx = who.begin().await?;
    let around = R::around(&mut tx, &who, &at, None).await?;
    let mut sheet = blank::<R>(&who, at.clone(), around);
    let keyed = keyed(&req, &who, &sheet.without_secrets(&sent))?;
    let before = once::made(&mut tx, keyed.as_ref()).await?;
    drop(tx);
    sheet.take(&sent, None);
    if let Some(id) = before {
        return created::<R>(&who, at.of::<R>(id, &sheet.typed)).await;
    }
    if !sheet.errors.is_empty() {
        return Err(sheet.complaints());
    }
    let made = match sheet.add(&req, keyed.as_ref()).await? {
        Ok(made) => made,
        Err(error) => return Err(refused(sheet, error)),
    };
    created::<R>(&who, at.of::<R>(made, &sheet.typed)).await
}

/// What the database refused, beside its field where it has one.
fn refused<R: Record>(mut sheet: Sheet<R>, error: DbError) -> WebError {
    match sheet.refuse(error) {
        Ok(()) => sheet.complaints(),
        Err(error) => error.into(),
    }
}

async fn change<R: Record>(who: SignedIn, req: HttpRequest, at: At, sent: Body<Values>) -> Answer {
    may_change::<R>(&who)?;
    let seen = versions::seen(&req)?;
    let mut tx = who.begin().await?;
    let mut sheet = stored::<R>(&who, at.clone(), &mut tx).await?;
    sheet.take(&sent, Some(seen));
    if sheet.is_stale() {
        return Err(WebError::VersionPassed);
    }
    if !sheet.errors.is_empty() {
        return Err(sheet.complaints());
    }
    match sheet.draft.update(&mut tx).await {
        Ok(()) => tx.commit().await?,
        Err(error) => return Err(versions::passed(refused(sheet, error))),
    }
    let now = at.of::<R>(sheet.at.id, &sheet.typed);
    let mut tx = who.begin().await?;
    let mut sheet = stored::<R>(&who, now, &mut tx).await?;
    Ok(tagged(&mut sheet))
}

async fn remove<R: Record>(who: SignedIn, req: HttpRequest, at: At) -> Answer {
    may_change::<R>(&who)?;
    let seen: i32 = versions::seen(&req)?;
    let mut tx = who.begin().await?;
    let mut sheet = stored::<R>(&who, at, &mut tx).await?;
    if *sheet.draft.version() != seen {
        return Err(WebError::VersionPassed);
    }
    let deleted = sheet.draft.delete(&mut tx).await;
    deleted.map_err(versions::passed)?;
    tx.commit().await?;
    Ok(nothing())
}
