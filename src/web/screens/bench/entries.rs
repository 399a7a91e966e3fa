//! Entries coming in: one by one from a form, or a queue of them from a device that was out of reach. Each is booked in a
//! transaction of its own and in order, so that whatever interrupts leaves the first of them booked and the rest on the
//! device, which sends them again.

use super::AtBench;
use super::kept::{drop_nul, keepable};
use super::screen::{Refused, draw};
use super::sign_on::Which;
use crate::app::book_time::{self, Stamps};
use crate::app::settle::{self, Unbookable};
use crate::app::undo_booking::undo;
use crate::app::{bench_overview, record_check};
use crate::db::bookings::NewBooking;
use crate::db::checks::NewResult;
use crate::planning::{in_reach, local_instant};
use crate::quality::{Found, reading};
use crate::shopfloor::Kind;
use crate::units::Code;
use crate::web::shell::body::OpenForm;
use crate::web::ui::floor_words::{self, unbookable};
use crate::web::ui::{Answer, Reply, WebError};
use actix_web::{HttpResponse, web};
use chrono::{DateTime, NaiveDateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use serde_json::value::RawValue;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Most entries in one message.
const MOST: usize = 200;

/// `/bench/entries` for devices, `/bench/book` for a form.
pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/bench/entries", web::post().to(take))
        .route("/bench/book", web::post().to(book))
        .route("/bench/undo", web::post().to(take_back))
        .route("/bench/check", web::post().to(check));
}

/// A message of a device.
#[derive(Debug, Deserialize)]
struct Sent {
    /// When it was sent, by the device's clock.
    sent_at: DateTime<Utc>,
    /// The entries, each read by itself, so that one that does not read holds up none of the others.
    entries: Vec<Box<RawValue>>,
}

/// An entry as a device sends it.
#[derive(Debug, Deserialize)]
struct SentEntry {
    key: Uuid,
    sign_on: Uuid,
    kind: String,
    operation: Uuid,
    machine: Option<Uuid>,
    at: DateTime<Utc>,
    #[serde(default)]
    corrects: Option<Uuid>,
    #[serde(default)]
    reason: Option<String>,
    /// For a check: which of the operation's.
    #[serde(default)]
    place: Option<u32>,
    /// For a check that is measured: the reading.
    #[serde(default)]
    measured: Option<String>,
    /// For one that is measured at several places: the readings, in order.
    #[serde(default)]
    readings: Option<Vec<String>>,
    /// For one that is gauged or judged: whether it goes.
    #[serde(default)]
    goes: Option<String>,
}

/// The kind of entry that is a check.
const CHECK: &str = "check";

/// An entry that reads.
enum Read {
    Booking(NewBooking),
    Check(NewResult),
}

/// What became of an entry, in the order they were sent.
#[derive(Debug, Serialize)]
struct Outcome {
    /// `booked`, `failed` (a check, recorded), `conflict` (booked, and in conflict with something) or `set_aside` (kept for somebody to look at).
    outcome: &'static str,
    /// What to show of it.
    say: Option<String>,
}

#[derive(Debug, Serialize)]
struct Outcomes {
    /// This server's clock; a page from before it does not know of these entries.
    as_of: i64,
    outcomes: Vec<Outcome>,
}

async fn take(at: AtBench, sent: web::Json<Sent>) -> Answer {
    let received_at = Utc::now();
    if sent.entries.len() > MOST {
        return Err(WebError::TooLarge);
    }
    let mut outcomes = Vec::new();
    for raw in &sent.entries {
        outcomes.push(take_one(&at, raw, sent.sent_at, received_at).await?);
    }
    let outcomes = Outcomes {
        as_of: Utc::now().timestamp_millis(),
        outcomes,
    };
    Ok(HttpResponse::Ok().json(outcomes).into())
}

async fn take_one(
    at: &AtBench,
    raw: &RawValue,
    sent_at: DateTime<Utc>,
    received_at: DateTime<Utc>,
) -> Result<Outcome, WebError> {
    let (body, unkept) = keepable(raw.get());
    let read = match unkept {
        Some(why) => Err(why.to_owned()),
        None => read(at, &body, sent_at, received_at).await?,
    };
    let refused = match read {
        Ok(Read::Check(new)) => {
            match record_check::record(&at.actor(Some(new.person_id)), &new, None).await {
                Ok((_, checked)) => {
                    return Ok(Outcome {
                        outcome: if checked.passed { "booked" } else { "failed" },
                        say: None,
                    });
                }
                Err(error) => unbookable(error, at.today())?,
            }
        }
        Ok(Read::Booking(new)) => {
            match book_time::book(&at.actor(Some(new.person_id)), &new).await {
                Ok(recorded) => {
                    return Ok(match recorded.conflict() {
                        Some(conflict) => Outcome {
                            outcome: "conflict",
                            say: Some(floor_words::conflict(conflict).to_owned()),
                        },
                        None => Outcome {
                            outcome: "booked",
                            say: None,
                        },
                    });
                }
                Err(error) => unbookable(error, at.today())?,
            }
        }
        Err(why) => why,
    };
    // Nothing is dropped: the shop keeps it word for word, so that the device need not.
    let key = body.get("key").and_then(Value::as_str);
    let id = key
        .and_then(|key| Uuid::try_parse(key).ok())
        .unwrap_or_else(Uuid::now_v7);
    let mut kept = body;
    let mut refused = refused.replace('\0', "");
    if drop_nul(&mut kept) {
        refused.push_str(". A NUL character in it, which cannot be kept, was left out");
    }
    let entry = Unbookable {
        id,
        device_id: at.device.id,
        body: &kept,
        why: &refused,
        received_at,
    };
    settle::set_aside(&at.actor(None), &entry).await?;
    Ok(Outcome {
        outcome: "set_aside",
        say: Some(refused),
    })
}

