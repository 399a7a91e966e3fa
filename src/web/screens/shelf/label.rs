//! A casting's label, to be printed and tied on.

use super::list::standing;
use super::{ownership_words, path};
use crate::db::casting_records;
use crate::db::castings;
use crate::db::castings_on_shelf as db;
use crate::documents::qr::Code;
use crate::web::screens::castings::back;
use crate::web::shell::site::Site;
use crate::web::ui::show::full_day;
use crate::web::ui::{Answer, Page, Section, SignedIn, WebError};
use actix_web::{HttpRequest, web};
use chrono::Utc;
use maud::{Markup, html};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/castings/shelf/{id}/label", web::get().to(label));
}

async fn label(
    who: SignedIn,
    site: web::Data<Site>,
    req: HttpRequest,
    id: web::Path<Uuid>,
) -> Answer {
    let mut tx = who.begin().await?;
    let casting = db::get(&mut tx, *id).await?;
    let origin = casting_records::origin(&mut tx, *id).await?;
    let marks = casting_records::marks(&mut tx, *id).await?;
    let variant = castings::variant(&mut tx, casting.details.variant_id).await?;
    let title = format!("Label of casting {}", casting.number);
    let printed = Utc::now().with_timezone(&who.shop.time_zone).date_naive();
    let address = site.address(&req, &path(*id));
    let code = Code::of(&address).map_err(|error| {
        WebError::Unprocessable(format!("The label cannot be printed: {error}."))
    })?;
    let body = html! {
        (back(&path(*id), &format!("Casting {}", casting.number)))
        h1.no-print { (title) }
        p.no-print { "Print this page from the browser: only the label is printed. Tie it on where the wash cannot reach it." }
        section.casting-label aria-label=(title) {
            (drawn(&code, casting.number))
            p.shop { (who.shop.name) }
            p.number { (casting.number) }
            p.variant { (variant.name) }
            dl {
                div { dt { "Owner" } dd { (ownership_words(casting.details.ownership)) @if !origin.owner.is_empty() { ": " (origin.owner) } } }
                div { dt { "Status" } dd { (standing(&casting)) } }
                @for kept in marks.iter().take(4) {
                    div { dt { "Mark, " (kept.mark.place) } dd { (kept.mark.text) } }
                }
                div { dt { "Printed" } dd { (full_day(printed)) } }
            }
            p.small { "Scan to open this casting’s page. Lift with the right gear. Never stand under a hanging block." }
        }
    };
    Ok(Page::new(&who, title)
        .nav(Section::Castings)
        .body(body)
        .into())
}

/// A code as a picture, one unit a module.
fn drawn(code: &Code, number: i64) -> Markup {
    let side = code.with_quiet_zone();
    let modules: String = code
        .dark()
        .map(|(column, row)| format!("M{column} {row}h1v1h-1z"))
        .collect();
    html! {
        svg.code viewBox={ "0 0 " (side) " " (side) } role="img" aria-labelledby="code-title" shape-rendering="crispEdges" {
            title #code-title { "Code that opens casting " (number) }
            rect width=(side) height=(side) fill="#fff" {}
            path d=(modules) fill="#000" {}
        }
    }
}
