//! Days on which the shop does not work.

use super::PATH;
use crate::db::calendars::{self, Holiday};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field, show,
};
use actix_web::http::StatusCode;
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/shop/hours/holidays/new")
            .route(web::get().to(blank))
            .route(web::post().to(add)),
    )
    .service(
        web::resource("/shop/hours/holidays/{id}")
            .route(web::get().to(edit))
            .route(web::post().to(save)),
    )
    .route("/shop/hours/holidays/{id}/remove", web::post().to(remove));
}

pub(super) fn table(holidays: &[&Holiday]) -> Markup {
    html! {
        table.cells {
            thead { tr { th scope="col" { "Day" } th scope="col" { "Name" } } }
            tbody {
                @for holiday in holidays {
                    tr {
                        th scope="row" { a href={ (PATH) "/holidays/" (holiday.id) } { (show::day(holiday.on)) } }
                        td data-label="Name" { (holiday.name) }
                    }
                }
            }
        }
    }
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct HolidayForm {
    on: String,
    name: String,
    version: String,
}

impl HolidayForm {
    fn of(holiday: &Holiday) -> Self {
        Self {
            on: holiday.on.to_string(),
            name: holiday.name.clone(),
            version: holiday.version.to_string(),
        }
    }

    fn read(&self, errors: &mut FormErrors, id: Uuid) -> Option<Holiday> {
        let on = errors.date("on", &self.on);
        let name = errors.required_text("name", &self.name, 80);
        Some(Holiday {
            id,
            on: on?,
            name: name?,
            version: self.version.trim().parse().unwrap_or_default(),
        })
    }
}

/// The form, for a new one or one that is there.
fn page(
    who: &SignedIn,
    id: Option<Uuid>,
    form: &HolidayForm,
    errors: &FormErrors,
    notice: &Markup,
) -> Page {
    let (title, here, submit) = match id {
        Some(id) => ("A holiday", format!("{PATH}/holidays/{id}"), "Save"),
        None => ("Add a holiday", format!("{PATH}/holidays/new"), "Add"),
    };
    let body = html! {
        h1 { (title) }
        (notice)
        (errors.summary())
        form.grid method="post" action=(here) novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            (Field::date("on", "Day", &form.on).hint("A night shift that began the day before is worked to its end").errors(errors))
            (Field::text("name", "Name", &form.name).errors(errors))
            div.actions {
                button type="submit" { (submit) }
                a.button.quiet href=(PATH) { "Cancel" }
            }
        }
        @if id.is_some() {
            form method="post" action={ (here) "/remove" } {
                (csrf_field(who))
                input type="hidden" name="version" value=(form.version);
                button.danger type="submit" { "Take this holiday out" }
            }
        }
    };
    Page::new(who, title).nav(Section::Shop).body(body)
}

async fn blank(who: SignedIn) -> Answer {
    who.require(Role::Owner)?;
    Ok(page(
        &who,
        None,
        &HolidayForm::default(),
        &FormErrors::default(),
        &html! {},
    )
    .into())
}

async fn add(who: SignedIn, form: CheckedForm<HolidayForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    if let Some(holiday) = form.read(&mut errors, Uuid::now_v7()) {
        let mut tx = who.begin().await?;
        match calendars::insert_holiday(&mut tx, &holiday).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other(PATH).flash("The holiday is added."));
            }
            Err(error) => errors.absorb(error)?,
        }
    }
    Ok(page(&who, None, &form, &errors, &html! {}).invalid().into())
}

async fn stored(tx: &mut ShopTx, id: Uuid) -> Result<Holiday, DbError> {
    let time = calendars::read(tx).await?;
    let found = time.holidays.into_iter().find(|holiday| holiday.id == id);
    found.ok_or(DbError::NotFound("the holiday"))
}

async fn edit(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    let form = HolidayForm::of(&stored(&mut tx, *id).await?);
    Ok(page(&who, Some(*id), &form, &FormErrors::default(), &html! {}).into())
}

async fn save(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<HolidayForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    if let Some(holiday) = form.read(&mut errors, *id) {
        let mut tx = who.begin().await?;
        match calendars::update_holiday(&mut tx, &holiday).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other(PATH).flash("The holiday is saved."));
            }
            Err(DbError::Stale(what)) => {
                let now = HolidayForm::of(&stored(&mut tx, *id).await?);
                let changed: Vec<Changed> = [
                    Changed::if_differs("Day", &now.on, &form.on),
                    Changed::if_differs("Name", &now.name, &form.name),
                ]
                .into_iter()
                .flatten()
                .collect();
                let mine = HolidayForm {
                    version: now.version,
                    ..form.into_inner()
                };
                let page = page(
                    &who,
                    Some(*id),
                    &mine,
                    &errors,
                    &stale_notice(what, &changed),
                );
                return Ok(page.status(StatusCode::CONFLICT).into());
            }
            Err(error) => errors.absorb(error)?,
        }
    }
    Ok(page(&who, Some(*id), &form, &errors, &html! {})
        .invalid()
        .into())
}

async fn remove(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<HolidayForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    calendars::delete_holiday(
        &mut tx,
        *id,
        form.version.trim().parse().unwrap_or_default(),
    )
    .await?;
    tx.commit().await?;
    Ok(Reply::see_other(PATH).flash("The holiday is taken out."))
}