/// An entry as it is to be booked, or why it cannot be.
async fn read(
    at: &AtBench,
    body: &Value,
    sent_at: DateTime<Utc>,
    received_at: DateTime<Utc>,
) -> Result<Result<Read, String>, WebError> {
    let entry: SentEntry = match serde_json::from_value(body.clone()) {
        Ok(entry) => entry,
        Err(why) => return Ok(Err(format!("It could not be read: {why}"))),
    };
    let kind = Kind::from_code(&entry.kind);
    if kind.is_none() && entry.kind != CHECK {
        return Ok(Err(format!("“{}” is not a kind of booking", entry.kind)));
    }
    if let Some(reason) = &entry.reason {
        if reason.contains('\0') {
            return Ok(Err(
                "Its reason has a character that cannot be kept".to_owned()
            ));
        }
        if reason.chars().count() > 400 {
            return Ok(Err("Its reason is too long".to_owned()));
        }
    }
    if !in_reach(entry.at) {
        return Ok(Err("Its time is not in the years 1970 to 2199".to_owned()));
    }
    let stamps = Stamps {
        device_at: entry.at,
        sent_at,
        received_at,
    };
    // An answer to a question is about an earlier shift.
    let answers = entry.corrects.is_some();
    let made = book_time::made_by(
        &at.actor(None),
        at.device.id,
        entry.sign_on,
        stamps,
        answers,
    )
    .await?;
    let (person_id, happened) = match made {
        Ok(made) => (made.person_id, made.at),
        Err(why) => return Ok(Err(floor_words::unattended(why).to_owned())),
    };
    let Some(kind) = kind else {
        let readings = entry.readings.unwrap_or_default();
        return Ok(
            found(entry.measured.as_deref(), &readings, entry.goes.as_deref())
                .zip(entry.place)
                .map(|(found, place)| {
                    Read::Check(NewResult {
                        id: entry.key,
                        operation_id: entry.operation,
                        place,
                        found,
                        note: entry.reason.unwrap_or_default(),
                        person_id,
                        entered_by: person_id,
                        device_id: Some(at.device.id),
                        at: happened,
                        device_at: entry.at,
                        received_at,
                    })
                })
                .ok_or_else(|| "Its measurement is not a number".to_owned()),
        );
    };
    Ok(Ok(Read::Booking(NewBooking {
        id: entry.key,
        kind,
        operation_id: entry.operation,
        machine_id: entry.machine,
        person_id,
        entered_by: person_id,
        device_id: Some(at.device.id),
        at: happened,
        device_at: entry.at,
        received_at,
        corrects: entry.corrects,
        reason: entry.reason.filter(|r| !r.trim().is_empty()),
    })))
}

/// What a check found: a reading, several of them, or whether it goes.
pub(in crate::web) fn found(
    measured: Option<&str>,
    readings: &[String],
    goes: Option<&str>,
) -> Option<Found> {
    match (measured, readings, goes) {
        (Some(text), [], None) => reading(text).map(Found::Measured),
        (None, [_, ..], None) => {
            let all = readings.iter().map(|text| reading(text));
            all.collect::<Option<_>>().map(Found::Readings)
        }
        (None, [], Some("yes")) => Some(Found::Gauged(true)),
        (None, [], Some("no")) => Some(Found::Gauged(false)),
        _ => None,
    }
}

/// The readings in a form, in order: the fields `reading_0`, `reading_1` and so on.
pub(in crate::web) fn readings_in(fields: &BTreeMap<String, String>) -> Vec<String> {
    (0..)
        .map_while(|row: usize| fields.get(&format!("reading_{row}")).cloned())
        .collect()
}

/// A form of the bench screen, from a browser without our script.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct BookForm {
    key: String,
    sign_on: String,
    kind: String,
    operation: String,
    machine: String,
    /// By the shop's clock; none for now.
    at: Option<String>,
    corrects: String,
    reason: String,
    place: String,
    measured: Option<String>,
    goes: Option<String>,
    /// The readings of a check that takes several, among whatever else there is.
    #[serde(flatten)]
    more: BTreeMap<String, String>,
}

