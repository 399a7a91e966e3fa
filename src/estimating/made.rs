//! Parts made in the shop: a dowel ground to fit, an adaptor plate, a seal housing. Each has a small route of its own, a few
//! operations with their setup and minutes a piece, and material for each piece. When a job needs one and the shelf has none
//! free, the making goes into the job's route, before the operation that needs the part, and so into its price and its plan.
//!
//! What the price does then follows from the lines alone. At the same rates, the direct cost with the part made is the direct
//! cost with the part from the shelf, less the shelf price of what is made, plus the lines of the making. Whether making is
//! dearer than the shelf is for those figures to say, and not assumed.
//!
//! ```
//! use borewright::estimating::{MadePart, Making, MakingStep, OrderOfWork, cutting_data};
//! use borewright::units::Minutes;
//! use uuid::Uuid;
//!
//! let grind = MakingStep {
//!     code: None,
//!     what: "Grind to size between centres".to_owned(),
//!     machine_kind: "crank grinder".to_owned(),
//!     skill: "grinding".to_owned(),
//!     setup: Some(Minutes(20.into())),
//!     each: Some(Minutes(12.into())),
//! };
//! let dowel = MadePart {
//!     item_id: Uuid::nil(),
//!     name: "Offset dowel".to_owned(),
//!     free: 0.into(),
//!     making: Making { steps: vec![grind], materials: vec![] },
//! };
//! let data = cutting_data::starting_points().remove(0);
//! let made = dowel.operations(4, &[], (&data, &OrderOfWork::default()))?;
//! assert_eq!((made[0].setup, made[0].run), (Minutes(20.into()), Minutes(48.into())));
//! # Ok::<(), borewright::estimating::RouteError>(())
//! ```

#[cfg(test)]
mod tests;

use super::card::operation;
use super::cutting_data::CuttingData;
use super::element::{Basis, Element, Inclusion, Material, Stage};
use super::order::OrderOfWork;
use super::route::{Operation, Route};
use super::routing::{Draft, Group, Key, Part, RouteError};
use crate::castings::Metal;
use crate::castings::measured::Sizes;
use crate::units::text::uncapitalised;
use crate::units::{Minutes, Money, Spread};
use rust_decimal::prelude::ToPrimitive;
use rust_decimal::{Decimal, dec};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use uuid::Uuid;

/// The most operations that one part is made in.
pub const MOST_STEPS: usize = 20;
/// The most pieces that are made in one job.
pub const MOST_PIECES: u32 = 10_000;

/// An operation of making a part.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct MakingStep {
    /// The element of the standard times that it is, by code; with it, whatever is left open here is as there.
    pub code: Option<String>,
    /// What is done; empty: as the element says.
    pub what: String,
    /// The kind of machine; empty: that of the element.
    pub machine_kind: String,
    /// The skill it needs; empty: that of the element.
    pub skill: String,
    /// Setup for a batch.
    pub setup: Option<Minutes>,
    /// Minutes a piece.
    pub each: Option<Minutes>,
}

/// What of a step is missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Missing {
    /// What is done.
    What,
    /// The kind of machine.
    MachineKind,
    /// The skill.
    Skill,
    /// Minutes a piece.
    Each,
}

impl MakingStep {
    /// What must still be said of a step that no element stands behind; nothing of one with an element.
    #[must_use]
    pub fn missing(&self) -> Vec<Missing> {
        if self.code.is_some() {
            return Vec::new();
        }
        [
            (self.what.is_empty(), Missing::What),
            (self.machine_kind.is_empty(), Missing::MachineKind),
            (self.skill.is_empty(), Missing::Skill),
            (self.each.is_none(), Missing::Each),
        ]
        .into_iter()
        .filter_map(|(missing, what)| missing.then_some(what))
        .collect()
    }
}

/// How a part is made.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Making {
    /// Its operations, one after another.
    pub steps: Vec<MakingStep>,
    /// What one piece uses up: another item of stock by its name, or what is bought.
    pub materials: Vec<Material>,
}

/// A part that the shop makes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MadePart {
    /// Its item of stock.
    pub item_id: Uuid,
    /// The item's name: a material of this name is this part.
    pub name: String,
    /// How many are on the shelf that no job has claimed; below zero when jobs want more than there are.
    pub free: Decimal,
    /// How it is made.
    pub making: Making,
}

/// What an operation makes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Makes {
    /// The item of stock.
    pub item_id: Uuid,
    /// Its name.
    pub part: String,
    /// How many pieces.
    pub pieces: u32,
    /// Whether they are done after it.
    pub last: bool,
}

/// Whole pieces that cover a quantity; `None` for none, or more than are made in one job.
#[must_use]
pub fn pieces(quantity: Decimal) -> Option<u32> {
    quantity
        .ceil()
        .to_u32()
        .filter(|pieces| (1..=MOST_PIECES).contains(pieces))
}

