//! `/api/v1/review/standards`, `/spread` and `/quotes`: what is learned, as the screens show it.

use super::body::Body;
use super::nothing;
use super::versions;
use crate::app::learn_shape::Shaped;
use crate::app::review_quotes::quotes_review;
use crate::app::{learn, learn_spread};
use crate::db::people::Role;
use crate::review::proposals::Verdict;
use crate::review::ratios::Interval;
use crate::units::Code;
use crate::web::screens::learning::proposal::{self, DecisionForm};
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, FormErrors, SignedIn, WebError};
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::Utc;
use rust_decimal::Decimal;
use serde::Serialize;
use utoipa::OpenApi;
use uuid::Uuid;

/// `/api/v1/review/standards`, `/spread` and `/quotes`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/review/standards").get(standards))
        .service(web::resource("/api/v1/review/standards/{element}/{part}").put(decide))
        .service(web::resource("/api/v1/review/spread").get(spread))
        .service(web::resource("/api/v1/review/quotes").get(quotes));
}

#[derive(OpenApi)]
#[openapi(paths(standards, decide, spread, quotes))]
pub(super) struct Doc;

/// A figure with what it is nine times in ten between.
#[derive(Debug, Serialize)]
struct Range {
    low: f64,
    likely: f64,
    high: f64,
}

impl From<Interval> for Range {
    fn from(Interval { low, likely, high }: Interval) -> Self {
        Self { low, likely, high }
    }
}

#[derive(Debug, Serialize)]
struct StandardOut {
    element: Uuid,
    code: String,
    name: String,
    part: &'static str,
    /// `minutes`, or `percent` of the calculated time.
    measure: &'static str,
    standard: Decimal,
    by_bookings: Decimal,
    /// Actual over standard.
    ratio: Range,
    operations: usize,
    /// `change`, `right` or `too_little`.
    verdict: &'static str,
    /// The version of the standard time, for `If-Match`.
    version: i32,
}

#[derive(Debug, Serialize)]
struct ShapedOut {
    element: Uuid,
    name: String,
    /// A share of the run, or a coefficient of variation: 0.1 is ten per cent.
    standard: f64,
    by_bookings: Range,
    proposed: Option<Decimal>,
    operations: usize,
    /// The version of the standard time, for `If-Match`.
    version: i32,
}

impl ShapedOut {
    fn of(shaped: &Shaped) -> Self {
        Self {
            element: shaped.element,
            name: shaped.name.clone(),
            standard: shaped.present,
            by_bookings: shaped.found.into(),
            proposed: shaped.proposed,
            operations: shaped.operations,
            version: shaped.version,
        }
    }
}

#[derive(Debug, Serialize)]
struct StandardsOut {
    finished_operations: usize,
    standards: Vec<StandardOut>,
    attended: Vec<ShapedOut>,
    scatter: Vec<ShapedOut>,
}

fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Change => "change",
        Verdict::Right => "right",
        Verdict::TooLittle => "too_little",
    }
}

#[utoipa::path(get, path = "/api/v1/review/standards", operation_id = "review_standards", tag = "Review",
    responses((status = 200, description = "Standard times, attended shares and scatter as the bookings have them", body = serde_json::Value)))]
async fn standards(who: SignedIn, site: web::Data<Site>) -> Answer {
    let lesson = learn::lesson(&who.actor(), &site.lessons, Utc::now()).await?;
    let standards = lesson.proposals.iter().flat_map(|proposal| {
        proposal.changes.iter().map(|change| StandardOut {
            element: change.element,
            code: change.code.clone(),
            name: change.name.clone(),
            part: change.part.code(),
            measure: change.measure.code(),
            standard: change.before,
            by_bookings: change.after,
            ratio: proposal.found.ratio.into(),
            operations: proposal.found.operations,
            verdict: verdict(proposal.verdict),
            version: change.version,
        })
    });
    let out = StandardsOut {
        finished_operations: lesson.sources.len(),
        standards: standards.collect(),
        attended: lesson.attended.iter().map(ShapedOut::of).collect(),
        scatter: lesson.scatter.iter().map(ShapedOut::of).collect(),
    };
    Ok(HttpResponse::Ok().json(out).into())
}

