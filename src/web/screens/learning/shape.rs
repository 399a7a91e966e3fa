//! What shapes a standard besides its minutes: how much of a run somebody stands by, and how much single operations differ.

use super::standards::{PATH, page};
use crate::app::AppError;
use crate::app::learn_attended::{AttendedShare, take_attended};
use crate::app::learn_scatter::{OwnScatter, take_scatter};
use crate::db::DbError;
use crate::db::people::Role;
use crate::review::ratios::Interval;
use crate::units::plain;
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
    who.require(Role::Owner)?;
    let (key, share) = form.read()?;
    let taken = take_attended(&who.actor(), &site.lessons, key, share, Utc::now()).await;
    done(&who, &site, taken).await
}

async fn scattered(who: SignedIn, site: web::Data<Site>, form: CheckedForm<ShapeForm>) -> Answer {
    who.require(Role::Owner)?;
    let (key, cv) = form.read()?;
    let taken = take_scatter(&who.actor(), &site.lessons, key, cv, Utc::now()).await;
    done(&who, &site, taken).await
}

async fn done(who: &SignedIn, site: &Site, taken: Result<(), AppError>) -> Answer {
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

/// A row of either table. Figures from 0 to 1.
struct Row<'a> {
    element: Uuid,
    name: &'a str,
    version: i32,
    present: f64,
    found: Interval,
    operations: usize,
    proposed: Option<Decimal>,
}

/// Elements that a machine runs by itself, with how much of it somebody stands by.
pub(super) fn attended(who: &SignedIn, shares: &[AttendedShare]) -> Markup {
    let rows: Vec<Row> = shares
        .iter()
        .map(|a| Row {
            element: a.element,
            name: &a.name,
            version: a.version,
            present: plain(a.standard),
            found: a.found.share,
            operations: a.found.operations,
            proposed: a.proposed,
        })
        .collect();
    html! {
        @if !rows.is_empty() {
            h2 #attended { "How much of a run somebody stands by" }
            p.muted { "A person is planned and charged for this share of a run; the machine does the rest alone. It is learned from what was booked as attended and as running alone." }
            (table(who, "/review/standards/attended", &rows))
        }
    }
}

/// Elements of which another spread is proposed; the others are folded away.
pub(super) fn scatter(who: &SignedIn, scatter: &[OwnScatter]) -> Markup {
    let rows = |change: bool| -> Vec<Row<'_>> {
        scatter
            .iter()
            .filter(|s| s.proposed.is_some() == change)
            .map(|s| Row {
                element: s.element,
                name: &s.name,
                version: s.version,
                present: s.present,
                found: s.found.cv,
                operations: s.found.operations,
                proposed: s.proposed,
            })
            .collect()
    };
    let (change, right) = (rows(true), rows(false));
    html! {
        @if !scatter.is_empty() {
            h2 #scatter { "How much single operations differ" }
            p.muted { "By themselves, with who did it, its job and its month allowed for, in per cent of the time. Promises and prices allow for it; the average stays." }
            @if change.is_empty() { p { "Every spread is right, or too little is booked to say." } }
            @else { (table(who, "/review/standards/scatter", &change)) }
            @if !right.is_empty() {
                details {
                    summary { "Right, or too little booked to say (" (right.len()) ")" }
                    (table(who, "/review/standards/scatter", &right))
                }
            }
        }
    }
}

fn table(who: &SignedIn, action: &str, rows: &[Row]) -> Markup {
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
