//! A record on its form, as the page shows it.

use super::{At, Done, Fields, Record, Typed, Words};
use crate::app::once;
use crate::db::api_requests::Keyed;
use crate::db::history::{self as changes, Change};
use crate::db::{DbError, ShopTx};
use crate::web::ui::stale::stale_notice;
use crate::web::ui::{
    Answer, FormErrors, Page, Reply, SignedIn, WebError, csrf_field, history, once_field,
};
use actix_web::HttpRequest;
use actix_web::http::StatusCode;
use maud::{Markup, html};
use uuid::Uuid;

/// A record on its form: what is stored, what was typed, what is wrong with it.
pub(in crate::web) struct Sheet<R: Record> {
    /// Who sees it.
    pub(in crate::web) who: SignedIn,
    /// Which it is.
    pub(in crate::web) at: At,
    /// What the page needs besides.
    pub(in crate::web) around: R::Around,
    /// As stored; `None` for a new one.
    pub(in crate::web) stored: Option<R>,
    /// As typed, as far as it reads.
    pub(in crate::web) draft: R,
    /// As typed.
    pub(in crate::web) typed: Typed,
    /// What does not read.
    pub(in crate::web) errors: FormErrors,
    /// That somebody else was first.
    pub(in crate::web) notice: Markup,
    pub(super) fields: Fields<R>,
    past: Vec<Change>,
}

impl<R: Record> Sheet<R> {
    /// Stores a new one, once under a key. Returns its key, or that of the one that the same request made before; else what the
    /// database refused.
    pub(in crate::web) async fn add(
        &mut self,
        req: &HttpRequest,
        keyed: Option<&Keyed>,
    ) -> Result<Result<Uuid, DbError>, WebError> {
        self.draft.prepare(req).await?;
        let mut tx = self.who.begin().await?;
        let refused = match self.draft.insert(&mut tx).await {
            Ok(()) => return Ok(Ok(once::finish(tx, self.draft.key(), keyed).await?)),
            Err(error) => error,
        };
        drop(tx);
        // The same request may have made it already.
        let made = once::made(&mut self.who.begin().await?, keyed).await?;
        Ok(made.ok_or(refused))
    }

    /// A record as its form shows it before anything is typed.
    pub(in crate::web) fn new(
        who: SignedIn,
        at: At,
        around: R::Around,
        mut draft: R,
        stored: Option<R>,
    ) -> Self {
        let fields = R::fields(&around, &who, stored.is_none());
        let mut typed = fields.typed(&draft);
        typed.set("version", draft.version().to_string());
        Self {
            who,
            at,
            around,
            stored,
            draft,
            typed,
            errors: FormErrors::default(),
            notice: html! {},
            fields,
            past: Vec::new(),
        }
    }

    /// The stored record with nothing typed over it.
    pub(in crate::web) async fn stored(
        who: SignedIn,
        at: At,
        tx: &mut ShopTx,
    ) -> Result<Self, WebError> {
        let stored = R::load(tx, &who, &at).await?;
        let around = R::around(tx, &who, &at, Some(&stored)).await?;
        Ok(Self::new(who, at, around, stored.clone(), Some(stored)))
    }

    /// Takes what was typed.
    pub(super) fn fill(&mut self, typed: Typed) {
        self.fields.read(&mut self.draft, &typed, &mut self.errors);
        match (typed.version(), &self.stored) {
            (Some(seen), _) => *self.draft.version() = seen,
            // A form that does not say which version it changes changes none.
            (None, Some(_)) => *self.draft.version() = 0,
            (None, None) => {}
        }
        self.draft.check(&self.around, &self.who, &mut self.errors);
        self.typed = typed;
    }

    /// Whether the form was filled in from another version than the stored one.
    pub(in crate::web) fn is_stale(&mut self) -> bool {
        match &mut self.stored {
            Some(stored) => stored.version() != self.draft.version(),
            None => false,
        }
    }