/// Decides what is proposed for a standard: taken, changed to a figure of the owner's, or refused.
#[utoipa::path(put, path = "/api/v1/review/standards/{element}/{part}", operation_id = "decide_standard", tag = "Review",
    params(("element" = Uuid, Path, description = "The standard time"),
           ("part" = String, Path, description = "`setup` or `run`"),
           ("If-Match" = String, Header)),
    request_body = DecisionForm,
    responses((status = 204, description = "It is decided"),
              (status = 412, description = "The standard, or what is proposed for it, has changed meanwhile")))]
async fn decide(
    req: HttpRequest,
    who: SignedIn,
    site: web::Data<Site>,
    at: web::Path<(String, String)>,
    body: Body<DecisionForm>,
) -> Answer {
    who.require(Role::Owner)?;
    let (element, part) = proposal::of_path(&at.0, &at.1)?;
    let version = versions::seen(&req)?;
    let (actor, now) = (who.actor(), Utc::now());
    let lesson = learn::lesson(&actor, &site.lessons, now).await?;
    let proposal = lesson
        .proposal(element, part)
        .ok_or(WebError::NotFound("what is proposed for this standard"))?;
    let mut errors = FormErrors::default();
    let Some(choice) = proposal::read(&body.form, proposal, &mut errors) else {
        return Err(errors.into());
    };
    let choice = learn::Choice { version, ..choice };
    learn::decide(&actor, &site.lessons, &choice, now)
        .await
        .map_err(versions::passed)?;
    Ok(nothing())
}

/// Figures in per cent, those of breakdowns in working hours.
#[derive(Debug, Serialize)]
struct SpreadOut {
    figure: &'static str,
    set: Decimal,
    by_bookings: Option<Decimal>,
    interval: Option<Range>,
    count: usize,
}

#[utoipa::path(get, path = "/api/v1/review/spread", operation_id = "review_spread", tag = "Review",
    responses((status = 200, description = "How much work varies, as set and by bookings; the version of the settings in ETag", body = serde_json::Value)))]
async fn spread(who: SignedIn, site: web::Data<Site>) -> Answer {
    let (lines, lesson) = learn_spread::spread(&who.actor(), &site.lessons, Utc::now()).await?;
    let out: Vec<SpreadOut> = lines
        .into_iter()
        .map(|line| SpreadOut {
            figure: line.figure.code(),
            set: line.present,
            by_bookings: line.proposed,
            interval: line.interval.map(Range::from),
            count: line.count,
        })
        .collect();
    let version = lesson.settings.version;
    Ok(versions::tagged(
        version,
        serde_json::json!({ "spread": out }),
    ))
}

#[derive(Debug, Serialize)]
struct QuoteOut {
    id: Uuid,
    kind: String,
    net: Decimal,
    margin: Option<Decimal>,
    state: &'static str,
    lost_why: Option<String>,
}

#[derive(Debug, Serialize)]
struct QuotesOut {
    quotes: Vec<QuoteOut>,
    /// The chance to win at the usual price over cost, where it can be told.
    usual_price_over_cost: Option<f64>,
    chance_at_usual: Option<Range>,
}

#[utoipa::path(get, path = "/api/v1/review/quotes", operation_id = "review_quotes", tag = "Review",
    responses((status = 200, description = "Quotes with their margin and what became of them", body = serde_json::Value)))]
async fn quotes(who: SignedIn) -> Answer {
    let review = quotes_review(&who.actor(), Utc::now()).await?;
    let curve = review.curve.as_ref();
    let out = QuotesOut {
        usual_price_over_cost: curve.map(|curve| curve.middle),
        chance_at_usual: curve.map(|curve| curve.chance(curve.middle).into()),
        quotes: review
            .quotes
            .into_iter()
            .map(|quote| QuoteOut {
                id: quote.id,
                kind: quote.option_kind,
                net: quote.net.amount(),
                margin: quote.margin.map(|m| m.amount()),
                state: quote.state.code(),
                lost_why: quote.lost_why,
            })
            .collect(),
    };
    Ok(HttpResponse::Ok().json(out).into())
}
