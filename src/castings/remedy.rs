//! How a difference is dealt with, from a rule table the shop can edit.

use super::{Difference, Face, FeatureKind};
use crate::units::Length;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What is done about a difference.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
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

/// Which differences a rule speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum When {
    /// Wanted, absent in the donor, and the pattern has metal there.
    MissingWithMetal,
    /// Wanted, absent in the donor, and there is no metal or not enough.
    MissingNoMetal,
    /// In both; the new size clears the old.
    ChangedClears,
    /// In both; the old feature would still show.
    ChangedDoesNotClear,
    /// In the donor only.
    Extra,
}

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
}

/// A difference with what is done about it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Remedy {
    /// The difference.
    pub difference: Difference,
    /// What is done.
    pub action: Action,
    /// The rule that decided, by name.
    pub rule: String,
    /// Codes of the elements to do, in order.
    pub elements: Vec<String>,
    /// The caution to the customer, or the reason why not; may be empty.
    pub say: String,
}

/// All remedies from a donor variant to a wanted variant.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Conversion {
    /// The donor variant.
    pub donor: Uuid,
    /// The wanted variant.
    pub wanted: Uuid,
    /// One remedy per difference.
    pub remedies: Vec<Remedy>,
}
