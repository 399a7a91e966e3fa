//! The sizes and limits of a pattern that records are held against. They come from the maker's data or the shop's own
//! practice; what is not set is not judged.

use crate::castings::words::words;
use crate::units::{Fit, Length, Limits};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// What stands in the cylinders, where the block is not bored itself.
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
pub enum Liner {
    /// Stands in a bore of the block all along; water does not touch it.
    Dry,
    /// Water runs round it; it seals above and below.
    Wet,
}

words!(Liner {
    Dry = "dry liners";
    Wet = "wet liners";
});

/// Sizes and limits of the castings of one pattern.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Sizes {
    /// The pattern; its key.
    #[serde(skip)]
    pub pattern_id: Uuid,
    /// Cylinders.
    pub bores: BoreSizes,
    /// Main bearing housings.
    pub mains: HousingSizes,
    /// Deck and pistons.
    pub deck: DeckSizes,
    /// Crankshaft.
    pub crank: CrankSizes,
    /// Cam tunnel, bushes and lifter bores.
    pub cam: CamSizes,
    /// Rear face and gearbox housing.
    pub rear: RearSizes,
    /// Where the figures come from.
    pub source: String,
    /// Grows by one with every edit; nothing is stored yet at nought.
    #[serde(skip)]
    pub version: i32,
}

/// Sizes of the cylinders. Differences are of diameters.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct BoreSizes {
    /// Smallest standard bore when finished.
    pub smallest: Option<Length>,
    /// Largest standard bore when finished.
    pub largest: Option<Length>,
    /// Most wear before it is bored: over the smallest when new.
    pub wear: Option<Length>,
    /// Most taper.
    pub taper: Option<Length>,
    /// Most ovality.
    pub ovality: Option<Length>,
    /// Oversizes that pistons are made in, over standard.
    pub oversizes: Vec<Length>,
    /// What boring and honing take, on the diameter, beyond the largest reading to leave no worn spot.
    pub clean_up: Option<Length>,
    /// Thinnest wall that may be left.
    pub wall: Option<Length>,
    /// Least clearance of a piston in its bore, at the skirt.
    pub piston_least: Option<Length>,
    /// Most clearance of a piston in its bore.
    pub piston_most: Option<Length>,
    /// Smoothest surface when honed, Ra: a smoother one holds no oil (common practice, no source). In millimetres, as all
    /// roughness is kept.
    pub finish_least: Option<Length>,
    /// Roughest surface when honed, Ra.
    pub finish_most: Option<Length>,
    /// Most out of square with the main line, over the length of the bore.
    pub square: Option<Length>,
    /// Whether they are honed and measured with a torque plate on.
    pub torque_plate: bool,
    /// What stands in them; `None` where they are bored in the block itself.
    pub liner: Option<Liner>,
    /// Lowest a liner may stand above the deck; below it, less than nought.
    pub liner_lowest: Option<Length>,
    /// Highest a liner may stand above the deck.
    pub liner_highest: Option<Length>,
    /// Most difference of the heights, round one liner and from one to the next.
    pub liner_step: Option<Length>,
}

/// Sizes of the main bearing housings, caps on and at their torque.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct HousingSizes {
    /// Smallest.
    pub smallest: Option<Length>,
    /// Largest.
    pub largest: Option<Length>,
    /// Most taper.
    pub taper: Option<Length>,
    /// Most ovality.
    pub ovality: Option<Length>,
    /// Most from one housing to the next, off the line.
    pub step: Option<Length>,
    /// Most over the whole line.
    pub line: Option<Length>,
    /// Most that may be faced off the joint of a cap, in all.
    pub faced: Option<Length>,
    /// Least tight a cap may sit in its register: its width less the register's, below nought where it may be loose.
    pub register_least: Option<Length>,
    /// Most tight a cap may sit in its register.
    pub register_most: Option<Length>,
    /// Least width over the thrust faces.
    pub thrust_least: Option<Length>,
    /// Most width over the thrust faces.
    pub thrust_most: Option<Length>,
    /// Torque of the temporary bolts in their stages, N·m, the final one last.
    pub bolt_stages: Vec<Decimal>,
    /// Torque of the final studs or bolts in their stages, N·m, the final one last.
    pub stud_stages: Vec<Decimal>,
}

/// Limits of the rear face with the adaptor or gearbox housing on, and the dowels that set it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct RearSizes {
    /// Most run-out of the face, the whole swing of the indicator.
    pub face_run_out: Option<Length>,
    /// Most run-out of the bore, the whole swing.
    pub bore_run_out: Option<Length>,
    /// Offset dowels that can be had: how far the two ends of one are off one another.
    pub offsets: Vec<Length>,
    /// Nominal diameter of the dowels.
    pub dowel: Option<Length>,
    /// Tolerance class of their holes, as H7.
    pub hole_fit: Option<Fit>,
    /// Tolerance class of the dowels, as m6.
    pub pin_fit: Option<Fit>,
}

