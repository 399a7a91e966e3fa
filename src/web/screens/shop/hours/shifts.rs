//! A weekly shift: added for several days at once, changed or taken out one by one.

use super::owners::{self, Owners};
use super::{PATH, WEEK, clock, weekday_code, weekday_from_code, weekday_name};
use crate::db::calendars::{self, Owner, ShiftRow};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use crate::planning::Shift;
use crate::web::ui::forms::Choice;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::Weekday;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/shop/hours/shifts/new")
            .route(web::get().to(blank))
            .route(web::post().to(add)),
    )
    .service(
        web::resource("/shop/hours/shifts/{id}")
            .route(web::get().to(edit))
            .route(web::post().to(save)),
    )
    .route("/shop/hours/shifts/{id}/remove", web::post().to(remove));
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct ShiftForm {
    owner: String,
    weekday: Vec<String>,
    start: String,
    end: String,
    version: String,
}

impl ShiftForm {
    fn of(row: &ShiftRow) -> Self {
        Self {
            owner: owners::code(row.owner),
            weekday: vec![weekday_code(row.shift.weekday)],
            start: clock(row.shift.start),
            end: clock(row.shift.end),
            version: row.version.to_string(),
        }
    }

    /// The days in order, and a shift of the first of them.
    fn read(&self, errors: &mut FormErrors) -> Option<(Vec<Weekday>, Shift)> {
        let days: Option<Vec<Weekday>> = self
            .weekday
            .iter()
            .map(|code| weekday_from_code(code))
            .collect();
        let days = days.filter(|days| !days.is_empty());
        if days.is_none() {
            errors.add("weekday", "Choose a day");
        }
        let start = errors.time("start", &self.start);
        let end = errors.time("end", &self.end);
        let days = days?;
        let shift = Shift {
            weekday: *days.first()?,
            start: start?,
            end: end?,
        };
        Some((days, shift))
    }
}

async fn blank(who: SignedIn) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    let owners = Owners::read(&mut tx).await?;
    let form = ShiftForm {
        owner: owners::code(Owner::Shop),
        ..ShiftForm::default()
    };
    Ok(new_page(&who, &owners, &form, &FormErrors::default()).into())
}

async fn add(who: SignedIn, form: CheckedForm<ShiftForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let owners = Owners::read(&mut tx).await?;
    let owner = errors.choice("owner", &form.owner, |code| owners.find(code));
    let read = form.read(&mut errors);
    if let (Some(owner), Some((days, shift))) = (owner, read) {
        match insert_all(&mut tx, owner, &days, shift).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other(PATH).flash("The shift is added."));
            }
            Err(error) => errors.absorb(error)?,
        }
    }
    Ok(new_page(&who, &owners, &form, &errors).invalid().into())
}

async fn insert_all(
    tx: &mut ShopTx,
    owner: Owner,
    days: &[Weekday],
    shift: Shift,
) -> Result<(), DbError> {
    for &weekday in days {
        let row = ShiftRow {
            id: Uuid::now_v7(),
            owner,
            shift: Shift { weekday, ..shift },
            version: 1,
        };
        calendars::insert_shift(tx, &row).await?;
    }
    Ok(())
}

fn new_page(who: &SignedIn, owners: &Owners, form: &ShiftForm, errors: &FormErrors) -> Page {
    let body = html! {
        h1 { "Add a shift" }
        p.lead { "A machine or person without shifts of its own keeps the shop's; the first one given here replaces them all." }
        (errors.summary())
        form.grid method="post" action={ (PATH) "/shifts/new" } novalidate {
            (csrf_field(who))
            (Field::select("owner", "Whose", &form.owner, owners.choices()).errors(errors))
            fieldset.field.wide #weekday aria-describedby=[errors.get("weekday").map(|_| "weekday-error")] {
                legend { "Days" }
                div.picks {
                    @for (weekday, name) in WEEK {
                        @let code = weekday_code(weekday);
                        (Field::checkbox("weekday", name, form.weekday.contains(&code)).value(&code))
                    }
                }
                @if let Some(error) = errors.get("weekday") {
                    p.error #weekday-error { span.sign aria-hidden="true" { "!" } " " (error) }
                }
            }
            (times(form, errors))
            (actions("Add"))
        }
    };
    Page::new(who, "Add a shift").nav(Section::Shop).body(body)
}