impl MadePart {
    /// Whether a material is this part.
    #[must_use]
    pub fn is(&self, material: &str) -> bool {
        self.name.to_lowercase() == material.to_lowercase()
    }

    /// The operations that make so many pieces, numbered 10, 20 …, each after the one before. The setup of each is for the
    /// whole batch. Another batch of the same part finds the machine set for the same step of it.
    ///
    /// # Errors
    /// [`RouteError`]: an element the shop does not have, too many pieces, prices in two currencies.
    pub fn operations(
        &self,
        pieces: u32,
        elements: &[Element],
        rules: (&CuttingData, &OrderOfWork),
    ) -> Result<Vec<Operation>, RouteError> {
        if !(1..=MOST_PIECES).contains(&pieces) {
            return Err(RouteError::Pieces(self.name.clone()));
        }
        let steps = &self.making.steps;
        let mut operations: Vec<Operation> = Vec::with_capacity(steps.len());
        for ((step, place), number) in steps.iter().zip(1_usize..).zip((10_u32..).step_by(10)) {
            let element = self.element(step, place, elements)?;
            let made = one(&element, (pieces, number), &self.name, rules)?;
            operations.push(Operation {
                title: match pieces {
                    1 => format!("{}: {}", self.name, uncapitalised(&element.name)),
                    n => format!("{} × {n}: {}", self.name, uncapitalised(&element.name)),
                },
                setup_key: format!("{} / {}, step {place}", element.machine_kind, self.name),
                after: operations.last().map(|o| o.number).into_iter().collect(),
                makes: Some(Makes {
                    item_id: self.item_id,
                    part: self.name.clone(),
                    pieces,
                    last: place == steps.len(),
                }),
                ..made
            });
        }
        if let Some(first) = operations.first_mut() {
            let each = self.making.materials.iter();
            first.materials.extend(each.map(|material| Material {
                quantity: material.quantity * Decimal::from(pieces),
                ..material.clone()
            }));
        }
        Ok(operations)
    }

    /// The element of a step, with what the step says instead. A step with minutes of its own is no work of the standard
    /// time, which learns nothing from it, so it goes under a code that no element can have.
    fn element(
        &self,
        step: &MakingStep,
        place: usize,
        elements: &[Element],
    ) -> Result<Element, RouteError> {
        let mut element = match &step.code {
            Some(code) => elements
                .iter()
                .find(|e| e.code == *code)
                .cloned()
                .ok_or_else(|| RouteError::UnknownElement {
                    asked_by: format!("the making of “{}”", self.name),
                    code: code.clone(),
                })?,
            None => plain(),
        };
        for (own, of_element) in [
            (&step.what, &mut element.name),
            (&step.machine_kind, &mut element.machine_kind),
            (&step.skill, &mut element.skill),
        ] {
            if !own.is_empty() {
                of_element.clone_from(own);
            }
        }
        if step.code.is_none() || step.setup.is_some() || step.each.is_some() {
            element.code = format!("{} / {place}", self.name);
            element.setup = step.setup.unwrap_or(element.setup);
            if let Some(each) = step.each {
                element.owner_figure = each;
                element.revised = None;
                element.recipe = None;
            }
        }
        // It is no donor, and the part is wanted whole.
        element.can_fail = false;
        element.left_out.clear();
        Ok(element)
    }
}

/// Work that no element stands behind, attended all the time. Its spread is common practice, no source.
fn plain() -> Element {
    Element {
        id: Uuid::nil(),
        code: String::new(),
        name: String::new(),
        stage: Stage::Rough,
        machine_kind: String::new(),
        skill: String::new(),
        setup: Minutes::ZERO,
        revised: None,
        recipe: None,
        handling: Minutes::ZERO,
        calculated_percent: Decimal::ONE_HUNDRED,
        owner_figure: Minutes::ZERO,
        attended_share: Decimal::ONE,
        spread: Spread::ThreePoint {
            low: dec!(0.8),
            likely: Decimal::ONE,
            high: dec!(1.8),
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
        metals: Vec::new(),
        tools: Vec::new(),
        followed_by: Vec::new(),
        apart: true,
        materials: Vec::new(),
        version: 1,
    }
}

/// An element as an operation by itself, done to so many pieces of a part.
fn one(
    element: &Element,
    (pieces, number): (u32, u32),
    part: &str,
    rules: (&CuttingData, &OrderOfWork),
) -> Result<Operation, RouteError> {
    let group = Group {
        key: Key {
            machine_kind: &element.machine_kind,
            face: None,
            skill: &element.skill,
            phase: element.stage,
            apart: true,
        },
        drafts: vec![Draft {
            element,
            feature: None,
            count: pieces,
            stage: element.stage,
            finishes: None,
            deepest: None,
            from: None,
        }],
        before: Vec::new(),
    };
    let part = Part {
        name: part,
        weight: None,
        metal: Metal::default(),
        sizes: &Sizes::default(),
    };
    operation(&group, number, &part, rules)
}

/// A part to be made for a route.
struct Order<'a> {
    part: &'a MadePart,
    /// Still free on the shelf.
    free: Decimal,
    /// To be made.
    short: Decimal,
    /// The place of the first operation that needs what is made.
    first: usize,
    /// Numbers of all that do.
    needed_by: Vec<u32>,
}

