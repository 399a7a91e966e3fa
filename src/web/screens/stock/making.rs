//! How an item of stock is made here: its operations, and what one piece uses up.

use super::item;
use crate::db::people::Role;
use crate::db::stock::{self, Item, ItemMaking};
use crate::db::{DbError, ShopTx, machines, people, standards};
use crate::estimating::made::{MOST_STEPS, Missing};
use crate::estimating::{Element, Making, MakingStep, Material};
use crate::units::Minutes;
use crate::web::ui::record::{
    self, Api, At, Done, Fields, Group, Paths, Record, Row, Sheet, Words, amount, rows,
};
use crate::web::ui::{Choice, Field, FormErrors, Section, SignedIn, WebError};
use actix_web::web;
use maud::{Markup, html};
use rust_decimal::Decimal;
use std::collections::BTreeSet;
use uuid::Uuid;

/// The most materials of one piece.
const MOST_MATERIALS: usize = 40;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<MakingSheet>(cfg);
}

/// Where it is said how an item is made.
pub(super) fn path(item_id: Uuid) -> String {
    format!("{}/making", item::path(item_id))
}

/// How an item is made; its version is 0 while nobody has said.
#[derive(Debug, Clone)]
pub(super) struct MakingSheet {
    kept: ItemMaking,
}

/// The item, and words to choose from.
pub(super) struct Around {
    item: Item,
    elements: Vec<Element>,
    kinds: BTreeSet<String>,
    skills: BTreeSet<String>,
    items: Vec<String>,
}

impl Record for MakingSheet {
    type Around = Around;
    const NAV: Section = Section::Stock;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Office;
    const TABLE: &'static str = "making";
    const PATHS: Paths = Paths {
        new: "",
        add: "",
        edit: "/stock/items/{id}/making",
        delete: "/stock/items/{id}/making/delete",
        copy: "",
    };
    const API: Api = Api::single("making", "/api/v1/stock/{id}/making");

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        let kept = stock::making_of(tx, at.id).await?.unwrap_or(ItemMaking {
            item_id: at.id,
            making: Making::default(),
            version: 0,
        });
        Ok(Self { kept })
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        at: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        let elements = standards::list(tx).await?;
        let mut skills: BTreeSet<String> = elements.iter().map(|e| e.skill.clone()).collect();
        for person in people::list(tx).await? {
            skills.extend(person.skills);
        }
        let machines = machines::machines(tx).await?;
        let items = stock::items(tx, false).await?.into_iter();
        Ok(Around {
            item: stock::item(tx, at.id).await?,
            kinds: machines.into_iter().map(|m| m.kind).collect(),
            skills,
            items: items
                .filter(|i| i.id != at.id)
                .map(|i| i.details.name)
                .collect(),
            elements,
        })
    }

    fn blank(_: &Around, _: &SignedIn, at: &At) -> Self {
        Self {
            kept: ItemMaking {
                item_id: at.id,
                making: Making::default(),
                version: 0,
            },
        }
    }

    fn fields(around: &Around, who: &SignedIn, _: bool) -> Fields<Self> {
        let mut f = Fields::<Self>::new(who);
        f.group(steps(&around.elements));
        f.group(materials(who, &around.item.details.name));
        f.datalist("making-kinds", &around.kinds);
        f.datalist("making-skills", &around.skills);
        f.datalist("making-items", &around.items);
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.kept.version
    }

    fn key(&self) -> Uuid {
        self.kept.item_id
    }

    fn check(&mut self, _: &Around, _: &SignedIn, errors: &mut FormErrors) {
        if errors.is_empty() && self.kept.making.steps.is_empty() {
            errors.add("steps", "Enter at least one operation");
        }
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        stock::keep_making(tx, &self.kept).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        stock::keep_making(tx, &self.kept).await
    }

    async fn delete(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        stock::drop_making(tx, self.kept.item_id, self.kept.version).await
    }

    fn words(&self, around: &Around, _: bool) -> Words {
        let name = &around.item.details.name;
        let cancel = item::path(around.item.id);
        let words = Words {
            title: format!("How it is made: {name}"),
            what: format!("How {name} is made"),
            ..Words::of(false, "", "", &cancel)
        };
        let words = words.back(name);
        match self.kept.version {
            0 => words,
            _ => words.deletes("Stop making it here"),
        }
    }

    fn done(&self, done: Done, sheet: &Sheet<Self>) -> (String, String) {
        let words = match done {
            Done::Deleted => "It is no longer made here.",
            _ => "How it is made is saved.",
        };
        (item::path(sheet.around.item.id), words.to_owned())
    }

    fn lead(_: &Sheet<Self>) -> Markup {
        html! {
            p.lead {
                "When a job needs it and none is free on the shelf, these operations go into the job’s price, its route and the plan, "
                "before the operation that needs it."
            }
            p.small.muted { "Times are your starting points. Guards, speeds and feeds as the tool maker says." }
        }
    }
}

fn minutes(minutes: Option<Minutes>) -> String {
    minutes
        .map(|minutes| minutes.0.normalize().to_string())
        .unwrap_or_default()
}

