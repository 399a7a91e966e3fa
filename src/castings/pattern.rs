//! Patterns (where there is metal) and variants (what was machined).

use super::feature::{Face, Feature, Place};
use crate::units::Length;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Metal enough to machine something at a place, whichever variant was made of the casting.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Boss {
    /// Where.
    pub place: Place,
    /// Largest diameter that leaves a sound wall.
    pub largest: Length,
    /// Deepest hole that does not break out; `None` when it may go through.
    pub deepest: Option<Length>,
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
}
