//! Record screens: a form for something new, one for what is stored, saving, deleting, and what happens when somebody else
//! was first.
//!
//! A screen declares its record once, as a [`Record`]: where it is found and kept, its fields, what its pages are called.
//! [`routes`] then serves its pages. What was typed is kept as text ([`Typed`]) until it is read into the record, so nothing
//! typed is lost; a form that does not read answers 422, a stale one 409 with both values, a record that is gone 404.

mod fields;
mod group;
mod handlers;
mod json;
mod rows;
mod sheet;
mod typed;

pub(in crate::web) use fields::{Fields, Lens, amount, at};
pub(in crate::web) use group::{Group, Shape};
pub(in crate::web) use handlers::{At, beside_list, routes};
pub(in crate::web) use json::Values;
pub(in crate::web) use rows::{Row, rows};
pub(in crate::web) use sheet::Sheet;
pub(in crate::web) use typed::Typed;

use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use crate::web::ui::{FormErrors, Page, Section, SignedIn, WebError};
use actix_web::HttpRequest;
use maud::{Markup, html};

/// Addresses of a record's pages. `{id}` is its key, `{parent}` that of what it belongs to.
#[derive(Debug, Clone, Copy)]
pub(in crate::web) struct Paths {
    /// The form for a new one.
    pub(in crate::web) new: &'static str,
    /// Where that form is sent.
    pub(in crate::web) add: &'static str,
    /// The form of a stored one, and where it is sent.
    pub(in crate::web) edit: &'static str,
    /// Where it is deleted; empty where it never is.
    pub(in crate::web) delete: &'static str,
    /// Where a copy is given its name; empty where none is.
    pub(in crate::web) copy: &'static str,
}

/// Addresses of a record in the JSON interface. `{id}` and `{parent}` are as in [`Paths`]; any other name is a field.
#[derive(Debug, Clone, Copy)]
pub(in crate::web) struct Api {
    /// What it is, one word or more: `machine`, `fitting_text`.
    pub(in crate::web) name: &'static str,
    /// Where all of them are listed and new ones are sent; empty where there is only one.
    pub(in crate::web) all: &'static str,
    /// Where one of them is.
    pub(in crate::web) one: &'static str,
    /// Whether the list is that of the record, and not one that tells more.
    pub(in crate::web) lists: bool,
}

impl Api {
    /// A record of which there are several.
    pub(in crate::web) const fn of(
        name: &'static str,
        all: &'static str,
        one: &'static str,
    ) -> Self {
        Self {
            name,
            all,
            one,
            lists: true,
        }
    }

    /// A record of which there is one.
    pub(in crate::web) const fn single(name: &'static str, one: &'static str) -> Self {
        Self {
            name,
            all: "",
            one,
            lists: false,
        }
    }

    /// With a list of its own making, under the same address.
    pub(in crate::web) const fn listed_elsewhere(self) -> Self {
        Self {
            lists: false,
            ..self
        }
    }
}

/// What the pages of a record say.
#[derive(Debug, Clone, Default)]
pub(in crate::web) struct Words {
    /// The heading.
    pub(in crate::web) title: String,
    /// What a stale edit calls it: "The mill".
    pub(in crate::web) what: String,
    /// Where to go without saving.
    pub(in crate::web) cancel: String,
    /// The link back above the heading; none where empty.
    pub(in crate::web) back: String,
    /// The button that saves.
    pub(in crate::web) save: &'static str,
    /// The button that deletes, in the form; none where empty.
    pub(in crate::web) delete: &'static str,
}

impl Words {
    /// The usual words: a new one is added, a stored one saved under its name.
    pub(in crate::web) fn of(new: bool, add: &str, name: &str, cancel: &str) -> Self {
        Self {
            title: if new { add } else { name }.to_owned(),
            what: name.to_owned(),
            cancel: cancel.to_owned(),
            save: if new { "Add" } else { "Save" },
            ..Self::default()
        }
    }

    /// With a link back above the heading, to where Cancel goes.
    pub(in crate::web) fn back(self, words: &str) -> Self {
        Self {
            back: words.to_owned(),
            ..self
        }
    }

    /// With a button that deletes.
    pub(in crate::web) fn deletes(self, delete: &'static str) -> Self {
        Self { delete, ..self }
    }
}

/// A copy under another name: how long that may be, what is copied, where the copy is found.
#[derive(Debug, Clone)]
pub(in crate::web) struct Copying {
    /// The most characters of its name.
    pub(in crate::web) longest: usize,
    /// A sentence that says what is copied.
    pub(in crate::web) words: &'static str,
    /// The page of the copy; `{id}` is its key.
    pub(in crate::web) to: &'static str,
}

/// What was done, for the words that say so.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::web) enum Done {
    /// A new one is stored.
    Added,
    /// A stored one is changed.
    Saved,
    /// It is deleted.
    Deleted,
}

/// What is done for each kind of record.
pub(in crate::web) trait Each {
    /// Does it for this kind.
    fn record<R: Record>(&mut self);
}

