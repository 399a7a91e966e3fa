//! A boss of a pattern added, changed or deleted.

use super::{PlaceQuery, after, another_button, face_choices, pattern_path};
use crate::castings::fault::LONGEST_LABEL;
use crate::castings::{Boss, Face, Pattern, Place};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, castings as db};
use crate::units::{Code, Length};
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Typed, Words, at};
use crate::web::ui::{Field, FormErrors, Section, SignedIn, WebError};
use actix_web::web;
use maud::Markup;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<BossSheet>(cfg);
}

/// A boss with the pattern it is on, and the place it had; `None` for a new one.
#[derive(Debug, Clone)]
pub(super) struct BossSheet {
    pattern: Pattern,
    old: Option<Place>,
    boss: Boss,
}

impl BossSheet {
    fn new(pattern: Pattern, place: Place) -> Self {
        Self {
            pattern,
            old: None,
            boss: Boss {
                place,
                largest: Length::ZERO,
                deepest: None,
                through: false,
            },
        }
    }

    fn of(pattern: &Pattern, boss: Boss) -> Self {
        Self {
            pattern: pattern.clone(),
            old: Some(boss.place.clone()),
            boss,
        }
    }

    fn is_old(&self, boss: &Boss) -> bool {
        Some(&boss.place) == self.old.as_ref()
    }

    /// The pattern with this boss in place of the old one.
    async fn put(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        let mut pattern = self.pattern.clone();
        pattern.bosses.retain(|boss| !self.is_old(boss));
        pattern.bosses.push(self.boss.clone());
        db::update_pattern(tx, &pattern).await
    }
}

impl Record for BossSheet {
    type Around = Pattern;
    const NAV: Section = Section::Castings;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Office;
    const PATHS: Paths = Paths {
        new: "/castings/patterns/{id}/bosses/new",
        add: "/castings/patterns/{id}/bosses/new",
        edit: "/castings/patterns/{id}/bosses/edit",
        delete: "/castings/patterns/{id}/bosses/delete",
        copy: "",
    };
    const API: Api = Api::of(
        "boss",
        "/api/v1/patterns/{id}/bosses",
        "/api/v1/patterns/{id}/bosses/{face}/{label}",
    );

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        let place = PlaceQuery::of(&at.query).place()?;
        let pattern = db::pattern(tx, at.id).await?;
        Ok(match pattern.boss(&place).cloned() {
            Some(boss) => Self::of(&pattern, boss),
            None => Self::new(pattern, place),
        })
    }

    async fn list(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Vec<Self>, WebError> {
        let pattern = db::pattern(tx, at.id).await?;
        let bosses = pattern.bosses.clone().into_iter();
        Ok(bosses.map(|boss| Self::of(&pattern, boss)).collect())
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        at: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(db::pattern(tx, at.id).await?)
    }

    fn blank(pattern: &Pattern, _: &SignedIn, at: &At) -> Self {
        let face = Face::from_code(at.query.get("face")).unwrap_or(Face::Rear);
        Self::new(pattern.clone(), Place::new(face, ""))
    }

    fn begin(typed: &mut Typed, at: &At) {
        typed.set("face", at.query.get("face"));
        typed.set("largest", "");
    }

    fn fields(_: &Pattern, who: &SignedIn, _: bool) -> Fields<Self> {
        let face = Field::select("face", "Face", "", face_choices());
        let mut f = Fields::<Self>::new(who);
        f.code::<Face, _>(face, at!(boss.place.face));
        f.text("label", "Label", LONGEST_LABEL, at!(boss.place.label))
            .hint("The shop’s own label for the place, for example R7")
            .focus();
        f.length("largest", "Largest diameter", at!(boss.largest))
            .hint("That leaves a sound wall; a thread counts by its major diameter");
        f.length("deepest", "Deepest hole", at!(boss.deepest))
            .hint("For the tip of the drill: thread, run-out and point together. Leave it empty where nobody has measured it");
        f.tick("through", "A hole may go through", at!(boss.through));
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.pattern.version
    }

    fn key(&self) -> Uuid {
        self.pattern.id
    }

    fn is_there(&self) -> bool {
        self.old.is_some()
    }

    fn check(&mut self, pattern: &Pattern, _: &SignedIn, errors: &mut FormErrors) {
        if !errors.is_empty() {
            return;
        }
        for fault in self.boss.faults() {
            errors.add(fault.field(), fault);
        }
        let mut others = pattern.bosses.iter().filter(|boss| !self.is_old(boss));
        if others.any(|other| other.place == self.boss.place) {
            errors.add(
                "label",
                format!("There is a boss at {} already", self.boss.place),
            );
        }
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        self.put(tx).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        self.put(tx).await
    }

    async fn delete(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        let mut pattern = self.pattern.clone();
        pattern.bosses.retain(|boss| !self.is_old(boss));
        db::update_pattern(tx, &pattern).await
    }

    fn before_delete(&self, pattern: &Pattern) -> Option<(String, String)> {
        Some((
            format!("Delete the boss at {}", self.boss.place),
            format!(
                "Then a feature missing there on a {} can’t be machined.",
                pattern.name
            ),
        ))
    }

    fn words(&self, pattern: &Pattern, _: bool) -> Words {
        let title = match &self.old {
            Some(place) => format!("Edit the boss at {place}"),
            None => "Add a boss".to_owned(),
        };
        let words = Words::of(false, "", "the pattern", &pattern_path(pattern.id));
        Words {
            title,
            ..words.back(&pattern.name)
        }
    }

    fn buttons(sheet: &Sheet<Self>) -> Markup {
        another_button(sheet.draft.old.is_none())
    }

    fn done(&self, done: Done, sheet: &Sheet<Self>) -> (String, String) {
        after(
            done,
            &self.boss.place,
            &pattern_path(self.pattern.id),
            "bosses",
            &sheet.typed,
        )
    }
}
