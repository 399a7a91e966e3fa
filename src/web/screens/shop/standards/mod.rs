//! Standard times: the elements of work, in the trade's order.

mod checks;
mod fields;

use super::rates::skills;
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, cutting, machines, order_of_work, standards};
use crate::estimating::{Basis, Element, Inclusion, Stage, starting};
use crate::units::{Minutes, Spread};
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words};
use crate::web::ui::{
    Answer, CheckedForm, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
};
use actix_web::web;
use fields::Suggestions;
use maud::{Markup, html};
use rust_decimal::Decimal;
use serde::Deserialize;
use uuid::Uuid;

const PATH: &str = "/shop/standards";

/// `/shop/standards`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route(PATH, web::get().to(list))
        .route("/shop/standards/start", web::post().to(start));
    record::routes::<Element>(cfg);
}

impl Record for Element {
    type Around = Suggestions;
    const NAV: Section = Section::Shop;
    const READ: Role = Role::Machinist;
    const WRITE: Role = Role::Owner;
    const HISTORY: Role = Role::Office;
    const TABLE: &'static str = "element";
    const PATHS: Paths = Paths {
        new: "/shop/standards/new",
        add: "/shop/standards",
        edit: "/shop/standards/{id}",
        delete: "/shop/standards/{id}/delete",
        copy: "",
    };
    const API: Api = Api::of(
        "standard_time",
        "/api/v1/standards",
        "/api/v1/standards/{id}",
    );
    const COPY: bool = true;
    const EMPTY: &'static [&'static str] = &["stage", "owner_figure"];

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        Ok(standards::get(tx, at.id).await?)
    }

    async fn list(tx: &mut ShopTx, _: &SignedIn, _: &At) -> Result<Vec<Self>, WebError> {
        Ok(standards::list(tx).await?)
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        _: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(suggestions(tx).await?)
    }

    /// Done when asked for, once for each feature, attended all the time.
    fn blank(_: &Suggestions, _: &SignedIn, _: &At) -> Self {
        Self {
            id: Uuid::now_v7(),
            code: String::new(),
            name: String::new(),
            stage: Stage::Identify,
            machine_kind: String::new(),
            skill: String::new(),
            setup: Minutes(Decimal::ZERO),
            revised: None,
            recipe: None,
            handling: Minutes(Decimal::ZERO),
            calculated_percent: Decimal::ONE_HUNDRED,
            owner_figure: Minutes(Decimal::ZERO),
            attended_share: Decimal::ONE,
            spread: Spread::ThreePoint {
                low: Decimal::new(8, 1),
                likely: Decimal::ONE,
                high: Decimal::new(18, 1),
            },
            basis: Basis::PerFeature,
            standing: Inclusion::Asked,
            can_fail: false,
            left_out: String::new(),
            at_machine: String::new(),
            outside_price: None,
            outside_days: None,
            checks: Vec::new(),
            cautions: Vec::new(),
            followed_by: Vec::new(),
            metals: Vec::new(),
            tools: Vec::new(),
            apart: false,
            materials: Vec::new(),
            version: 1,
        }
    }

    fn copied(self) -> Self {
        Self {
            id: Uuid::now_v7(),
            code: String::new(),
            ..self
        }
    }

    fn fields(suggested: &Suggestions, who: &SignedIn, _: bool) -> Fields<Self> {
        fields::fields(suggested, who)
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    fn check(&mut self, _: &Suggestions, _: &SignedIn, errors: &mut FormErrors) {
        if errors.is_empty() {
            for (field, message) in self.faults() {
                errors.add(field, message);
            }
        }
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        standards::insert(tx, self).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        standards::update(tx, self).await
    }

    async fn delete(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        standards::delete(tx, self.id, self.version).await
    }

    fn words(&self, _: &Suggestions, new: bool) -> Words {
        Words::of(new, "Add an element", &self.name, PATH).deletes("Delete")
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        let verb = match done {
            Done::Added => "added",
            Done::Saved => "saved",
            Done::Deleted => "deleted",
        };
        (PATH.to_owned(), format!("{} is {verb}.", self.code))
    }
}

