//! What separates a donor variant from the wanted one, feature by feature.

use super::{Feature, Place, Variant};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// One difference at one place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Difference {
    /// Wanted but absent in the donor.
    Missing {
        /// What must be made.
        wanted: Feature,
    },
    /// Present in both, but not the same.
    Changed {
        /// As the donor has it.
        donor: Feature,
        /// As it is wanted.
        wanted: Feature,
    },
    /// In the donor only.
    Extra {
        /// What the donor has and nobody asked for.
        donor: Feature,
    },
}

impl Difference {
    /// As the donor has it, if it has it.
    #[must_use]
    pub fn donor(&self) -> Option<&Feature> {
        match self {
            Self::Missing { .. } => None,
            Self::Changed { donor, .. } | Self::Extra { donor } => Some(donor),
        }
    }

    /// As it is wanted, if it is wanted.
    #[must_use]
    pub fn wanted(&self) -> Option<&Feature> {
        match self {
            Self::Missing { wanted } | Self::Changed { wanted, .. } => Some(wanted),
            Self::Extra { .. } => None,
        }
    }

    /// The feature the work is about: the wanted one, or the donor's where nothing is wanted.
    #[must_use]
    pub fn subject(&self) -> &Feature {
        match self {
            Self::Missing { wanted } | Self::Changed { wanted, .. } => wanted,
            Self::Extra { donor } => donor,
        }
    }

    /// Where it is.
    #[must_use]
    pub fn place(&self) -> &Place {
        &self.subject().place
    }
}

/// The differences from `donor` to `wanted`, by face then place. A note alone makes no difference.
#[must_use]
pub fn differences(donor: &Variant, wanted: &Variant) -> Vec<Difference> {
    let mut by_place: BTreeMap<&Place, (Option<&Feature>, Option<&Feature>)> = BTreeMap::new();
    for feature in &donor.features {
        by_place.entry(&feature.place).or_default().0 = Some(feature);
    }
    for feature in &wanted.features {
        by_place.entry(&feature.place).or_default().1 = Some(feature);
    }
    by_place
        .into_values()
        .filter_map(|pair| match pair {
            (Some(donor), Some(wanted)) if donor.same_work(wanted) => None,
            (Some(donor), Some(wanted)) => Some(Difference::Changed {
                donor: donor.clone(),
                wanted: wanted.clone(),
            }),
            (None, Some(wanted)) => Some(Difference::Missing {
                wanted: wanted.clone(),
            }),
            (Some(donor), None) => Some(Difference::Extra {
                donor: donor.clone(),
            }),
            (None, None) => None,
        })
        .collect()
}
