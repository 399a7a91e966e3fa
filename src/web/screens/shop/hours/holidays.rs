//! Days on which the shop does not work.

use super::PATH;
use crate::db::calendars::{self, Holiday};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::{Section, SignedIn, WebError, show};
use actix_web::web;
use chrono::NaiveDate;
use maud::{Markup, html};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<Holiday>(cfg);
}

pub(super) fn table(holidays: &[&Holiday], today: NaiveDate) -> Markup {
    html! {
        table.cells {
            thead { tr { th scope="col" { "Day" } th scope="col" { "Name" } } }
            tbody {
                @for holiday in holidays {
                    tr {
                        th scope="row" { a href={ (PATH) "/holidays/" (holiday.id) } { (show::day(holiday.on, today)) } }
                        td data-label="Name" { (holiday.name) }
                    }
                }
            }
        }
    }
}

impl Record for Holiday {
    type Around = ();
    const NAV: Section = Section::Shop;
    const READ: Role = Role::Owner;
    const WRITE: Role = Role::Owner;
    const PATHS: Paths = Paths {
        new: "/shop/hours/holidays/new",
        add: "/shop/hours/holidays/new",
        edit: "/shop/hours/holidays/{id}",
        delete: "/shop/hours/holidays/{id}/remove",
        copy: "",
    };
    const API: Api = Api::of("holiday", "/api/v1/holidays", "/api/v1/holidays/{id}");
    const EMPTY: &'static [&'static str] = &["on"];

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        let time = calendars::read(tx).await?;
        let found = time
            .holidays
            .into_iter()
            .find(|holiday| holiday.id == at.id);
        found.ok_or(WebError::NotFound("the holiday"))
    }

    async fn list(tx: &mut ShopTx, _: &SignedIn, _: &At) -> Result<Vec<Self>, WebError> {
        Ok(calendars::read(tx).await?.holidays)
    }

    async fn around(
        _: &mut ShopTx,
        _: &SignedIn,
        _: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(())
    }

    fn blank((): &(), who: &SignedIn, _: &At) -> Self {
        Self {
            id: Uuid::now_v7(),
            on: who.today(),
            name: String::new(),
            version: 1,
        }
    }

    fn fields((): &(), who: &SignedIn, _: bool) -> Fields<Self> {
        let mut f = Fields::<Self>::new(who);
        f.date("on", "Day", at!(on))
            .hint("A night shift that began the day before is worked to its end");
        f.text("name", "Name", 80, at!(name));
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        calendars::insert_holiday(tx, self).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        calendars::update_holiday(tx, self).await
    }

    async fn delete(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        calendars::delete_holiday(tx, self.id, self.version).await
    }

    fn words(&self, (): &(), new: bool) -> Words {
        Words::of(new, "Add a holiday", &self.name, PATH).deletes("Delete holiday")
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        (PATH.to_owned(), super::done("holiday", done))
    }
}
