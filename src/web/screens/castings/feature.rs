//! A feature of a variant added, changed or deleted.

use super::{PlaceQuery, after, another_button, face_choices, kind_choices, variant_path};
use crate::castings::fault::{LONGEST_LABEL, LONGEST_NOTE, MOST_ALIKE};
use crate::castings::{Face, Feature, FeatureKind, Pattern, Place, Point, Variant};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, castings as db};
use crate::units::{Code, Fit, Length, LengthUnit, Thread};
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Typed, Words, at};
use crate::web::ui::{Field, FormErrors, Section, SignedIn, WebError};
use actix_web::web;
use maud::{Markup, html};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<FeatureSheet>(cfg);
}

/// A feature with the variant it is of, and the place it had; `None` for a new one.
#[derive(Debug, Clone)]
pub(super) struct FeatureSheet {
    variant: Variant,
    old: Option<Place>,
    feature: Feature,
    /// Its position as it was typed: across and up.
    across: Option<Length>,
    up: Option<Length>,
    /// Whether its size was typed; a thread says its own.
    sized: bool,
}

impl FeatureSheet {
    fn new(variant: Variant, place: Place) -> Self {
        Self {
            variant,
            old: None,
            across: None,
            up: None,
            feature: Feature {
                place,
                kind: FeatureKind::PlainHole,
                at: None,
                size: Length::ZERO,
                depth: None,
                thread: None,
                fit: None,
                count: 1,
                note: String::new(),
            },
            sized: false,
        }
    }

    fn of(variant: &Variant, feature: Feature) -> Self {
        Self {
            variant: variant.clone(),
            old: Some(feature.place.clone()),
            across: feature.at.map(|at| at.x),
            up: feature.at.map(|at| at.y),
            feature,
            sized: true,
        }
    }

    fn is_old(&self, feature: &Feature) -> bool {
        Some(&feature.place) == self.old.as_ref()
    }

    /// The variant with this feature in place of the old one.
    async fn put(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        let mut variant = self.variant.clone();
        variant.features.retain(|feature| !self.is_old(feature));
        variant.features.push(self.feature.clone());
        db::update_variant(tx, &variant).await
    }

    /// The size of a feature whose size was not typed: its thread says it.
    fn size_by_thread(&mut self, unit: LengthUnit, errors: &mut FormErrors) {
        if self.sized || errors.get("thread").is_some() {
            return;
        }
        match &self.feature.thread {
            Some(thread) => self.feature.size = thread.major_diameter(),
            None if self.feature.kind == FeatureKind::TappedHole
                && errors.get("kind").is_none() =>
            {
                errors.add(
                    "thread",
                    "Enter the thread of the tapped hole, for example M10x1.5",
                );
            }
            None => {
                errors.length("size", "", unit);
            }
        }
    }
}

