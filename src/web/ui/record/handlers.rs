//! What is asked of a record's addresses.

use super::{Done, Record, Sheet, Typed};
use crate::app::once;
use crate::db::DbError;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Live, Page, Reply, SignedIn, WebError, csrf_field,
    once_field,
};
use actix_web::dev::Payload;
use actix_web::http::Method;
use actix_web::http::header::Allow;
use actix_web::{FromRequest, HttpRequest, HttpResponse, Resource, guard, web};
use maud::html;
use percent_encoding::{NON_ALPHANUMERIC, percent_decode_str, utf8_percent_encode};
use std::future::{Ready, ready};
use uuid::Uuid;

/// What an address calls the keys of a record.
const KEYS: [&str; 2] = ["parent", "id"];

/// Which record an address names.
#[derive(Debug, Clone, Default)]
pub(in crate::web) struct At {
    /// What it belongs to; nil where the address does not say.
    pub(in crate::web) parent: Uuid,
    /// Its key; nil where the address does not say.
    pub(in crate::web) id: Uuid,
    /// The query of the address.
    pub(in crate::web) query: Typed,
    query_text: String,
}

impl At {
    /// The record with this key.
    pub(in crate::web) fn id(id: Uuid) -> Self {
        Self {
            id,
            ..Self::default()
        }
    }

    /// The record that this is, or becomes, by the address of one of its kind.
    pub(in crate::web) fn of<R: Record>(&self, id: Uuid, typed: &Typed) -> Self {
        let mut query = Typed::default();
        for name in path_names(R::API.one) {
            query.set(name, typed.get(name).trim());
        }
        Self {
            parent: self.parent,
            id,
            query,
            query_text: String::new(),
        }
    }

    /// Where a program finds it.
    pub(in crate::web) fn api_address<R: Record>(&self) -> String {
        let mut address = self.address(R::API.one);
        for name in path_names(R::API.one) {
            let text = utf8_percent_encode(self.query.get(name), NON_ALPHANUMERIC).to_string();
            address = address.replace(&format!("{{{name}}}"), &text);
        }
        address
    }

    /// An address with these keys and this query.
    pub(super) fn address(&self, path: &str) -> String {
        let mut address = path
            .replace("{parent}", &self.parent.to_string())
            .replace("{id}", &self.id.to_string());
        if !self.query_text.is_empty() {
            address.push('?');
            address.push_str(&self.query_text);
        }
        address
    }
}

/// The fields that an address names beside the keys.
fn path_names(path: &str) -> impl Iterator<Item = &str> {
    path.split('/')
        .filter_map(|part| part.strip_prefix('{')?.strip_suffix('}'))
        .filter(|name| !KEYS.contains(name))
}

impl FromRequest for At {
    type Error = WebError;
    type Future = Ready<Result<Self, WebError>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        let key = |name| match req.match_info().get(name) {
            Some(text) => text.parse().map_err(|_| WebError::NotFound("this page")),
            None => Ok(Uuid::nil()),
        };
        let pairs = form_urlencoded::parse(req.query_string().as_bytes()).into_owned();
        // Whatever else the path names is asked for as a query would ask for it. The framework leaves `%2F` and `%25` encoded.
        let named = req.match_info().iter();
        let named = named.filter(|(name, _)| !KEYS.contains(name));
        let named = named.map(|(name, text)| {
            let text = percent_decode_str(text).decode_utf8_lossy();
            (name.to_owned(), text.into_owned())
        });
        let pairs: Vec<(String, String)> = named.chain(pairs).collect();
        ready(key("parent").and_then(|parent| {
            Ok(Self {
                parent,
                id: key("id")?,
                query: pairs.into(),
                query_text: req.query_string().to_owned(),
            })
        }))
    }
}

/// Serves the pages of a record. The page that lists them is its screen's own. A method that an address does not take is
/// answered with those it does (RFC 9110, 15.5.6), by the framework, because each address is one resource.
pub(in crate::web) fn routes<R: Record>(cfg: &mut web::ServiceConfig) {
    let paths = R::PATHS;
    if paths.new == paths.add && !paths.new.is_empty() {
        cfg.service(web::resource(paths.new).get(new::<R>).post(add::<R>));
    } else if !paths.new.is_empty() {
        cfg.service(web::resource(paths.new).get(new::<R>));
        let added = web::resource(paths.add).post(add::<R>);
        cfg.service(if R::ADDED_TO_LIST {
            beside_list(added)
        } else {
            added
        });
    }
    cfg.service(web::resource(paths.edit).get(edit::<R>).post(save::<R>));
    if !paths.copy.is_empty() {
        cfg.service(web::resource(paths.copy).get(ask_copy::<R>).post(copy::<R>));
    }
    if !paths.delete.is_empty() {
        cfg.service(
            web::resource(paths.delete)
                .get(ask_delete::<R>)
                .post(delete::<R>),
        );
    }
}

