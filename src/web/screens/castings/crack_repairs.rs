//! What the shop does about a crack, by where it is.

use super::element_codes;
use crate::castings::fault::LONGEST_NOTE;
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, crack_repairs as db, standards};
use crate::enquiry::{CrackPlace, CrackRepair};
use crate::estimating::Element;
use crate::units::Code;
use crate::web::ui::forms::Choice;
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::{Field, FormErrors, Section, SignedIn, WebError};
use actix_web::web;
use maud::{Markup, html};
use uuid::Uuid;

const PATH: &str = "/castings/rules";

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<CrackRepair>(cfg);
}

/// Where a crack is, in the words of a list.
fn place_words(place: CrackPlace) -> &'static str {
    match place {
        CrackPlace::Jacket => "Water jacket",
        CrackPlace::Deck => "Deck",
        CrackPlace::Cylinder => "Cylinder",
        CrackPlace::MainWeb => "Main web",
        CrackPlace::Elsewhere => "Elsewhere",
    }
}

/// All of them, for the page of rules.
pub(super) fn list(repairs: &[CrackRepair], may_edit: bool) -> Markup {
    html! {
        section.card #cracks {
            div.bar {
                h2 { "Cracks" }
                @if may_edit && repairs.len() < CrackPlace::ALL.len() {
                    a.button.quiet href="/castings/cracks/new" { "Add a place" }
                }
            }
            p { "What the shop does about a crack in a customer’s own block. Where nothing is set, no price is given before the block is inspected." }
            @if !repairs.is_empty() {
                ul.plain {
                    @for repair in repairs {
                        li {
                            strong { (place_words(repair.place)) } ": "
                            @if repair.repaired { (repair.elements.join(", ")) } @else { "not repaired" }
                            @if !repair.say.is_empty() { ". " (repair.say) }
                            @if may_edit { " " a href={ "/castings/cracks/" (repair.id) "/edit" } { "Change" span.visually-hidden { ": " (place_words(repair.place)) } }
                                " " a href={ "/castings/cracks/" (repair.id) "/delete" } { "Delete" span.visually-hidden { ": " (place_words(repair.place)) } } }
                        }
                    }
                }
            }
        }
    }
}

impl Record for CrackRepair {
    type Around = Vec<Element>;
    const NAV: Section = Section::Castings;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Office;
    const PATHS: Paths = Paths {
        new: "/castings/cracks/new",
        add: "/castings/cracks",
        edit: "/castings/cracks/{id}/edit",
        delete: "/castings/cracks/{id}/delete",
        copy: "",
    };
    const API: Api = Api::of("crack_repair", "/api/v1/cracks", "/api/v1/cracks/{id}");

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
        Ok(standards::list(tx).await?)
    }

    fn blank(_: &Vec<Element>, _: &SignedIn, _: &At) -> Self {
        Self {
            id: Uuid::now_v7(),
            place: CrackPlace::Jacket,
            repaired: true,
            elements: Vec::new(),
            say: String::new(),
            version: 1,
        }
    }

    fn fields(_: &Vec<Element>, who: &SignedIn, _: bool) -> Fields<Self> {
        let places = CrackPlace::ALL
            .iter()
            .map(|place| Choice::new(place.code(), place_words(*place)))
            .collect();
        let repaired = vec![
            Choice::new("yes", "repaired, here or outside"),
            Choice::new("no", "not repaired"),
        ];
        let mut f = Fields::<Self>::new(who);
        let place = Field::select("place", "Where the crack is", "", places);
        f.code::<CrackPlace, _>(place, at!(place)).focus();
        let yes_no = |word: &str| match word {
            "yes" => Some(true),
            "no" => Some(false),
            _ => None,
        };
        let word = |yes: &bool| if *yes { "yes" } else { "no" }.to_owned();
        let what = Field::select("repaired", "What we do", "", repaired);
        f.choice(what, at!(repaired), word, yes_no);
        f.value(
            Field::text("elements", "Elements of work, in order", "").optional(),
            at!(elements),
            |codes| element_codes::typed(codes),
            |_, _, raw| Some(element_codes::read(raw)),
        )
        .hint("Their codes, separated by commas. Work sent out is an element too");
        f.area("say", "Tell the customer", 3, LONGEST_NOTE, at!(say))
            .hint("What the customer must hear, or why it is not repaired");
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    fn check(&mut self, known: &Vec<Element>, _: &SignedIn, errors: &mut FormErrors) {
        if self.repaired && self.elements.is_empty() {
            errors.add(
                "elements",
                "Enter the work that repairs it, or choose “not repaired”",
            );
        }
        element_codes::check(&self.elements, known, errors);
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

    fn before_delete(&self, _: &Vec<Element>) -> Option<(String, String)> {
        Some((
            format!("Delete what is done about a crack {}", self.place.words()),
            "No price will be given for such a block before it is inspected. Quotes already given stay as they are."
                .to_owned(),
        ))
    }

    fn words(&self, _: &Vec<Element>, new: bool) -> Words {
        Words {
            title: if new {
                "A crack, and what is done".to_owned()
            } else {
                format!("A crack {}", self.place.words())
            },
            save: "Save",
            ..Words::of(new, "", place_words(self.place), PATH).back("Conversion rules")
        }
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        let words = match done {
            Done::Added | Done::Saved => "Saved.",
            Done::Deleted => "Deleted.",
        };
        (format!("{PATH}#cracks"), words.to_owned())
    }

    fn below(sheet: &Sheet<Self>) -> Markup {
        element_codes::list(&sheet.around)
    }
}
