//! Times without work, of the shop, a machine or a person.

use super::PATH;
use super::owners::{self, Owners};
use crate::db::calendars::{self, Owner, Stop};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use crate::planning::local_instant;
use crate::web::ui::record::{self, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::{Field, FormErrors, Section, SignedIn, WebError, show};
use actix_web::web;
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use chrono_tz::Tz;
use maud::{Markup, html};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<StopSheet>(cfg);
}

pub(super) fn table(stops: &[&Stop], zone: Tz, owners: &Owners) -> Markup {
    html! {
        table.cells {
            thead {
                tr { th scope="col" { "From" } th scope="col" { "Until" } th scope="col" { "Owner" } th scope="col" { "Reason" } }
            }
            tbody {
                @for stop in stops {
                    tr {
                        th scope="row" { a href={ (PATH) "/stops/" (stop.id) } { (show::moment(stop.starts_at, zone)) } }
                        td data-label="Until" { (show::moment(stop.ends_at, zone)) }
                        td data-label="Owner" { (owners.name(stop.owner)) }
                        td data-label="Reason" { (stop.why) }
                    }
                }
            }
        }
    }
}

/// A stop with its ends as the shop's clock shows them; `None` until they are filled in.
#[derive(Debug, Clone)]
struct StopSheet {
    stop: Stop,
    from_day: Option<NaiveDate>,
    from_time: Option<NaiveTime>,
    until_day: Option<NaiveDate>,
    until_time: Option<NaiveTime>,
}

impl Record for StopSheet {
    type Around = Owners;
    const NAV: Section = Section::Shop;
    const READ: Role = Role::Owner;
    const WRITE: Role = Role::Owner;
    const PATHS: Paths = Paths {
        new: "/shop/hours/stops/new",
        add: "/shop/hours/stops/new",
        edit: "/shop/hours/stops/{id}",
        delete: "/shop/hours/stops/{id}/remove",
    };

    async fn load(tx: &mut ShopTx, who: &SignedIn, at: &At) -> Result<Self, WebError> {
        let time = calendars::read(tx).await?;
        let found = time.stops.into_iter().find(|stop| stop.id == at.id);
        let stop = found.ok_or(WebError::NotFound("the stop"))?;
        let from = stop.starts_at.with_timezone(&who.shop.time_zone);
        let until = stop.ends_at.with_timezone(&who.shop.time_zone);
        Ok(Self {
            from_day: Some(from.date_naive()),
            from_time: Some(from.time()),
            until_day: Some(until.date_naive()),
            until_time: Some(until.time()),
            stop,
        })
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        _: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(Owners::read(tx).await?)
    }

    fn blank(_: &Owners, _: &SignedIn, _: &At) -> Self {
        Self {
            stop: Stop {
                id: Uuid::now_v7(),
                owner: Owner::Shop,
                starts_at: DateTime::UNIX_EPOCH,
                ends_at: DateTime::UNIX_EPOCH,
                why: String::new(),
                version: 1,
            },
            from_day: None,
            from_time: None,
            until_day: None,
            until_time: None,
        }
    }

    fn fields(owners: &Owners, who: &SignedIn, _: bool) -> Fields<Self> {
        let mut f = Fields::<Self>::new(who);
        let all = owners.clone();
        let owner = Field::select("owner", "Owner", "", owners.choices());
        f.choice(
            owner,
            at!(stop.owner),
            |o| owners::code(*o),
            move |code| all.find(code),
        )
        .hint("A stop of the shop stops everything");
        f.text("why", "Reason", 200, at!(stop.why));
        f.heading("When");
        let day = |time: &NaiveDate| time.to_string();
        let clock = |time: &NaiveTime| super::clock(*time);
        let from = Field::date("from_day", "From day", "");
        f.needed(from, at!(from_day), day, FormErrors::date);
        let from = Field::time("from_time", "From time", "");
        f.needed(from, at!(from_time), clock, FormErrors::time);
        let until = Field::date("until_day", "Until day", "");
        f.needed(until, at!(until_day), day, FormErrors::date);
        let until = Field::time("until_time", "Until time", "");
        f.needed(until, at!(until_time), clock, FormErrors::time);
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.stop.version
    }

    fn check(&mut self, _: &Owners, who: &SignedIn, errors: &mut FormErrors) {
        let at = |day: Option<NaiveDate>, time: Option<NaiveTime>| {
            Some(local_instant(who.shop.time_zone, day?.and_time(time?)))
        };
        let from = at(self.from_day, self.from_time);
        let until = at(self.until_day, self.until_time);
        if let (Some(from), Some(until)) = (from, until) {
            (self.stop.starts_at, self.stop.ends_at) = (from, until);
            if errors.is_empty() && until <= from {
                errors.add("until_time", "Enter a time after the start");
            }
        }
    }

    async fn insert(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        calendars::insert_stop(tx, &self.stop).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        calendars::update_stop(tx, &self.stop).await
    }

    async fn delete(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        calendars::delete_stop(tx, self.stop.id, self.stop.version).await
    }

    fn words(&self, _: &Owners, new: bool) -> Words {
        Words::of(new, "Add a stop", &self.stop.why, PATH).deletes("Delete stop")
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        (PATH.to_owned(), super::done("stop", done))
    }
}
