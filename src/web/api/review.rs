//! `/api/v1/review`: the figures of the review, as the screen shows them.

use crate::review::variance::Figures;
use crate::units::Code;
use crate::web::screens::review::query::ReviewQuery;
use crate::web::ui::{Answer, SignedIn};
use actix_web::web::Query;
use actix_web::{HttpResponse, web};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::Serialize;

/// `/api/v1/review`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/api/v1/review", web::get().to(show));
}

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