/// The operations, one a row.
fn steps(elements: &[Element]) -> Group<MakingSheet> {
    let mut work: Vec<Choice> = elements
        .iter()
        .map(|element| Choice::new(&element.code, &element.name))
        .collect();
    work.sort_by_key(|choice| choice.label.to_lowercase());
    let codes: Vec<String> = elements
        .iter()
        .map(|element| element.code.clone())
        .collect();
    rows(
        (
            "Operations",
            "steps",
            "In order. Choose a standard time, and leave the rest empty to take it as it is; or say what is done, where, and how long.",
        ),
        vec![
            Field::select("step_code", "Standard time", "", work),
            Field::text("step_what", "Work", ""),
            Field::text("step_kind", "Kind of machine", "").suggestions("making-kinds"),
            Field::text("step_skill", "Skill", "").suggestions("making-skills"),
            Field::minutes("step_setup", "Setup of a batch", ""),
            Field::minutes("step_each", "Each piece", ""),
        ],
        |sheet: &MakingSheet| {
            let steps = sheet.kept.making.steps.iter();
            steps
                .map(|step| {
                    vec![
                        step.code.clone().unwrap_or_default(),
                        step.what.clone(),
                        step.machine_kind.clone(),
                        step.skill.clone(),
                        minutes(step.setup),
                        minutes(step.each),
                    ]
                })
                .collect()
        },
        move |sheet, rows, errors| {
            if rows.len() > MOST_STEPS {
                errors.add("steps", format!("Enter at most {MOST_STEPS} operations"));
                return;
            }
            let read: Option<Vec<MakingStep>> =
                rows.iter().map(|row| step(row, &codes, errors)).collect();
            if let Some(steps) = read {
                sheet.kept.making.steps = steps;
            }
        },
    )
}

/// One operation as typed, with a complaint beside whatever does not read or is missing.
fn step(row: &Row, codes: &[String], errors: &mut FormErrors) -> Option<MakingStep> {
    let known = |code: &str| codes.iter().find(|known| *known == code).cloned();
    let code = errors.optional(row.get(0), |errors| {
        errors.choice(&row.id("step_code"), row.get(0), known)
    });
    let what = errors.text(&row.id("step_what"), row.get(1), 120);
    let kind = errors.text(&row.id("step_kind"), row.get(2), 60);
    let skill = errors.text(&row.id("step_skill"), row.get(3), 60);
    let mut time = |column: usize, name: &str| {
        let field = row.id(name);
        errors.optional(row.get(column), |errors| {
            errors.minutes(&field, row.get(column))
        })
    };
    let (setup, each) = (time(4, "step_setup"), time(5, "step_each"));
    let step = MakingStep {
        code: code?,
        what: what?,
        machine_kind: kind?.to_lowercase(),
        skill: skill?.to_lowercase(),
        setup: setup?,
        each: each?,
    };
    let missing = step.missing();
    for one in &missing {
        let (name, message) = match one {
            Missing::What => ("step_what", "Enter the work, or choose a standard time"),
            Missing::MachineKind => ("step_kind", "Enter the kind of machine, for example bench"),
            Missing::Skill => (
                "step_skill",
                "Enter the skill it needs, for example milling",
            ),
            Missing::Each => ("step_each", "Enter the time for each piece, for example 12"),
        };
        errors.add(&row.id(name), message);
    }
    missing.is_empty().then_some(step)
}

/// What one piece uses up.
fn materials(who: &SignedIn, itself: &str) -> Group<MakingSheet> {
    let currency = who.shop.currency;
    let itself = itself.to_lowercase();
    rows(
        (
            "Material of one piece",
            "materials",
            "An item of stock by its name is taken from stock. Anything else is bought for the job.",
        ),
        vec![
            Field::text("material_name", "Material", "").suggestions("making-items"),
            Field::decimal("material_quantity", "Quantity", ""),
            Field::money("material_price", "Price of one", "", currency),
        ],
        |sheet: &MakingSheet| {
            let materials = sheet.kept.making.materials.iter();
            materials
                .map(|m| {
                    let quantity = m.quantity.normalize().to_string();
                    vec![m.name.clone(), quantity, amount(m.price)]
                })
                .collect()
        },
        move |sheet, rows, errors| {
            if rows.len() > MOST_MATERIALS {
                errors.add(
                    "materials",
                    format!("Enter at most {MOST_MATERIALS} materials"),
                );
                return;
            }
            let materials = rows.iter().map(|row| {
                let field = row.id("material_name");
                let name = errors.required_text(&field, row.get(0), 120);
                let of_itself = name
                    .as_ref()
                    .is_some_and(|name| name.to_lowercase() == itself);
                if of_itself {
                    errors.add(&field, "Enter what it is made from, not the part itself");
                }
                let some = super::form::LEAST..=Decimal::from(10_000);
                let quantity = errors.decimal(&row.id("material_quantity"), row.get(1), some);
                let price = errors.money(&row.id("material_price"), row.get(2), currency);
                Some(Material {
                    name: name.filter(|_| !of_itself)?,
                    quantity: quantity?,
                    price: price?,
                    smallest: None,
                    largest: None,
                    made: false,
                })
            });
            let read: Vec<Option<Material>> = materials.collect();
            if let Some(materials) = read.into_iter().collect() {
                sheet.kept.making.materials = materials;
            }
        },
    )
}