/// What is added at the address of the list. The list itself is a resource of its own, so what the address takes in all has
/// to be said here.
pub(in crate::web) fn beside_list(added: Resource) -> Resource {
    let refuse = || async {
        HttpResponse::MethodNotAllowed()
            .insert_header(Allow(vec![Method::GET, Method::POST]))
            .finish()
    };
    let all_but_get = guard::fn_guard(|request| request.head().method != Method::GET);
    added.guard(all_but_get).default_service(web::to(refuse))
}

async fn new<R: Record>(who: SignedIn, mut at: At) -> Answer {
    who.require(R::WRITE)?;
    let mut tx = who.begin().await?;
    let copy = at.query.get("copy").parse().ok().filter(|_| R::COPY);
    let around = R::around(&mut tx, &who, &at, None).await?;
    let draft = match copy {
        Some(id) => {
            let from = At { id, ..at.clone() };
            at.query_text.clear();
            R::load(&mut tx, &who, &from).await?.copied()
        }
        None => R::blank(&around, &who, &at),
    };
    let mut sheet = Sheet::new(who, at, around, draft, None);
    if copy.is_none() {
        R::begin(&mut sheet.typed, &sheet.at);
    }
    sheet.answer(&mut tx).await
}

/// Stores a new record, unless the request was made by `live.js` as someone types.
async fn add<R: Record>(
    who: SignedIn,
    req: HttpRequest,
    live: Live,
    at: At,
    form: CheckedForm<Typed>,
) -> Answer {
    who.require(R::WRITE)?;
    let mut tx = who.begin().await?;
    let around = R::around(&mut tx, &who, &at, None).await?;
    let blank = R::blank(&around, &who, &at);
    let mut sheet = Sheet::new(who.clone(), at.clone(), around, blank, None);
    let keyed = form.keyed().copied();
    sheet.fill(form.into_inner());
    if live.0 {
        return sheet.answer(&mut tx).await;
    }
    if let Some(before) = once::made(&mut tx, keyed.as_ref()).await? {
        return added_before(sheet, &at, before).await;
    }
    if sheet.errors.is_empty() {
        drop(tx);
        match sheet.add(&req, keyed.as_ref()).await? {
            Ok(key) if key == sheet.draft.key() => return Ok(sheet.done(Done::Added)),
            Ok(before) => return added_before(sheet, &at, before).await,
            Err(DbError::Stale(_)) => {
                tx = who.begin().await?;
                return sheet.stale(&mut tx).await;
            }
            Err(error) => sheet.refuse(error)?,
        }
        // A statement that failed leaves the transaction unusable.
        tx = who.begin().await?;
    }
    sheet.answer(&mut tx).await
}

/// What the same form added when its button was pressed before.
async fn added_before<R: Record>(sheet: Sheet<R>, at: &At, key: Uuid) -> Answer {
    let made = at.of::<R>(key, &sheet.typed);
    let mut tx = sheet.who.begin().await?;
    let sheet = Sheet::<R>::stored(sheet.who, made, &mut tx).await?;
    Ok(sheet.done(Done::Added))
}

async fn edit<R: Record>(who: SignedIn, at: At) -> Answer {
    who.require(R::READ)?;
    let mut tx = who.begin().await?;
    let sheet = Sheet::<R>::stored(who, at, &mut tx).await?;
    if !sheet.draft.is_there() {
        return Err(WebError::NotFound("this page"));
    }
    sheet.answer(&mut tx).await
}

async fn save<R: Record>(who: SignedIn, live: Live, at: At, form: CheckedForm<Typed>) -> Answer {
    who.require(R::WRITE)?;
    let mut tx = who.begin().await?;
    let mut sheet = Sheet::<R>::stored(who.clone(), at, &mut tx).await?;
    sheet.fill(form.into_inner());
    if live.0 {
        return sheet.answer(&mut tx).await;
    }
    if sheet.is_stale() {
        return sheet.stale(&mut tx).await;
    }
    if sheet.errors.is_empty() {
        match sheet.draft.update(&mut tx).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(sheet.done(Done::Saved));
            }
            Err(DbError::Stale(_)) => {
                tx = who.begin().await?;
                sheet.stored = Some(R::load(&mut tx, &who, &sheet.at).await?);
                return sheet.stale(&mut tx).await;
            }
            Err(error) => sheet.refuse(error)?,
        }
        tx = who.begin().await?;
    }
    sheet.answer(&mut tx).await
}

