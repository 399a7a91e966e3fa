//! Sightings: a scarce part seen for sale.

use crate::units::Money;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What became of a sighting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Fate {
    /// Still for sale, as far as we know.
    Open,
    /// Gone to someone else.
    SoldElsewhere,
    /// We bought it and it was good.
    BoughtGood,
    /// We bought it and it was scrap.
    BoughtScrap,
    /// We passed it over.
    PassedOver,
}

/// A scarce part seen for sale.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sighting {
    /// Key.
    pub id: Uuid,
    /// Of which variant.
    pub variant_id: Uuid,
    /// When it was seen, the shop's calendar day.
    pub seen_on: NaiveDate,
    /// Where, in the shop's words.
    pub place: String,
    /// Asked price, if one was named.
    pub asked: Option<Money>,
    /// Condition in words.
    pub condition: String,
    /// Whether the shop would have bought it at that price, had it needed one.
    pub acceptable: bool,
    /// What became of it.
    pub fate: Fate,
}
