//! Stretches without work, of the shop, a machine or a person.

use super::PATH;
use super::owners::{self, Owners};
use crate::db::calendars::{self, Owner, Stop};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use crate::planning::local_instant;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field, show,
};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/shop/hours/stops/new")
            .route(web::get().to(blank))
            .route(web::post().to(add)),
    )
    .service(
        web::resource("/shop/hours/stops/{id}")
            .route(web::get().to(edit))
            .route(web::post().to(save)),
    )
    .route("/shop/hours/stops/{id}/remove", web::post().to(remove));
}

pub(super) fn table(stops: &[&Stop], zone: Tz, owners: &Owners) -> Markup {
    html! {
        table.cells {
            thead {
                tr { th scope="col" { "From" } th scope="col" { "Until" } th scope="col" { "Whose" } th scope="col" { "Why" } }
            }
            tbody {
                @for stop in stops {
                    tr {
                        th scope="row" { a href={ (PATH) "/stops/" (stop.id) } { (show::moment(stop.starts_at, zone)) } }
                        td data-label="Until" { (show::moment(stop.ends_at, zone)) }
                        td data-label="Whose" { (owners.name(stop.owner)) }
                        td data-label="Why" { (stop.why) }
                    }
                }
            }
        }
    }
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct StopForm {
    owner: String,
    from_day: String,
    from_time: String,
    until_day: String,
    until_time: String,
    why: String,
    version: String,
}

impl StopForm {
    fn of(stop: &Stop, zone: Tz) -> Self {
        let part =
            |at: DateTime<Utc>, format: &str| at.with_timezone(&zone).format(format).to_string();
        Self {
            owner: owners::code(stop.owner),
            from_day: part(stop.starts_at, "%Y-%m-%d"),
            from_time: part(stop.starts_at, "%H:%M"),
            until_day: part(stop.ends_at, "%Y-%m-%d"),
            until_time: part(stop.ends_at, "%H:%M"),
            why: stop.why.clone(),
            version: stop.version.to_string(),
        }
    }

    fn read(&self, errors: &mut FormErrors, id: Uuid, zone: Tz, owners: &Owners) -> Option<Stop> {
        let owner = errors.choice("owner", &self.owner, |code| owners.find(code));
        let from_day = errors.date("from_day", &self.from_day);
        let from_time = errors.time("from_time", &self.from_time);
        let until_day = errors.date("until_day", &self.until_day);
        let until_time = errors.time("until_time", &self.until_time);
        let why = errors.required_text("why", &self.why, 200);
        let starts_at = local_instant(zone, from_day?.and_time(from_time?));
        let ends_at = local_instant(zone, until_day?.and_time(until_time?));
        if ends_at <= starts_at {
            errors.add("until_time", "This must be after the start");
            return None;
        }
        Some(Stop {
            id,
            owner: owner?,
            starts_at,
            ends_at,
            why: why?,
            version: self.version.trim().parse().unwrap_or_default(),
        })
    }
}

/// The form, for a new one or one that is there.
fn page(
    who: &SignedIn,
    owners: &Owners,
    id: Option<Uuid>,
    form: &StopForm,
    errors: &FormErrors,
    notice: &Markup,
) -> Page {
    let (title, here, submit) = match id {
        Some(id) => ("A stop", format!("{PATH}/stops/{id}"), "Save"),
        None => ("Add a stop", format!("{PATH}/stops/new"), "Add"),
    };
    let body = html! {
        h1 { (title) }
        (notice)
        (errors.summary())
        form.grid method="post" action=(here) novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            (Field::select("owner", "Whose", &form.owner, owners.choices()).hint("The shop's stops stop everything").errors(errors))
            (Field::text("why", "Why", &form.why).errors(errors))
            h2 { "When" }
            (Field::date("from_day", "From day", &form.from_day).errors(errors))
            (Field::time("from_time", "From time", &form.from_time).errors(errors))
            (Field::date("until_day", "Until day", &form.until_day).errors(errors))
            (Field::time("until_time", "Until time", &form.until_time).errors(errors))
            div.actions {
                button type="submit" { (submit) }
                a.button.quiet href=(PATH) { "Cancel" }
            }
        }
        @if id.is_some() {
            form method="post" action={ (here) "/remove" } {
                (csrf_field(who))
                input type="hidden" name="version" value=(form.version);
                button.danger type="submit" { "Take this stop out" }
            }
        }
    };
    Page::new(who, title).nav(Section::Shop).body(body)
}

async fn blank(who: SignedIn) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    let owners = Owners::read(&mut tx).await?;
    let form = StopForm {
        owner: owners::code(Owner::Shop),
        ..StopForm::default()
    };
    Ok(page(
        &who,
        &owners,
        None,
        &form,
        &FormErrors::default(),
        &html! {},
    )
    .into())
}

async fn add(who: SignedIn, form: CheckedForm<StopForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let owners = Owners::read(&mut tx).await?;
    let read = form.read(&mut errors, Uuid::now_v7(), who.shop.time_zone, &owners);
    let Some(stop) = read else {
        return Ok(page(&who, &owners, None, &form, &errors, &html! {})
            .invalid()
            .into());
    };
    calendars::insert_stop(&mut tx, &stop).await?;
    tx.commit().await?;
    Ok(Reply::see_other(PATH).flash("The stop is added."))
}

async fn stored(tx: &mut ShopTx, id: Uuid) -> Result<Stop, DbError> {
    let time = calendars::read(tx).await?;
    let found = time.stops.into_iter().find(|stop| stop.id == id);
    found.ok_or(DbError::NotFound("the stop"))
}

async fn edit(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    let owners = Owners::read(&mut tx).await?;
    let form = StopForm::of(&stored(&mut tx, *id).await?, who.shop.time_zone);
    Ok(page(
        &who,
        &owners,
        Some(*id),
        &form,
        &FormErrors::default(),
        &html! {},
    )
    .into())
}

async fn save(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<StopForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let owners = Owners::read(&mut tx).await?;
    let zone = who.shop.time_zone;
    let Some(stop) = form.read(&mut errors, *id, zone, &owners) else {
        return Ok(page(&who, &owners, Some(*id), &form, &errors, &html! {})
            .invalid()
            .into());
    };
    match calendars::update_stop(&mut tx, &stop).await {
        Ok(()) => {
            tx.commit().await?;
            Ok(Reply::see_other(PATH).flash("The stop is saved."))
        }
        Err(DbError::Stale(what)) => {
            let there = stored(&mut tx, *id).await?;
            let whose = |owner: Owner| owners.name(owner).to_owned();
            let moment = |at| show::moment(at, zone);
            let changed: Vec<Changed> = [
                Changed::if_differs("Whose", &whose(there.owner), &whose(stop.owner)),
                Changed::if_differs("Why", &there.why, &stop.why),
                Changed::if_differs("From", &moment(there.starts_at), &moment(stop.starts_at)),
                Changed::if_differs("Until", &moment(there.ends_at), &moment(stop.ends_at)),
            ]
            .into_iter()
            .flatten()
            .collect();
            let mine = StopForm {
                version: there.version.to_string(),
                ..form.into_inner()
            };
            let notice = stale_notice(what, &changed);
            let page = page(&who, &owners, Some(*id), &mine, &errors, &notice);
            Ok(page.status(StatusCode::CONFLICT).into())
        }
        Err(error) => Err(error.into()),
    }
}

async fn remove(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<StopForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    calendars::delete_stop(
        &mut tx,
        *id,
        form.version.trim().parse().unwrap_or_default(),
    )
    .await?;
    tx.commit().await?;
    Ok(Reply::see_other(PATH).flash("The stop is taken out."))
}
