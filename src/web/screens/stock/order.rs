//! Orders of an item: written down, given another day, received, given up.

use super::form::{OrderForm, coming, quantity};
use super::item::{View, path};
use crate::app::move_stock::{self, SeenOrder};
use crate::db::people::Role;
use crate::db::stock::{Item, Order};
use crate::web::screens::castings::version;
use crate::web::screens::jobs::amount;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Reply, SignedIn, WebError, csrf_field, once_field, show,
};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/stock/items/{id}/orders", web::post().to(add))
        .route(
            "/stock/items/{id}/orders/{order}/receive",
            web::post().to(receive),
        )
        .route(
            "/stock/items/{id}/orders/{order}/expect",
            web::post().to(expect),
        )
        .route(
            "/stock/items/{id}/orders/{order}/give-up",
            web::post().to(give_up),
        );
}

/// What is typed about an order that is open.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct OpenForm {
    /// None when it is another form that was sent.
    came: Option<String>,
    last: String,
    expected: Option<String>,
    version: String,
}

/// The open orders of an item, each with what can be done about it, and the form for another.
pub(super) fn section(
    who: &SignedIn,
    item: &Item,
    orders: &[Order],
    form: &OrderForm,
    typed: Option<&(Uuid, OpenForm)>,
    errors: &FormErrors,
) -> Markup {
    let unit = &item.details.unit;
    let office = who.may(Role::Office);
    html! {
        section.card aria-labelledby="orders-title" {
            h2 #orders-title { "On order" }
            @if orders.is_empty() { p { "Nothing is on order." } }
            @for order in orders {
                @let mine = typed.filter(|(id, _)| *id == order.id).map(|(_, form)| form);
                (one(who, item, order, mine, errors))
            }
            @if office {
                details open[errors.iter().any(|(field, _)| field.starts_with("order_"))] {
                    summary { "Order some" }
                    form.grid method="post" action={ (path(item.id)) "/orders" } novalidate {
                        (csrf_field(who))
                        (once_field())
                        (form.fields(unit, errors))
                        div.actions { button type="submit" { "It is ordered" } }
                    }
                }
            }
        }
    }
}

fn one(
    who: &SignedIn,
    item: &Item,
    order: &Order,
    typed: Option<&OpenForm>,
    errors: &FormErrors,
) -> Markup {
    let unit = &item.details.unit;
    let here = format!("{}/orders/{}", path(item.id), order.id);
    let id = |field: &str| format!("{field}-{}", order.id);
    let overdue = order.details.expected_on.is_some_and(|on| on < who.today());
    let on = order.details.expected_on;
    let stored = on.map(|on| on.to_string()).unwrap_or_default();
    let left = order.left().normalize().to_string();
    let came = typed.and_then(|form| form.came.as_deref()).unwrap_or(&left);
    let expected = typed
        .and_then(|form| form.expected.as_deref())
        .unwrap_or(&stored);
    let last = typed.is_some_and(|form| form.last == "yes");
    html! {
        div.order {
            h3 {
                (amount(order.details.quantity, unit)) " from " (order.details.supplier) ", "
                @match on {
                    Some(on) => span.tag.hole[overdue] { @if overdue { "overdue since " } @else { "expected " } (show::day(on, who.today())) },
                    None => span.tag.hole { "No date" },
                }
            }
            p.muted { "Ordered " (show::day(order.details.ordered_on, who.today())) @if !order.come.is_zero() { "; " (amount(order.come, unit)) " have come" } "." }
            form.grid method="post" action={ (here) "/receive" } novalidate {
                (csrf_field(who))
                input type="hidden" name="version" value=(order.version);
                (Field::decimal("came", "Came in", came).id(&id("came")).unit(unit).errors(errors))
                (Field::checkbox("last", "No more will come", last).id(&id("last")))
                div.actions { button type="submit" { "Receive" } }
            }
            @if who.may(Role::Office) {
                form.grid method="post" action={ (here) "/expect" } novalidate {
                    (csrf_field(who))
                    input type="hidden" name="version" value=(order.version);
                    (Field::date("expected", "Expected", expected).id(&id("expected")).optional().errors(errors))
                    div.actions { button.quiet type="submit" { "Change the day" } }
                }
                form method="post" action={ (here) "/give-up" } {
                    (csrf_field(who))
                    input type="hidden" name="version" value=(order.version);
                    button.danger type="submit" { "Cancel order" }
                }
            }
        }
    }
}

async fn add(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<OrderForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    if let Some(details) = form.read(who.today(), &mut errors) {
        move_stock::order(&who.actor(), *id, &details, form.keyed()).await?;
        return Ok(Reply::see_other(path(*id)).flash("The order is written down."));
    }
    let mut view = View::load(&mut who.begin().await?, *id).await?;
    view.order = form.into_inner();
    view.errors = errors;
    Ok(view.page(&who).invalid().into())
}

fn seen(item_id: Uuid, id: Uuid, form: &OpenForm) -> Result<SeenOrder, WebError> {
    Ok(SeenOrder {
        item_id,
        id,
        version: version(&form.version)?,
    })
}

/// Whoever opens the parcel may take it in.
async fn receive(
    who: SignedIn,
    ids: web::Path<(Uuid, Uuid)>,
    form: CheckedForm<OpenForm>,
) -> Answer {
    let (item_id, order_id) = ids.into_inner();
    let mut errors = FormErrors::default();
    let typed = form.came.as_deref().unwrap_or_default();
    if let Some(came) = quantity(&mut errors, &format!("came-{order_id}"), typed) {
        let last = form.last == "yes";
        let seen = seen(item_id, order_id, &form)?;
        move_stock::receive(&who.actor(), seen, came, last).await?;
        return Ok(Reply::see_other(path(item_id)).flash("Received and on hand."));
    }
    refused(&who, (item_id, order_id), form.into_inner(), errors).await
}

/// The item's page again, with what was typed about one of its orders.
async fn refused(
    who: &SignedIn,
    (item_id, order_id): (Uuid, Uuid),
    form: OpenForm,
    errors: FormErrors,
) -> Answer {
    let mut view = View::load(&mut who.begin().await?, item_id).await?;
    view.open_order = Some((order_id, form));
    view.errors = errors;
    Ok(view.page(who).invalid().into())
}

async fn expect(
    who: SignedIn,
    ids: web::Path<(Uuid, Uuid)>,
    form: CheckedForm<OpenForm>,
) -> Answer {
    who.require(Role::Office)?;
    let (item_id, order_id) = ids.into_inner();
    let mut errors = FormErrors::default();
    let field = format!("expected-{order_id}");
    let typed = form.expected.as_deref().unwrap_or_default();
    let on = errors.optional(typed, |errors| coming(errors, &field, typed, who.today()));
    if let Some(on) = on {
        move_stock::expect(&who.actor(), seen(item_id, order_id, &form)?, on).await?;
        return Ok(Reply::see_other(path(item_id)).flash("The day is changed."));
    }
    refused(&who, (item_id, order_id), form.into_inner(), errors).await
}

async fn give_up(
    who: SignedIn,
    ids: web::Path<(Uuid, Uuid)>,
    form: CheckedForm<OpenForm>,
) -> Answer {
    who.require(Role::Office)?;
    let (item_id, order_id) = ids.into_inner();
    move_stock::give_up(&who.actor(), seen(item_id, order_id, &form)?).await?;
    Ok(Reply::see_other(path(item_id)).flash("No more of it is expected."))
}
