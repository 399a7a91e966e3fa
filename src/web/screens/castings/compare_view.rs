//! Two variants laid side by side: the verdict, the faces that differ, and every difference with its remedy.

use super::compare::{Across, Compared};
use super::drawing::{self, Drawing, Marked, size_label};
use super::related::{lasting_list, places_in_words};
use super::variant::depth;
use super::{pattern_path, place_id, variant_path};
use crate::castings::{Action, Face, Feature, Pattern, Remedy, Variant};
use crate::units::text::capitalised;
use crate::units::{Code, LengthUnit};
use crate::web::ui::show::count;
use maud::{Markup, html};
use std::collections::BTreeSet;

pub(super) fn view(compared: &Compared, unit: LengthUnit) -> Markup {
    let remedies = &compared.conversion.remedies;
    let faces: BTreeSet<Face> = remedies
        .iter()
        .map(|remedy| remedy.difference.place().face)
        .collect();
    html! {
        (verdict(compared))
        @if let Some(across) = &compared.across { (two_patterns(compared, across, unit)) }
        @if !remedies.is_empty() {
            (legend(remedies))
            @for face in faces { (face_card(compared, face, unit)) }
        }
    }
}

/// That the donor is of another pattern, and what that means.
fn two_patterns(compared: &Compared, across: &Across, unit: LengthUnit) -> Markup {
    let places = places_in_words(&across.relation.places, unit);
    html! {
        section.card aria-labelledby="two-patterns" {
            h2 #two-patterns { "Two related patterns" }
            p {
                "The donor is a casting of the " a href=(pattern_path(across.pattern.id)) { (across.pattern.name) }
                ", which is " a href={ (pattern_path(compared.pattern.id)) "#related" } { "related" } " to the " (compared.pattern.name) "."
            }
            (lasting_list(&across.relation.lasting))
            @if !places.is_empty() { p.muted { (places) " Positions are compared with the offsets taken off; the donor is drawn from its own datum." } }
        }
    }
}

fn counted(n: usize, one: &str, many: &str) -> String {
    count(i64::try_from(n).unwrap_or(i64::MAX), one, many)
}

fn verdict(compared: &Compared) -> Markup {
    let conversion = &compared.conversion;
    let (work, impossible, cautions) = (
        conversion.to_machine().count(),
        conversion.impossible().count(),
        conversion.cautions().count(),
    );
    let left = conversion.remedies.len() - work - impossible - cautions;
    html! {
        @if conversion.remedies.is_empty() {
            section.notice.good { h2 { "Nothing separates them" } p { "Everything machined in one is machined alike in the other." } }
        } @else {
            section class={ "notice " (if impossible > 0 { "bad" } else if cautions > 0 { "warn" } else { "good" }) } {
                h2 {
                    @if impossible > 0 { "It cannot be converted as the rules stand" } @else { "It can be converted" }
                }
                p {
                    (counted(conversion.remedies.len(), "difference", "differences")) ": "
                    (counted(work, "piece of work", "pieces of work"))
                    @if left > 0 { ", " (left) " left as " @if left == 1 { "it is" } @else { "they are" } }
                    @if cautions > 0 { ", " (counted(cautions, "caution", "cautions")) " for the customer" }
                    @if impossible > 0 { ", " (impossible) " that cannot be done" }
                    "."
                }
                @if impossible > 0 {
                    ul { @for remedy in conversion.impossible() {
                        li { a href={ "#" (place_id(remedy.difference.place())) } { (remedy.difference.place()) } ": " (remedy.say) }
                    } }
                }
            }
        }
    }
}

/// The marks that these remedies use, in the order of the list of actions.
fn legend(remedies: &[Remedy]) -> Markup {
    let used: BTreeSet<&str> = remedies.iter().map(|remedy| remedy.action.code()).collect();
    let actions = Action::ALL
        .iter()
        .copied()
        .filter(|action| used.contains(action.code()));
    html! { section aria-label="What the marks mean" { (drawing::legend(actions)) } }
}

