//! What comes before what: kinds of work in a route, and conversion rules among each other.

use super::body::Body;
use super::nothing;
use crate::app::change_order::change;
use crate::app::{AppError, Refusal};
use crate::db::people::Role;
use crate::db::{order_of_work, remedy_rules};
use crate::units::Code;
use crate::web::screens::shop::OrderForm;
use crate::web::ui::{Answer, FormErrors, SignedIn};
use actix_web::{HttpResponse, web};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use utoipa::{OpenApi, ToSchema};
use uuid::Uuid;

/// `/api/v1/order-of-work` and `/api/v1/rules/order`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(web::resource("/api/v1/order-of-work").get(show).post(enter))
        .service(web::resource("/api/v1/rules/order").put(sort));
}

#[derive(OpenApi)]
#[openapi(paths(show, enter, sort))]
pub(super) struct Doc;

/// The order of work, and the rules that it follows from.
#[derive(Debug, Serialize, ToSchema)]
struct OrderOfWorkShown {
    /// Kinds of work, the first first.
    order: Vec<&'static str>,
    rules: Vec<OrderRule>,
}

/// One kind of work before another.
#[derive(Debug, Serialize, ToSchema)]
struct OrderRule {
    first: &'static str,
    then: &'static str,
    why: String,
}

/// The order of work.
#[utoipa::path(get, path = "/api/v1/order-of-work", operation_id = "read_order_of_work", tag = "Shop",
    responses((status = 200, description = "Kinds of work in their order, and the rules", body = OrderOfWorkShown)))]
async fn show(who: SignedIn) -> Answer {
    let (rules, order) = order_of_work::get(&mut who.begin().await?).await?;
    let shown = OrderOfWorkShown {
        order: order.all().iter().map(|stage| stage.code()).collect(),
        rules: rules
            .into_iter()
            .map(|rule| OrderRule {
                first: rule.first.code(),
                then: rule.then.code(),
                why: rule.why,
            })
            .collect(),
    };
    Ok(HttpResponse::Ok().json(shown).into())
}

/// Adds a rule, removes one, or goes back to the usual ones.
#[utoipa::path(post, path = "/api/v1/order-of-work", operation_id = "change_order_of_work", tag = "Shop",
    request_body = OrderForm,
    responses((status = 204, description = "It is changed; new quotes and jobs follow it")))]
async fn enter(who: SignedIn, body: Body<OrderForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let Some(asked) = body.form.read(&mut errors) else {
        return Err(errors.into());
    };
    match change(&who.actor(), &asked).await {
        Ok(()) => Ok(nothing()),
        Err(AppError::Refused(Refusal::Order(why))) => {
            errors.add("then", format!("Choose another: {why}"));
            Err(errors.into())
        }
        Err(other) => Err(other.into()),
    }
}

/// All conversion rules in the order in which they are tried.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct RulesInOrder {
    rules: Vec<Uuid>,
}

/// Puts the conversion rules in another order; the first that fits decides.
#[utoipa::path(put, path = "/api/v1/rules/order", operation_id = "sort_rules", tag = "Castings",
    request_body = RulesInOrder,
    responses((status = 204, description = "They are tried in this order")))]
async fn sort(who: SignedIn, body: Body<RulesInOrder>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let kept = remedy_rules::list(&mut tx).await?;
    let known: BTreeSet<Uuid> = kept.iter().map(|rule| rule.id).collect();
    let sent: BTreeSet<Uuid> = body.rules.iter().copied().collect();
    if sent != known || sent.len() != body.rules.len() {
        let mut errors = FormErrors::default();
        errors.add("rules", "Send the key of every rule once");
        return Err(errors.into());
    }
    remedy_rules::reorder(&mut tx, &body.rules).await?;
    tx.commit().await?;
    Ok(nothing())
}