impl Route {
    /// The route with the making of every part that it needs and the shelf does not have free. Parts come from the shelf as
    /// far as that goes, for the earliest operation first; the rest is made in one batch, in operations before the first that
    /// needs it, which wait for nothing, while every operation that needs the part waits for the last of them. A route that
    /// needs nothing made stays as it is; another is numbered anew. Material of the making is bought or from the shelf.
    ///
    /// # Errors
    /// As [`MadePart::operations`].
    pub fn with_made(
        mut self,
        parts: &[MadePart],
        elements: &[Element],
        rules: (&CuttingData, &OrderOfWork),
    ) -> Result<Self, RouteError> {
        let mut orders: Vec<Order> = (parts.iter())
            .filter(|part| !part.making.steps.is_empty())
            .map(|part| Order {
                part,
                free: part.free.max(Decimal::ZERO),
                short: Decimal::ZERO,
                first: usize::MAX,
                needed_by: Vec::new(),
            })
            .collect();
        for (at, operation) in self.operations.iter_mut().enumerate() {
            // What makes a part is not asked for parts again.
            if operation.makes.is_none() {
                draw(operation, at, &mut orders);
            }
        }
        orders.retain(|order| !order.needed_by.is_empty());
        if orders.is_empty() {
            return Ok(self);
        }
        orders.sort_by_key(|order| order.first);
        let mut made = Vec::with_capacity(orders.len());
        for order in &orders {
            let pieces =
                pieces(order.short).ok_or_else(|| RouteError::Pieces(order.part.name.clone()))?;
            made.push(order.part.operations(pieces, elements, rules)?);
        }
        Ok(joined(self.operations, &orders, made))
    }
}

/// Takes the parts that an operation needs from the shelf, as far as they are free; the rest is to be made.
fn draw(operation: &mut Operation, at: usize, orders: &mut [Order]) {
    let mut materials = Vec::with_capacity(operation.materials.len());
    for material in std::mem::take(&mut operation.materials) {
        let order = orders.iter_mut().find(|o| o.part.is(&material.name));
        let Some(order) = order.filter(|_| !material.made) else {
            materials.push(material);
            continue;
        };
        let from_shelf = material.quantity.min(order.free).max(Decimal::ZERO);
        let short = material.quantity - from_shelf;
        order.free -= from_shelf;
        if short <= Decimal::ZERO {
            materials.push(material);
            continue;
        }
        order.short += short;
        order.first = order.first.min(at);
        order.needed_by.push(operation.number);
        let nothing = Money::zero(material.price.currency());
        if from_shelf > Decimal::ZERO {
            materials.push(Material {
                quantity: from_shelf,
                ..material.clone()
            });
        }
        materials.push(Material {
            name: order.part.name.clone(),
            quantity: short,
            price: nothing,
            made: true,
            ..material
        });
    }
    operation.materials = materials;
}

/// The operations of a route with those that make its parts, numbered anew.
fn joined(own: Vec<Operation>, orders: &[Order], made: Vec<Vec<Operation>>) -> Route {
    let mut numbers = (10_u32..).step_by(10);
    let mut next = move || numbers.next().unwrap_or(u32::MAX);
    let mut renumbered: BTreeMap<u32, u32> = BTreeMap::new();
    let mut waited_for: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    let mut operations: Vec<Operation> = Vec::new();
    let mut made = orders.iter().zip(made).peekable();
    for (at, mut operation) in own.into_iter().enumerate() {
        while let Some((order, steps)) = made.next_if(|(order, _)| order.first <= at) {
            let mut before = None;
            for step in steps {
                let number = next();
                operations.push(Operation {
                    number,
                    after: before.into_iter().collect(),
                    ..step
                });
                before = Some(number);
            }
            for needing in &order.needed_by {
                waited_for.entry(*needing).or_default().extend(before);
            }
        }
        let number = next();
        renumbered.insert(operation.number, number);
        let made_for = waited_for.remove(&operation.number).unwrap_or_default();
        operation.after = operation
            .after
            .iter()
            .filter_map(|before| renumbered.get(before).copied())
            .chain(made_for)
            .collect();
        operation.after.sort_unstable();
        operation.after.dedup();
        operation.number = number;
        operations.push(operation);
    }
    Route { operations }
}
