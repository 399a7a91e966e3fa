//! A check that was made and not entered at the bench, entered by the office with the time it was made and why so late.

use super::booked::moment_of;
use crate::app::record_check;
use crate::db::checks::NewResult;
use crate::db::jobs::{self, Job, JobOperation, JobState};
use crate::db::people::{self, Person, Role};
use crate::db::{self, DbError, ShopTx};
use crate::estimating::Check;
use crate::quality::{self, Limits, limit_gauge, may_be_gauged};
use crate::web::screens::bench::{found, readings_in};
use crate::web::ui::forms::Choice;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
};
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;
use std::collections::BTreeMap;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/jobs/{id}/checks/{operation}/{place}")
            .route(web::get().to(blank))
            .route(web::post().to(enter)),
    );
}

/// Where a check of an operation is entered.
fn path(job_id: Uuid, operation_id: Uuid, place: u32) -> String {
    format!("/jobs/{job_id}/checks/{operation_id}/{place}")
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct MissedForm {
    key: String,
    measured: String,
    goes: String,
    person: String,
    date: String,
    time: String,
    reason: String,
    #[serde(flatten)]
    more: BTreeMap<String, String>,
}

/// The check, with the job and operation it is of, and who may have made it.
struct Missed {
    job: Job,
    operation: JobOperation,
    place: u32,
    check: Check,
    everyone: Vec<Person>,
}

impl Missed {
    async fn read(
        tx: &mut ShopTx,
        (job_id, operation_id, place): (Uuid, Uuid, u32),
    ) -> Result<Self, DbError> {
        let (job, operation) = jobs::operation(tx, operation_id).await?;
        let check = check_at(&operation, place)
            .filter(|_| job.id == job_id)
            .cloned()
            .ok_or(DbError::NotFound("this check"))?;
        if job.state != JobState::Open {
            let (number, state) = (job.number, job.state);
            return Err(db::Refusal::JobClosed { number, state }.into());
        }
        let everyone = people::list(tx).await?;
        Ok(Self {
            job,
            operation,
            place,
            check,
            everyone,
        })
    }

    fn page(&self, who: &SignedIn, form: &MissedForm, errors: &FormErrors) -> Page {
        let job = format!("/jobs/{}", self.job.id);
        let limits = Limits::of(&self.check);
        let gauged = limits.is_none() || may_be_gauged(&self.check);
        let both = gauged && limits.is_some();
        let people = self
            .everyone
            .iter()
            .filter(|p| p.active)
            .map(|p| Choice::new(p.id, &p.name))
            .collect();
        let goes = vec![Choice::new("yes", "Passes"), Choice::new("no", "Fails")];
        let body = html! {
            p.back { a href=(job) { "Job " (self.job.number) ": " (self.job.title) } }
            h1 { "Enter a missed check" }
            p {
                "Operation " (self.operation.planned.number) " " (self.operation.planned.title) ": "
                strong { (self.check.what) } ", " (self.check.limits_in_words())
                @if !self.check.instrument.is_empty() { ", with " (self.check.instrument) }
                "."
            }
            @if let Some(gauge) = limit_gauge(&self.check) { p.muted { "The gauge, new: " (gauge) "." } }
            p.small { "For a check that was made but not entered. If you did not see it made, have it made again." }
            (errors.summary())
            form.grid method="post" action=(path(self.job.id, self.operation.id, self.place)) novalidate {
                (csrf_field(who))
                input type="hidden" name="key" value=(form.key);
                @if gauged { (field(Field::radios("goes", if both { "Go enters, no-go does not" } else { "Result" }, &form.goes, goes), both).errors(errors)) }
                @if let Some(limits) = &limits {
                    @if self.check.readings() > 1 {
                        @for (row, at) in self.check.places.iter().enumerate() {
                            @let name = format!("reading_{row}");
                            @let typed = form.more.get(&name).map_or("", String::as_str);
                            (field(Field::decimal(&name, &format!("Measured at {at}"), typed).unit(&limits.unit), both).errors(errors))
                        }
                    } @else {
                        (field(Field::decimal("measured", "Measured", &form.measured).unit(&limits.unit), both).errors(errors))
                    }
                }
                (Field::select("person", "Checked by", &form.person, people).errors(errors))
                (Field::date("date", "On", &form.date).errors(errors))
                (Field::time("time", "At", &form.time).errors(errors))
                (Field::text("reason", "Reason it is entered late", &form.reason).wide().errors(errors))
                div.actions { button type="submit" { "Enter check" } a.button.quiet href=(job) { "Back" } }
            }
        };
        Page::new(who, "Enter a missed check")
            .nav(Section::Jobs)
            .body(body)
    }
}

impl Missed {
    /// The readings of a check that takes several; none when the form leaves all of them empty.
    fn readings(&self, form: &MissedForm, errors: &mut FormErrors) -> Vec<String> {
        let typed = readings_in(&form.more);
        if self.check.readings() < 2 || typed.iter().all(|text| text.trim().is_empty()) {
            return Vec::new();
        }
        for (row, text) in typed.iter().enumerate() {
            if quality::reading(text).is_none() {
                errors.add(
                    &format!("reading_{row}"),
                    "Enter a number in the unit of the limits, for example 40.012",
                );
            }
        }
        typed
    }
}

fn check_at(operation: &JobOperation, place: u32) -> Option<&Check> {
    operation.planned.checks.get(usize::try_from(place).ok()?)
}

/// One of two ways to say the same is optional.
fn field(field: Field, one_of_two: bool) -> Field {
    if one_of_two { field.optional() } else { field }
}

async fn blank(who: SignedIn, ids: web::Path<(Uuid, Uuid, u32)>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let missed = Missed::read(&mut tx, ids.into_inner()).await?;
    let form = MissedForm {
        key: Uuid::now_v7().to_string(),
        ..MissedForm::default()
    };
    Ok(missed.page(&who, &form, &FormErrors::default()).into())
}

async fn enter(
    who: SignedIn,
    ids: web::Path<(Uuid, Uuid, u32)>,
    form: CheckedForm<MissedForm>,
) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let missed = Missed::read(&mut who.begin().await?, ids.into_inner()).await?;
    let typed = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
    let (measured, goes) = (typed(&form.measured), typed(&form.goes));
    let readings = missed.readings(&form, &mut errors);
    let result = found(measured.as_deref(), &readings, goes.as_deref());
    if result.is_none() && errors.is_empty() {
        let (field, why) = match (&measured, &goes) {
            _ if missed.check.readings() > 1 => {
                ("reading_0", "Enter the readings, or a result, not both")
            }
            (Some(_), None) => (
                "measured",
                "Enter a number in the unit of the limits, for example 40.012",
            ),
            (Some(_), Some(_)) => ("measured", "Enter a measurement or a result, not both"),
            (None, _) if Limits::of(&missed.check).is_some() => {
                ("measured", "Enter what was found")
            }
            (None, _) => ("goes", "Enter what was found"),
        };
        errors.add(field, why);
    }
    let person = errors.row("person", &form.person);
    let at = moment_of(&who, &form.date, &form.time, &mut errors);
    let reason = errors.required_text("reason", &form.reason, 400);
    let (Some(found), Some(person), Some(at), Some(note)) = (result, person, at, reason) else {
        return Ok(missed.page(&who, &form, &errors).invalid().into());
    };
    let new = NewResult {
        id: Uuid::try_parse(&form.key).unwrap_or_else(|_| Uuid::now_v7()),
        operation_id: missed.operation.id,
        place: missed.place,
        found,
        note,
        person_id: person,
        entered_by: who.person_id,
        device_id: None,
        at,
        device_at: at,
        received_at: Utc::now(),
    };
    let checked = record_check::record_missed(&who.actor(), &new).await?;
    let flash = if checked.passed {
        "The check is entered."
    } else {
        "The check is entered. It is out of limits: the job is on hold until the owner decides."
    };
    Ok(Reply::see_other(format!("/jobs/{}", missed.job.id)).flash(flash))
}

/// The checks of an operation that nobody has entered, each with the way to enter it.
pub(super) fn links(job_id: Uuid, operation: &JobOperation, places: &[u32]) -> Markup {
    html! {
        @for place in places {
            @if let Some(check) = check_at(operation, *place) {
                br;
                span.muted { (check.what) ": not entered. " }
                a href=(path(job_id, operation.id, *place)) { "Enter check" span.visually-hidden { ": " (check.what) } }
            }
        }
    }
}
