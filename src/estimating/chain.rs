//! Elements one after another: what a remedy asks for, listed work, work that stands in every job, and what must follow.

use super::element::{Basis, Element, Inclusion};
use super::routing::RouteError;
use crate::castings::{Feature, Metal, Pattern};
use crate::units::Length;

/// Elements one after another, at one feature or at none.
#[derive(Default)]
pub(super) struct Chain<'a> {
    pub(super) feature: Option<&'a Feature>,
    /// Whether the chain makes the feature, so that its limits are checked at the end, or only closes or leaves it.
    pub(super) makes: bool,
    /// How deep the metal goes at the feature, if it ends and somebody has said where.
    pub(super) deepest: Option<Length>,
    /// The size that is there before, if anything is.
    pub(super) from: Option<Length>,
    pub(super) links: Vec<(&'a Element, u32)>,
}

impl<'a> Chain<'a> {
    /// An element at no feature.
    pub(super) fn alone(element: &'a Element, count: u32) -> Self {
        Self {
            links: vec![(element, count)],
            ..Self::default()
        }
    }
}

/// Adds listed work, at no feature.
pub(super) fn list<'a>(
    chains: &mut Vec<Chain<'a>>,
    codes: &[(String, u32)],
    pattern: &Pattern,
    elements: &'a [Element],
) -> Result<(), RouteError> {
    for (code, count) in codes {
        let element = find(elements, code, "the list of work")?;
        let count = match element.basis {
            Basis::PerFeature => *count,
            _ => times(element, 1, pattern),
        };
        chains.push(Chain::alone(element, count));
    }
    Ok(())
}

pub(super) fn find<'a>(
    elements: &'a [Element],
    code: &str,
    who: &str,
) -> Result<&'a Element, RouteError> {
    elements
        .iter()
        .find(|e| e.code == code)
        .ok_or_else(|| RouteError::UnknownElement {
            asked_by: who.to_owned(),
            code: code.to_owned(),
        })
}

/// How often an element is done in a job that asks for it at a feature of this count.
pub(super) fn times(element: &Element, feature_count: u32, pattern: &Pattern) -> u32 {
    match element.basis {
        Basis::Once => 1,
        Basis::PerFeature => feature_count,
        Basis::PerMain => pattern.mains,
        Basis::PerCylinder => pattern.cylinders,
    }
}

/// The elements that stand in every job of this kind, each a chain of its own.
pub(super) fn standing<'a>(
    elements: &'a [Element],
    least: Inclusion,
    pattern: &Pattern,
) -> Vec<Chain<'a>> {
    elements
        .iter()
        .filter(|e| e.standing >= least && e.suits(pattern.metal))
        .map(|e| Chain::alone(e, times(e, 1, pattern)))
        .collect()
}

/// Adds to each chain what must follow its elements wherever they are done, right after each of them; of those that are for
/// other metals, none.
pub(super) fn follow<'a>(
    chains: &mut [Chain<'a>],
    (elements, metal): (&'a [Element], Metal),
) -> Result<(), RouteError> {
    for chain in chains {
        let mut links: Vec<(&'a Element, u32)> = Vec::with_capacity(chain.links.len());
        for &(element, count) in &chain.links {
            links.push((element, count));
            for code in &element.followed_by {
                let next = find(elements, code, &format!("the element {}", element.code))?;
                let listed = chain.links.iter().chain(&links);
                if next.suits(metal) && !listed.into_iter().any(|(e, _)| e.code == next.code) {
                    links.push((next, count));
                }
            }
        }
        chain.links = links;
    }
    Ok(())
}
