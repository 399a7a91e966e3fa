//! Patterns whose castings can be donors for a pattern: added, changed and removed, and told on its page.

use super::pattern_path;
use super::related_rows::{lasting, refused_words, shifts, spots};
use crate::castings::fault::LONGEST_NOTE;
use crate::castings::{Correspondence, Pattern, SameSpot, Shift};
use crate::db::people::Role;
use crate::db::related_patterns::{self as db, PatternName, Which};
use crate::db::{DbError, ShopTx, castings};
use crate::enquiry::{Lasting, RelatedPattern};
use crate::units::LengthUnit;
use crate::units::text::capitalised;
use crate::web::ui::forms::Choice;
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::{Field, FormErrors, Section, SignedIn, WebError};
use actix_web::web;
use maud::{Markup, html};
use std::collections::HashMap;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<RelatedPattern>(cfg);
}

/// What the form of a related pattern needs besides.
pub(in crate::web) struct Family {
    /// The pattern that is wanted.
    wanted: Pattern,
    /// The patterns it can have donors of.
    others: Vec<PatternName>,
}

impl Family {
    fn name(&self, id: Uuid) -> &str {
        let found = self.others.iter().find(|other| other.id == id);
        found.map_or("related pattern", |other| &other.name)
    }
}

impl Record for RelatedPattern {
    type Around = Family;
    const NAV: Section = Section::Castings;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Office;
    const TABLE: &'static str = "related_pattern";
    const ADDED_TO_LIST: bool = false;
    const PATHS: Paths = Paths {
        new: "/castings/patterns/{parent}/related/new",
        add: "/castings/patterns/{parent}/related",
        edit: "/castings/related/{id}/edit",
        delete: "/castings/related/{id}/delete",
        copy: "",
    };
    const API: Api = Api::of(
        "related_pattern",
        "/api/v1/patterns/{parent}/related",
        "/api/v1/related-patterns/{id}",
    );
    const AROUND_EACH: bool = true;
    const EMPTY: &'static [&'static str] = &["donor"];

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        Ok(db::get(tx, at.id).await?)
    }

    async fn list(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Vec<Self>, WebError> {
        let which = Which {
            wanted: Some(at.parent),
            ..Which::default()
        };
        Ok(db::list(tx, which).await?)
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        at: &At,
        stored: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        let wanted = castings::pattern(tx, stored.map_or(at.parent, |s| s.wanted)).await?;
        Ok(Family {
            others: db::of_the_same_engine(tx, &wanted).await?,
            wanted,
        })
    }

    fn blank(family: &Family, _: &SignedIn, _: &At) -> Self {
        Self {
            id: Uuid::now_v7(),
            wanted: family.wanted.id,
            donor: Uuid::nil(),
            places: Correspondence::default(),
            lasting: Vec::new(),
            note: String::new(),
            version: 1,
        }
    }

    fn fields(family: &Family, who: &SignedIn, _: bool) -> Fields<Self> {
        let others = family.others.iter();
        let others = others.map(|o| Choice::new(o.id, &o.name)).collect();
        let mut f = Fields::<Self>::new(who);
        f.choice(
            Field::select("donor", "Pattern of the donor", "", others),
            at!(donor),
            Uuid::to_string,
            |raw| raw.parse().ok(),
        )
        .hint("Patterns with as many cylinders and main bearings")
        .wide()
        .focus();
        f.group(lasting());
        f.group(shifts(who.shop.length_unit));
        f.group(spots(&family.wanted.name));
        f.area("note", "Note for the shop", 2, LONGEST_NOTE, at!(note));
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    fn check(&mut self, family: &Family, _: &SignedIn, errors: &mut FormErrors) {
        let known = family.others.iter().any(|other| other.id == self.donor);
        if !known && errors.get("donor").is_none() {
            errors.add(
                "donor",
                "Choose a pattern with as many cylinders and main bearings",
            );
        }
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        db::insert(tx, self).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        db::update(tx, self).await
    }

    async fn delete(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        db::delete(tx, self.id, self.version).await
    }

    fn before_delete(&self, family: &Family) -> Option<(String, String)> {
        Some((
            format!(
                "Remove {} as a donor for {}",
                family.name(self.donor),
                family.wanted.name
            ),
            "Its castings are offered no longer. Quotes already given stay as they are.".to_owned(),
        ))
    }

    fn words(&self, family: &Family, new: bool) -> Words {
        let name = family.name(self.donor);
        let cancel = pattern_path(self.wanted);
        Words {
            title: if new {
                format!("Related pattern: a donor for {}", family.wanted.name)
            } else {
                format!("{name}, a donor for {}", family.wanted.name)
            },
            save: "Save",
            ..Words::of(new, "", name, &cancel).back(&family.wanted.name)
        }
    }

    fn lead(sheet: &Sheet<Self>) -> Markup {
        html! {
            p.lead { "An engine of the same family whose castings can be converted to a " (sheet.around.wanted.name) "." }
            @if sheet.around.others.is_empty() {
                p.notice.warn { "No other pattern has as many cylinders and main bearings. " a href="/castings/patterns/new" { "Enter the pattern" } " first." }
            }
        }
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        let words = match done {
            Done::Added | Done::Saved => "Saved.",
            Done::Deleted => "Removed.",
        };
        let path = pattern_path(self.wanted);
        (format!("{path}#related"), words.to_owned())
    }
}

/// The patterns a pattern is related to, either way.
pub(super) struct Relations {
    /// Those with donors for it.
    donors: Vec<RelatedPattern>,
    /// Those it has donors for.
    donor_for: Vec<RelatedPattern>,
    names: HashMap<Uuid, String>,
}

impl Relations {
    pub(super) async fn read(tx: &mut ShopTx, pattern_id: Uuid) -> Result<Self, DbError> {
        let donors = Which {
            wanted: Some(pattern_id),
            ..Which::default()
        };
        let wanted = Which {
            donor: Some(pattern_id),
            ..Which::default()
        };
        let donors = db::list(tx, donors).await?;
        let donor_for = db::list(tx, wanted).await?;
        let others = donors.iter().map(|r| r.donor);
        let ids: Vec<Uuid> = others.chain(donor_for.iter().map(|r| r.wanted)).collect();
        let patterns = castings::these_patterns(tx, &ids).await?;
        Ok(Self {
            donors,
            donor_for,
            names: patterns.into_iter().map(|p| (p.id, p.name)).collect(),
        })
    }

    fn link(&self, id: Uuid) -> Markup {
        let name = self.names.get(&id).map_or("", String::as_str);
        html! { a href=(pattern_path(id)) { (name) } }
    }

    /// The section of the pattern's page.
    pub(super) fn section(&self, pattern: &Pattern, unit: LengthUnit, may_edit: bool) -> Markup {
        html! {
            section.card aria-labelledby="related" {
                div.bar {
                    h2 #related { "Related patterns" }
                    @if may_edit {
                        a.button.quiet href={ (pattern_path(pattern.id)) "/related/new" } { "Add a related pattern" }
                    }
                }
                @if self.donors.is_empty() {
                    p { "Donors come from this pattern only. A later or a sister pattern can give donors too: say where its places are and what stays different for good." }
                }
                @for related in &self.donors { (self.donor(related, unit, may_edit)) }
                @if !self.donor_for.is_empty() {
                    p {
                        "Its castings are donors for "
                        @for (i, related) in self.donor_for.iter().enumerate() { @if i > 0 { ", " } (self.link(related.wanted)) }
                        "."
                    }
                }
            }
        }
    }

    fn donor(&self, related: &RelatedPattern, unit: LengthUnit, may_edit: bool) -> Markup {
        let name = self.names.get(&related.donor).map_or("", String::as_str);
        html! {
            div.bar {
                h3 { "Donors of the " (self.link(related.donor)) }
                @if may_edit {
                    div.actions {
                        a href={ "/castings/related/" (related.id) "/edit" } { "Edit" span.visually-hidden { ": " (name) } }
                        a href={ "/castings/related/" (related.id) "/delete" } { "Remove" span.visually-hidden { ": " (name) } }
                    }
                }
            }
            (lasting_list(&related.lasting))
            @let places = places_in_words(&related.places, unit);
            @if !places.is_empty() { p.muted { (places) } }
            @if !related.note.is_empty() { p { (related.note) } }
        }
    }
}

/// What stays different, with who refuses it.
pub(super) fn lasting_list(lasting: &[Lasting]) -> Markup {
    html! {
        @if lasting.is_empty() {
            p { "Nothing stays different." }
        } @else {
            p { "Stays different for good:" }
            ul {
                @for one in lasting {
                    li {
                        (capitalised(&one.said())) "."
                        @if !one.refused_for.is_empty() { " " strong { "Not for: " (refused_words(&one.refused_for)) "." } }
                    }
                }
            }
        }
    }
}

/// Offsets and other labels in a line; empty where the places are the same.
pub(super) fn places_in_words(places: &Correspondence, unit: LengthUnit) -> String {
    let shift = |shift: &Shift| {
        format!(
            "{} {} across, {} up",
            shift.face,
            shift.across.show(unit),
            shift.up.show(unit)
        )
    };
    let spot = |spot: &SameSpot| match spot.wanted.as_str() {
        "" => format!("{} {} has no counterpart", spot.face, spot.donor),
        wanted => format!("{} {wanted} is {} there", spot.face, spot.donor),
    };
    let offsets: Vec<String> = places.shifts.iter().map(shift).collect();
    let labels: Vec<String> = places.labels.iter().map(spot).collect();
    let mut words = Vec::new();
    if !offsets.is_empty() {
        words.push(format!("Offsets: {}.", offsets.join("; ")));
    }
    if !labels.is_empty() {
        words.push(format!("{}.", capitalised(&labels.join("; "))));
    }
    words.join(" ")
}