    /// Shows both values, and takes the stored version into the form, so that saving again is a decision.
    pub(super) async fn stale(mut self, tx: &mut ShopTx) -> Answer {
        let changed = match &self.stored {
            Some(stored) => self.fields.differences(stored, &self.typed),
            None => Vec::new(),
        };
        self.notice = stale_notice(&self.words().what, &changed);
        self.errors = FormErrors::default();
        let version = match &mut self.stored {
            Some(stored) => *stored.version(),
            None => *R::blank(&self.around, &self.who, &self.at).version(),
        };
        self.typed.set("version", version.to_string());
        let page = self.whole(tx).await?;
        Ok(page.status(StatusCode::CONFLICT).into())
    }

    /// The page with its complaints, if there are any.
    pub(in crate::web) async fn answer(self, tx: &mut ShopTx) -> Answer {
        let sound = self.errors.is_empty();
        let page = self.whole(tx).await?;
        Ok(if sound { page } else { page.invalid() }.into())
    }

    async fn whole(mut self, tx: &mut ShopTx) -> Result<Page, WebError> {
        if let Some(stored) = &self.stored
            && !R::TABLE.is_empty()
            && self.who.may(R::HISTORY)
        {
            self.past = changes::of_row(tx, R::TABLE, stored.key()).await?;
        }
        R::page(self, tx).await
    }

    /// Notes what the database refused.
    pub(in crate::web) fn refuse(&mut self, error: DbError) -> Result<(), DbError> {
        R::refused(error, &mut self.errors)
    }

    /// The way on once it is done.
    pub(super) fn done(&self, done: Done) -> Reply {
        let (to, words) = self.draft.done(done, self);
        Reply::see_other(to).flash(words)
    }

    /// What the page says.
    pub(in crate::web) fn words(&self) -> Words {
        match &self.stored {
            Some(stored) => stored.words(&self.around, false),
            None => self.draft.words(&self.around, true),
        }
    }

    /// The fields as drawn.
    pub(in crate::web) fn fields(&self) -> Markup {
        self.fields.draw(&self.typed, &self.errors)
    }

    fn form(&self, words: &Words) -> Markup {
        let may = self.who.may(R::WRITE);
        let action = match &self.stored {
            Some(stored) if stored.is_there() => self.at.address(R::PATHS.edit),
            _ => self.at.address(R::PATHS.add),
        };
        let live = (!R::LIVE.is_empty()).then_some(R::LIVE);
        let delete = self.stored.is_some() && !words.delete.is_empty();
        html! {
            form.grid method="post" action=(action) novalidate data-live=[live] {
                (csrf_field(&self.who))
                @if self.stored.is_none() { (once_field()) }
                input type="hidden" name="version" value=(self.typed.get("version"));
                @if may {
                    (self.fields())
                    div.actions {
                        button type="submit" { (words.save) }
                        (R::buttons(self))
                        a.button.quiet href=(words.cancel) { "Cancel" }
                        @if delete {
                            button.quiet.danger type="submit" formaction=(self.at.address(R::PATHS.delete)) { (words.delete) }
                        }
                    }
                } @else {
                    fieldset.plain.wide disabled { (self.fields()) }
                }
            }
        }
    }

    /// The page of a record that has one to itself.
    pub(in crate::web) fn page(&self) -> Page {
        let words = self.words();
        let may = self.who.may(R::WRITE);
        let body = html! {
            @if !words.back.is_empty() { p.back { a href=(words.cancel) { "‹ " (words.back) } } }
            div.bar {
                h1 { (words.title) }
                @if let Some(stored) = self.stored.as_ref().filter(|_| R::COPY && may) {
                    a.button.quiet href={ (self.at.address(R::PATHS.new)) "?copy=" (stored.key()) } data-key="c" data-key-label="Copy" { "Copy" }
                }
            }
            (R::lead(self))
            (self.notice)
            (self.errors.summary())
            @if !may { p.notice { "Read only: the owner of the shop can change this." } }
            @if let Some(aside) = R::aside(self) {
                div.columns.sheet { (self.form(&words)) (aside) }
            } @else {
                (self.form(&words))
            }
            (R::below(self))
            (history::section(&self.who, &self.past))
        };
        Page::new(&self.who, words.title).nav(R::NAV).body(body)
    }
}
