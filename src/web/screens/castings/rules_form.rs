//! A conversion rule added or changed.

use super::{element_codes, face_choices, kind_choices};
use crate::castings::fault::{LONGEST_NAME, LONGEST_NOTE};
use crate::castings::{Action, Face, FeatureKind, RemedyRule, When};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, remedy_rules as db, standards};
use crate::estimating::Element;
use crate::units::Code;
use crate::web::ui::forms::Choice;
use crate::web::ui::record::{
    self, Api, At, Copying, Done, Fields, Paths, Record, Sheet, Words, at,
};
use crate::web::ui::{Field, FormErrors, Section, SignedIn, WebError};
use actix_web::web;
use maud::Markup;
use uuid::Uuid;

const PATH: &str = "/castings/rules";

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<RemedyRule>(cfg);
}

/// What the form of a rule needs besides.
pub(in crate::web) struct Table {
    /// The elements a rule may name.
    known: Vec<Element>,
    /// The priority of the last rule.
    last: i32,
}

impl Record for RemedyRule {
    type Around = Table;
    const NAV: Section = Section::Castings;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Office;
    const PATHS: Paths = Paths {
        new: "/castings/rules/new",
        add: "/castings/rules",
        edit: "/castings/rules/{id}/edit",
        delete: "/castings/rules/{id}/delete",
        copy: "/castings/rules/{id}/copy",
    };
    const API: Api = Api::of("rule", "/api/v1/rules", "/api/v1/rules/{id}");
    const EMPTY: &'static [&'static str] = &["when", "action"];

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        Ok(db::get(tx, at.id).await?)
    }

    async fn list(tx: &mut ShopTx, _: &SignedIn, _: &At) -> Result<Vec<Self>, WebError> {
        Ok(db::list(tx).await?)
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        _: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        let rules = db::list(tx).await?;
        Ok(Table {
            known: standards::list(tx).await?,
            last: rules.last().map_or(0, |rule| rule.priority),
        })
    }

    fn blank(table: &Table, _: &SignedIn, _: &At) -> Self {
        Self {
            id: Uuid::now_v7(),
            priority: table.last.saturating_add(10),
            name: String::new(),
            when: When::MissingWithMetal,
            kind: None,
            face: None,
            smallest: None,
            largest: None,
            gearbox_under: None,
            action: Action::Machine,
            elements: Vec::new(),
            say: String::new(),
            version: 1,
        }
    }

    fn fields(_: &Table, who: &SignedIn, _: bool) -> Fields<Self> {
        let whens = choices(When::ALL, When::code, When::word);
        let actions = choices(Action::ALL, Action::code, Action::word);
        let gearbox = vec![
            Choice::new("", "either way"),
            Choice::new("yes", "a gearbox under the block"),
            Choice::new("no", "no gearbox under the block"),
        ];
        let mut f = Fields::<Self>::new(who);
        f.text("name", "Name", LONGEST_NAME, at!(name))
            .hint("For example Fitted dowel in sound metal")
            .wide()
            .focus();
        f.heading("When");
        let when = Field::select("when", "The feature is", "", whens).wide();
        f.code::<When, _>(when, at!(when));
        let kind = Field::select("kind", "Kind of feature", "", any_or(kind_choices()));
        f.code::<FeatureKind, _>(kind, at!(kind));
        let face = Field::select("face", "On the face", "", any_or(face_choices()));
        f.code::<Face, _>(face, at!(face));
        f.length("smallest", "From this size", at!(smallest));
        f.length("largest", "Up to this size", at!(largest))
            .hint("A thread counts by its major diameter");
        let gearbox = Field::select("gearbox_under", "Wanted with", "", gearbox);
        let yes_no = |word: &str| match word {
            "yes" => Some(true),
            "no" => Some(false),
            _ => None,
        };
        let word = |yes: &bool| if *yes { "yes" } else { "no" }.to_owned();
        f.choice(gearbox, at!(gearbox_under), word, yes_no);
        f.heading("Then");
        let action = Field::select("action", "What to do", "", actions);
        f.code::<Action, _>(action, at!(action));
        f.value(
            Field::text("elements", "Elements of work, in order", "").optional(),
            at!(elements),
            |codes| element_codes::typed(codes),
            |_, _, raw| Some(element_codes::read(raw)),
        )
        .hint("Their codes, separated by commas: DOWEL-DIAL, DOWEL-REAM");
        f.area("say", "Tell the customer", 3, LONGEST_NOTE, at!(say))
            .hint("What the customer must hear, or why it cannot be done");
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    fn check(&mut self, table: &Table, _: &SignedIn, errors: &mut FormErrors) {
        if !errors.is_empty() {
            return;
        }
        for fault in self.faults() {
            errors.add(fault.field(), fault);
        }
        element_codes::check(&self.elements, &table.known, errors);
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

    async fn copy(&self, tx: &mut ShopTx, key: Uuid, name: &str) -> Result<(), DbError> {
        db::copy(tx, self.id, key, name).await
    }

    fn before_copy(&self, _: &Table) -> Option<Copying> {
        Some(Copying {
            longest: LONGEST_NAME,
            words: "The copy is put next to it in the order. Then change what is different.",
            to: "/castings/rules/{id}/edit",
        })
    }

    fn before_delete(&self, _: &Table) -> Option<(String, String)> {
        Some((
            format!("Delete the rule “{}”", self.name),
            "Differences it decided will be decided by the rules below it, or by none. Quotes already given stay as they are."
                .to_owned(),
        ))
    }

    fn words(&self, _: &Table, new: bool) -> Words {
        Words {
            title: if new {
                "New rule".to_owned()
            } else {
                format!("Edit {}", self.name)
            },
            save: "Save",
            ..Words::of(new, "", &self.name, PATH).back("Conversion rules")
        }
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        let words = match done {
            Done::Added => "Saved at the end of the list. Move it up to have it tried earlier.",
            Done::Saved => "Saved.",
            Done::Deleted => return (PATH.to_owned(), "Deleted.".to_owned()),
        };
        (format!("{PATH}#rule-{}", self.id), words.to_owned())
    }

    fn below(sheet: &Sheet<Self>) -> Markup {
        element_codes::list(&sheet.around.known)
    }
}

fn choices<T: Copy>(
    all: &[T],
    code: fn(T) -> &'static str,
    word: fn(T) -> &'static str,
) -> Vec<Choice> {
    all.iter()
        .map(|one| Choice::new(code(*one), word(*one)))
        .collect()
}

fn any_or(mut choices: Vec<Choice>) -> Vec<Choice> {
    choices.insert(0, Choice::new("", "any"));
    choices
}
