//! What an hour of labour costs, by skill.

use crate::db::people::Role;
use crate::db::{DbError, ShopTx, machines, people, standards};
use crate::estimating::LabourRate;
use crate::units::{Currency, Money};
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::{Answer, Field, Page, Section, SignedIn, WebError};
use actix_web::web;
use maud::html;
use std::collections::BTreeSet;
use uuid::Uuid;

const PATH: &str = "/shop/rates";

/// `/shop/rates`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route(PATH, web::get().to(list));
    record::routes::<LabourRate>(cfg);
}

impl Record for LabourRate {
    /// Skills to choose from.
    type Around = BTreeSet<String>;
    const NAV: Section = Section::Shop;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Owner;
    const TABLE: &'static str = "labour_rate";
    const PATHS: Paths = Paths {
        new: "/shop/rates/new",
        add: "/shop/rates",
        edit: "/shop/rates/{id}",
        delete: "/shop/rates/{id}/delete",
        copy: "",
    };
    const API: Api = Api::of("rate", "/api/v1/rates", "/api/v1/rates/{id}");

    const EMPTY: &'static [&'static str] = &["hourly"];

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        let rates = machines::labour_rates(tx).await?;
        let found = rates.into_iter().find(|rate| rate.id == at.id);
        found.ok_or(WebError::NotFound("the rate"))
    }

    async fn list(tx: &mut ShopTx, _: &SignedIn, _: &At) -> Result<Vec<Self>, WebError> {
        Ok(machines::labour_rates(tx).await?)
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        _: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(skills(tx).await?)
    }

    fn blank(_: &Self::Around, who: &SignedIn, _: &At) -> Self {
        Self {
            id: Uuid::now_v7(),
            skill: None,
            hourly: nothing(who.shop.currency),
            version: 1,
        }
    }

    fn fields(skills: &Self::Around, who: &SignedIn, _: bool) -> Fields<Self> {
        let mut fields = Fields::<Self>::new(who);
        let skill = Field::text("skill", "Skill", "").suggestions("skills");
        fields
            .value(skill, at!(skill), String::clone, |errors, name, raw| {
                errors.text(name, raw, 60).map(|skill| skill.to_lowercase())
            })
            .hint("Leave empty for every skill without a rate of its own");
        fields.money("hourly", "Cost an hour", at!(hourly));
        fields.datalist("skills", skills);
        fields
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        machines::insert_labour_rate(tx, self).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        machines::update_labour_rate(tx, self).await
    }

    async fn delete(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        machines::delete_labour_rate(tx, self.id, self.version).await
    }

    fn words(&self, _: &Self::Around, new: bool) -> Words {
        Words::of(new, "Add a rate", label(self), PATH).deletes("Delete")
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        let words = match done {
            Done::Deleted => "The rate is deleted.".to_owned(),
            _ => format!("{} an hour for {}.", self.hourly, label(self)),
        };
        (PATH.to_owned(), words)
    }
}

/// An amount of nothing.
pub(super) fn nothing(currency: Currency) -> Money {
    Money::new(rust_decimal::Decimal::ZERO, currency)
}

/// Skills that elements ask for or people have.
pub(super) async fn skills(tx: &mut ShopTx) -> Result<BTreeSet<String>, DbError> {
    let mut skills: BTreeSet<String> = BTreeSet::new();
    for person in people::list(tx).await?.into_iter().filter(|p| p.active) {
        skills.extend(person.skills);
    }
    skills.extend(standards::list(tx).await?.into_iter().map(|e| e.skill));
    Ok(skills)
}

fn label(rate: &LabourRate) -> &str {
    rate.skill.as_deref().unwrap_or("Every other skill")
}

async fn list(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let rates = machines::labour_rates(&mut tx).await?;
    let without: Vec<String> = skills(&mut tx)
        .await?
        .into_iter()
        .filter(|skill| !rates.iter().any(|r| r.skill.as_ref() == Some(skill)))
        .collect();
    let body = html! {
        div.bar {
            h1 { "Labour rates" }
            @if who.may(Role::Owner) {
                a.button href="/shop/rates/new" data-key="n" data-key-label="Add a rate" { "Add a rate" }
            }
        }
        p.lead { "What an hour of labour costs the shop, with wages and everything on top, by the skill the work needs." }
        @if rates.is_empty() {
            p.notice.warn { "No rate yet, so nothing can be costed. Start with one rate for every skill." }
        } @else {
            table.cells {
                thead { tr { th scope="col" { "Skill" } th.number scope="col" { "An hour" } } }
                tbody {
                    @for rate in &rates {
                        tr {
                            th scope="row" { a href={ "/shop/rates/" (rate.id) } { (label(rate)) } }
                            td.number data-label="An hour" { (rate.hourly) }
                        }
                    }
                }
            }
            @if !without.is_empty() {
                p.muted { "Charged at the common rate: " (without.join(", ")) "." }
            }
        }
    };
    Ok(Page::new(&who, "Labour rates")
        .nav(Section::Shop)
        .body(body)
        .into())
}
