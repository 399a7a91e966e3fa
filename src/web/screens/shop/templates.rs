//! `/shop/templates`: everyday work under a name, that quick quotes and jobs start from.

use super::standards::Nothing;
use crate::app::everyday_work;
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, standards, work_templates as db};
use crate::estimating::{Element, WorkList, WorkTemplate};
use crate::web::ui::record::{
    self, Api, At, Done, Fields, Group, Paths, Record, Sheet, Typed, Words, at,
};
use crate::web::ui::work_lines::{TypedLines, columns, shapes};
use crate::web::ui::{
    Answer, CheckedForm, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
};
use actix_web::web;
use maud::{Markup, html};
use std::rc::Rc;
use uuid::Uuid;

const PATH: &str = "/shop/templates";

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route(PATH, web::get().to(list))
        .route("/shop/templates/start", web::post().to(start));
    record::routes::<WorkTemplate>(cfg);
}

impl Record for WorkTemplate {
    type Around = Rc<Vec<Element>>;
    const NAV: Section = Section::Shop;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Office;
    const TABLE: &'static str = "work_template";
    const PATHS: Paths = Paths {
        new: "/shop/templates/new",
        add: PATH,
        edit: "/shop/templates/{id}",
        delete: "/shop/templates/{id}/delete",
        copy: "",
    };
    const API: Api = Api::of(
        "everyday_work",
        "/api/v1/everyday-work",
        "/api/v1/everyday-work/{id}",
    );

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
        Ok(Rc::new(standards::list(tx).await?))
    }

    fn blank(_: &Rc<Vec<Element>>, _: &SignedIn, _: &At) -> Self {
        Self {
            id: Uuid::now_v7(),
            name: String::new(),
            list: WorkList::default(),
            ask: String::new(),
            version: 1,
        }
    }

    fn fields(elements: &Rc<Vec<Element>>, who: &SignedIn, _: bool) -> Fields<Self> {
        let mut f = Fields::<Self>::new(who);
        f.text("name", "Name", 80, at!(name))
            .hint("As callers say it, for example Grind a crankshaft")
            .focus();
        f.note("part", "Part", 120, at!(list.part))
            .hint("For example: crankshaft, block");
        f.group(work(elements));
        f.area("ask", "Ask the caller", 3, 400, at!(ask))
            .hint("What decides the price, and what to look at first");
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    fn check(&mut self, _: &Rc<Vec<Element>>, _: &SignedIn, errors: &mut FormErrors) {
        if errors.is_empty() && self.list.lines.is_empty() {
            errors.add("work-1", "Choose the work");
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

    fn words(&self, _: &Rc<Vec<Element>>, new: bool) -> Words {
        Words::of(new, "Add everyday work", &self.name, PATH)
            .back("Everyday work")
            .deletes("Delete")
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        let verb = match done {
            Done::Added => "added",
            Done::Saved => "saved",
            Done::Deleted => "deleted",
        };
        (PATH.to_owned(), format!("{} is {verb}.", self.name))
    }
}

fn number(n: Option<u32>) -> String {
    n.map(|n| n.to_string()).unwrap_or_default()
}

/// The rows of work, as the page of a quick quote has them.
fn work(elements: &Rc<Vec<Element>>) -> Group<WorkTemplate> {
    let (to_read, to_draw) = (Rc::clone(elements), Rc::clone(elements));
    Group::new(
        "Work",
        shapes(elements),
        |template: &WorkTemplate, typed: &mut Typed| {
            let (codes, counts) = columns(&template.list);
            typed.set_all("work", codes);
            typed.set_all("count", counts);
            typed.set("cylinders", number(template.list.cylinders));
            typed.set("mains", number(template.list.mains));
        },
        move |template: &mut WorkTemplate, typed, errors| {
            if let Some(list) = lines(typed).read(&to_read, errors) {
                template.list = list;
            }
        },
        move |typed, errors| lines(typed).fields(&to_draw, errors),
        |typed| {
            let rows = typed.all("work").iter().filter(|code| !code.is_empty());
            rows.cloned().collect::<Vec<_>>().join(", ")
        },
    )
}

fn lines(typed: &Typed) -> TypedLines<'_> {
    TypedLines {
        part: typed.get("part"),
        work: typed.all("work"),
        count: typed.all("count"),
        cylinders: typed.get("cylinders"),
        mains: typed.get("mains"),
    }
}

async fn list(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let templates = db::list(&mut tx).await?;
    let elements = standards::list(&mut tx).await?;
    let body = html! {
        p.back { a href="/shop" { "‹ Shop" } }
        div.bar {
            h1 { "Everyday work" }
            a.button href="/shop/templates/new" data-key="n" data-key-label="Add everyday work" { "Add everyday work" }
        }
        p.lead { "What callers ask for again and again, as a list of your standard times. A quick quote or a job starts from it." }
        p.small.muted { "The usual ones that came with the program are starting points: change them to how you do it." }
        @if templates.is_empty() {
            section.notice.warn {
                h2 { "No everyday work yet" }
                p { "Load the usual: grind a crank, rebore, hone, deck, line bore, liners, tests. It is a starting point: change it to how you do it." }
                @if who.may(Role::Owner) {
                    form method="post" action="/shop/templates/start" {
                        (csrf_field(&who))
                        button type="submit" { "Load the usual" }
                    }
                }
            }
        } @else {
            table.cells {
                thead { tr { th scope="col" { "Name" } th scope="col" { "Work" } th scope="col" { "Ask the caller" } } }
                tbody { @for one in &templates { (row(one, &elements)) } }
            }
        }
    };
    Ok(Page::new(&who, "Everyday work")
        .nav(Section::Shop)
        .body(body)
        .into())
}

fn row(template: &WorkTemplate, elements: &[Element]) -> Markup {
    let names: Vec<&str> = template
        .list
        .lines
        .iter()
        .map(|(code, _)| {
            let known = elements.iter().find(|element| element.code == *code);
            known.map_or(code.as_str(), |element| element.name.as_str())
        })
        .collect();
    let unknown = template.unknown(elements);
    html! {
        tr {
            th scope="row" { a href={ "/shop/templates/" (template.id) } { (template.name) } }
            td data-label="Work" {
                (names.join("; "))
                @if !unknown.is_empty() { br; span.tag { "no standard time: " (unknown.join(", ")) } }
            }
            td data-label="Ask the caller" { (template.ask) }
        }
    }
}

async fn start(who: SignedIn, _: CheckedForm<Nothing>) -> Answer {
    let added = everyday_work::take_usual(&who.actor()).await?;
    Ok(Reply::see_other(PATH).flash(match added {
        0 => "There is everyday work already.",
        _ => "Loaded. It is a starting point: change it to how you do it.",
    }))
}
