//! The calls that were taken down, and what would have an option of an answer ready by the wanted day.

use super::enquiries::Shown;
use super::paging::Rows;
use super::plan_changes::PromiseMoved;
use crate::app::make_the_day::{DayMakers, PricedWay, make_the_day};
use crate::db::enquiries;
use crate::db::people::Role;
use crate::enquiry::EnquiryState;
use crate::planning::changes::PlanChange;
use crate::units::{Code, Money};
use crate::web::ui::{Answer, FormErrors, SignedIn};
use actix_web::{HttpResponse, web};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

#[derive(OpenApi)]
#[openapi(paths(list, sooner))]
pub(super) struct Doc;

/// Which calls.
#[derive(Debug, Deserialize)]
pub(super) struct Which {
    #[serde(default)]
    view: String,
    before: Option<i64>,
    limit: Option<u32>,
}

/// Calls.
#[derive(Debug, Serialize, ToSchema)]
struct EnquiriesListed {
    enquiries: Vec<Shown>,
    /// For `before`, where there may be older ones.
    older_than: Option<i64>,
}

/// The calls, the latest first.
#[utoipa::path(get, path = "/api/v1/enquiries", operation_id = "list_enquiries", tag = "Enquiries",
    params(("view" = Option<String>, Query, description = "`all`: those closed without a sale too"),
           ("before" = Option<i64>, Query, description = "Only those numbered below"),
           ("limit" = Option<u32>, Query)),
    responses((status = 200, description = "The calls", body = EnquiriesListed)))]
pub(super) async fn list(who: SignedIn, which: web::Query<Which>) -> Answer {
    who.require(Role::Office)?;
    let rows = Rows::of(which.limit, None).check()?;
    let states = match which.view.as_str() {
        "" => &[EnquiryState::Open, EnquiryState::Quoted, EnquiryState::Won][..],
        "all" => EnquiryState::ALL,
        _ => {
            let mut errors = FormErrors::default();
            errors.add("view", "Send all, or leave it out");
            return Err(errors.into());
        }
    };
    let most = u16::try_from(rows.limit).unwrap_or(u16::MAX);
    let mut tx = who.begin().await?;
    let found = enquiries::list(&mut tx, states, which.before, most).await?;
    let whole = found.len() == usize::from(most);
    let last = found.last().map(|enquiry| enquiry.number);
    let listed = EnquiriesListed {
        older_than: last.filter(|_| whole),
        enquiries: found.into_iter().map(Shown::from).collect(),
    };
    Ok(HttpResponse::Ok().json(listed).into())
}

/// Which option.
#[derive(Debug, Deserialize)]
pub(super) struct WhichOption {
    answer: Uuid,
    option: String,
}

/// What would make a wanted day.
#[derive(Debug, Serialize, ToSchema)]
struct DayMade {
    wanted_by: NaiveDate,
    /// The ways that were tried on the plan as it is now, the best first.
    ways: Vec<Way>,
}

/// A way to have it ready sooner.
#[derive(Debug, Serialize, ToSchema)]
struct Way {
    /// What is done, in words.
    words: Vec<String>,
    /// The changes of the plan that do it, as they are asked for.
    #[schema(value_type = Vec<Object>)]
    changes: Vec<PlanChange>,
    /// Whether it makes the day.
    makes_it: bool,
    /// When it would be ready, at the shop's confidence.
    ready: Option<DateTime<Utc>>,
    /// Of people.
    overtime_minutes: i64,
    /// What the overtime costs the shop, before overhead and margin.
    #[schema(value_type = Object)]
    cost: Money,
    /// The price before tax with the overtime in it.
    #[schema(value_type = Object)]
    price: Money,
    /// Other jobs that would be ready later.
    touched: Vec<PromiseMoved>,
}

impl Way {
    fn of(found: &DayMakers, priced: &PricedWay) -> Self {
        let way = &priced.way;
        let words = way.changes.iter().map(|change| change.words(&found.floor));
        Self {
            words: words.collect(),
            changes: way.changes.clone(),
            makes_it: way.meets(found.by),
            ready: way.ready,
            overtime_minutes: way.overtime,
            cost: priced.cost,
            price: priced.price,
            touched: way.touched.iter().map(PromiseMoved::from).collect(),
        }
    }
}

/// What would have an option ready by the wanted day. Nothing is changed by looking.
#[utoipa::path(get, path = "/api/v1/enquiries/{id}/sooner", operation_id = "look_for_sooner", tag = "Enquiries",
    params(("id" = Uuid, Path, description = "The enquiry"),
           ("answer" = Uuid, Query, description = "The answer that was read out"),
           ("option" = String, Query, description = "The key of the option in it")),
    responses((status = 200, description = "The ways", body = DayMade)))]
pub(super) async fn sooner(
    who: SignedIn,
    id: web::Path<Uuid>,
    which: web::Query<WhichOption>,
) -> Answer {
    let asked = (*id, which.answer);
    let found = make_the_day(&who.actor(), asked, &which.option, Utc::now()).await?;
    let made = DayMade {
        wanted_by: found.wanted_by,
        ways: found.ways.iter().map(|way| Way::of(&found, way)).collect(),
    };
    Ok(HttpResponse::Ok().json(made).into())
}
