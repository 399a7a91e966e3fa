//! `/shop/fitting`: what a fitter must know, by kind of work, for the sheet that goes out with a job.

use super::standards::Nothing;
use crate::app::aftercare;
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, aftercare as db, standards};
use crate::estimating::Element;
use crate::jobs::FittingText;
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::{
    Answer, CheckedForm, Choice, Field, Page, Reply, Section, SignedIn, WebError, csrf_field,
};
use actix_web::web;
use maud::{Markup, html};
use uuid::Uuid;

const PATH: &str = "/shop/fitting";

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route(PATH, web::get().to(list))
        .route("/shop/fitting/start", web::post().to(start));
    record::routes::<FittingText>(cfg);
}

impl Record for FittingText {
    type Around = Vec<Element>;
    const NAV: Section = Section::Shop;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Office;
    const TABLE: &'static str = "fitting_text";
    const PATHS: Paths = Paths {
        new: "/shop/fitting/new",
        add: PATH,
        edit: "/shop/fitting/{id}",
        delete: "/shop/fitting/{id}/delete",
        copy: "",
    };
    const API: Api = Api::of(
        "fitting_text",
        "/api/v1/fitting-texts",
        "/api/v1/fitting-texts/{id}",
    );

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        Ok(db::fitting_text(tx, at.id).await?)
    }

    async fn list(tx: &mut ShopTx, _: &SignedIn, _: &At) -> Result<Vec<Self>, WebError> {
        Ok(db::fitting_texts(tx).await?)
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
            code: String::new(),
            heading: String::new(),
            fit: String::new(),
            first_run: String::new(),
            version: 1,
        }
    }

    fn fields(elements: &Vec<Element>, who: &SignedIn, _: bool) -> Fields<Self> {
        let every = Choice::new("", "every job");
        let mut work: Vec<Choice> = elements
            .iter()
            .map(|e| Choice::new(&e.code, &e.name))
            .collect();
        work.sort_by_key(|choice| choice.label.to_lowercase());
        work.insert(0, every);
        let mut f = Fields::<Self>::new(who);
        f.value(
            Field::select("code", "For", "", work),
            at!(code),
            String::clone,
            |errors, name, raw| errors.text(name, raw, 60),
        )
        .hint("Printed with every job in which this work is done");
        f.text("heading", "Heading", 80, at!(heading)).focus();
        f.area("fit", "When fitting", 7, 2000, at!(fit)).hint(
            "A line for each thing to do or check: what to nip up, what feeler must not enter",
        );
        f.area("first_run", "After the first run", 5, 2000, at!(first_run))
            .hint("A line for each thing to look at");
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        db::insert_text(tx, self).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        db::update_text(tx, self).await
    }

    async fn delete(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        db::delete_text(tx, self.id, self.version).await
    }

    fn words(&self, _: &Vec<Element>, new: bool) -> Words {
        Words::of(new, "Add a fitting text", &self.heading, PATH)
            .back("Fitting sheets")
            .deletes("Delete")
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        let verb = match done {
            Done::Added => "added",
            Done::Saved => "saved",
            Done::Deleted => "deleted",
        };
        (PATH.to_owned(), format!("{} is {verb}.", self.heading))
    }
}

async fn list(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let texts = db::fitting_texts(&mut tx).await?;
    let elements = standards::list(&mut tx).await?;
    let body = html! {
        p.back { a href="/shop" { "‹ Shop" } }
        div.bar {
            h1 { "Fitting sheets" }
            a.button href="/shop/fitting/new" data-key="n" data-key-label="Add a fitting text" { "Add a fitting text" }
        }
        p.lead { "What goes out with a job, or with a kit, for whoever fits it. A job’s page prints the sheet from the texts of the work done on it." }
        @if texts.is_empty() {
            section.notice.warn {
                h2 { "No texts yet" }
                p { "Load the usual: seals, main bearings, deck, bores, crankshaft, liners. They are a starting point: the engine maker’s figures go before them." }
                @if who.may(Role::Owner) {
                    form method="post" action="/shop/fitting/start" {
                        (csrf_field(&who))
                        button type="submit" { "Load the usual" }
                    }
                }
            }
        } @else {
            table.cells {
                thead { tr { th scope="col" { "Heading" } th scope="col" { "For" } th scope="col" { "Lines" } } }
                tbody { @for text in &texts { (row(text, &elements)) } }
            }
        }
    };
    Ok(Page::new(&who, "Fitting sheets")
        .nav(Section::Shop)
        .body(body)
        .into())
}

fn row(text: &FittingText, elements: &[Element]) -> Markup {
    let work = elements.iter().find(|element| element.code == text.code);
    let lines = |text: &str| text.lines().filter(|line| !line.trim().is_empty()).count();
    html! {
        tr {
            th scope="row" { a href={ "/shop/fitting/" (text.id) } { (text.heading) } }
            td data-label="For" {
                @if text.code.is_empty() { "every job" }
                @else { (work.map_or(text.code.as_str(), |element| element.name.as_str())) }
            }
            td data-label="Lines" { (lines(&text.fit)) " when fitting, " (lines(&text.first_run)) " after the first run" }
        }
    }
}

async fn start(who: SignedIn, _: CheckedForm<Nothing>) -> Answer {
    let added = aftercare::take_usual(&who.actor()).await?;
    Ok(Reply::see_other(PATH).flash(match added {
        0 => "There are texts already.",
        _ => "Loaded. They are a starting point: change them to how you do it.",
    }))
}
