//! `/api/v1/review`: the figures of the review, as the screen shows them.

use crate::app::decisions::Decision;
use crate::review::variance::Figures;
use crate::units::{Code, Money};
use crate::web::screens::review::query::ReviewQuery;
use crate::web::ui::{Answer, SignedIn};
use actix_web::web::Query;
use actix_web::{HttpResponse, web};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::Serialize;
use utoipa::OpenApi;

/// `/api/v1/review` and what is under it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/review").get(show))
        .service(web::resource("/api/v1/review/decisions").get(looked_back));
}

#[derive(OpenApi)]
#[openapi(paths(show, looked_back))]
pub(super) struct Doc;

/// Hours in minutes, money in the currency; exact, as text.
#[derive(Debug, Serialize)]
struct Sums {
    people_minutes: Decimal,
    people_minutes_estimated: Decimal,
    machine_minutes: Decimal,
    machine_minutes_estimated: Decimal,
    cost: Decimal,
    cost_estimated: Decimal,
    variance: Decimal,
    efficiency_variance: Decimal,
    rate_variance: Decimal,
}

impl From<&Figures> for Sums {
    fn from(figures: &Figures) -> Self {
        let two = |amount: Decimal| amount.round_dp(2).normalize();
        Self {
            people_minutes: two(figures.people),
            people_minutes_estimated: two(figures.people_allowed),
            machine_minutes: two(figures.machine),
            machine_minutes_estimated: two(figures.machine_allowed),
            cost: two(figures.cost),
            cost_estimated: two(figures.allowed_cost),
            variance: two(figures.variance()),
            efficiency_variance: two(figures.efficiency()),
            rate_variance: two(figures.rate),
        }
    }
}

#[derive(Debug, Serialize)]
struct GroupOut {
    key: String,
    name: String,
    #[serde(flatten)]
    sums: Sums,
}

#[derive(Debug, Serialize)]
struct PresenceOut {
    person: String,
    working_minutes: i64,
    booked_minutes: i64,
}

#[derive(Debug, Serialize)]
struct ReviewOut {
    from: NaiveDate,
    until: NaiveDate,
    by: &'static str,
    currency: String,
    groups: Vec<GroupOut>,
    total: Sums,
    working_minutes: i64,
    booked_minutes: i64,
    /// For the owner.
    people: Vec<PresenceOut>,
}

/// The figures of a period.
#[utoipa::path(get, path = "/api/v1/review", operation_id = "review", tag = "Review",
    params(("period" = Option<String>, Query, description = "As in the address of the review"),
           ("from" = Option<String>, Query, description = "Its first day, YYYY-MM-DD"),
           ("until" = Option<String>, Query, description = "Its last day, YYYY-MM-DD"),
           ("by" = Option<String>, Query, description = "What the figures are grouped by")),
    responses((status = 200, description = "Groups and their total: minutes and money, actual and estimated",
               body = serde_json::Value)))]
async fn show(who: SignedIn, asked: Query<ReviewQuery>) -> Answer {
    let (asked, reviewed) = asked.reviewed(&who).await?;
    let groups = reviewed.review.groups.iter();
    let people = reviewed.people.into_iter();
    let out = ReviewOut {
        from: asked.period.from,
        until: asked.period.until,
        by: asked.by.code(),
        currency: reviewed.currency.code().to_owned(),
        groups: groups
            .map(|group| GroupOut {
                key: group.label.key.clone(),
                name: group.label.name.clone(),
                sums: Sums::from(&group.figures),
            })
            .collect(),
        total: Sums::from(&reviewed.review.total),
        working_minutes: reviewed.presence.working,
        booked_minutes: reviewed.presence.booked,
        people: people
            .map(|p| PresenceOut {
                person: p.person,
                working_minutes: p.working,
                booked_minutes: p.booked,
            })
            .collect(),
    };
    Ok(HttpResponse::Ok().json(out).into())
}

/// Money before tax, exact, as text.
#[derive(Debug, Serialize)]
struct DecisionOut {
    job: i64,
    title: String,
    kind: String,
    price: Decimal,
    margin_planned: Option<Decimal>,
    margin_made: Decimal,
    ready_on: NaiveDate,
    other_way: Option<OtherOut>,
}

#[derive(Debug, Serialize)]
struct OtherOut {
    kind: String,
    title: String,
    /// The price that the true cost of the way taken would have asked for.
    came_to: Decimal,
    price_low: Decimal,
    price_likely: Decimal,
    price_high: Decimal,
    ready_likely: Option<NaiveDate>,
    /// The share of futures, from 0 to 1, in which it is sooner.
    sooner: f64,
}

#[derive(Debug, Serialize)]
struct DecisionsOut {
    from: NaiveDate,
    until: NaiveDate,
    currency: String,
    margin_planned: Decimal,
    margin_made: Decimal,
    with_margin: usize,
    with_another_way: usize,
    cheaper: usize,
    sooner: usize,
    decisions: Vec<DecisionOut>,
}

impl From<Decision> for DecisionOut {
    fn from(d: Decision) -> Self {
        let currency = d.net.currency();
        let minor = |minor: i64| Money::from_minor(minor, currency).amount();
        Self {
            job: d.job_number,
            title: d.title,
            kind: d.kind,
            price: d.net.amount(),
            margin_planned: d.planned.map(|m| m.amount()),
            margin_made: d.made.amount(),
            ready_on: d.ready_on,
            other_way: d.other.map(|other| {
                let [low, likely, high] = other.hindsight.price.map(minor);
                let [_, ready_likely, _] = other.hindsight.ready;
                OtherOut {
                    kind: other.kind,
                    title: other.title,
                    came_to: other.came.amount(),
                    price_low: low,
                    price_likely: likely,
                    price_high: high,
                    ready_likely,
                    sooner: other.hindsight.sooner,
                }
            }),
        }
    }
}

#[utoipa::path(get, path = "/api/v1/review/decisions", operation_id = "review_decisions", tag = "Review",
    responses((status = 200, description = "Jobs with the margin planned and made, and what the other way would have cost",
               body = serde_json::Value)))]
async fn looked_back(who: SignedIn, asked: Query<ReviewQuery>) -> Answer {
    let (period, known) = asked.decided(&who).await?;
    let (planned, made) = known.margins;
    let out = DecisionsOut {
        from: period.from,
        until: period.until,
        currency: known.currency.code().to_owned(),
        margin_planned: planned.amount(),
        margin_made: made.amount(),
        with_margin: known.with_margin,
        with_another_way: known.together.decisions,
        cheaper: known.together.cheaper,
        sooner: known.together.sooner,
        decisions: known.decisions.into_iter().map(DecisionOut::from).collect(),
    };
    Ok(HttpResponse::Ok().json(out).into())
}