fn face_card(compared: &Compared, face: Face, unit: LengthUnit) -> Markup {
    let here: Vec<&Remedy> = compared
        .conversion
        .remedies
        .iter()
        .filter(|remedy| remedy.difference.place().face == face)
        .collect();
    html! {
        section.card.face-card aria-labelledby={ "face-" (face.code()) } {
            h2 id={ "face-" (face.code()) } { (capitalised(face.word())) }
            @match compared.pattern.outline(face) {
                None => { p { "The pattern has no outline of this face, so it is not drawn." } }
                Some(_) => {
                    div.side-by-side {
                        (figure(compared, face, &here, "donor", unit))
                        (figure(compared, face, &here, "wanted", unit))
                    }
                }
            }
            (table(&here, unit))
        }
    }
}

fn figure(
    compared: &Compared,
    face: Face,
    here: &[&Remedy],
    side: &str,
    unit: LengthUnit,
) -> Markup {
    let (variant, pattern): (&Variant, &Pattern) = match (side, &compared.across) {
        ("donor", Some(across)) => (&across.drawn, &across.pattern),
        ("donor", None) => (&compared.donor, &compared.pattern),
        _ => (&compared.wanted, &compared.pattern),
    };
    let marked: Vec<Marked<'_>> = variant
        .features
        .iter()
        .filter(|feature| feature.place.face == face)
        .map(|feature| Marked {
            feature,
            action: here
                .iter()
                .find(|remedy| *remedy.difference.place() == feature.place)
                .map(|remedy| remedy.action),
        })
        .collect();
    let words = if side == "donor" {
        "as the donor is"
    } else {
        "as wanted"
    };
    let title = format!("{} {words}: {}", capitalised(face.word()), variant.name);
    html! {
        @if let Some(outline) = pattern.outline(face) {
            figure {
                figcaption { b { (if side == "donor" { "Donor:" } else { "Wanted:" }) } " "
                    a href=(variant_path(variant.id)) { (variant.name) } }
                (drawing::face(&Drawing { id: &format!("{side}-{}", face.code()), title: &title, outline, features: &marked, unit }))
            }
        }
    }
}

fn table(here: &[&Remedy], unit: LengthUnit) -> Markup {
    html! {
        table.cells {
            thead { tr {
                th scope="col" { "Place" } th scope="col" { "Donor has" } th scope="col" { "Wanted" } th scope="col" { "Remedy" }
            } }
            tbody {
                @for remedy in here {
                    tr id=(place_id(remedy.difference.place())) {
                        th scope="row" { (remedy.difference.place().label) }
                        td data-label="Donor has" { (in_words(remedy.difference.donor(), unit)) }
                        td data-label="Wanted" { (in_words(remedy.difference.wanted(), unit)) }
                        td.remedy data-label="Remedy" { (remedy_cell(remedy)) }
                    }
                }
            }
        }
    }
}

fn in_words(feature: Option<&Feature>, unit: LengthUnit) -> Markup {
    html! {
        @match feature {
            None => span.muted { "nothing" },
            Some(feature) => span {
                (feature.kind) " " (size_label(feature, unit)) ", " (depth(feature, unit))
                @if feature.depth.is_some() { " deep" }
                @if !feature.note.is_empty() { br; span.muted { (feature.note) } }
            }
        }
    }
}

fn remedy_cell(remedy: &Remedy) -> Markup {
    let word = remedy.action.word();
    html! {
        div.remedy-words {
            b.remedy-action { (drawing::symbol(remedy.action)) " " (capitalised(word)) }
            @if !remedy.say.is_empty() { p { (remedy.say) } }
            @if !remedy.rule.is_empty() {
                p.small.muted {
                    "By the rule “" (remedy.rule) "”"
                    @if !remedy.elements.is_empty() { ": " @for (i, code) in remedy.elements.iter().enumerate() { @if i > 0 { ", " } code { (code) } } }
                }
            }
        }
    }
}