impl RearSizes {
    /// The limits of a dowel hole; `None` where size or class is not set, or the standard has none.
    #[must_use]
    pub fn hole_limits(&self) -> Option<Limits> {
        self.hole_fit?.limits(self.dowel?).ok()
    }

    /// The limits of a dowel.
    #[must_use]
    pub fn pin_limits(&self) -> Option<Limits> {
        self.pin_fit?.limits(self.dowel?).ok()
    }

    /// How much larger a dowel within its limits is than a hole within its own: the least and the most; below nought it is
    /// loose.
    #[must_use]
    pub fn interference(&self) -> Option<(Length, Length)> {
        let (hole, pin) = self.hole_limits().zip(self.pin_limits())?;
        Some((pin.lower - hole.upper, pin.upper - hole.lower))
    }
}

/// Sizes of a set of journals of the crankshaft, the mains or the big-end pins. Differences are of diameters.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct JournalSizes {
    /// Smallest standard journal when new.
    pub smallest: Option<Length>,
    /// Largest standard journal when new.
    pub largest: Option<Length>,
    /// Most wear before it is ground: under the largest when new.
    pub wear: Option<Length>,
    /// Most taper.
    pub taper: Option<Length>,
    /// Most ovality.
    pub ovality: Option<Length>,
    /// Undersizes that bearings are made in, under standard.
    pub undersizes: Vec<Length>,
    /// What grinding and polishing take, on the diameter, beyond the smallest reading to leave no worn spot.
    pub clean_up: Option<Length>,
}

/// Sizes of the crankshaft.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct CrankSizes {
    /// The mains.
    pub mains: JournalSizes,
    /// The big-end pins.
    pub pins: JournalSizes,
    /// How many pins it has; `None` for one a cylinder.
    pub pin_count: Option<u32>,
    /// Most run-out of a main, the whole swing of the indicator.
    pub run_out: Option<Length>,
    /// Least width between the thrust faces.
    pub thrust_least: Option<Length>,
    /// Most width between the thrust faces.
    pub thrust_most: Option<Length>,
}

/// Sizes of the cam tunnel, its bushes and the lifter bores.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct CamSizes {
    /// How many cam bearings; `None` for as many as mains.
    pub bearings: Option<u32>,
    /// Smallest bore of the tunnel without bushes: one for all, or one for each bearing from the front.
    pub tunnel: Vec<Length>,
    /// Most over that.
    pub tunnel_tolerance: Option<Length>,
    /// Smallest bore of the bushes, fitted: one for all, or one for each from the front.
    pub bush: Vec<Length>,
    /// Most over that when new.
    pub bush_tolerance: Option<Length>,
    /// Most over that before it is worn out.
    pub bush_wear: Option<Length>,
    /// Most ovality of tunnel and bushes.
    pub ovality: Option<Length>,
    /// Most from one bearing to the next, off the line.
    pub step: Option<Length>,
    /// Most over the whole line.
    pub line: Option<Length>,
    /// How many lifter bores; `None` for two a cylinder.
    pub lifters: Option<u32>,
    /// Smallest lifter bore when new.
    pub lifter_smallest: Option<Length>,
    /// Largest lifter bore when new.
    pub lifter_largest: Option<Length>,
    /// Most over the smallest before it is worn out.
    pub lifter_wear: Option<Length>,
    /// Most taper of a lifter bore.
    pub lifter_taper: Option<Length>,
    /// Most ovality of a lifter bore.
    pub lifter_ovality: Option<Length>,
}

/// Sizes of the deck, and of the pistons above it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct DeckSizes {
    /// Least height above the centre of the main line.
    pub least: Option<Length>,
    /// Most difference of the heights along one side.
    pub along: Option<Length>,
    /// Most difference of the heights from side to side.
    pub across: Option<Length>,
    /// Most out of flat within a stated length.
    pub flat_step: Option<Length>,
    /// That length.
    pub flat_length: Option<Length>,
    /// Most out of flat over the whole face.
    pub flat: Option<Length>,
    /// What facing takes beyond the lowest place to clean it up.
    pub clean_up: Option<Length>,
    /// Lowest a piston may stand; below the deck it is below nought.
    pub piston_lowest: Option<Length>,
    /// Highest a piston may stand.
    pub piston_highest: Option<Length>,
    /// The head gasket, pressed.
    pub gasket: Option<Length>,
    /// Least clearance from piston to head.
    pub clearance: Option<Length>,
    /// Smoothest surface when faced, Ra; only where the gasket's maker asks for one.
    pub finish_least: Option<Length>,
    /// Roughest surface when faced, Ra.
    pub finish_most: Option<Length>,
}
