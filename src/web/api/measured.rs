//! What was measured on a casting, table by table: cylinders, main line, deck, crankshaft, cam and lifters, rear face. All
//! readings are in millimetres, as text.

use super::body::Body;
use super::idempotency::keyed;
use crate::app::measure_casting::{Recorded, kept, record, sizes_for};
use crate::app::once;
use crate::castings::measured::{Layout, Purpose, Readings, RecordKind, Sizes};
use crate::db::measured_records::{self, MeasuredRecord, NewRecord};
use crate::db::{castings, castings_on_shelf};
use crate::units::Code;
use crate::web::screens::shelf::measured::CANNOT_BE;
use crate::web::ui::{Answer, FormErrors, Reply, SignedIn, WebError};
use actix_web::http::header::LOCATION;
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// Under `/api/v1/castings/{id}/measured`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/api/v1/castings/{id}/measured")
            .get(list)
            .post(add),
    )
    .service(web::resource("/api/v1/castings/{id}/measured/{record}").get(one))
    .service(web::resource("/api/v1/castings/{id}/measured/blank/{kind}").get(blank));
}

#[derive(OpenApi)]
#[openapi(paths(list, add, one, blank))]
pub(super) struct Doc;

/// A record of readings.
#[derive(Debug, Serialize, ToSchema)]
struct RecordMeasured {
    id: Uuid,
    /// `inspection` (as it came) or `finished`.
    purpose: &'static str,
    #[schema(value_type = Object)]
    readings: Readings,
    instrument: String,
    note: String,
    at: DateTime<Utc>,
    by: Option<String>,
    job_id: Option<Uuid>,
    /// By the sizes at that time: `within`, `outside` or `open`.
    verdict: &'static str,
}

impl From<MeasuredRecord> for RecordMeasured {
    fn from(kept: MeasuredRecord) -> Self {
        let record = kept.record;
        Self {
            id: record.id,
            purpose: record.purpose.code(),
            readings: record.readings,
            instrument: record.instrument,
            note: record.note,
            at: record.at,
            by: kept.person,
            job_id: record.job_id,
            verdict: kept.verdict.code(),
        }
    }
}

/// What was measured on a casting.
#[utoipa::path(get, path = "/api/v1/castings/{id}/measured", operation_id = "list_measured", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting")),
    responses((status = 200, description = "The records", body = Vec<RecordMeasured>)))]
async fn list(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    castings_on_shelf::get(&mut tx, *id).await?;
    let records = measured_records::of_casting(&mut tx, *id).await?;
    let shown: Vec<RecordMeasured> = records.into_iter().map(RecordMeasured::from).collect();
    Ok(HttpResponse::Ok().json(shown).into())
}

/// One record.
#[utoipa::path(get, path = "/api/v1/castings/{id}/measured/{record}", operation_id = "read_measured", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting"),
           ("record" = Uuid, Path, description = "The record")),
    responses((status = 200, description = "The record", body = RecordMeasured)))]
async fn one(who: SignedIn, ids: web::Path<(Uuid, Uuid)>) -> Answer {
    let (id, record) = ids.into_inner();
    let kept = measured_records::get(&mut who.begin().await?, id, record).await?;
    Ok(HttpResponse::Ok().json(RecordMeasured::from(kept)).into())
}

/// An empty table of a kind, with the places that a casting has, and the sizes its readings are held against.
async fn empty(who: &SignedIn, id: Uuid, kind: RecordKind) -> Result<(Readings, Sizes), WebError> {
    let mut tx = who.begin().await?;
    let casting = castings_on_shelf::get(&mut tx, id).await?;
    let variant = castings::variant(&mut tx, casting.details.variant_id).await?;
    let pattern = castings::pattern(&mut tx, variant.pattern_id).await?;
    drop(tx);
    let sizes = sizes_for(&who.actor(), id).await?;
    let layout = Layout::of(pattern.cylinders, pattern.mains, &sizes);
    Ok((Readings::blank(kind, &layout), sizes))
}

/// The empty table of a kind: what `readings` looks like for this casting.
#[utoipa::path(get, path = "/api/v1/castings/{id}/measured/blank/{kind}", operation_id = "begin_measured", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting"),
           ("kind" = String, Path, description = "`cylinders`, `main_line`, `deck`, `crankshaft`, `cam_and_lifters` or `rear_face`")),
    responses((status = 200, description = "The table", body = serde_json::Value)))]
