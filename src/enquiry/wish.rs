//! What a caller wants, and what the shop knows when it answers.

use super::customer::{Condition, CrackRepair, Purpose};
use super::related::RelatedSupply;
use super::selling::Selling;
use crate::castings::{Pattern, RemedyRule, Variant};
use crate::estimating::cutting_data::CuttingData;
use crate::estimating::{Element, MadePart, OrderOfWork, Policy, Rates, Recalibration};
use crate::sourcing::{Inspected, Sighting, Watch};
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
    /// How it is.
    pub condition: Condition,
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
    /// How far the customer lets a search go.
    pub search: SearchLimits,
    /// What it is for.
    pub purpose: Purpose,
}

/// How far a customer lets a search go; both are theirs to set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct SearchLimits {
    /// The most they would pay in all, before tax.
    pub most: Option<Money>,
    /// The day on which the search ends.
    pub ends_on: Option<NaiveDate>,
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
    /// What inspections in the shop have found of those that are not among the sightings.
    pub inspected: Inspected,
}

/// What the shop knows: everything an answer is computed from, but for the dates.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Knowledge {
    /// The pattern of the wanted variant.
    pub pattern: Pattern,
    /// Every variant of that pattern, the wanted one among them.
    pub supplies: Vec<Supply>,
    /// Related patterns whose castings can be donors.
    pub related: Vec<RelatedSupply>,
    /// The remedy table.
    pub rules: Vec<RemedyRule>,
    /// What the shop does about cracks.
    pub crack_repairs: Vec<CrackRepair>,
    /// Standard times.
    pub elements: Vec<Element>,
    /// Parts that are made here, with what is free of each.
    pub made: Vec<MadePart>,
    /// Cutting data.
    pub cutting: CuttingData,
    /// The shop's order of work.
    pub order: OrderOfWork,
    /// Hourly rates.
    pub rates: Rates,
    /// Pricing policy.
    pub policy: Policy,
    /// Terms of sale.
    pub selling: Selling,
    /// The shop's currency.
    pub currency: Currency,
    /// How sure days have proved to be.
    pub days: Recalibration,
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
