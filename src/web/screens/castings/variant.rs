//! `/castings/variants/{id}`: one variant, its faces drawn and its features listed.

use super::drawing::{self, Drawing, Marked, size_label};
use super::{back, pattern_path, place_id, place_query, variant_path};
use crate::castings::{Face, Feature, Outline, Pattern, Variant};
use crate::db::castings as db;
use crate::db::people::Role;
use crate::units::text::capitalised;
use crate::units::{Code, LengthUnit};
use crate::web::ui::{Answer, Page, Section, SignedIn, face_points};
use actix_web::web;
use maud::{Markup, html};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/castings/variants/{id}", web::get().to(show))
        .route("/castings/variants/{id}/points/{file}", web::get().to(file));
}

async fn file(who: SignedIn, asked: web::Path<(Uuid, String)>) -> Answer {
    let (id, name) = asked.into_inner();
    let mut tx = who.begin().await?;
    let variant = db::variant(&mut tx, id).await?;
    let pattern = db::pattern(&mut tx, variant.pattern_id).await?;
    face_points::file(&name, (&pattern, &variant), who.shop.length_unit)
}

async fn show(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    let variant = db::variant(&mut tx, *id).await?;
    let pattern = db::pattern(&mut tx, variant.pattern_id).await?;
    tx.commit().await?;
    let unit = who.shop.length_unit;
    let path = variant_path(variant.id);
    let may_edit = who.may(Role::Office);
    let page = Page::new(&who, variant.name.clone()).nav(Section::Castings);
    Ok(page
        .body(html! {
            (back(&pattern_path(pattern.id), &format!("Pattern {}", pattern.name)))
            div.bar {
                h1 { (variant.name) }
                div.actions {
                    @if may_edit {
                        a.button href={ (path) "/features/new" } data-key="n" data-key-label="Add a feature" { "Add a feature" }
                        a.button.quiet href={ (path) "/edit" } data-key="e" data-key-label="Edit" { "Edit" }
                        a.button.quiet href={ (path) "/copy" } { "Copy" }
                        a.button.quiet href={ (path) "/delete" } { "Delete" }
                    }
                    a.button.quiet href={ "/castings/compare?wanted=" (variant.id) } data-key="c" data-key-label="Compare" { "Compare" }
                    a.button.quiet href={ "/castings/shelf?variant=" (variant.id) } data-key="o" data-key-label="On the shelf" { "On the shelf" }
                }
            }
            p.lead {
                "A variant of the pattern " a href=(pattern_path(pattern.id)) { (pattern.name) } "; "
                @if variant.gearbox_under { "a gearbox hangs under the block." } @else { "no gearbox hangs under the block." }
            }
            @if !variant.note.is_empty() { p.typed { (variant.note) } }
            @if variant.features.is_empty() {
                section.card {
                    h2 { "Nothing machined yet" }
                    p { "Add what is machined at each place: dowel holes, tapped holes, bores. What is listed here is what a donor must become." }
                }
            }
            @for outline in &pattern.outlines { (face_card(&pattern, &variant, outline, unit, may_edit)) }
            @for face in Face::ALL {
                @if pattern.outline(*face).is_none() && variant.features.iter().any(|f| f.place.face == *face) {
                    section.card {
                        h2 { (capitalised(face.word())) }
                        p { "The pattern has no outline of this face, so it is not drawn." }
                        (feature_table(&variant, *face, unit, may_edit))
                    }
                }
            }
        })
        .into())
}

fn face_card(
    pattern: &Pattern,
    variant: &Variant,
    outline: &Outline,
    unit: LengthUnit,
    may_edit: bool,
) -> Markup {
    let face = outline.face;
    let marked: Vec<Marked<'_>> = on_face(variant, face)
        .map(|feature| Marked {
            feature,
            action: None,
        })
        .collect();
    let title = format!("{} of {}", capitalised(face.word()), variant.name);
    html! {
        @if !marked.is_empty() {
            section.card.face-card aria-labelledby={ "face-" (face.code()) } {
                h2 id={ "face-" (face.code()) } { (capitalised(face.word())) }
                div.beside {
                figure {
                    (drawing::face(&Drawing { id: &format!("drawn-{}", face.code()), title: &title, outline, features: &marked, unit }))
                    figcaption.small.muted { "Positions from the datum of the pattern " (pattern.name) ", marked 0."
                        @if marked.iter().any(|one| one.feature.at.is_none()) { " What was not measured is in the table only." } }
                }
                (feature_table(variant, face, unit, may_edit))
                }
                p.small { "Points from the datum: " (face_points::links(&format!("{}/points", variant_path(variant.id)), face)) }
            }
        }
    }
}

fn on_face(variant: &Variant, face: Face) -> impl Iterator<Item = &Feature> {
    variant
        .features
        .iter()
        .filter(move |feature| feature.place.face == face)
}

fn feature_table(variant: &Variant, face: Face, unit: LengthUnit, may_edit: bool) -> Markup {
    let path = variant_path(variant.id);
    html! {
        table.cells {
            thead { tr {
                th scope="col" { "Place" } th scope="col" { "Feature" } th scope="col" { "Size" }
                th scope="col" { "Depth" } th scope="col" { "Across, up" } th scope="col" { "Note" }
                @if may_edit { th scope="col" { span.visually-hidden { "Change" } } }
            } }
            tbody {
                @for feature in on_face(variant, face) {
                    @let query = place_query(&feature.place);
                    tr id=(place_id(&feature.place)) {
                        th scope="row" { (feature.place.label) }
                        td data-label="Feature" { (feature.kind) }
                        td data-label="Size" { (size_label(feature, unit)) }
                        td data-label="Depth" { (depth(feature, unit)) }
                        @match feature.at {
                            Some(at) => { td data-label="Across, up" { (at.x.show(unit)) ", " (at.y.show(unit)) } }
                            None => { td data-label="Across, up" { span.muted { "not measured" } } }
                        }
                        @if feature.note.is_empty() { td.none {} } @else { td data-label="Note" { (feature.note) } }
                        @if may_edit {
                            td.row-links {
                                a href={ (path) "/features/edit?" (query) } aria-label={ "Edit " (feature.place) } { "Edit" }
                                a href={ (path) "/features/delete?" (query) } aria-label={ "Delete " (feature.place) } { "Delete" }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// How deep a feature goes, in words.
pub(super) fn depth(feature: &Feature, unit: LengthUnit) -> String {
    feature
        .depth
        .map_or_else(|| "through".to_owned(), |depth| depth.show(unit))
}
