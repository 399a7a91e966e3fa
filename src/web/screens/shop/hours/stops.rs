//! Times without work, of the shop, a machine or a person.

use super::PATH;
use super::owners::{self, Owners};
use crate::db::calendars::{self, Owner, Stop};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use crate::planning::local_instant;
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::{Field, FormErrors, Section, SignedIn, WebError, show};
use actix_web::web;
use chrono::{DateTime, NaiveDate, NaiveTime};
use chrono_tz::Tz;
use maud::{Markup, html};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<StopSheet>(cfg);
}

pub(super) fn table(stops: &[&Stop], zone: Tz, today: NaiveDate, owners: &Owners) -> Markup {
    html! {
        table.cells {
            thead {
                tr { th scope="col" { "From" } th scope="col" { "Until" } th scope="col" { "Owner" } th scope="col" { "Reason" } }
            }
            tbody {
                @for stop in stops {
                    tr {
                        th scope="row" { a href={ (PATH) "/stops/" (stop.id) } { (show::moment(stop.starts_at, zone, today)) } }
                        td data-label="Until" { (show::moment(stop.ends_at, zone, today)) }
                        td data-label="Owner" { (owners.name(stop.owner)) }
                        td data-label="Reason" { (stop.why) }
                    }
                }
            }
        }
    }
}

/// A stop with its ends as the shop's clock shows them.
#[derive(Debug, Clone)]
pub(super) struct StopSheet {
    stop: Stop,
    from_day: NaiveDate,
    from_time: NaiveTime,
    until_day: NaiveDate,
    until_time: NaiveTime,
}

const ENDS: [&str; 4] = ["from_day", "from_time", "until_day", "until_time"];

impl StopSheet {
    fn of(stop: Stop, who: &SignedIn) -> Self {
        let from = stop.starts_at.with_timezone(&who.shop.time_zone);
        let until = stop.ends_at.with_timezone(&who.shop.time_zone);
        Self {
            from_day: from.date_naive(),
            from_time: from.time(),
            until_day: until.date_naive(),
            until_time: until.time(),
            stop,
        }
    }
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
        copy: "",
    };
    const API: Api = Api::of("stop", "/api/v1/stops", "/api/v1/stops/{id}");
    const EMPTY: &'static [&'static str] = &ENDS;

    async fn load(tx: &mut ShopTx, who: &SignedIn, at: &At) -> Result<Self, WebError> {
        let time = calendars::read(tx).await?;
        let found = time.stops.into_iter().find(|stop| stop.id == at.id);
        let stop = found.ok_or(WebError::NotFound("the stop"))?;
        Ok(Self::of(stop, who))
    }

    async fn list(tx: &mut ShopTx, who: &SignedIn, _: &At) -> Result<Vec<Self>, WebError> {
        let stops = calendars::read(tx).await?.stops.into_iter();
        Ok(stops.map(|stop| Self::of(stop, who)).collect())
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
            from_day: NaiveDate::MIN,
            from_time: NaiveTime::MIN,
            until_day: NaiveDate::MIN,
            until_time: NaiveTime::MIN,
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
        f.date("from_day", "From day", at!(from_day));
        f.time("from_time", "From time", at!(from_time));
        f.date("until_day", "Until day", at!(until_day));
        f.time("until_time", "Until time", at!(until_time));
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.stop.version
    }

    fn key(&self) -> Uuid {
        self.stop.id
    }

    fn check(&mut self, _: &Owners, who: &SignedIn, errors: &mut FormErrors) {
        if ENDS.iter().any(|field| errors.get(field).is_some()) {
            return;
        }
        let at = |day: NaiveDate, time| local_instant(who.shop.time_zone, day.and_time(time));
        self.stop.starts_at = at(self.from_day, self.from_time);
        self.stop.ends_at = at(self.until_day, self.until_time);
        if self.stop.ends_at <= self.stop.starts_at {
            errors.add("until_time", "Enter a time after the start");
        }
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
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