fn times(form: &ShiftForm, errors: &FormErrors) -> Markup {
    html! {
        (Field::time("start", "From", &form.start).errors(errors))
        (Field::time("end", "Until", &form.end).hint("At or before the start means on the next day").errors(errors))
    }
}

fn actions(submit: &str) -> Markup {
    html! {
        div.actions {
            button type="submit" { (submit) }
            a.button.quiet href=(PATH) { "Cancel" }
        }
    }
}

async fn stored(tx: &mut ShopTx, id: Uuid) -> Result<ShiftRow, DbError> {
    let time = calendars::read(tx).await?;
    let found = time.shifts.into_iter().find(|row| row.id == id);
    found.ok_or(DbError::NotFound("the shift"))
}

async fn edit(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    let row = stored(&mut tx, *id).await?;
    let owners = Owners::read(&mut tx).await?;
    let page = edit_page(
        &who,
        &owners,
        &row,
        &ShiftForm::of(&row),
        &FormErrors::default(),
        &html! {},
    );
    Ok(page.into())
}

async fn save(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<ShiftForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let row = stored(&mut tx, *id).await?;
    let owners = Owners::read(&mut tx).await?;
    if let Some((_, shift)) = form.read(&mut errors) {
        let wanted = ShiftRow {
            shift,
            version: form.version.trim().parse().unwrap_or_default(),
            ..row.clone()
        };
        match calendars::update_shift(&mut tx, &wanted).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other(PATH).flash("The shift is saved."));
            }
            Err(DbError::Stale(what)) => {
                let row = stored(&mut tx, *id).await?;
                let now = ShiftForm::of(&row);
                let changed: Vec<Changed> = [
                    Changed::if_differs(
                        "Day",
                        weekday_name(row.shift.weekday),
                        weekday_name(shift.weekday),
                    ),
                    Changed::if_differs("From", &now.start, &form.start),
                    Changed::if_differs("Until", &now.end, &form.end),
                ]
                .into_iter()
                .flatten()
                .collect();
                let mine = ShiftForm {
                    version: now.version,
                    ..form.into_inner()
                };
                let notice = stale_notice(what, &changed);
                let page = edit_page(&who, &owners, &row, &mine, &errors, &notice);
                return Ok(page.status(StatusCode::CONFLICT).into());
            }
            Err(error) => errors.absorb(error)?,
        }
    }
    let page = edit_page(&who, &owners, &row, &form, &errors, &html! {});
    Ok(page.invalid().into())
}

fn edit_page(
    who: &SignedIn,
    owners: &Owners,
    row: &ShiftRow,
    form: &ShiftForm,
    errors: &FormErrors,
    notice: &Markup,
) -> Page {
    let here = format!("{PATH}/shifts/{}", row.id);
    let days = WEEK
        .iter()
        .map(|(weekday, name)| Choice::new(weekday_code(*weekday), name))
        .collect();
    let weekday = form.weekday.first().map_or("", String::as_str);
    let title = format!(
        "A shift of {}",
        owners.name(row.owner).replace("The shop", "the shop")
    );
    let body = html! {
        h1 { (title) }
        (notice)
        (errors.summary())
        form.grid method="post" action=(here) novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            (Field::select("weekday", "Day", weekday, days).errors(errors))
            (times(form, errors))
            (actions("Save"))
        }
        form method="post" action={ (here) "/remove" } {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            button.danger type="submit" { "Take this shift out" }
        }
    };
    Page::new(who, title).nav(Section::Shop).body(body)
}

async fn remove(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<ShiftForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    calendars::delete_shift(
        &mut tx,
        *id,
        form.version.trim().parse().unwrap_or_default(),
    )
    .await?;
    tx.commit().await?;
    Ok(Reply::see_other(PATH).flash("The shift is taken out."))
}
