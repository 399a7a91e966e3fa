//! A variant added or changed: its name and what hangs under it. Its features have a form of their own.

use super::{pattern_path, variant_path};
use crate::castings::fault::{LONGEST_NAME, LONGEST_NOTE};
use crate::castings::{Pattern, Variant};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, castings as db};
use crate::web::ui::forms::Choice;
use crate::web::ui::record::{
    self, Api, At, Copying, Done, Fields, Paths, Record, Sheet, Typed, Words, at,
};
use crate::web::ui::{Field, Section, SignedIn, WebError};
use actix_web::web;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<Variant>(cfg);
}

impl Record for Variant {
    /// The patterns a new one may be of.
    type Around = Vec<Pattern>;
    const NAV: Section = Section::Castings;
    const ADDED_TO_LIST: bool = false;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Office;
    const PATHS: Paths = Paths {
        new: "/castings/variants/new",
        add: "/castings/variants",
        edit: "/castings/variants/{id}/edit",
        delete: "/castings/variants/{id}/delete",
        copy: "/castings/variants/{id}/copy",
    };
    const AROUND_EACH: bool = true;
    const API: Api =
        Api::of("variant", "/api/v1/variants", "/api/v1/variants/{id}").listed_elsewhere();

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        Ok(db::variant(tx, at.id).await?)
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        _: &At,
        stored: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(match stored {
            Some(_) => Vec::new(),
            None => db::patterns(tx).await?,
        })
    }

    fn blank(_: &Self::Around, _: &SignedIn, at: &At) -> Self {
        Self {
            id: Uuid::now_v7(),
            pattern_id: at.query.get("pattern").parse().unwrap_or_default(),
            name: String::new(),
            gearbox_under: false,
            features: Vec::new(),
            note: String::new(),
            version: 1,
        }
    }

    fn begin(typed: &mut Typed, at: &At) {
        typed.set("pattern", at.query.get("pattern"));
    }

    fn fields(patterns: &Self::Around, who: &SignedIn, new: bool) -> Fields<Self> {
        let mut f = Fields::<Self>::new(who);
        if new {
            let choices = patterns
                .iter()
                .map(|p| Choice::new(p.id, &p.name))
                .collect();
            let known: Vec<Uuid> = patterns.iter().map(|pattern| pattern.id).collect();
            f.choice(
                Field::select("pattern", "Pattern it is cast from", "", choices),
                at!(pattern_id),
                Uuid::to_string,
                move |text| text.parse().ok().filter(|id| known.contains(id)),
            );
        }
        f.text("name", "Name", LONGEST_NAME, at!(name))
            .hint("For example Tarn 4/90 marine")
            .focus();
        let under = "A gearbox hangs under the block in this application";
        f.tick("gearbox_under", under, at!(gearbox_under))
            .wide()
            .hint("Then the sump face carries load, and its fastenings matter");
        f.area("note", "Note", 3, LONGEST_NOTE, at!(note));
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        db::insert_variant(tx, self).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        db::update_variant(tx, self).await
    }

    async fn delete(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        db::delete_variant(tx, self.id, self.version).await
    }

    async fn copy(&self, tx: &mut ShopTx, key: Uuid, name: &str) -> Result<(), DbError> {
        db::copy_variant(tx, self.id, key, name).await
    }

    fn before_copy(&self, _: &Self::Around) -> Option<Copying> {
        Some(Copying {
            longest: LONGEST_NAME,
            words: "Every feature is copied. Then change what is different.",
            to: "/castings/variants/{id}",
        })
    }

    fn before_delete(&self, _: &Self::Around) -> Option<(String, String)> {
        Some((
            format!("Delete {}", self.name),
            "Its features are deleted too. A variant that an enquiry, a casting on the shelf or a sighting refers to \
             can’t be deleted."
                .to_owned(),
        ))
    }

    fn words(&self, _: &Self::Around, new: bool) -> Words {
        let cancel = match (new, self.pattern_id.is_nil()) {
            (false, _) => variant_path(self.id),
            (true, false) => pattern_path(self.pattern_id),
            (true, true) => "/castings".to_owned(),
        };
        Words {
            title: if new {
                "New variant".to_owned()
            } else {
                format!("Edit {}", self.name)
            },
            save: "Save",
            ..Words::of(new, "", &self.name, &cancel).back("Back")
        }
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        let words = match done {
            Done::Added => "Saved. Now add its features.",
            Done::Saved => "Saved.",
            Done::Deleted => return ("/castings".to_owned(), "Deleted.".to_owned()),
        };
        (variant_path(self.id), words.to_owned())
    }
}
