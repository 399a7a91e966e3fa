//! What is known of a casting besides its tag: its marks, and what was measured on it.

use super::body::Body;
use super::idempotency::keyed;
use super::nothing;
use crate::app::describe_casting;
use crate::castings::identify::Found;
use crate::db::casting_records::{self, KeptMark, KeptMeasurement};
use crate::db::castings_on_shelf;
use crate::units::Code;
use crate::web::screens::shelf::{MarkForm, MeasureForm};
use crate::web::ui::{Answer, FormErrors, SignedIn};
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use serde::Serialize;
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// Under `/api/v1/castings`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/api/v1/castings/{id}/marks")
            .get(marks)
            .post(add_mark),
    )
    .service(web::resource("/api/v1/castings/{id}/marks/{mark}").delete(remove_mark))
    .service(
        web::resource("/api/v1/castings/{id}/measurements")
            .get(measurements)
            .post(measure),
    );
}

#[derive(OpenApi)]
#[openapi(paths(marks, add_mark, remove_mark, measurements, measure))]
pub(super) struct Doc;

/// A mark of a casting.
#[derive(Debug, Serialize, ToSchema)]
struct MarkShown {
    id: Uuid,
    /// `cast` or `stamped`.
    kind: &'static str,
    place: String,
    text: String,
}

impl From<KeptMark> for MarkShown {
    fn from(kept: KeptMark) -> Self {
        Self {
            id: kept.id,
            kind: kept.mark.kind.code(),
            place: kept.mark.place,
            text: kept.mark.text,
        }
    }
}

/// The marks of a casting.
#[utoipa::path(get, path = "/api/v1/castings/{id}/marks", operation_id = "list_marks", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting")),
    responses((status = 200, description = "The marks, as they were noted", body = Vec<MarkShown>)))]
async fn marks(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    castings_on_shelf::get(&mut tx, *id).await?;
    let marks = casting_records::marks(&mut tx, *id).await?;
    let shown: Vec<MarkShown> = marks.into_iter().map(MarkShown::from).collect();
    Ok(HttpResponse::Ok().json(shown).into())
}

/// Adds a mark.
#[utoipa::path(post, path = "/api/v1/castings/{id}/marks", operation_id = "add_mark", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting"),
           ("Idempotency-Key" = Option<String>, Header)),
    request_body = MarkForm,
    responses((status = 204, description = "It is noted")))]
async fn add_mark(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<MarkForm>,
) -> Answer {
    let keyed = keyed(&req, &who, &body.sent)?;
    let mut errors = FormErrors::default();
    let Some(mark) = body.form.read(&mut errors) else {
        return Err(errors.into());
    };
    describe_casting::add_mark(&who.actor(), *id, &mark, keyed.as_ref()).await?;
    Ok(nothing())
}

/// Removes a mark.
#[utoipa::path(delete, path = "/api/v1/castings/{id}/marks/{mark}", operation_id = "remove_mark", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting"),
           ("mark" = Uuid, Path, description = "The mark")),
    responses((status = 204, description = "It is removed")))]
async fn remove_mark(who: SignedIn, ids: web::Path<(Uuid, Uuid)>) -> Answer {
    let (id, mark) = ids.into_inner();
    describe_casting::remove_mark(&who.actor(), id, mark).await?;
    Ok(nothing())
}

/// Something that was measured or looked for.
#[derive(Debug, Serialize, ToSchema)]
struct MeasurementShown {
    id: Uuid,
    what: String,
    /// A place of the register, `rear R7`, when it is one.
    place: Option<String>,
    /// Whether something was there.
    there: bool,
    /// In mm.
    #[schema(value_type = Option<String>)]
    measured: Option<Decimal>,
    instrument: String,
    at: DateTime<Utc>,
    by: Option<String>,
}

impl From<KeptMeasurement> for MeasurementShown {
    fn from(kept: KeptMeasurement) -> Self {
        let one = kept.measurement;
        Self {
            id: kept.id,
            what: one.what,
            place: one.place.map(|place| place.to_string()),
            there: one.found != Found::Absent,
            measured: match one.found {
                Found::Measured(length) => Some(length.mm()),
                Found::Absent | Found::There => None,
            },
            instrument: one.instrument,
            at: kept.at,
            by: kept.person,
        }
    }
}

/// What was measured on a casting.
#[utoipa::path(get, path = "/api/v1/castings/{id}/measurements", operation_id = "list_measurements", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting")),
    responses((status = 200, description = "The measurements, the latest first", body = Vec<MeasurementShown>)))]
async fn measurements(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    castings_on_shelf::get(&mut tx, *id).await?;
    let all = casting_records::measurements(&mut tx, *id).await?;
    let shown: Vec<MeasurementShown> = all.into_iter().map(MeasurementShown::from).collect();
    Ok(HttpResponse::Ok().json(shown).into())
}

/// Adds a measurement.
#[utoipa::path(post, path = "/api/v1/castings/{id}/measurements", operation_id = "add_measurement", tag = "Castings",
    params(("id" = Uuid, Path, description = "The casting"),
           ("Idempotency-Key" = Option<String>, Header)),
    request_body = MeasureForm,
    responses((status = 204, description = "It is noted")))]
async fn measure(
    req: HttpRequest,
    who: SignedIn,
    id: web::Path<Uuid>,
    body: Body<MeasureForm>,
) -> Answer {
    let keyed = keyed(&req, &who, &body.sent)?;
    let mut errors = FormErrors::default();
    let Some(measurement) = body.form.read(who.shop.length_unit, &mut errors) else {
        return Err(errors.into());
    };
    let actor = who.actor();
    describe_casting::add_measurement(&actor, *id, &measurement, keyed.as_ref()).await?;
    Ok(nothing())
}
