//! What shapes a standard besides its minutes: how much of a run somebody stands by, and how much single operations differ.

use super::standards::{PATH, page};
use crate::app::AppError;
use crate::app::learn_shape::{Shape, Shaped, take_shape};
use crate::db::DbError;
use crate::db::people::Role;
use crate::web::shell::site::Site;
use crate::web::ui::stale::stale_notice;
use crate::web::ui::{Answer, CheckedForm, Reply, SignedIn, WebError, csrf_field};
use actix_web::http::StatusCode;
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use rust_decimal::Decimal;
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/review/standards/attended", web::post().to(attend))
        .route("/review/standards/scatter", web::post().to(scattered));
}

/// The figure that is to be taken over, as it was on the screen.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct ShapeForm {
    element: String,
    version: String,
    figure: String,
}

impl ShapeForm {
    fn read(&self) -> Result<((Uuid, i32), Decimal), WebError> {
        let element = self.element.parse().ok();
        let key = element.zip(self.version.parse().ok());
        key.zip(self.figure.parse().ok())
            .ok_or(WebError::NotFound("this standard"))
    }
}

async fn attend(who: SignedIn, site: web::Data<Site>, form: CheckedForm<ShapeForm>) -> Answer {
    take(&who, &site, Shape::Attended, &form).await
}

async fn scattered(who: SignedIn, site: web::Data<Site>, form: CheckedForm<ShapeForm>) -> Answer {
    take(&who, &site, Shape::Scatter, &form).await
}

async fn take(who: &SignedIn, site: &Site, shape: Shape, form: &ShapeForm) -> Answer {
    who.require(Role::Owner)?;
    let (key, figure) = form.read()?;
    let taken = take_shape(&who.actor(), &site.lessons, shape, key, figure, Utc::now()).await;
    match taken {
        Ok(()) => {
            Ok(Reply::see_other(PATH).flash("Saved. The next quotes and plans count with it."))
        }
        Err(AppError::Db(DbError::Stale(_))) => {
            let notice = stale_notice("The standard or what is learned", &[]);
            let page = page(who, site, &notice).await?;
            Ok(page.status(StatusCode::CONFLICT).into())
        }
        Err(error) => Err(error.into()),
    }
}

/// Elements that a machine runs by itself, with how much of it somebody stands by.
pub(super) fn attended(who: &SignedIn, shares: &[Shaped]) -> Markup {
    html! {
        @if !shares.is_empty() {
            h2 #attended { "How much of a run somebody stands by" }
            p.muted { "A person is planned and charged for this share of a run; the machine does the rest alone. It is learned from what was booked as attended and as running alone." }
            (folded(who, "/review/standards/attended", shares, "Every share is right, or too little is booked to say."))
        }
    }
}

/// How much operations of one element differ by themselves.
pub(super) fn scatter(who: &SignedIn, scatter: &[Shaped]) -> Markup {
    html! {
        @if !scatter.is_empty() {
            h2 #scatter { "How much single operations differ" }
            p.muted { "By themselves, with who did it, its job and its month allowed for, in per cent of the time. Promises and prices allow for it; the average stays." }
            (folded(who, "/review/standards/scatter", scatter, "Every spread is right, or too little is booked to say."))
        }
    }
}

/// Elements of which another figure is proposed; the others are folded away.
fn folded(who: &SignedIn, action: &str, all: &[Shaped], none: &str) -> Markup {
    let (change, right): (Vec<&Shaped>, Vec<&Shaped>) =
        all.iter().partition(|s| s.proposed.is_some());
    html! {
        @if change.is_empty() { p { (none) } } @else { (table(who, action, &change)) }
        @if !right.is_empty() {
            details {
                summary { "Right, or too little booked to say (" (right.len()) ")" }
                (table(who, action, &right))
            }
        }
    }
}

fn table(who: &SignedIn, action: &str, rows: &[&Shaped]) -> Markup {
    let may = who.may(Role::Owner) && rows.iter().any(|row| row.proposed.is_some());
    let percent = |share: f64| format!("{:.0}", share * 100.0);
    html! {
        table.cells {
            thead { tr {
                th scope="col" { "Work" } th.number scope="col" { "Standard" } th.number scope="col" { "By bookings" }
                th scope="col" { "9 in 10 sure" } th.number scope="col" { "Operations" }
                @if may { th scope="col" { "Change" } }
            } }
            tbody { @for row in rows { tr {
                th scope="row" { a href={ "/shop/standards/" (row.element) } { (row.name) } }
                td.number data-label="Standard" { (percent(row.present)) "\u{a0}%" }
                td.number data-label="By bookings" { (percent(row.found.likely)) "\u{a0}%" }
                td data-label="9 in 10 sure" { (percent(row.found.low)) " to " (percent(row.found.high)) "\u{a0}%" }
                td.number data-label="Operations" { (row.operations) }
                @if may { td data-label="Change" { @match row.proposed {
                    Some(figure) => {
                        form method="post" action=(action) {
                            (csrf_field(who))
                            input type="hidden" name="element" value=(row.element);
                            input type="hidden" name="version" value=(row.version);
                            input type="hidden" name="figure" value=(figure);
                            button { "Use " ((figure * Decimal::ONE_HUNDRED).normalize()) "\u{a0}%" }
                        }
                    }
                    None => span.muted { "right, or too little to say" },
                } } }
            } } }
        }
    }
}
