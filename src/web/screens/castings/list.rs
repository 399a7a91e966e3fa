//! `/castings`: every pattern with its variants, and the way to compare two.

use super::compare::{Pair, pair_form};
use super::{pattern_path, variant_path};
use crate::castings::{Pattern, Variant};
use crate::db::castings as db;
use crate::db::lists::{self, OnlyView, PatternSort};
use crate::db::people::Role;
use crate::web::ui::show::count;
use crate::web::ui::{Answer, FormErrors, List, ListQuery, Page, Section, SignedIn, csv};
use actix_web::web;
use maud::{Markup, html};

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/castings", web::get().to(list))
        .route("/castings.csv", web::get().to(file));
}

/// The patterns as they are asked for.
type Asked = List<OnlyView, PatternSort>;
/// So many variants of a pattern are named in the list; its own page names all.
const VARIANTS: usize = 12;
/// With more variants than this, two are compared from the page of one: a choice among so many is no help, and long.
const CHOICES: usize = 100;

async fn list(who: SignedIn, query: web::Query<ListQuery>) -> Answer {
    let asked: Asked = query.read("/castings", false);
    let mut tx = who.begin().await?;
    let (patterns, all) = lists::patterns(&mut tx, &asked.words, asked.part()).await?;
    let variants = db::variant_names(&mut tx).await?;
    tx.commit().await?;
    let may_edit = who.may(Role::Office);
    let page = Page::new(&who, "Castings").nav(Section::Castings);
    Ok(page
        .body(html! {
            div.bar {
                h1 { "Castings" }
                div.actions {
                    @if may_edit {
                        a.button.quiet href="/castings/patterns/from-table" data-key="t" data-key-label="Pattern from a table" { "From a table" }
                        a.button href="/castings/patterns/new" data-key="n" data-key-label="New pattern" { "New pattern" }
                    }
                    a.button.quiet href="/castings/rules" data-key="r" data-key-label="Conversion rules" { "Conversion rules" }
                    a.button.quiet href="/castings/shelf" data-key="o" data-key-label="On the shelf" { "On the shelf" }
                }
            }
            p.lead { "Castings of one pattern have metal in the same places. What was machined in them makes the variant." }
            @if (2..=CHOICES).contains(&variants.len()) && asked.is_unfiltered() {
                section.card aria-labelledby="compare-title" {
                    h2 #compare-title { "Compare two variants" }
                    (pair_form(&variants, &Pair::default(), &FormErrors::default()))
                }
            } @else if variants.len() > CHOICES {
                p { "To compare two variants, open one of them and choose Compare." }
            }
            @if !(patterns.is_empty() && asked.is_unfiltered()) { (asked.filter("Pattern, variant or mark")) }
            @if patterns.is_empty() && asked.is_unfiltered() {
                section.card {
                    h2 { "No patterns yet" }
                    p { "Start with a pattern and its variants in " a href="/castings/patterns/from-table" { "one table" } ", a row for each hole. Or step by step: its cylinders and main bearings, its faces as drawn, and where there is metal to machine." }
                }
            } @else if patterns.is_empty() {
                (asked.nothing(""))
            }
            @for (pattern, variants) in &patterns { (card(pattern, variants, may_edit)) }
            (asked.pages(all, "pattern", "patterns", Some("/castings.csv")))
        })
        .into())
}

fn card(pattern: &Pattern, variants: &[Variant], may_edit: bool) -> Markup {
    let more = variants.len().saturating_sub(VARIANTS);
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
            (variant_list(variants.iter().take(VARIANTS)))
            @if more > 0 { p { a href=(pattern_path(pattern.id)) { "And " (more) " more" } } }
        }
    }
}

async fn file(who: SignedIn, query: web::Query<ListQuery>) -> Answer {
    let asked: Asked = query.read("/castings", false);
    let mut tx = who.begin().await?;
    let (patterns, _) = lists::patterns(&mut tx, &asked.words, asked.whole()).await?;
    let head = [
        "Pattern",
        "Cylinders",
        "Main bearings",
        "Known by",
        "Variant",
        "Features",
        "Gearbox under the block",
    ];
    let rows = patterns.into_iter().flat_map(|(pattern, variants)| {
        let line = |variant: Option<&Variant>| {
            vec![
                pattern.name.clone(),
                pattern.cylinders.to_string(),
                pattern.mains.to_string(),
                pattern.marks.clone(),
                variant.map(|v| v.name.clone()).unwrap_or_default(),
                variant
                    .map(|v| v.features.len().to_string())
                    .unwrap_or_default(),
                variant
                    .map(|v| csv::yes(v.gearbox_under))
                    .unwrap_or_default(),
            ]
        };
        let mut lines: Vec<_> = variants.iter().map(|variant| line(Some(variant))).collect();
        if lines.is_empty() {
            lines.push(line(None));
        }
        lines
    });
    Ok(csv::download_under("patterns.csv", &head, rows).into())
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
