//! What a caller wants, and what the shop knows when it answers.

use crate::castings::{Pattern, RemedyRule, Variant};
use crate::estimating::cutting_data::CuttingData;
use crate::estimating::{Element, Policy, Rates};
use crate::sourcing::{Sighting, Watch};
use crate::units::{Currency, Money};
use chrono::NaiveDate;
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Work by element code, with how often.
pub type Work = Vec<(String, u32)>;

/// A block the caller brings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OwnBlock {
    /// What it is.
    pub variant: Variant,
    /// What it needs to be sound again, as far as is known on the phone.
    pub repairs: Work,
}

/// What a caller wants.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wish {
    /// The wanted variant.
    pub wanted: Variant,
    /// The last day that suits, if there is one.
    pub wanted_by: Option<NaiveDate>,
    /// The caller's own block, if one is brought.
    pub own: Option<OwnBlock>,
    /// Work wanted on the block whichever way it comes, e.g. a rebore.
    pub also: Work,
}

/// A casting of the shop's own that is free to be used.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ShelfCasting {
    /// Key.
    pub id: Uuid,
    /// Its number on the shelf.
    pub number: i64,
    /// What the shop paid for it.
    pub cost: Money,
}

/// A variant of the wanted pattern, with all the shop knows about getting one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Supply {
    /// The variant.
    pub variant: Variant,
    /// Free castings on the shelf, cheapest first.
    pub shelf: Vec<ShelfCasting>,
    /// The watch kept on it.
    pub watch: Watch,
    /// Those seen for sale.
    pub sightings: Vec<Sighting>,
    /// Inspected on arrival and found good.
    pub inspected_good: u32,
    /// Inspected on arrival and found bad.
    pub inspected_bad: u32,
}

/// What the shop knows: everything an answer is computed from, but for the dates.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Knowledge {
    /// The pattern of the wanted variant.
    pub pattern: Pattern,
    /// Every variant of that pattern, the wanted one among them.
    pub supplies: Vec<Supply>,
    /// The remedy table.
    pub rules: Vec<RemedyRule>,
    /// Standard times.
    pub elements: Vec<Element>,
    /// Cutting data.
    pub cutting: CuttingData,
    /// Hourly rates.
    pub rates: Rates,
    /// Pricing policy.
    pub policy: Policy,
    /// The shop's currency.
    pub currency: Currency,
    /// The shop's time zone, in which days are said.
    pub zone: Tz,
}

impl Knowledge {
    /// What is known about getting one of this variant, if it is of the wanted pattern.
    #[must_use]
    pub fn supply_of(&self, variant_id: Uuid) -> Option<&Supply> {
        self.supplies.iter().find(|s| s.variant.id == variant_id)
    }
}
