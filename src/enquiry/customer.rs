//! What a customer says about a job: what it is for, and how their own block is. Both in the trade's terms.

use crate::castings::{Action, Conversion};
use serde::{Deserialize, Serialize};
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// What the engine is for.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Default,
    Serialize,
    Deserialize,
    EnumString,
    IntoStaticStr,
    VariantArray,
)]
#[serde(rename_all = "snake_case")]
#[strum(serialize_all = "snake_case")]
pub enum Purpose {
    /// Nobody has said.
    #[default]
    NotSaid,
    /// Restored to how it was made.
    Original,
    /// It earns its keep: a boat, a machine, a generator.
    Working,
    /// Competition.
    Competition,
}

impl Purpose {
    /// Why a conversion does not suit the purpose, one sentence for each reason; empty when it does. Common practice, no
    /// source.
    #[must_use]
    pub fn objections(self, conversion: &Conversion) -> Vec<String> {
        let of = |actions: &'static [Action], why: &'static str| {
            conversion
                .remedies
                .iter()
                .filter(move |remedy| actions.contains(&remedy.action))
                .map(move |remedy| format!("{}: {why}", remedy.difference.subject().place))
        };
        match self {
            Self::NotSaid | Self::Working => Vec::new(),
            Self::Original => of(
                &[Action::Caution],
                "it would be left as on the donor, which is not as it was made.",
            )
            .collect(),
            Self::Competition => of(
                &[Action::PlugAndRedo],
                "a plugged and redone feature is not for competition.",
            )
            .collect(),
        }
    }

    /// What must be said of any conversion for this purpose.
    #[must_use]
    pub fn caution(self) -> Option<&'static str> {
        match self {
            Self::NotSaid | Self::Working => None,
            Self::Original => Some(
                "A converted casting keeps the marks and numbers of the donor: it is not an original.",
            ),
            Self::Competition => Some(
                "Competition loads it beyond what it was cast for: crack-test again after the finish work.",
            ),
        }
    }
}

/// How the customer's own block is, as far as it is known on the phone.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Default,
    Serialize,
    Deserialize,
    EnumString,
    IntoStaticStr,
    VariantArray,
)]
#[serde(rename_all = "snake_case")]
#[strum(serialize_all = "snake_case")]
pub enum Condition {
    /// Nobody knows.
    #[default]
    NotSaid,
    /// No faults known.
    Sound,
    /// Worn bores or mains.
    Worn,
    /// Welded or stitched before.
    Welded,
    /// A crack in the water jacket, by frost for example.
    CrackedJacket,
    /// A crack in the deck.
    CrackedDeck,
    /// A crack in a cylinder.
    CrackedCylinder,
    /// A crack through a main web.
    CrackedMainWeb,
    /// A crack somewhere else.
    CrackedElsewhere,
}

impl Condition {
    /// Where it is cracked, if it is.
    #[must_use]
    pub fn crack(self) -> Option<CrackPlace> {
        match self {
            Self::CrackedJacket => Some(CrackPlace::Jacket),
            Self::CrackedDeck => Some(CrackPlace::Deck),
            Self::CrackedCylinder => Some(CrackPlace::Cylinder),
            Self::CrackedMainWeb => Some(CrackPlace::MainWeb),
            Self::CrackedElsewhere => Some(CrackPlace::Elsewhere),
            Self::NotSaid | Self::Sound | Self::Worn | Self::Welded => None,
        }
    }

    /// Whether it must be inspected before any other price is firm.
    #[must_use]
    pub fn inspect_first(self) -> bool {
        !matches!(self, Self::Sound)
    }
}

/// Where a casting is cracked.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Serialize,
    Deserialize,
    EnumString,
    IntoStaticStr,
    VariantArray,
)]
#[serde(rename_all = "snake_case")]
#[strum(serialize_all = "snake_case")]
pub enum CrackPlace {
    /// The water jacket.
    Jacket,
    /// The deck.
    Deck,
    /// A cylinder.
    Cylinder,
    /// A main web: the wall that carries a main bearing.
    MainWeb,
    /// Somewhere else.
    Elsewhere,
}

impl CrackPlace {
    /// As a sentence says it: "in the deck".
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Jacket => "in the water jacket",
            Self::Deck => "in the deck",
            Self::Cylinder => "in a cylinder",
            Self::MainWeb => "through a main web",
            Self::Elsewhere => "somewhere else",
        }
    }
}

/// What the shop does about a crack.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CrackRepair {
    /// Key.
    pub id: Uuid,
    /// Where the crack is.
    pub place: CrackPlace,
    /// Whether it is repaired, here or outside.
    pub repaired: bool,
    /// Codes of the elements of work, in order; outside work among them.
    pub elements: Vec<String>,
    /// What the customer must hear, or why it is not repaired.
    pub say: String,
    /// Grows by one with every edit.
    pub version: i32,
}