/// A record with pages of its own.
pub(in crate::web) trait Record: Clone + 'static {
    /// What its pages need besides: suggestions, choices, what it belongs to.
    type Around: 'static;
    /// Its place in the navigation.
    const NAV: Section;
    /// Who may read it.
    const READ: Role;
    /// Who may change it.
    const WRITE: Role;
    /// Who may see its history.
    const HISTORY: Role = Self::READ;
    /// Its table, whose history is shown; none where empty.
    const TABLE: &'static str = "";
    /// Its addresses.
    const PATHS: Paths;
    /// Its addresses for programs; they have none of what is bound to a browser.
    const API: Api = Api::single("", "");
    /// The id of what changes as one types (`live.js`); none where empty.
    const LIVE: &'static str = "";
    /// Whether the address that a new one is sent to is also that of the page that lists them.
    const ADDED_TO_LIST: bool = true;
    /// Whether only somebody who has signed in may change it, and no program with a token.
    const IN_PERSON: bool = false;
    /// Whether what stands around one is another's for the next one of a list.
    const AROUND_EACH: bool = false;
    /// Whether it can be copied: `?copy=` and its key on the form for a new one.
    const COPY: bool = false;

    /// Fields that the form for a new one leaves empty although the blank record has a value.
    const EMPTY: &'static [&'static str] = &[];

    /// Reads the stored one.
    async fn load(tx: &mut ShopTx, who: &SignedIn, at: &At) -> Result<Self, WebError>;
    /// Reads all of them, or all that belong to the parent, in the order of their list.
    async fn list(_tx: &mut ShopTx, _who: &SignedIn, _at: &At) -> Result<Vec<Self>, WebError> {
        Err(WebError::NotFound("this page"))
    }
    /// Reads what the pages need besides.
    async fn around(
        tx: &mut ShopTx,
        who: &SignedIn,
        at: &At,
        stored: Option<&Self>,
    ) -> Result<Self::Around, WebError>;
    /// A new one, as its form starts.
    fn blank(around: &Self::Around, who: &SignedIn, at: &At) -> Self;
    /// One to start a copy from.
    fn copied(self) -> Self {
        self
    }
    /// Its fields; `new` for the form of a new one.
    fn fields(around: &Self::Around, who: &SignedIn, new: bool) -> Fields<Self>;
    /// Its version, which grows by one with every edit.
    fn version(&mut self) -> &mut i32;
    /// Its key, in its address and in the history; nil where there is none.
    fn key(&self) -> uuid::Uuid {
        uuid::Uuid::nil()
    }
    /// Complains about what no field shows by itself.
    fn check(&mut self, _around: &Self::Around, _who: &SignedIn, _errors: &mut FormErrors) {}
    /// Whatever takes its time before it can be stored, such as the hash of a password.
    async fn prepare(&mut self, _req: &HttpRequest) -> Result<(), WebError> {
        Ok(())
    }
    /// Stores a new one, and takes the key it was given.
    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError>;
    /// Stores a change; the version is the one the editor saw.
    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError>;
    /// Deletes it; an error names what still needs it.
    async fn delete(&self, _tx: &mut ShopTx) -> Result<(), DbError> {
        Err(DbError::NotFound("this page"))
    }
    /// Turns what the database refused into a complaint beside a field, or gives it back.
    fn refused(error: DbError, errors: &mut FormErrors) -> Result<(), DbError> {
        errors.absorb(error)
    }
    /// Whether the address still names something. Where it does not, what was typed can be added again.
    fn is_there(&self) -> bool {
        true
    }
    /// What the form for a new one starts with besides.
    fn begin(typed: &mut Typed, _at: &At) {
        for field in Self::EMPTY {
            typed.set(field, "");
        }
    }
    /// What the page that asks for the name of a copy says. `None` where no page asks.
    fn before_copy(&self, _around: &Self::Around) -> Option<Copying> {
        None
    }
    /// Stores a copy under a new key and another name.
    async fn copy(&self, _tx: &mut ShopTx, _key: uuid::Uuid, _name: &str) -> Result<(), DbError> {
        Err(DbError::NotFound("this page"))
    }
    /// What its pages say. On the form for a new one `new` is true and this is the blank one.
    fn words(&self, around: &Self::Around, new: bool) -> Words;
    /// Where to go once it is done, and what to say there.
    fn done(&self, done: Done, sheet: &Sheet<Self>) -> (String, String);
    /// What a page for confirming its deletion says: a heading and a sentence. `None` where no page asks.
    fn before_delete(&self, _around: &Self::Around) -> Option<(String, String)> {
        None
    }
    /// Under the heading.
    fn lead(_sheet: &Sheet<Self>) -> Markup {
        html! {}
    }
    /// Beside the form.
    fn aside(_sheet: &Sheet<Self>) -> Option<Markup> {
        None
    }
    /// More buttons beside the one that saves.
    fn buttons(_sheet: &Sheet<Self>) -> Markup {
        html! {}
    }
    /// Under the form.
    fn below(_sheet: &Sheet<Self>) -> Markup {
        html! {}
    }
    /// The whole page; [`Sheet::page`] unless it is a part of a larger one.
    async fn page(sheet: Sheet<Self>, _tx: &mut ShopTx) -> Result<Page, WebError> {
        Ok(sheet.page())
    }
}