impl BookForm {
    /// The page it was sent from.
    fn which(&self) -> Which {
        Which {
            machine: Uuid::try_parse(&self.machine).ok(),
            op: None,
        }
    }
}

async fn check(at: AtBench, form: OpenForm<BookForm>) -> Answer {
    let OpenForm(form) = form;
    let now = Utc::now();
    let signed_on = bench_overview::signed_on(&at.actor(None), at.device.id, now).await?;
    let Some(person) = signed_on.filter(|s| s.id.to_string() == form.sign_on) else {
        return Ok(Reply::see_other("/bench").flash("Sign on first: nothing was recorded"));
    };
    let unreadable =
        || WebError::BadRequest("This form is incomplete. Load the bench page again.".to_owned());
    let key = |text: &str| Uuid::try_parse(text).map_err(|_| unreadable());
    let operation_id = key(&form.operation)?;
    let place = form.place.parse().map_err(|_| unreadable())?;
    let readings = readings_in(&form.more);
    let Some(found) = found(form.measured.as_deref(), &readings, form.goes.as_deref()) else {
        let typed = form.measured.as_deref().unwrap_or_default();
        let refused = Refused::reading(operation_id, place, typed, readings);
        return draw(&at, &form.which(), Some(&refused)).await;
    };
    let new = NewResult {
        id: key(&form.key)?,
        operation_id,
        place,
        found,
        note: String::new(),
        person_id: person.person_id,
        entered_by: person.person_id,
        device_id: Some(at.device.id),
        at: now,
        device_at: now,
        received_at: now,
    };
    let actor = at.actor(Some(person.person_id));
    let (_, checked) = record_check::record(&actor, &new, None).await?;
    Ok(
        Reply::see_other(back(&form.machine)).flash(if checked.passed {
            "Passed"
        } else {
            "Out of limits: stop. The job is on hold until the owner decides."
        }),
    )
}

/// The machine's page again.
fn back(machine: &str) -> String {
    match Uuid::try_parse(machine) {
        Ok(machine) => format!("/bench?machine={machine}"),
        Err(_) => "/bench".to_owned(),
    }
}

async fn take_back(at: AtBench, form: OpenForm<BookForm>) -> Answer {
    let OpenForm(form) = form;
    let now = Utc::now();
    let signed_on = bench_overview::signed_on(&at.actor(None), at.device.id, now).await?;
    let Some(person) = signed_on.filter(|s| s.id.to_string() == form.sign_on) else {
        return Ok(Reply::see_other("/bench").flash("Sign on first: nothing was taken back"));
    };
    let entry = Uuid::try_parse(&form.corrects).unwrap_or_default();
    let actor = at.actor(Some(person.person_id));
    let undone = undo(&actor, (at.device.id, person.person_id), entry, now).await?;
    Ok(Reply::see_other(back(&form.machine)).flash(if undone {
        "Taken back"
    } else {
        "Too late to take it back. The office can correct it."
    }))
}

async fn book(at: AtBench, form: OpenForm<BookForm>) -> Answer {
    let OpenForm(form) = form;
    let now = Utc::now();
    let signed_on = bench_overview::signed_on(&at.actor(None), at.device.id, now).await?;
    let Some(person) = signed_on.filter(|s| s.id.to_string() == form.sign_on) else {
        return Ok(Reply::see_other("/bench").flash("Sign on first: nothing was booked"));
    };
    let unreadable =
        || WebError::BadRequest("This form is incomplete. Load the bench page again.".to_owned());
    let key = |text: &str| Uuid::try_parse(text).map_err(|_| unreadable());
    let optional = |text: &str| match text {
        "" => Ok(None),
        text => key(text).map(Some),
    };
    let corrects = optional(&form.corrects)?;
    let when = match (form.at.as_deref(), corrects) {
        (None, _) => now,
        (Some(text), start) => match NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M") {
            Ok(local) if in_reach(local.and_utc()) => local_instant(at.zone, local).min(now),
            _ => {
                let refused = Refused::when(start.ok_or_else(unreadable)?, text);
                return draw(&at, &form.which(), Some(&refused)).await;
            }
        },
    };
    let new = NewBooking {
        id: key(&form.key)?,
        kind: Kind::from_code(&form.kind).ok_or_else(unreadable)?,
        operation_id: key(&form.operation)?,
        machine_id: optional(&form.machine)?,
        person_id: person.person_id,
        entered_by: person.person_id,
        device_id: Some(at.device.id),
        at: when,
        device_at: when,
        received_at: now,
        corrects,
        reason: Some(form.reason.trim().chars().take(400).collect::<String>())
            .filter(|r| !r.is_empty()),
    };
    let actor = at.actor(Some(person.person_id));
    let recorded = book_time::book_and_pause_others(&actor, &new).await?;
    Ok(
        Reply::see_other(back(&form.machine)).flash(match recorded.conflict() {
            Some(conflict) => format!("Booked, but check it: {}", floor_words::conflict(conflict)),
            None => "Booked".to_owned(),
        }),
    )
}