async fn blank(who: SignedIn, at: web::Path<(Uuid, String)>) -> Answer {
    let (id, kind) = at.into_inner();
    let kind = RecordKind::from_code(&kind).ok_or(WebError::NotFound("this table"))?;
    let (blank, _) = empty(&who, id, kind).await?;
    Ok(HttpResponse::Ok().json(blank).into())
}

/// Readings to be kept.
#[derive(Debug, Deserialize, ToSchema)]
struct NewReadings {
    /// `inspection` (as it came) or `finished`.
    purpose: String,
    instrument: String,
    #[serde(default)]
    note: String,
    /// The table of its kind, filled in.
    #[schema(value_type = Object)]
    readings: Value,
}

/// What became of readings.
#[derive(Debug, Serialize, ToSchema)]
struct ReadingsKept {
    id: Uuid,
    /// `within`, `outside` or `open`.
    verdict: &'static str,
    /// Whether its job is on hold now.
    held: bool,
}

impl NewReadings {
    async fn read(
        &self,
        who: &SignedIn,
        id: Uuid,
        errors: &mut FormErrors,
    ) -> Result<Option<Readings>, WebError> {
        let readings = match serde_json::from_value::<Readings>(self.readings.clone()) {
            Ok(readings) => readings,
            Err(why) => {
                errors.add("readings", format!("The table does not read: {why}"));
                return Ok(None);
            }
        };
        let (blank, sizes) = empty(who, id, readings.kind()).await?;
        let Some(readings) = readings.placed_in(blank) else {
            errors.add(
                "readings",
                "Send the table as the blank one has it: this casting has other places",
            );
            return Ok(None);
        };
        if readings.is_empty() {
            errors.add("readings", "Enter at least one reading");
        }
        for name in readings.not_believed(&sizes) {
            errors.add(&format!("readings.{name}"), CANNOT_BE);
        }
        Ok(Some(readings))
    }
}

/// Keeps readings, judged by the sizes of the pattern. What is outside limits when the work is finished holds the job.
#[utoipa::path(post, path = "/api/v1/castings/{id}/measured", operation_id = "record_measured", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting"),
           ("Idempotency-Key" = Option<String>, Header)),
    request_body = NewReadings,
    responses((status = 201, description = "What they say; the address of the record in Location", body = ReadingsKept)))]
async fn add(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<NewReadings>,
) -> Answer {
    let keyed = keyed(&req, &who, &body.sent)?;
    // What is judged stays as it was judged, whatever the sizes are now.
    if let Some(before) = once::made(&mut who.begin().await?, keyed.as_ref()).await? {
        let done = kept(&who.actor(), *id, before).await?;
        return Ok(shown(*id, before, done));
    }
    let mut errors = FormErrors::default();
    let purpose = errors.choice("purpose", &body.form.purpose, Purpose::from_code);
    let instrument = errors.required_text("instrument", &body.form.instrument, 120);
    let note = errors.text("note", &body.form.note, 400);
    let readings = body.form.read(&who, *id, &mut errors).await?;
    let (Some(purpose), Some(instrument), Some(note), Some(readings), true) =
        (purpose, instrument, note, readings, errors.is_empty())
    else {
        return Err(errors.into());
    };
    let casting = castings_on_shelf::get(&mut who.begin().await?, *id).await?;
    let new = NewRecord {
        id: Uuid::now_v7(),
        casting_id: *id,
        job_id: casting.job_id,
        purpose,
        readings,
        instrument,
        note,
        at: Utc::now(),
    };
    let (record, done) = record(&who.actor(), &new, keyed.as_ref()).await?;
    Ok(shown(*id, record, done))
}

fn shown(casting_id: Uuid, id: Uuid, done: Recorded) -> Reply {
    let address = format!("/api/v1/castings/{casting_id}/measured/{id}");
    let shown = ReadingsKept {
        id,
        verdict: done.verdict.code(),
        held: done.held,
    };
    HttpResponse::Created()
        .insert_header((LOCATION, address))
        .json(shown)
        .into()
}
