//! How a difference is dealt with, from a rule table the shop can edit.

use super::words::words;
use super::{Difference, Face, Feature, FeatureKind};
use crate::units::Length;
use serde::{Deserialize, Serialize};
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// What is done about a difference.
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
pub enum Action {
    /// Make it in sound metal.
    Machine,
    /// Open the old feature out to the new one.
    Rework,
    /// Sleeve or plug the old feature and make the new one.
    PlugAndRedo,
    /// Close it.
    Plug,
    /// Harmless: leave it.
    Leave,
    /// Leave it, but the customer must hear of it.
    Caution,
    /// It cannot be done.
    Impossible,
}

words!(Action {
    Machine = "make it";
    Rework = "rework it";
    PlugAndRedo = "plug and redo it";
    Plug = "plug it";
    Leave = "leave it";
    Caution = "leave it with a caution";
    Impossible = "cannot be done";
});

impl Action {
    /// Whether the block is worked on: made, reworked, plugged and redone, or plugged.
    #[must_use]
    pub const fn is_work(self) -> bool {
        matches!(
            self,
            Self::Machine | Self::Rework | Self::PlugAndRedo | Self::Plug
        )
    }
}

/// Which differences a rule speaks of.
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
pub enum When {
    /// Wanted, absent in the donor, and the pattern has metal there.
    MissingWithMetal,
    /// Wanted, absent in the donor, and there is no metal or not enough.
    MissingNoMetal,
    /// In both; the new size clears the old.
    ChangedClears,
    /// In both; the old feature would still show.
    ChangedDoesNotClear,
    /// In both, but the boss the pattern has there does not take the new one.
    ChangedNoMetal,
    /// In the donor only.
    Extra,
}

words!(When {
    MissingWithMetal = "missing, with metal for it";
    MissingNoMetal = "missing, without metal for it";
    ChangedClears = "changed, and the new clears the old";
    ChangedDoesNotClear = "changed, and the new does not clear the old";
    ChangedNoMetal = "changed, without metal for the new";
    Extra = "in the donor only";
});

/// One rule of the shop's remedy table. The first rule that fits, by `priority`, decides.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RemedyRule {
    /// Key.
    pub id: Uuid,
    /// Lower is tried first.
    pub priority: i32,
    /// Name, e.g. "Fitted dowel in sound metal".
    pub name: String,
    /// Which differences.
    pub when: When,
    /// Only this kind of feature, or any.
    pub kind: Option<FeatureKind>,
    /// Only on this face, or any.
    pub face: Option<Face>,
    /// Only from this size up (of the wanted feature, or the donor's where nothing is wanted).
    pub smallest: Option<Length>,
    /// Only up to this size.
    pub largest: Option<Length>,
    /// Only where a gearbox hangs under the wanted block (`true`) or does not (`false`); `None` for either.
    pub gearbox_under: Option<bool>,
    /// What to do.
    pub action: Action,
    /// Codes of the elements to do, in order, each once per count of the feature.
    pub elements: Vec<String>,
    /// What the customer must hear, or why it cannot be done.
    pub say: String,
    /// Grows by one with every edit.
    pub version: i32,
}

impl RemedyRule {
    /// Whether the rule speaks of this case: every condition it sets is met, sizes inclusive.
    #[must_use]
    pub fn fits(&self, when: When, subject: &Feature, gearbox_under: bool) -> bool {
        self.when == when
            && self.kind.is_none_or(|kind| kind == subject.kind)
            && self.face.is_none_or(|face| face == subject.place.face)
            && self.smallest.is_none_or(|size| size <= subject.size)
            && self.largest.is_none_or(|size| subject.size <= size)
            && self
                .gearbox_under
                .is_none_or(|under| under == gearbox_under)
    }
}

/// A difference with what is done about it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Remedy {
    /// The difference.
    pub difference: Difference,
    /// What is done.
    pub action: Action,
    /// The rule that decided, by name; empty where none did.
    pub rule: String,
    /// Codes of the elements to do, in order.
    pub elements: Vec<String>,
    /// The caution to the customer, or the reason why not; may be empty.
    pub say: String,
    /// Whether nobody has said how thick the metal is, so that it is measured first and the work depends on it.
    #[serde(default)]
    pub measure_first: bool,
}
