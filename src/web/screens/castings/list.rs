//! `/castings`: every pattern with its variants, and the way to compare two.

use super::compare::{Pair, pair_form};
use super::{pattern_path, variant_path};
use crate::castings::{Pattern, Variant};
use crate::db::castings as db;
use crate::db::people::Role;
use crate::web::ui::show::count;
use crate::web::ui::{Answer, FormErrors, Page, Section, SignedIn};
use actix_web::web;
use maud::{Markup, html};

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/castings", web::get().to(list));
}

async fn list(who: SignedIn) -> Answer {
    let mut tx = who.begin().await?;
    let patterns = db::patterns(&mut tx).await?;
    let variants = db::variants(&mut tx).await?;
    tx.commit().await?;
    let may_edit = who.may(Role::Office);
    let page = Page::new(&who, "Castings").nav(Section::Castings);
    Ok(page
        .body(html! {
            div.bar {
                h1 { "Castings" }
                div.actions {
                    @if may_edit {
                        a.button href="/castings/patterns/new" data-key="n" data-key-label="New pattern" { "New pattern" }
                    }
                    a.button.quiet href="/castings/rules" data-key="r" data-key-label="Conversion rules" { "Conversion rules" }
                    a.button.quiet href="/castings/shelf" data-key="o" data-key-label="On the shelf" { "On the shelf" }
                }
            }
            p.lead { "Castings of one pattern have metal in the same places. What was machined in them makes the variant." }
            @if variants.len() > 1 {
                section.card aria-labelledby="compare-title" {
                    h2 #compare-title { "Compare two variants" }
                    (pair_form(&variants, &Pair::default(), &FormErrors::default()))
                }
            }
            @if patterns.is_empty() {
                section.card {
                    h2 { "No patterns yet" }
                    p { "Start with a pattern: its cylinders and main bearings, its faces as drawn, and where there is metal to machine." }
                }
            }
            @for pattern in &patterns { (card(pattern, &variants, may_edit)) }
        })
        .into())
}

fn card(pattern: &Pattern, variants: &[Variant], may_edit: bool) -> Markup {
    html! {
        section.card aria-labelledby={ "pattern-" (pattern.id) } {
            div.bar {
                h2 id={ "pattern-" (pattern.id) } { a href=(pattern_path(pattern.id)) { (pattern.name) } }
                @if may_edit {
                    a.button.quiet href={ "/castings/variants/new?pattern=" (pattern.id) }
                        aria-label={ "New variant of " (pattern.name) } { "New variant" }
                }
            }
            p.muted { (in_a_line(pattern)) }
            (variant_list(variants.iter().filter(|variant| variant.pattern_id == pattern.id)))
        }
    }
}

/// What a pattern is, in a line.
pub(super) fn in_a_line(pattern: &Pattern) -> String {
    let mut line = format!(
        "{}, {}",
        count(pattern.cylinders, "cylinder", "cylinders"),
        count(pattern.mains, "main bearing", "main bearings")
    );
    if !pattern.marks.is_empty() {
        line.push_str(". Known by: ");
        line.push_str(&pattern.marks);
    }
    line
}

/// Variants, each with what tells it apart.
pub(super) fn variant_list<'a>(variants: impl Iterator<Item = &'a Variant>) -> Markup {
    let mut variants = variants.peekable();
    html! {
        @if variants.peek().is_none() {
            p { "No variants yet." }
        } @else {
            ul.links {
                @for variant in variants {
                    li {
                        a href=(variant_path(variant.id)) { (variant.name) }
                        span.muted {
                            (count(i64::try_from(variant.features.len()).unwrap_or(i64::MAX), "feature", "features"))
                            @if variant.gearbox_under { ", gearbox under the block" }
                        }
                    }
                }
            }
        }
    }
}
