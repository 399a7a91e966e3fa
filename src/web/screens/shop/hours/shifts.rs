//! A weekly shift: added for several days at once, changed or deleted one by one.

use super::owners::{self, Owners};
use super::{PATH, WEEK, weekday_code, weekday_from_code};
use crate::db::calendars::{self, Owner, ShiftRow};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use crate::planning::Shift;
use crate::web::ui::forms::Choice;
use crate::web::ui::record::{
    self, Api, At, Done, Fields, Group, Paths, Record, Shape, Sheet, Typed, Words, at,
};
use crate::web::ui::{Field, FormErrors, Section, SignedIn, WebError};
use actix_web::web;
use chrono::{NaiveTime, Weekday};
use maud::{Markup, html};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<ShiftSheet>(cfg);
}

/// A shift; a new one may be for several days.
#[derive(Debug, Clone)]
pub(super) struct ShiftSheet {
    row: ShiftRow,
    days: Vec<Weekday>,
}

impl ShiftSheet {
    fn of(row: ShiftRow) -> Self {
        Self {
            days: vec![row.shift.weekday],
            row,
        }
    }
}

impl Record for ShiftSheet {
    type Around = Owners;
    const NAV: Section = Section::Shop;
    const READ: Role = Role::Owner;
    const WRITE: Role = Role::Owner;
    const PATHS: Paths = Paths {
        new: "/shop/hours/shifts/new",
        add: "/shop/hours/shifts/new",
        edit: "/shop/hours/shifts/{id}",
        delete: "/shop/hours/shifts/{id}/remove",
        copy: "",
    };
    const API: Api = Api::of("shift", "/api/v1/shifts", "/api/v1/shifts/{id}");
    const EMPTY: &'static [&'static str] = &["start", "end"];

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        let time = calendars::read(tx).await?;
        let found = time.shifts.into_iter().find(|row| row.id == at.id);
        let row = found.ok_or(WebError::NotFound("the shift"))?;
        Ok(Self::of(row))
    }

    async fn list(tx: &mut ShopTx, _: &SignedIn, _: &At) -> Result<Vec<Self>, WebError> {
        let shifts = calendars::read(tx).await?.shifts;
        Ok(shifts.into_iter().map(Self::of).collect())
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
            row: ShiftRow {
                id: Uuid::now_v7(),
                owner: Owner::Shop,
                shift: Shift {
                    weekday: Weekday::Mon,
                    start: NaiveTime::MIN,
                    end: NaiveTime::MIN,
                },
                version: 1,
            },
            days: Vec::new(),
        }
    }

    fn fields(owners: &Owners, who: &SignedIn, new: bool) -> Fields<Self> {
        let mut f = Fields::<Self>::new(who);
        if new {
            let all = owners.clone();
            let owner = Field::select("owner", "Owner", "", owners.choices());
            f.choice(
                owner,
                at!(row.owner),
                |o| owners::code(*o),
                move |code| all.find(code),
            );
            f.group(Group::new(
                "Days",
                vec![Shape::Many(day_field("Days"))],
                |sheet: &Self, typed| {
                    let days = sheet.days.iter().map(|day| weekday_code(*day));
                    typed.set_all("weekday", days.collect());
                },
                |sheet, typed, errors| {
                    let days = typed.all("weekday").iter();
                    let days: Option<Vec<Weekday>> =
                        days.map(|code| weekday_from_code(code)).collect();
                    sheet.days = days.unwrap_or_default();
                    if sheet.days.is_empty() {
                        errors.add("weekday", "Choose a day");
                    }
                },
                days,
                |typed| typed.all("weekday").join(", "),
            ));
        } else {
            f.choice(
                day_field("Day"),
                at!(row.shift.weekday),
                |day| weekday_code(*day),
                weekday_from_code,
            );
        }
        f.time("start", "From", at!(row.shift.start));
        f.time("end", "Until", at!(row.shift.end))
            .hint("At or before the start means on the next day");
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.row.version
    }

    fn key(&self) -> Uuid {
        self.row.id
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        for (at, &weekday) in self.days.iter().enumerate() {
            // The first has the key of the form, so that it is found again.
            let row = ShiftRow {
                id: if at == 0 { self.row.id } else { Uuid::now_v7() },
                shift: Shift {
                    weekday,
                    ..self.row.shift
                },
                ..self.row.clone()
            };
            calendars::insert_shift(tx, &row).await?;
        }
        Ok(())
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        calendars::update_shift(tx, &self.row).await
    }

    async fn delete(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        calendars::delete_shift(tx, self.row.id, self.row.version).await
    }

    fn words(&self, owners: &Owners, new: bool) -> Words {
        let owner = owners.name(self.row.owner);
        let name = format!("Shift: {owner}");
        Words::of(new, "Add a shift", &name, PATH).deletes("Delete shift")
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        (PATH.to_owned(), super::done("shift", done))
    }

    fn lead(sheet: &Sheet<Self>) -> Markup {
        html! {
            @if sheet.stored.is_none() {
                p.lead { "A machine or person without shifts works the shop’s hours. The first shift you add for one replaces them all." }
            }
        }
    }
}

fn day_field(label: &str) -> Field {
    let days = WEEK.iter();
    let days = days.map(|(weekday, name)| Choice::new(weekday_code(*weekday), name));
    Field::select("weekday", label, "", days.collect())
}

fn days(typed: &Typed, errors: &FormErrors) -> Markup {
    html! {
        fieldset.field.wide #weekday aria-describedby=[errors.get("weekday").map(|_| "weekday-error")] {
            legend { "Days" }
            div.picks {
                @for (weekday, name) in WEEK {
                    @let code = weekday_code(weekday);
                    (Field::checkbox("weekday", name, typed.all("weekday").contains(&code)).value(&code))
                }
            }
            @if let Some(error) = errors.get("weekday") {
                p.error #weekday-error { span.sign aria-hidden="true" { "!" } " " (error) }
            }
        }
    }
}
