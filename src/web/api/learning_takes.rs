//! What the owner takes over of what was learned: how much of a run is attended, how single operations differ, how all work
//! varies, and whether promises follow the record.

use super::body::Body;
use super::nothing;
use super::versions;
use crate::app::follow_record::follow_record;
use crate::app::learn_shape::{Shape, take_shape};
use crate::app::learn_spread;
use crate::db::people::Role;
use crate::db::settings::Promised;
use crate::review::spread::Figure;
use crate::units::Code;
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, FormErrors, SignedIn, WebError};
use actix_web::{HttpRequest, web};
use chrono::Utc;
use rust_decimal::Decimal;
use serde::Deserialize;
use std::collections::BTreeMap;
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// Under `/api/v1/review`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/review/shapes/{element}/{shape}").put(shape))
        .service(web::resource("/api/v1/review/spread/taken").put(spread))
        .service(web::resource("/api/v1/review/follow/{what}").put(follow));
}

#[derive(OpenApi)]
#[openapi(paths(shape, spread, follow))]
pub(super) struct Doc;

fn exact(errors: &mut FormErrors, field: &str, text: &str) -> Option<Decimal> {
    errors.decimal(field, text, Decimal::ZERO..=Decimal::from(1_000_000))
}

/// The figure that was proposed.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct ProposedFigure {
    proposed: String,
}

/// Takes over what is proposed for how much of a run is attended, or how single operations differ.
#[utoipa::path(put, path = "/api/v1/review/shapes/{element}/{shape}", operation_id = "take_shape", tag = "Review",
    params(("element" = Uuid, Path, description = "The standard time"),
           ("shape" = String, Path, description = "`attended` or `scatter`"),
           ("If-Match" = String, Header)),
    request_body = ProposedFigure,
    responses((status = 204, description = "The next quotes and plans count with it"),
              (status = 412, description = "The standard, or what is proposed for it, has changed meanwhile")))]
async fn shape(
    req: HttpRequest,
    who: SignedIn,
    site: web::Data<Site>,
    at: web::Path<(Uuid, String)>,
    body: Body<ProposedFigure>,
) -> Answer {
    who.require(Role::Owner)?;
    let (element, shape) = at.into_inner();
    let shape = match shape.as_str() {
        "attended" => Shape::Attended,
        "scatter" => Shape::Scatter,
        _ => return Err(WebError::NotFound("this figure")),
    };
    let key = (element, versions::seen(&req)?);
    let mut errors = FormErrors::default();
    let Some(figure) = exact(&mut errors, "proposed", &body.proposed) else {
        return Err(errors.into());
    };
    let taken = take_shape(&who.actor(), &site.lessons, shape, key, figure, Utc::now()).await;
    taken.map_err(versions::passed)?;
    Ok(nothing())
}

/// Figures of how work varies, as they were proposed.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct ProposedSpread {
    /// By figure: `shop`, `person`, `element`, `job`, `absence`, `rework`, `breakdown`, `repair`.
    figures: BTreeMap<String, String>,
}

/// Takes over figures of how work varies.
#[utoipa::path(put, path = "/api/v1/review/spread/taken", operation_id = "take_spread", tag = "Review",
    params(("If-Match" = String, Header)),
    request_body = ProposedSpread,
    responses((status = 204, description = "Prices, chances and days are worked out with them"),
              (status = 412, description = "The settings, or what is learned, have changed meanwhile")))]
async fn spread(
    req: HttpRequest,
    who: SignedIn,
    site: web::Data<Site>,
    body: Body<ProposedSpread>,
) -> Answer {
    who.require(Role::Owner)?;
    let version = versions::seen(&req)?;
    let mut errors = FormErrors::default();
    let mut chosen = Vec::new();
    for (code, text) in &body.figures {
        let field = format!("figures.{code}");
        match Figure::from_code(code) {
            Some(figure) => chosen.extend(exact(&mut errors, &field, text).map(|d| (figure, d))),
            None => errors.add(&field, "There is no such figure"),
        }
    }
    if body.figures.is_empty() {
        errors.add("figures", "Send one figure or more");
    }
    if !errors.is_empty() {
        return Err(errors.into());
    }
    let taken = learn_spread::take(&who.actor(), &site.lessons, version, &chosen, Utc::now()).await;
    taken.map_err(versions::passed)?;
    Ok(nothing())
}

/// Whether promises follow the record.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Following {
    follow: bool,
}

/// Decides whether days, or prices, follow the record of promises kept.
#[utoipa::path(put, path = "/api/v1/review/follow/{what}", operation_id = "follow_record", tag = "Review",
    params(("what" = String, Path, description = "`day` or `cost`"),
           ("If-Match" = String, Header)),
    request_body = Following,
    responses((status = 204, description = "It is decided"),
              (status = 412, description = "The settings have changed meanwhile")))]
async fn follow(
    req: HttpRequest,
    who: SignedIn,
    what: web::Path<String>,
    body: Body<Following>,
) -> Answer {
    who.require(Role::Owner)?;
    let what = Promised::from_code(&what).ok_or(WebError::NotFound("what follows the record"))?;
    let version = versions::seen(&req)?;
    let decided = follow_record(&who.actor(), what, body.follow, version, Utc::now()).await;
    decided.map_err(versions::passed)?;
    Ok(nothing())
}
