//! What a column of the table holds.

use strum::{EnumString, IntoStaticStr, VariantArray};

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Column {
    /// The face.
    Face,
    /// The label of the spot.
    Label,
    /// What is machined: `four of M10×22 deep`, or its kind only.
    Feature,
    /// How many alike.
    Count,
    /// Its size or thread.
    Size,
    /// Its fit.
    Fit,
    /// How deep, or `through`.
    Depth,
    /// Across from the datum.
    Across,
    /// Up from the datum.
    Up,
    /// The largest diameter that the metal takes.
    LargestMetal,
    /// How deep the metal may be cut, or `through`.
    DeepestMetal,
    /// A note.
    Note,
    /// A variant, by the name in the heading: a mark where it is machined so, or how it is machined instead.
    Variant,
    /// Nothing that is taken.
    Ignore,
}

impl Column {
    /// What a heading most likely means. What means nothing else is the name of a variant.
    #[must_use]
    pub fn guess(heading: &str) -> Self {
        let heading = heading.trim().to_lowercase();
        let is = |words: &[&str]| words.contains(&heading.as_str());
        let has = |words: &[&str]| words.iter().any(|word| heading.contains(word));
        if heading.is_empty() {
            Self::Ignore
        } else if is(&["face", "side"]) {
            Self::Face
        } else if is(&["label", "spot", "place", "hole", "no", "no.", "number"]) {
            Self::Label
        } else if is(&["feature", "what", "kind", "description", "machined"]) {
            Self::Feature
        } else if is(&["count", "qty", "quantity", "how many", "off"]) {
            Self::Count
        } else if is(&["size", "thread", "diameter", "dia"]) {
            Self::Size
        } else if is(&["fit", "tolerance"]) {
            Self::Fit
        } else if has(&["metal"]) {
            match has(&["deep", "depth", "thick"]) {
                true => Self::DeepestMetal,
                false => Self::LargestMetal,
            }
        } else if is(&["depth", "deep"]) {
            Self::Depth
        } else if is(&["across", "x"]) {
            Self::Across
        } else if is(&["up", "y"]) {
            Self::Up
        } else if has(&["note", "remark", "comment"]) {
            Self::Note
        } else {
            Self::Variant
        }
    }
}
