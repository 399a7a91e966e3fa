//! A casting's label, to be printed and tied on.

use super::{ownership_words, path, standing};
use crate::store::casting_records;
use crate::store::castings;
use crate::store::castings_on_shelf as store;
use crate::web::castings::back;
use crate::web::show::day;
use crate::web::{Answer, Page, Section, SignedIn};
use actix_web::web;
use chrono::Utc;
use maud::html;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/castings/shelf/{id}/label", web::get().to(label));
}

async fn label(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    let casting = store::get(&mut tx, *id).await?;
    let origin = casting_records::origin(&mut tx, *id).await?;
    let marks = casting_records::marks(&mut tx, *id).await?;
    let variant = castings::variant(&mut tx, casting.details.variant_id).await?;
    let title = format!("Label of casting {}", casting.number);
    let printed = Utc::now().with_timezone(&who.shop.time_zone).date_naive();
    let body = html! {
        (back(&path(*id), &format!("Casting {}", casting.number)))
        h1.no-print { (title) }
        p.no-print { "Print this page with the browser’s own print; only the label comes out. Tie it on where the wash does not take it." }
        section.casting-label aria-label=(title) {
            p.shop { (who.shop.name) }
            p.number { (casting.number) }
            p.variant { (variant.name) }
            dl {
                div { dt { "Whose" } dd { (ownership_words(casting.details.ownership)) @if !origin.owner.is_empty() { ": " (origin.owner) } } }
                div { dt { "Stands at" } dd { (standing(&casting)) } }
                @for kept in marks.iter().take(4) {
                    div { dt { "Mark, " (kept.mark.place) } dd { (kept.mark.text) } }
                }
                div { dt { "Printed" } dd { (day(printed)) } }
            }
            p.small { "Lift with the right gear; never under a hanging block." }
        }
    };
    Ok(Page::new(&who, title)
        .nav(Section::Castings)
        .body(body)
        .into())
}
