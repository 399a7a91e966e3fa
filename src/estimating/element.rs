//! Elements: the pieces of work a shop has an agreed time for.

use super::cutting::Recipe;
use crate::units::{Minutes, Money, Spread};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// The trade's order of work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// Receive and identify.
    Identify,
    /// Strip and clean.
    Clean,
    /// Crack-test and measure; a donor can fail here.
    Inspect,
    /// Rough work: plugs, sleeves, facing.
    Rough,
    /// Fitted dowels.
    Dowel,
    /// Drilled and tapped holes.
    Hole,
    /// Mains line bore.
    LineBore,
    /// Seal housing.
    Seal,
    /// Final wash.
    Wash,
    /// Final check.
    Check,
}

/// How often an element is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// Once per job.
    Once,
    /// Once per count of the feature whose remedy asks for it.
    PerFeature,
    /// Once per main bearing.
    PerMain,
    /// Once per cylinder.
    PerCylinder,
}

/// Something an element must pass.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Check {
    /// What is checked.
    pub what: String,
    /// Limits or go/no-go in words, e.g. "40 H7: 40.000 to 40.025 mm".
    pub limits: String,
    /// With what.
    pub instrument: String,
}

/// Material an element uses up, each time it is done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Material {
    /// What.
    pub name: String,
    /// How many each time.
    pub quantity: Decimal,
    /// Price of one.
    pub price: Money,
}

/// Where a time came from, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TimeSource {
    /// The shop's revised standard, from its own hours.
    Revised,
    /// A cutting-time calculation plus handling.
    Calculated,
    /// The owner's figure.
    Owner,
}

/// An element with its standard time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Element {
    /// Key.
    pub id: Uuid,
    /// Short code used by remedy rules, e.g. `DOWEL-REAM`.
    pub code: String,
    /// Name, e.g. "Dial in, drill and ream for fitted dowel".
    pub name: String,
    /// Where it comes in the order of work.
    pub stage: Stage,
    /// The kind of machine, as the shop names it (`mill`, `line borer`, `bench`, …); `outside` for work sent out.
    pub machine_kind: String,
    /// The skill it needs.
    pub skill: String,
    /// Setup of the block for this element; elements on the same face and machine share the longest.
    pub setup: Minutes,
    /// The shop's revised time each, if it has one.
    pub revised: Option<Minutes>,
    /// How to calculate the cutting time each, if it is cutting.
    pub recipe: Option<Recipe>,
    /// Handling each, added to a calculated time.
    pub handling: Minutes,
    /// The owner's figure each.
    pub owner_figure: Minutes,
    /// Share of the run a person must attend, 0 to 1. Setup is always attended.
    pub attended_share: Decimal,
    /// Spread of its time.
    pub spread: Spread,
    /// How often.
    pub basis: Basis,
    /// Done in every conversion, whether or not a remedy asks.
    pub standing: bool,
    /// Whether a donor can fail here.
    pub can_fail: bool,
    /// For work sent out: its price each.
    pub outside_price: Option<Money>,
    /// For work sent out: calendar days away.
    pub outside_days: Option<u32>,
    /// Checks it must pass.
    pub checks: Vec<Check>,
    /// Cautions where the work is instructed.
    pub cautions: Vec<String>,
    /// What it uses up.
    pub materials: Vec<Material>,
    /// Grows by one with every edit.
    pub version: i32,
}
