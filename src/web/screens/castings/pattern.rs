//! `/castings/patterns/{id}`: one pattern, its faces, its bosses and its variants.

use super::list::{in_a_line, variant_list};
use super::related::Relations;
use super::sizes::sizes_path;
use super::{back, or_none, pattern_path, place_id, place_query};
use crate::castings::measured::Sizes;
use crate::castings::{Boss, Pattern};
use crate::db::castings as db;
use crate::db::measured_records;
use crate::db::people::Role;
use crate::units::{Length, LengthUnit};
use crate::web::ui::{Answer, Page, Section, SignedIn};
use actix_web::web;
use maud::{Markup, html};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/castings/patterns/{id}", web::get().to(show));
}

async fn show(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    let pattern = db::pattern(&mut tx, *id).await?;
    let variants = db::variants_of(&mut tx, &[*id]).await?;
    let sizes = measured_records::sizes(&mut tx, *id).await?;
    let relations = Relations::read(&mut tx, *id).await?;
    tx.commit().await?;
    let unit = who.shop.length_unit;
    let path = pattern_path(pattern.id);
    let may_edit = who.may(Role::Office);
    let page = Page::new(&who, pattern.name.clone()).nav(Section::Castings);
    Ok(page
        .body(html! {
            (back("/castings", "All castings"))
            div.bar {
                h1 { "Pattern " (pattern.name) }
                @if may_edit {
                    div.actions {
                        a.button href={ (path) "/edit" } data-key="e" data-key-label="Edit" { "Edit" }
                        a.button.quiet href={ (path) "/copy" } { "Copy" }
                        a.button.quiet href={ (path) "/delete" } { "Delete" }
                    }
                }
            }
            p.lead { (in_a_line(&pattern)) }
            section.card aria-labelledby="variants" {
                div.bar {
                    h2 #variants { "Variants" }
                    @if may_edit {
                        a.button href={ "/castings/variants/new?pattern=" (pattern.id) } data-key="n" data-key-label="New variant" { "New variant" }
                    }
                }
                (variant_list(variants.iter()))
            }
            (relations.section(&pattern, unit, may_edit))
            section.card aria-labelledby="sizes" {
                div.bar {
                    h2 #sizes { "Sizes and limits" }
                    a.button.quiet href=(sizes_path(pattern.id)) { @if may_edit { "Edit sizes" } @else { "Show sizes" } }
                }
                (sizes_in_short(&sizes, unit))
            }
            section.card aria-labelledby="faces" {
                h2 #faces { "Faces as drawn" }
                (faces(&pattern, unit))
            }
            section.card aria-labelledby="bosses" {
                div.bar {
                    h2 #bosses { "Where there is metal" }
                    @if may_edit {
                        a.button href={ (path) "/bosses/new" } data-key="b" data-key-label="Add a boss" { "Add a boss" }
                    }
                }
                (bosses(&pattern, unit, may_edit))
            }
        })
        .into())
}

/// The chief of what is measured on its castings, in a line each.
fn sizes_in_short(sizes: &Sizes, unit: LengthUnit) -> Markup {
    let between = |low: Option<Length>, high: Option<Length>| match (low, high) {
        (Some(low), Some(high)) => format!("{} to {}", low.show(unit), high.show(unit)),
        (Some(one), None) | (None, Some(one)) => one.show(unit),
        (None, None) => "not set".to_owned(),
    };
    html! {
        @if sizes.version == 0 {
            p { "None yet. Until they are entered, what is measured on a casting of this pattern is kept but not judged." }
        } @else {
            dl.figures {
                div { dt { "Standard bore" } dd { (between(sizes.bores.smallest, sizes.bores.largest)) } }
                div { dt { "Main housing" } dd { (between(sizes.mains.smallest, sizes.mains.largest)) } }
                div { dt { "Main journal" } dd { (between(sizes.crank.mains.smallest, sizes.crank.mains.largest)) } }
                div { dt { "Big-end pin" } dd { (between(sizes.crank.pins.smallest, sizes.crank.pins.largest)) } }
                div { dt { "Least deck height" } dd { (between(sizes.deck.least, None)) } }
            }
        }
    }
}

fn faces(pattern: &Pattern, unit: LengthUnit) -> Markup {
    html! {
        @if pattern.outlines.is_empty() {
            p { "No face is outlined yet, so nothing can be drawn or placed. Edit the pattern to add them." }
        } @else {
            table.cells {
                thead { tr { th scope="col" { "Face" } th scope="col" { "Across" } th scope="col" { "Up" } } }
                tbody {
                    @for outline in &pattern.outlines {
                        tr {
                            th scope="row" { (outline.face) }
                            td data-label="Across" { (outline.width.show(unit)) }
                            td data-label="Up" { (outline.height.show(unit)) }
                        }
                    }
                }
            }
        }
    }
}

fn bosses(pattern: &Pattern, unit: LengthUnit, may_edit: bool) -> Markup {
    html! {
        p.muted { "A feature that a variant lacks can be machined where its boss is wide and deep enough." }
        @if pattern.bosses.is_empty() {
            p { "No boss yet." }
        } @else {
            table.cells {
                thead { tr {
                    th scope="col" { "Place" } th scope="col" { "Largest diameter" } th scope="col" { "Deepest" }
                    @if may_edit { th scope="col" { span.visually-hidden { "Change" } } }
                } }
                tbody { @for boss in &pattern.bosses { (boss_row(pattern, boss, unit, may_edit)) } }
            }
        }
    }
}

fn boss_row(pattern: &Pattern, boss: &Boss, unit: LengthUnit, may_edit: bool) -> Markup {
    let path = pattern_path(pattern.id);
    let query = place_query(&boss.place);
    html! {
        tr id=(place_id(&boss.place)) {
            th scope="row" { (boss.place) }
            td data-label="Largest diameter" { (boss.largest.show(unit)) }
            td data-label="Deepest" { (or_none(boss.deepest.map(|depth| depth.show(unit)), if boss.through { "through" } else { "not known" })) }
            @if may_edit {
                td.row-links {
                    a href={ (path) "/bosses/edit?" (query) } aria-label={ "Edit " (boss.place) } { "Edit" }
                    a href={ (path) "/bosses/delete?" (query) } aria-label={ "Delete " (boss.place) } { "Delete" }
                }
            }
        }
    }
}
