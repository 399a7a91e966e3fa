//! `/castings/patterns/{id}`: one pattern, its faces, its bosses and its variants.

use super::list::{in_a_line, variant_list};
use super::{
    CheckedForm, CopyForm, ask_for_copy, ask_to_delete, back, or_none, pattern_path, place_id,
    place_query,
};
use crate::castings::fault::LONGEST_NAME;
use crate::castings::{Boss, Pattern};
use crate::db::castings as db;
use crate::db::people::Role;
use crate::units::LengthUnit;
use crate::web::ui::{Answer, FormErrors, Page, Reply, Section, SignedIn};
use actix_web::web;
use maud::{Markup, html};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/castings/patterns/{id}", web::get().to(show))
        .route("/castings/patterns/{id}/copy", web::get().to(ask_copy))
        .route("/castings/patterns/{id}/copy", web::post().to(copy))
        .route("/castings/patterns/{id}/delete", web::get().to(ask_delete))
        .route("/castings/patterns/{id}/delete", web::post().to(delete));
}

async fn show(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    let pattern = db::pattern(&mut tx, *id).await?;
    let variants = db::variants_of(&mut tx, *id).await?;
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
            td data-label="Deepest" { (or_none(boss.deepest.map(|depth| depth.show(unit)), "through")) }
            @if may_edit {
                td.row-links {
                    a href={ (path) "/bosses/edit?" (query) } aria-label={ "Edit " (boss.place) } { "Edit" }
                    a href={ (path) "/bosses/delete?" (query) } aria-label={ "Delete " (boss.place) } { "Delete" }
                }
            }
        }
    }
}

async fn ask_copy(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let pattern = db::pattern(&mut tx, *id).await?;
    Ok(copy_page(&who, &pattern, &CopyForm::default(), &FormErrors::default()).into())
}

fn copy_page(who: &SignedIn, pattern: &Pattern, form: &CopyForm, errors: &FormErrors) -> Page {
    let path = pattern_path(pattern.id);
    ask_for_copy(
        who,
        &format!("Copy {}", pattern.name),
        "Its faces and bosses are copied; its variants are not.",
        form,
        errors,
        &format!("{path}/copy"),
        &path,
    )
}

async fn copy(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<CopyForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let new_id = Uuid::now_v7();
    if let Some(name) = errors.required_text("name", &form.name, LONGEST_NAME) {
        let mut tx = who.begin().await?;
        match db::copy_pattern(&mut tx, *id, new_id, &name).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other(pattern_path(new_id)).flash("Copied"));
            }
            Err(error) => errors.absorb(error)?,
        }
    }
    let mut tx = who.begin().await?;
    let pattern = db::pattern(&mut tx, *id).await?;
    Ok(copy_page(&who, &pattern, &form, &errors).invalid().into())
}

async fn ask_delete(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let pattern = db::pattern(&mut tx, *id).await?;
    let path = pattern_path(pattern.id);
    let page = ask_to_delete(
        &who,
        &format!("Delete the pattern {}", pattern.name),
        "Its faces and bosses go with it. A pattern that still has variants is kept.",
        &format!("{path}/delete"),
        &[],
        &path,
    );
    Ok(page.into())
}

async fn delete(
    who: SignedIn,
    id: web::Path<Uuid>,
    _form: CheckedForm<serde::de::IgnoredAny>,
) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    db::delete_pattern(&mut tx, *id).await?;
    tx.commit().await?;
    Ok(Reply::see_other("/castings").flash("Deleted"))
}
