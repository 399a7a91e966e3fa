//! Public holidays from an .ics file: read, shown with what is there already, and added when somebody says so.

use super::PATH;
use crate::db::calendars::{self, Holiday};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use crate::planning::ics::holidays::{self, Day, LARGEST, Sheet};
use crate::web::ui::forms::upload::{CheckedUpload, Uploaded};
use crate::web::ui::show::{count, day};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
};
use actix_web::web;
use chrono::{Datelike, NaiveDate};
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/shop/hours/holidays/file")
            .route(web::get().to(choose))
            .route(web::post().to(preview)),
    )
    .route("/shop/hours/holidays/file/add", web::post().to(add));
}

/// Years ahead of this one that are looked at.
const YEARS_AHEAD: i32 = 2;
/// Most days added at once.
const MOST: usize = 400;

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Nothing {}

fn chooser(who: &SignedIn, errors: &FormErrors) -> Page {
    let title = "Holidays from a file";
    let last = last_year(who.today());
    let error = errors.get("file");
    let body = html! {
        h1 { (title) }
        (errors.summary())
        p { "Public holidays are published as calendar files, whose names end in .ics. Nothing is added before you have seen it." }
        form.grid method="post" action={ (PATH) "/holidays/file" } enctype="multipart/form-data" novalidate {
            (csrf_field(who))
            div.field.wide.wrong[error.is_some()] {
                label for="file" { "Calendar file" }
                input #file type="file" name="file" accept=".ics,text/calendar" aria-required="true"
                    aria-invalid=[error.map(|_| "true")] aria-describedby=(if error.is_some() { "file-error file-hint" } else { "file-hint" });
                @if let Some(error) = error { p.error #file-error { span.sign aria-hidden="true" { "!" } " " (error) } }
                p.hint #file-hint { "Up to " (LARGEST / 1024) " kB. Days of this year to the end of " (last) " are read, yearly ones each year." }
            }
            div.actions {
                button type="submit" { "Look at it" }
                a.button.quiet href=(PATH) { "Cancel" }
            }
        }
    };
    Page::new(who, title).nav(Section::Shop).body(body)
}

fn last_year(today: NaiveDate) -> i32 {
    today.year() + YEARS_AHEAD
}

async fn choose(who: SignedIn) -> Answer {
    who.require(Role::Owner)?;
    Ok(chooser(&who, &FormErrors::default()).into())
}

async fn preview(who: SignedIn, upload: CheckedUpload<Nothing, LARGEST>) -> Answer {
    who.require(Role::Owner)?;
    let today = who.today();
    let years = (
        NaiveDate::from_ymd_opt(today.year(), 1, 1),
        NaiveDate::from_ymd_opt(last_year(today), 12, 31),
    );
    let (Some(from), Some(until)) = years else {
        return Err(WebError::Internal("the year is out of range".to_owned()));
    };
    let mut errors = FormErrors::default();
    let sheet = match upload.file {
        Uploaded::Nothing => {
            errors.add("file", "Choose a file");
            None
        }
        Uploaded::TooLarge => {
            errors.add("file", holidays::ReadError::TooLarge);
            None
        }
        Uploaded::File(bytes) => {
            let zone = who.shop.time_zone;
            let read = web::block(move || holidays::read(&bytes, zone, from, until))
                .await
                .map_err(|error| WebError::Internal(error.to_string()))?;
            read.map_err(|why| errors.add("file", why)).ok()
        }
    };
    let Some(sheet) = sheet else {
        return Ok(chooser(&who, &errors).invalid().into());
    };
    let mut tx = who.begin().await?;
    let there = calendars::read(&mut tx).await?.holidays;
    Ok(shown(&who, &sheet, &there).into())
}

/// What a form sends for a day: the day and its name.
fn code(day: &Day) -> String {
    format!("{} {}", day.on, day.name)
}

fn shown(who: &SignedIn, sheet: &Sheet, there: &[Holiday]) -> Page {
    let stored = |day: &Day| there.iter().find(|holiday| holiday.on == day.on);
    let (known, new): (Vec<&Day>, Vec<&Day>) =
        sheet.days.iter().partition(|day| stored(day).is_some());
    let title = "Holidays from a file";
    let many = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
    let body = html! {
        h1 { (title) }
        @if new.is_empty() {
            p.notice { "Nothing in this file would be added." }
        } @else {
            form method="post" action={ (PATH) "/holidays/file/add" } {
                (csrf_field(who))
                fieldset.plain {
                    legend { (count(many(new.len()), "day", "days")) " would be added" }
                    @for (at, one) in new.iter().take(MOST).enumerate() {
                        (Field::checkbox("day", &format!("{}: {}", day(one.on, who.today()), one.name), true).value(&code(one)).id(&format!("day-{at}")))
                    }
                }
                @if new.len() > MOST { p.notice.warn { "The first " (MOST) " are shown; read the file again for the rest." } }
                div.actions {
                    button type="submit" { "Add those ticked" }
                    a.button.quiet href=(PATH) { "Add none" }
                }
            }
        }
        @if !known.is_empty() {
            h2 { "There already" }
            ul { @for one in &known {
                li {
                    (day(one.on, who.today())) ": " (one.name)
                    @if let Some(holiday) = stored(one).filter(|holiday| holiday.name != one.name) { ", here as “" (holiday.name) "”" }
                }
            } }
        }
        @if !sheet.again.is_empty() {
            h2 { "Twice in the file" }
            p { "The first name of a day counts." }
            ul { @for one in &sheet.again { li { (day(one.on, who.today())) ": " (one.name) } } }
        }
        @if !sheet.left_out.is_empty() {
            h2 { "Left out" }
            ul { @for one in &sheet.left_out { li { (one.name) ": " (one.why) "." } } }
        }
        @if sheet.outside > 0 {
            p.muted { (count(many(sheet.outside), "day lies", "days lie")) " in other years than this one and the next " (YEARS_AHEAD) "." }
        }
        p { a href={ (PATH) "/holidays/file" } { "Choose another file" } }
    };
    Page::new(who, title).nav(Section::Shop).body(body)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct AddForm {
    day: Vec<String>,
}

fn typed(text: &str, errors: &mut FormErrors) -> Option<Day> {
    let (on, name) = text.split_once(' ')?;
    Some(Day {
        on: errors.date("day", on)?,
        name: errors.required_text("day", name, 80)?,
    })
}

async fn add(who: SignedIn, form: CheckedForm<AddForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let days: Option<Vec<Day>> = form
        .day
        .iter()
        .take(MOST)
        .map(|text| typed(text, &mut errors))
        .collect();
    let days = days.ok_or_else(|| {
        WebError::BadRequest("A day that was ticked does not read; read the file again.".to_owned())
    })?;
    let mut tx = who.begin().await?;
    let added = write(&mut tx, days).await?;
    tx.commit().await?;
    let n = i64::try_from(added).unwrap_or(i64::MAX);
    Ok(Reply::see_other(PATH).flash(match n {
        0 => "No holiday was added.".to_owned(),
        n => format!("{} added.", count(n, "holiday is", "holidays are")),
    }))
}

/// Adds the days that are no holidays yet, also not since the file was looked at; says how many.
async fn write(tx: &mut ShopTx, days: Vec<Day>) -> Result<usize, DbError> {
    let there = calendars::read(tx).await?.holidays;
    let mut taken: std::collections::BTreeSet<NaiveDate> = there.iter().map(|h| h.on).collect();
    let mut added = 0;
    for Day { on, name } in days {
        if taken.insert(on) {
            let holiday = Holiday {
                id: Uuid::now_v7(),
                on,
                name,
                version: 1,
            };
            calendars::insert_holiday(tx, &holiday).await?;
            added += 1;
        }
    }
    Ok(added)
}

/// The way here, on the page of hours.
pub(super) fn link() -> Markup {
    html! { a.button.quiet href={ (PATH) "/holidays/file" } { "Read them from a file" } }
}
