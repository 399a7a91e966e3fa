//! Enumerations under fixed words.

use std::str::FromStr;
use strum::VariantArray;

/// An enumeration without fields that is stored and sent under fixed words. Whatever derives [`strum::EnumString`],
/// [`strum::IntoStaticStr`] and [`strum::VariantArray`] is one.
///
/// ```
/// use borewright::units::Code;
/// #[derive(Debug, Clone, Copy, PartialEq, strum::EnumString, strum::IntoStaticStr, strum::VariantArray)]
/// #[strum(serialize_all = "snake_case")]
/// enum Fuel {
///     Diesel,
///     HeavyOil,
/// }
/// assert_eq!(Fuel::HeavyOil.code(), "heavy_oil");
/// assert_eq!(Fuel::from_code("diesel"), Some(Fuel::Diesel));
/// assert_eq!(Fuel::from_code("Diesel"), None);
/// assert_eq!(Fuel::ALL, [Fuel::Diesel, Fuel::HeavyOil]);
/// ```
pub trait Code: Copy + FromStr + Into<&'static str> + VariantArray {
    /// Every one, in the order of the enumeration.
    const ALL: &'static [Self] = Self::VARIANTS;

    /// The word it is stored and sent under.
    #[must_use]
    fn code(self) -> &'static str {
        self.into()
    }

    /// The one of a word.
    #[must_use]
    fn from_code(code: &str) -> Option<Self> {
        code.parse().ok()
    }
}

impl<T: Copy + FromStr + Into<&'static str> + VariantArray> Code for T {}