impl Record for FeatureSheet {
    type Around = (Variant, Pattern);
    const NAV: Section = Section::Castings;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Office;
    const PATHS: Paths = Paths {
        new: "/castings/variants/{id}/features/new",
        add: "/castings/variants/{id}/features/new",
        edit: "/castings/variants/{id}/features/edit",
        delete: "/castings/variants/{id}/features/delete",
        copy: "",
    };
    const API: Api = Api::of(
        "feature",
        "/api/v1/variants/{id}/features",
        "/api/v1/variants/{id}/features/{face}/{label}",
    );

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        let place = PlaceQuery::of(&at.query).place()?;
        let variant = db::variant(tx, at.id).await?;
        Ok(match variant.feature(&place).cloned() {
            Some(feature) => Self::of(&variant, feature),
            None => Self::new(variant, place),
        })
    }

    async fn list(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Vec<Self>, WebError> {
        let variant = db::variant(tx, at.id).await?;
        let features = variant.features.clone().into_iter();
        Ok(features
            .map(|feature| Self::of(&variant, feature))
            .collect())
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        at: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        let variant = db::variant(tx, at.id).await?;
        let pattern = db::pattern(tx, variant.pattern_id).await?;
        Ok((variant, pattern))
    }

    fn blank((variant, _): &Self::Around, _: &SignedIn, at: &At) -> Self {
        let face = Face::from_code(at.query.get("face")).unwrap_or(Face::Rear);
        Self::new(variant.clone(), Place::new(face, ""))
    }

    fn begin(typed: &mut Typed, at: &At) {
        typed.set("face", at.query.get("face"));
        for field in ["kind", "size"] {
            typed.set(field, "");
        }
    }

    fn fields(_: &Self::Around, who: &SignedIn, _: bool) -> Fields<Self> {
        let unit = who.shop.length_unit;
        let face = Field::select("face", "Face", "", face_choices());
        let kind = Field::select("kind", "Feature", "", kind_choices());
        let mut f = Fields::<Self>::new(who);
        f.code::<Face, _>(face, at!(feature.place.face));
        f.text("label", "Label", LONGEST_LABEL, at!(feature.place.label))
            .hint("The shop’s own label for the place, for example R7")
            .focus();
        f.code::<FeatureKind, _>(kind, at!(feature.kind));
        f.length("across", "Across from the datum", at!(across))
            .hint("Leave both empty where nobody has measured it");
        f.length("up", "Up from the datum", at!(up));
        f.input(
            Field::length("size", "Diameter", "", unit).optional(),
            move |sheet| match sheet.feature.thread {
                Some(_) => String::new(),
                None => sheet.feature.size.entry(unit),
            },
            move |sheet: &mut Self, raw, errors| {
                sheet.sized = !raw.trim().is_empty();
                if let Some(Some(size)) =
                    errors.optional(raw, |errors| errors.length("size", raw, unit))
                {
                    sheet.feature.size = size;
                }
            },
        )
        .hint("Leave empty for a tapped hole: its thread says it");
        f.value(
            Field::text("thread", "Thread", ""),
            at!(feature.thread),
            Thread::to_string,
            |errors, name, raw| errors.parsed(name, raw, str::parse::<Thread>),
        )
        .hint(
            "Tapped holes only: M10x1.5, 1/2-13 UNC, G 3/8, Rc 1/4, 1/4 NPT, 3/8 BSW, M10 insert",
        );
        f.value(
            Field::text("fit", "Fit", ""),
            at!(feature.fit),
            Fit::to_string,
            |errors, name, raw| errors.parsed(name, raw, str::parse::<Fit>),
        )
        .hint("Where it matters, for example H7");
        f.length("depth", "Depth", at!(feature.depth))
            .hint("Leave empty if it goes through. For a tapped hole, the full thread");
        let alike = 1..=i64::from(MOST_ALIKE);
        f.int("count", "How many alike", alike, at!(feature.count))
            .hint("For a bolt group drawn as one place, count them all");
        f.area("note", "Note", 2, LONGEST_NOTE, at!(feature.note))
            .hint("What a drawing would say in words");
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.variant.version
    }

    fn key(&self) -> Uuid {
        self.variant.id
    }

    fn is_there(&self) -> bool {
        self.old.is_some()
    }

    fn check(
        &mut self,
        (variant, pattern): &Self::Around,
        who: &SignedIn,
        errors: &mut FormErrors,
    ) {
        self.size_by_thread(who.shop.length_unit, errors);
        self.feature.at = self.across.zip(self.up).map(|(x, y)| Point { x, y });
        match (self.across, self.up) {
            (Some(_), None) => errors.add("up", "Enter both distances, or neither"),
            (None, Some(_)) => errors.add("across", "Enter both distances, or neither"),
            _ => {}
        }
        if !errors.is_empty() {
            return;
        }
        let place = &self.feature.place;
        for fault in self.feature.faults(pattern.outline(place.face)) {
            errors.add(fault.field(), fault);
        }
        let mut others = variant.features.iter().filter(|f| !self.is_old(f));
        if others.any(|other| other.place == *place) {
            errors.add("label", format!("There is a feature at {place} already"));
        }
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        self.put(tx).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        self.put(tx).await
    }

    async fn delete(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        let mut variant = self.variant.clone();
        variant.features.retain(|feature| !self.is_old(feature));
        db::update_variant(tx, &variant).await
    }

    fn before_delete(&self, _: &Self::Around) -> Option<(String, String)> {
        Some((
            format!("Delete {}", self.feature.place),
            format!("{} will be without this feature.", self.variant.name),
        ))
    }

    fn words(&self, (variant, _): &Self::Around, _: bool) -> Words {
        let title = match &self.old {
            Some(place) => format!("Edit {place}"),
            None => "Add a feature".to_owned(),
        };
        let words = Words::of(false, "", "the variant", &variant_path(variant.id));
        Words {
            title,
            ..words.back(&variant.name)
        }
    }

    fn lead(sheet: &Sheet<Self>) -> Markup {
        html! {
            p.muted {
                "Enter lengths in mm, inches (3.5 in, 1 3/8 in) or thou (5 thou). A bare number is in "
                @match sheet.who.shop.length_unit { LengthUnit::Mm => "mm.", LengthUnit::Inch => "inches." }
            }
        }
    }

    fn buttons(sheet: &Sheet<Self>) -> Markup {
        another_button(sheet.draft.old.is_none())
    }

    fn done(&self, done: Done, sheet: &Sheet<Self>) -> (String, String) {
        after(
            done,
            &self.feature.place,
            &variant_path(self.variant.id),
            "features",
            &sheet.typed,
        )
    }
}
