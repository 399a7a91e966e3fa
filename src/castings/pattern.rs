//! Patterns (where there is metal) and variants (what was machined).

use super::feature::{Face, Feature, Place};
use super::measured::Sizes;
use super::metal::Metal;
use crate::units::Length;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Metal enough to machine something at a place, whichever variant was made of the casting.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Boss {
    /// Where.
    pub place: Place,
    /// Largest diameter that leaves a sound wall.
    pub largest: Length,
    /// How deep the tool may go, point and all, before it breaks out; `None` when it may go through, or nobody knows.
    pub deepest: Option<Length>,
    /// Whether a hole may go through. Neither this nor a depth: nobody has said how thick it is.
    pub through: bool,
}

/// The outline of one face, for drawing: width and height from the face's datum.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Outline {
    /// The face.
    pub face: Face,
    /// Across.
    pub width: Length,
    /// Up.
    pub height: Length,
}

/// The mould a family of castings shares.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pattern {
    /// Key.
    pub id: Uuid,
    /// Name, e.g. "Tarn 4/90".
    pub name: String,
    /// Cylinders.
    pub cylinders: u32,
    /// Main bearings, for the line bore.
    pub mains: u32,
    /// Faces as drawn.
    pub outlines: Vec<Outline>,
    /// Where there is metal.
    pub bosses: Vec<Boss>,
    /// Marks by which the casting is known.
    pub marks: String,
    /// What it is cast in.
    #[serde(default)]
    pub metal: Metal,
    /// What a bare casting weighs, kg; none where nobody has weighed one.
    #[serde(default)]
    pub weight_kg: Option<Decimal>,
    /// Sizes and limits of its castings, where somebody has entered them; they have an edit of their own.
    #[serde(skip)]
    pub sizes: Sizes,
    /// Grows by one with every edit.
    pub version: i32,
}

/// One way castings of a pattern were machined.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Variant {
    /// Key.
    pub id: Uuid,
    /// The pattern it was cast from.
    pub pattern_id: Uuid,
    /// Name, e.g. "Tarn 4/90 marine".
    pub name: String,
    /// Whether a gearbox hangs under the block in this application, so that the sump face carries load.
    pub gearbox_under: bool,
    /// The machined features.
    pub features: Vec<Feature>,
    /// Notes for the shop.
    pub note: String,
    /// Grows by one with every edit of the variant or one of its features.
    pub version: i32,
}

/// Why a pattern has not metal for a feature.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoMetal {
    /// Nothing was cast there.
    #[error("the pattern has no boss at {0}")]
    NoBoss(Place),
    /// The wall would be too thin.
    #[error("the boss at {place} takes {largest} at most, and {wanted} is wanted")]
    TooLarge {
        /// Where.
        place: Place,
        /// The boss's limit.
        largest: Length,
        /// What was wanted.
        wanted: Length,
    },
    /// Nobody has said how thick the metal is, so it must be measured before it is cut.
    #[error("nobody has said how thick the metal is at {0}: measure it first")]
    Unknown(Place),
    /// It would break out.
    #[error("the boss at {place} takes a depth of {deepest} at most, and {} is wanted", depth_word(.wanted))]
    TooDeep {
        /// Where.
        place: Place,
        /// The boss's limit.
        deepest: Length,
        /// How deep the tool would go, run-out and point included; `None` for through.
        wanted: Option<Length>,
    },
}

fn depth_word(depth: &Option<Length>) -> String {
    depth.map_or_else(|| "a through hole".to_owned(), |depth| depth.to_string())
}

impl Boss {
    /// Whether a feature of this size and depth leaves this boss sound. A thread counts by its major diameter, and the depth
    /// is that of the tool: full thread, run-out and drill point, or what is milled or bored.
    ///
    /// # Errors
    /// [`NoMetal::TooLarge`], [`NoMetal::TooDeep`], [`NoMetal::Unknown`] where nobody has said how thick it is.
    pub fn takes(&self, feature: &Feature) -> Result<(), NoMetal> {
        if feature.size > self.largest {
            return Err(NoMetal::TooLarge {
                place: self.place.clone(),
                largest: self.largest,
                wanted: feature.size,
            });
        }
        let Some(deepest) = self.deepest else {
            return match self.through {
                true => Ok(()),
                false => Err(NoMetal::Unknown(self.place.clone())),
            };
        };
        let bottom = feature.depths(Some(deepest)).map(|d| d.bottom());
        if bottom.is_none_or(|bottom| bottom > deepest) {
            return Err(NoMetal::TooDeep {
                place: self.place.clone(),
                deepest,
                wanted: bottom,
            });
        }
        Ok(())
    }
}

impl Pattern {
    /// The boss at a place.
    #[must_use]
    pub fn boss(&self, place: &Place) -> Option<&Boss> {
        self.bosses.iter().find(|boss| boss.place == *place)
    }

    /// The outline of a face.
    #[must_use]
    pub fn outline(&self, face: Face) -> Option<&Outline> {
        self.outlines.iter().find(|outline| outline.face == face)
    }

    /// Whether there is metal to make a feature where nothing was machined yet.
    ///
    /// # Errors
    /// [`NoMetal`], naming the limit that stands in the way.
    pub fn metal_for(&self, feature: &Feature) -> Result<(), NoMetal> {
        self.boss(&feature.place)
            .ok_or_else(|| NoMetal::NoBoss(feature.place.clone()))?
            .takes(feature)
    }

    /// [`Pattern::metal_for`] as a plain yes or no.
    #[must_use]
    pub fn has_metal_for(&self, feature: &Feature) -> bool {
        self.metal_for(feature).is_ok()
    }
}

impl Variant {
    /// The feature at a place.
    #[must_use]
    pub fn feature(&self, place: &Place) -> Option<&Feature> {
        self.features.iter().find(|feature| feature.place == *place)
    }
}