async fn list(who: SignedIn) -> Answer {
    let mut tx = who.begin().await?;
    let elements = standards::list(&mut tx).await?;
    let (_, order) = order_of_work::get(&mut tx).await?;
    let body = html! {
        div.bar {
            h1 { "Standard times" }
            @if who.may(Role::Owner) {
                a.button href="/shop/standards/new" data-key="n" data-key-label="Add an element" { "Add an element" }
            }
        }
        p.lead {
            "The elements of work that routes are made of, in " a href="/shop/order" { "the order of work" } ". Conversion rules name them by code."
            @if who.may(Role::Office) { " " a href="/review/standards" { "See what your bookings say of them" } "." }
        }
        @if elements.is_empty() {
            section.notice.warn {
                h2 { "No elements yet" }
                p { "Nothing can be routed or costed without them. Load the starting set and put in your own figures." }
                @if who.may(Role::Owner) {
                    form method="post" action="/shop/standards/start" {
                        (csrf_field(&who))
                        button type="submit" { "Load the starting set" }
                    }
                }
            }
        }
        @for &stage in order.all() {
            @let here: Vec<&Element> = elements.iter().filter(|e| e.stage == stage).collect();
            @if !here.is_empty() { (stage_table(stage, &here)) }
        }
    };
    Ok(Page::new(&who, "Standard times")
        .nav(Section::Shop)
        .body(body)
        .into())
}

fn stage_table(stage: Stage, elements: &[&Element]) -> Markup {
    html! {
        table.cells.standards {
            caption { (stage) }
            thead { tr {
                th scope="col" { "Element" } th scope="col" { "Machine and skill" } th.number scope="col" { "Setup" }
                th.number scope="col" { "Each" } th scope="col" { "How often" }
            } }
            tbody {
                @for element in elements {
                    tr {
                        th scope="row" {
                            a href={ "/shop/standards/" (element.id) } { (element.name) }
                            div.small.muted { (element.code) }
                        }
                        td data-label="Machine and skill" { (element.machine_kind) ", " (element.skill) }
                        td.number data-label="Setup" { (element.setup) }
                        td.number data-label="Each" { (each(element)) }
                        td data-label="How often" {
                            (element.basis)
                            @if element.standing > crate::estimating::Inclusion::Asked { ", " (element.standing) }
                            @if element.can_fail { " " span.tag { "a donor can fail" } }
                        }
                    }
                }
            }
        }
    }
}

/// Time each by the best source there is before a feature is known.
fn each(element: &Element) -> Markup {
    html! {
        @if let Some(revised) = element.revised {
            (revised) " " span.small.muted { "revised" }
        } @else if element.recipe.is_some() {
            (element.handling) " + cutting" " " span.small.muted { "calculated" }
        } @else {
            (element.owner_figure) " " span.small.muted { "owner's figure" }
        }
    }
}

async fn start(who: SignedIn, _: CheckedForm<Nothing>) -> Answer {
    who.require(Role::Owner)?;
    let set = starting::elements(who.shop.currency, Uuid::now_v7)
        .map_err(|why| WebError::Internal(format!("the starting set does not read: {why}")))?;
    let mut tx = who.begin().await?;
    if !standards::list(&mut tx).await?.is_empty() {
        return Ok(Reply::see_other("/shop/standards").flash("There are standard times already."));
    }
    for element in &set {
        standards::insert(&mut tx, element).await?;
    }
    tx.commit().await?;
    Ok(Reply::see_other("/shop/standards")
        .flash("The starting set is loaded. Its figures are invented: put in your own."))
}

/// A form with nothing in it but its token.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Nothing {}

async fn suggestions(tx: &mut ShopTx) -> Result<Suggestions, DbError> {
    let mut suggested = Suggestions {
        skills: skills(tx).await?,
        ..Suggestions::default()
    };
    let machines = machines::machines(tx).await?;
    suggested.kinds.extend(machines.into_iter().map(|m| m.kind));
    let elements = standards::list(tx).await?;
    suggested
        .kinds
        .extend(elements.into_iter().map(|e| e.machine_kind));
    let tools = cutting::usual(tx).await?.tools;
    suggested.tools.extend(tools.into_iter().map(|t| t.tool));
    Ok(suggested)
}
