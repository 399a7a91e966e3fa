//! `/castings/rules`: the shop's conversion rules, in the order its rules are tried.

use super::{back, or_none};
use crate::castings::RemedyRule;
use crate::db::people::Role;
use crate::db::{crack_repairs, remedy_rules as db};
use crate::units::LengthUnit;
use crate::web::ui::{Answer, CheckedForm, Page, Reply, Section, SignedIn, WebError, csrf_field};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/castings/rules", web::get().to(list))
        .route("/castings/rules/{id}/move", web::post().to(shift));
}

async fn list(who: SignedIn) -> Answer {
    let mut tx = who.begin().await?;
    let rules = db::list(&mut tx).await?;
    let cracks = crack_repairs::list(&mut tx).await?;
    tx.commit().await?;
    let may_edit = who.may(Role::Office);
    let page = Page::new(&who, "Conversion rules").nav(Section::Castings);
    Ok(page
        .body(html! {
            (back("/castings", "All castings"))
            div.bar {
                h1 { "Conversion rules" }
                @if may_edit {
                    a.button href="/castings/rules/new" data-key="n" data-key-label="New rule" { "New rule" }
                }
            }
            p.lead { "What the shop does about a difference. Rules are tried from the top; the first that fits decides." }
            @if rules.is_empty() {
                section.card {
                    h2 { "No rule yet" }
                    p { "Until there is one, every difference counts as “cannot be done”. Start with a feature that is missing where there is metal for it." }
                }
            } @else {
                ol.rules {
                    @for (index, rule) in rules.iter().enumerate() {
                        (rule_item(&who, rule, index, rules.len(), may_edit))
                    }
                }
            }
            (super::crack_repairs::list(&cracks, may_edit))
        })
        .into())
}

fn rule_item(who: &SignedIn, rule: &RemedyRule, index: usize, of: usize, may_edit: bool) -> Markup {
    let path = format!("/castings/rules/{}", rule.id);
    html! {
        li.card id={ "rule-" (rule.id) } {
            div.bar {
                h2 { span.muted { (index + 1) ". " } (rule.name) }
                @if may_edit {
                    div.actions {
                        @for (way, word, off) in [("up", "↑", index == 0), ("down", "↓", index + 1 == of)] {
                            form method="post" action={ (path) "/move" } {
                                (csrf_field(who))
                                input type="hidden" name="way" value=(way);
                                button.quiet type="submit" disabled[off] aria-label={ "Move " (rule.name) " " (way) } { (word) }
                            }
                        }
                        a.button.quiet href={ (path) "/edit" } aria-label={ "Edit " (rule.name) } { "Edit" }
                        a.button.quiet href={ (path) "/copy" } aria-label={ "Copy " (rule.name) } { "Copy" }
                        a.button.quiet href={ (path) "/delete" } aria-label={ "Delete " (rule.name) } { "Delete" }
                    }
                }
            }
            p { "When " (case(rule, who.shop.length_unit)) ": " b { (rule.action) } "." }
            @if !rule.elements.is_empty() {
                p.small { "Work: " @for (i, code) in rule.elements.iter().enumerate() { @if i > 0 { ", then " } code { (code) } } }
            }
            @if !rule.say.is_empty() { p { "“" (rule.say) "”" } }
        }
    }
}

/// The case a rule speaks of, as half a sentence.
fn case(rule: &RemedyRule, unit: LengthUnit) -> String {
    let kind = or_none(rule.kind, "feature");
    let on = or_none(rule.face.map(|face| format!(" on the {face}")), "");
    let size = match (rule.smallest, rule.largest) {
        (None, None) => String::new(),
        (Some(least), None) => format!(" of {} or more", least.show(unit)),
        (None, Some(most)) => format!(" of up to {}", most.show(unit)),
        (Some(least), Some(most)) => format!(" of {} to {}", least.show(unit), most.show(unit)),
    };
    let gearbox = match rule.gearbox_under {
        None => "",
        Some(true) => ", with a gearbox under the wanted block",
        Some(false) => ", with no gearbox under the wanted block",
    };
    format!("a {kind}{size}{on} is {}{gearbox}", rule.when)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct MoveForm {
    way: String,
}

async fn shift(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<MoveForm>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let mut order: Vec<Uuid> = db::list(&mut tx)
        .await?
        .iter()
        .map(|rule| rule.id)
        .collect();
    let at = order
        .iter()
        .position(|rule| *rule == *id)
        .ok_or(WebError::NotFound("this rule"))?;
    let to = match form.way.as_str() {
        "up" => at.saturating_sub(1),
        "down" => (at + 1).min(order.len() - 1),
        _ => return Err(WebError::BadRequest("A rule moves up or down.".to_owned())),
    };
    order.swap(at, to);
    db::reorder(&mut tx, &order).await?;
    tx.commit().await?;
    Ok(Reply::see_other(format!("/castings/rules#rule-{id}")))
}
