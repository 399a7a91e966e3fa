//! A bargain over JSON: what comes of it, and the quote that is given on its terms.

use super::body::Body;
use crate::app::give_quote::try_bargain;
use crate::app::{AppError, Refusal};
use crate::db::people::Role;
use crate::enquiry::bargain::Bargain;
use crate::web::ui::{Answer, FormErrors, SignedIn};
use actix_web::{HttpResponse, web};
use serde::Deserialize;
use utoipa::ToSchema;
use uuid::Uuid;

/// What is asked. The price and the day are text, so that a wrong one is complained about by field.
#[derive(Debug, Default, Deserialize, ToSchema)]
#[serde(default, deny_unknown_fields)]
#[schema(as = Bargain)]
pub(super) struct Asked {
    /// Before tax, in the shop's currency.
    price: Option<String>,
    /// Why anything differs from the answer.
    reason: String,
    /// Numbers of operations that are left out.
    left_out: Vec<u32>,
    /// Labels of lines of the price that the customer supplies.
    supplied: Vec<String>,
    /// The day to promise.
    promised_on: Option<String>,
}

impl Asked {
    /// Reads it; `None` with complaints.
    pub(super) fn read(&self, who: &SignedIn, errors: &mut FormErrors) -> Option<Bargain> {
        let given = |text: &Option<String>| text.clone().unwrap_or_default();
        let (price, promised_on) = (given(&self.price), given(&self.promised_on));
        let price = errors.optional(&price, |errors| {
            errors.money("price", &price, who.shop.currency)
        });
        let promised_on = errors.optional(&promised_on, |errors| {
            errors.date("promised_on", &promised_on)
        });
        let reason = errors.text("reason", &self.reason, 500);
        Some(Bargain {
            price: price?,
            reason: reason?,
            left_out: self.left_out.clone(),
            supplied: self.supplied.clone(),
            promised_on: promised_on?,
        })
    }
}

/// What is bargained over.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = BargainOver)]
pub(super) struct Over {
    /// The `id` of the answer.
    answer: Uuid,
    /// The option's key in it.
    option: String,
    /// What is asked.
    bargain: Asked,
}

/// What comes of a bargain: the price and its lines, the margin, the chance of a loss, what the customer must hear. Nothing
/// is written.
#[utoipa::path(post, path = "/api/v1/enquiries/{id}/bargain", operation_id = "try_bargain", tag = "Enquiries",
    params(("id" = Uuid, Path, description = "The enquiry")),
    request_body = Over,
    responses((status = 200, description = "Price with its lines, margin, chance of a loss, what the customer must hear",
               body = serde_json::Value)))]
pub(super) async fn look(who: SignedIn, id: web::Path<Uuid>, over: Body<Over>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let asked = over.bargain.read(&who, &mut errors);
    let Some(asked) = asked.filter(|_| errors.is_empty()) else {
        return Err(errors.into());
    };
    let ids = (*id, over.answer);
    let (_, bargained) = try_bargain(&who.actor(), ids, &over.option, &asked).await?;
    let bargained = bargained.map_err(|why| AppError::from(Refusal::Bargain(why)))?;
    Ok(HttpResponse::Ok().json(bargained).into())
}
