//! Castings from one pattern come out of one mould, so they have metal in the same places; what tells a marine block
//! from a farm block is what was machined afterwards: which bosses were drilled and tapped, how large, and with what fit.
//! Laid side by side, feature by feature, two machined variants show what it takes to turn one into the other. A hole
//! that is missing can be made where the boss is wide and deep enough; a hole that is too small is opened out if the new
//! one takes away all of the old; one that is too large or in the wrong spot has to be plugged and made again; one too
//! many is plugged or left. Which of these a shop will do, and what it tells the customer, is in its own table of rules.
//!
//! A worked example, invented: a farm block has an 8 mm oil passage and two tapped holes at the rear; the marine block
//! wants the passage tapped, a dowel hole, and only one of the two tapped holes.
//!
//! ```
//! use borewright::castings::*;
//! use borewright::units::{Length, Thread};
//! use uuid::Uuid;
//!
//! let mm = |text: &str| text.parse::<Length>();
//! let hole = |label: &str, kind, size: &str| -> Result<Feature, Box<dyn std::error::Error>> {
//!     Ok(Feature {
//!         place: Place::new(Face::Rear, label),
//!         kind,
//!         at: Some(Point { x: mm("100")?, y: mm("60")? }),
//!         size: mm(size)?,
//!         depth: Some(mm("20")?),
//!         thread: None,
//!         fit: None,
//!         count: 1,
//!         note: String::new(),
//!     })
//! };
//! let tapped = |label: &str, thread: &str| -> Result<Feature, Box<dyn std::error::Error>> {
//!     let thread: Thread = thread.parse()?;
//!     let size = thread.major_diameter();
//!     Ok(Feature { size, thread: Some(thread), ..hole(label, FeatureKind::TappedHole, "1")? })
//! };
//! let pattern = Pattern {
//!     id: Uuid::from_u128(1),
//!     name: "Tarn 4/90".to_owned(),
//!     cylinders: 4,
//!     mains: 5,
//!     outlines: vec![Outline { face: Face::Rear, width: mm("380")?, height: mm("320")? }],
//!     bosses: vec![Boss { place: Place::new(Face::Rear, "D1"), largest: mm("16")?, deepest: Some(mm("40")?), through: false }],
//!     marks: String::new(),
//!     metal: Metal::GreyIron,
//!     weight_kg: None,
//!     sizes: measured::Sizes::default(),
//!     version: 1,
//! };
//! let variant = |name: &str, features| Variant {
//!     id: Uuid::from_u128(1),
//!     pattern_id: pattern.id,
//!     name: name.to_owned(),
//!     gearbox_under: false,
//!     features,
//!     note: String::new(),
//!     version: 1,
//! };
//! let farm = variant("Tarn 4/90 farm", vec![
//!     hole("OIL", FeatureKind::PlainHole, "8")?, tapped("R1", "M10")?, tapped("R2", "M10")?,
//! ]);
//! let dowel = Feature { fit: Some("H7".parse()?), ..hole("D1", FeatureKind::DowelHole, "12")? };
//! let marine = variant("Tarn 4/90 marine", vec![tapped("OIL", "G 1/4")?, tapped("R1", "M10")?, dowel]);
//!
//! let rule = |priority, when, action, element: &str, say: &str| RemedyRule {
//!     id: Uuid::from_u128(2),
//!     priority,
//!     name: format!("Rule {priority}"),
//!     when,
//!     kind: None,
//!     face: None,
//!     smallest: None,
//!     largest: None,
//!     gearbox_under: None,
//!     action,
//!     elements: vec![element.to_owned()],
//!     say: say.to_owned(),
//!     version: 1,
//! };
//! let rules = [
//!     rule(10, When::MissingWithMetal, Action::Machine, "DOWEL-REAM", ""),
//!     rule(20, When::ChangedClears, Action::Rework, "OPEN-TAP", ""),
//! ];
//! let conversion = Conversion::plan(&pattern, &farm, &marine, &rules)?;
//! let done: Vec<_> = conversion.remedies.iter().map(|r| (r.difference.place().label.as_str(), r.action)).collect();
//! assert_eq!(done, [("D1", Action::Machine), ("OIL", Action::Rework), ("R2", Action::Impossible)]);
//! assert_eq!(
//!     conversion.impossible().next().map(|r| r.say.as_str()),
//!     Some("No rule in the shop's table covers a tapped hole of this size on the rear face that is in the donor only."),
//! );
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub mod clears;
pub mod conversion;
mod depths;
pub mod difference;
pub mod entry;
pub mod fault;
pub mod feature;
pub mod identify;
pub mod measured;
pub mod metal;
pub mod pattern;
pub mod related;
pub mod remedy;
#[cfg(test)]
pub(crate) mod samples;
pub(crate) mod words;

pub use clears::Trace;
pub use conversion::{Conversion, ConversionError, INSERT_FIT, WALL_MEASURE};
pub use depths::{Depths, FirstDrill, before_reamer};
pub use difference::{Difference, differences};
pub use fault::Fault;
pub use feature::{Face, Feature, FeatureKind, Place, Point};
pub use metal::Metal;
pub use pattern::{Boss, NoMetal, Outline, Pattern, Variant};
pub use related::{Correspondence, OtherEngine, SameSpot, Shift, same_engine};
pub use remedy::{Action, Remedy, RemedyRule, When};
