//! What a casting, or a part worked on, is made of: it decides cutting data and the kind of crack test.

use super::words::words;
use serde::{Deserialize, Serialize};
use strum::{EnumString, IntoStaticStr, VariantArray};

/// A metal of engine parts.
#[derive(
    Debug,
    Clone,
    Copy,
    Default,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    Serialize,
    Deserialize,
    EnumString,
    IntoStaticStr,
    VariantArray,
)]
#[serde(rename_all = "snake_case")]
#[strum(serialize_all = "snake_case")]
pub enum Metal {
    /// Grey cast iron, as most blocks are.
    #[default]
    GreyIron,
    /// Ductile (spheroidal graphite) cast iron.
    DuctileIron,
    /// Aluminium alloy.
    Aluminium,
    /// Steel, as a crankshaft.
    Steel,
}

words!(Metal {
    GreyIron = "grey cast iron";
    DuctileIron = "ductile iron";
    Aluminium = "aluminium alloy";
    Steel = "steel";
});

impl Metal {
    /// Whether magnetic particles show a crack in it: only in what a magnet attracts. In aluminium a dye penetrant does.
    #[must_use]
    pub fn is_magnetic(self) -> bool {
        self != Self::Aluminium
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Code;

    /// Magnetic particle testing needs a ferromagnetic metal (ISO 9934-1, scope, from memory).
    #[test]
    fn all_but_aluminium_is_tested_with_magnetic_particles() {
        let magnetic = Metal::ALL.iter().filter(|metal| metal.is_magnetic());
        let found: Vec<Metal> = magnetic.copied().collect();
        assert_eq!(found, [Metal::GreyIron, Metal::DuctileIron, Metal::Steel]);
    }
}