async fn ask_copy<R: Record>(who: SignedIn, at: At) -> Answer {
    who.require(R::WRITE)?;
    let mut tx = who.begin().await?;
    let sheet = Sheet::<R>::stored(who, at, &mut tx).await?;
    let none = (String::new(), FormErrors::default());
    Ok(copy_page(&sheet, &none.0, &none.1)?.into())
}

fn copy_page<R: Record>(
    sheet: &Sheet<R>,
    name: &str,
    errors: &FormErrors,
) -> Result<Page, WebError> {
    let copying = sheet
        .draft
        .before_copy(&sheet.around)
        .ok_or(WebError::NotFound("this page"))?;
    let words = sheet.draft.words(&sheet.around, false);
    let title = format!("Copy {}", words.what);
    let body = html! {
        div.narrow {
            p.back { a href=(words.cancel) { "‹ Back" } }
            h1 { (title) }
            p { (copying.words) }
            (errors.summary())
            form.grid method="post" action=(sheet.at.address(R::PATHS.copy)) {
                (csrf_field(&sheet.who))
                (once_field())
                (Field::text("name", "Name of the copy", name).errors(errors).wide().autofocus(errors.is_empty()))
                div.actions { button type="submit" { "Copy" } a.button.quiet href=(words.cancel) { "Cancel" } }
            }
        }
    };
    Ok(Page::new(&sheet.who, title).nav(R::NAV).body(body))
}

async fn copy<R: Record>(who: SignedIn, at: At, form: CheckedForm<Typed>) -> Answer {
    who.require(R::WRITE)?;
    let mut tx = who.begin().await?;
    let sheet = Sheet::<R>::stored(who.clone(), at, &mut tx).await?;
    let copying = sheet
        .draft
        .before_copy(&sheet.around)
        .ok_or(WebError::NotFound("this page"))?;
    let mut errors = FormErrors::default();
    errors.label("name", "Name of the copy");
    let copied = |key: Uuid| {
        let to = copying.to.replace("{id}", &key.to_string());
        Ok(Reply::see_other(to).flash("Copied."))
    };
    if let Some(before) = once::made(&mut tx, form.keyed()).await? {
        return copied(before);
    }
    if let Some(name) = errors.required_text("name", form.get("name"), copying.longest) {
        let key = Uuid::now_v7();
        match sheet.draft.copy(&mut tx, key, &name).await {
            Ok(()) => return copied(once::finish(tx, key, form.keyed()).await?),
            Err(error) => errors.absorb(error)?,
        }
    }
    Ok(copy_page(&sheet, form.get("name"), &errors)?
        .invalid()
        .into())
}

async fn ask_delete<R: Record>(who: SignedIn, at: At) -> Answer {
    who.require(R::WRITE)?;
    let mut tx = who.begin().await?;
    let sheet = Sheet::<R>::stored(who, at, &mut tx).await?;
    let (title, warning) = sheet
        .draft
        .before_delete(&sheet.around)
        .filter(|_| sheet.draft.is_there())
        .ok_or(WebError::NotFound("this page"))?;
    let body = html! {
        div.narrow {
            h1 { (title) "?" }
            p { (warning) }
            form method="post" action=(sheet.at.address(R::PATHS.delete)) {
                (csrf_field(&sheet.who))
                input type="hidden" name="version" value=(sheet.typed.get("version"));
                div.actions {
                    button.danger type="submit" { "Delete" }
                    a.button.quiet href=(sheet.words().cancel) { "Keep it" }
                }
            }
        }
    };
    Ok(Page::new(&sheet.who, title).nav(R::NAV).body(body).into())
}

async fn delete<R: Record>(who: SignedIn, at: At, form: CheckedForm<Typed>) -> Answer {
    who.require(R::WRITE)?;
    let mut tx = who.begin().await?;
    let mut sheet = Sheet::<R>::stored(who, at, &mut tx).await?;
    if let Some(seen) = form.version() {
        *sheet.draft.version() = seen;
    }
    sheet.draft.delete(&mut tx).await?;
    tx.commit().await?;
    Ok(sheet.done(Done::Deleted))
}
