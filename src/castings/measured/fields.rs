//! What sort of reading a field of a table takes, by its name.

use super::Sizes;
use crate::units::Length;

/// A sort of reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reading {
    /// A diameter, more than nought, which may be read on a gauge that was set to a size.
    Diameter,
    /// A size that is more than nought, read as it is: a height, a wall, a width.
    Size,
    /// A deviation from true, nought or more: a feeler, a run-out, out of square.
    Deviation,
    /// To one side or the other of something, so it may be below nought.
    Offset,
    /// A roughness, Ra, entered in micrometres or microinches.
    Roughness,
}

impl Reading {
    /// Whether a reading of this sort can be.
    #[must_use]
    pub fn may_be(self, value: Length) -> bool {
        match self {
            Self::Diameter | Self::Size | Self::Roughness => value > Length::ZERO,
            Self::Deviation => value >= Length::ZERO,
            Self::Offset => true,
        }
    }
}

/// The sort of reading that a field takes: `bore-0-1-0` a diameter, `bore-0-finish` a roughness. The second part of a name says
/// which one it is of several, so it is not looked at.
#[must_use]
pub fn reading(name: &str) -> Reading {
    let mut parts = name.split('-');
    let first = parts.next().unwrap_or_default();
    let (third, fourth) = (parts.nth(1), parts.next());
    match (first, third, fourth) {
        ("deck", _, _) | ("bore", Some("finish"), _) => Reading::Roughness,
        ("height" | "thrust", _, _) | ("bore", Some("wall"), _) => Reading::Size,
        ("flat", _, _)
        | ("bore", Some("square"), _)
        | ("journal", Some("run"), _)
        | ("main", Some("cap"), Some("0")) => Reading::Deviation,
        ("piston" | "camline" | "face" | "register", _, _)
        | ("main", Some("off" | "cap"), _)
        | ("bore", Some("liner"), _) => Reading::Offset,
        _ => Reading::Diameter,
    }
}

/// The pattern's size for a diameter, where it has one.
pub(super) fn nominal(name: &str, sizes: &Sizes) -> Option<Length> {
    if reading(name) != Reading::Diameter {
        return None;
    }
    let mut parts = name.split('-');
    let (first, second) = (parts.next()?, parts.next());
    let each = |all: &[Length]| match all {
        [one] => Some(*one),
        all => all.get(second?.parse::<usize>().ok()?).copied(),
    };
    match first {
        "bore" => sizes.bores.smallest,
        "main" => sizes.mains.smallest,
        "journal" => sizes.crank.mains.largest,
        "pin" => sizes.crank.pins.largest,
        "tunnel" => each(&sizes.cam.tunnel),
        "bush" => each(&sizes.cam.bush),
        "lifter" => sizes.cam.lifter_smallest,
        "dowelhole" | "dowelpin" => sizes.rear.dowel,
        _ => None,
    }
}
