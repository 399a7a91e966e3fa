//! Sightings: a scarce part seen for sale.

use crate::units::Money;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// What became of a sighting.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Hash,
    Serialize,
    Deserialize,
    EnumString,
    IntoStaticStr,
    VariantArray,
)]
#[serde(rename_all = "snake_case")]
#[strum(serialize_all = "snake_case")]
pub enum Fate {
    /// Still for sale, as far as we know.
    Open,
    /// Gone to someone else.
    SoldElsewhere,
    /// We passed it over.
    PassedOver,
    /// We bought it and it was good.
    BoughtGood,
    /// We bought it and it was scrap.
    BoughtScrap,
}

impl Fate {
    /// In the shop's words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Open => "still for sale",
            Self::SoldElsewhere => "sold to someone else",
            Self::BoughtGood => "bought, and good",
            Self::BoughtScrap => "bought, and scrap",
            Self::PassedOver => "passed over",
        }
    }
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
    /// Grows by one with every correction.
    pub version: i32,
}

impl Sighting {
    /// One seen on a day and worth having, nothing else known yet.
    #[must_use]
    pub fn new(id: Uuid, variant_id: Uuid, seen_on: NaiveDate) -> Self {
        Self {
            id,
            variant_id,
            seen_on,
            place: String::new(),
            asked: None,
            condition: String::new(),
            acceptable: true,
            fate: Fate::Open,
            version: 1,
        }
    }
}
