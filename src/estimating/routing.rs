//! How a route is put together from elements.
//!
//! Elements asked for by remedies, and those that stand in every conversion, become steps. Steps on the same face and
//! the same kind of machine that need the same skill become one operation with one setup. A step never comes before
//! the one it follows in its remedy, so a plug is in before the hole through it is drilled; where that would send the
//! block round in a circle it is set up twice instead.

use super::card::operation;
use super::chain::{Chain, find, follow, list, standing, times};
use super::cutting_data::CuttingData;
use super::element::{Basis, Element, Inclusion, Stage};
use super::made::MOST_PIECES;
use super::order::OrderOfWork;
use super::route::{Operation, Route};
use crate::castings::measured::Sizes;
use crate::castings::{Action, Conversion, Face, Feature, Metal, Pattern};
use crate::units::{Length, Minutes, MoneyError};
use rust_decimal::Decimal;

/// Why no route can be made.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RouteError {
    /// A rule or a caller asks for an element the shop does not have.
    #[error("{asked_by} asks for element {code}, which the shop has no standard time for")]
    UnknownElement {
        /// Who asks: a remedy rule by name, or the list of work.
        asked_by: String,
        /// The code.
        code: String,
    },
    /// A difference that cannot be dealt with.
    #[error("it cannot be done: {why} ({rule})")]
    Impossible {
        /// The rule that says so.
        rule: String,
        /// Why.
        why: String,
    },
    /// More of a part made in the shop than is made in one job.
    #[error("“{0}” is made 1 to {MOST_PIECES} at a time")]
    Pieces(String),
    /// Prices that do not add up.
    #[error(transparent)]
    Money(#[from] MoneyError),
}

impl Route {
    /// The route of a conversion: the elements its remedies ask for, all that stand in every conversion, and listed work
    /// that is wanted besides, each code with how many times it is done.
    ///
    /// # Errors
    /// [`RouteError`]: a remedy that is impossible, an element code the shop does not have, prices in two currencies.
    pub fn for_conversion(
        conversion: &Conversion,
        also: &[(String, u32)],
        pattern: &Pattern,
        elements: &[Element],
        (data, order): (&CuttingData, &OrderOfWork),
    ) -> Result<Self, RouteError> {
        let mut chains = standing(elements, Inclusion::Conversion, pattern);
        for remedy in &conversion.remedies {
            if remedy.action == Action::Impossible {
                return Err(RouteError::Impossible {
                    rule: remedy.rule.clone(),
                    why: remedy.say.clone(),
                });
            }
            let feature = remedy.difference.subject();
            let makes = remedy.difference.wanted().is_some();
            let links = remedy
                .elements
                .iter()
                .map(|code| {
                    let element = find(elements, code, &format!("the rule “{}”", remedy.rule))?;
                    Ok((element, times(element, feature.count, pattern)))
                })
                .collect::<Result<_, RouteError>>()?;
            chains.push(Chain {
                feature: Some(feature),
                makes,
                deepest: pattern.boss(&feature.place).and_then(|b| b.deepest),
                from: remedy.difference.donor().map(|donor| donor.size),
                links,
            });
        }
        list(&mut chains, also, pattern, elements)?;
        draw_up(chains, &Part::of(pattern), elements, (data, order))
    }

    /// The route of listed work on a block: what a found block still needs, or a repair of the caller's own. Each code
    /// comes with how many times it is done. The elements that are wanted for every block stand in it too.
    ///
    /// # Errors
    /// [`RouteError`]: an element code the shop does not have, prices in two currencies.
    pub fn for_elements(
        codes: &[(String, u32)],
        pattern: &Pattern,
        elements: &[Element],
        (data, order): (&CuttingData, &OrderOfWork),
    ) -> Result<Self, RouteError> {
        let mut chains = standing(elements, Inclusion::EveryBlock, pattern);
        list(&mut chains, codes, pattern, elements)?;
        draw_up(chains, &Part::of(pattern), elements, (data, order))
    }

    /// The route of listed work on a part that no pattern describes: a crankshaft to grind, a liner to press in. Each code
    /// comes with how many times it is done in all, and nothing stands in it unasked. `part` is what must be on the table:
    /// only work on parts of one name shares a setup.
    ///
    /// # Errors
    /// [`RouteError`]: an element code the shop does not have, prices in two currencies.
    pub fn for_part(
        part: &str,
        codes: &[(String, u32)],
        elements: &[Element],
        (data, order): (&CuttingData, &OrderOfWork),
    ) -> Result<Self, RouteError> {
        let chains = codes
            .iter()
            .map(|(code, count)| {
                Ok(Chain::alone(
                    find(elements, code, "the list of work")?,
                    *count,
                ))
            })
            .collect::<Result<_, RouteError>>()?;
        // Nobody says what the part is made of: grey iron, as most are.
        let part = Part {
            name: part,
            weight: None,
            metal: Metal::default(),
            sizes: &Sizes::default(),
        };
        draw_up(chains, &part, elements, (data, order))
    }
}

/// What is worked on.
pub(super) struct Part<'a> {
    /// The pattern of a casting, or the part's name.
    pub(super) name: &'a str,
    /// What a bare one weighs, kg.
    pub(super) weight: Option<Decimal>,
    /// What it is made of.
    pub(super) metal: Metal,
    /// Sizes and limits, as far as somebody has entered them.
    pub(super) sizes: &'a Sizes,
}

impl<'a> Part<'a> {
    fn of(pattern: &'a Pattern) -> Self {
        Self {
            name: &pattern.name,
            weight: pattern.weight_kg,
            metal: pattern.metal,
            sizes: &pattern.sizes,
        }
    }
}

/// What steps must share to be one operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Key<'a> {
    pub(super) machine_kind: &'a str,
    pub(super) face: Option<Face>,
    pub(super) skill: &'a str,
    /// Dowels and holes share a setup of a face; whatever comes earlier or later is set up again.
    pub(super) phase: Stage,
    pub(super) apart: bool,
}

/// A step on its way into an operation.
pub(super) struct Draft<'a> {
    pub(super) element: &'a Element,
    pub(super) feature: Option<&'a Feature>,
    pub(super) count: u32,
    /// Its own stage, or that of the step it follows if that is later.
    pub(super) stage: Stage,
    /// The feature whose limits are checked once this step is done.
    pub(super) finishes: Option<&'a Feature>,
    /// How deep the metal goes at the feature, if it ends and somebody has said where.
    pub(super) deepest: Option<Length>,
    /// The size that is there before, if anything is.
    pub(super) from: Option<Length>,
}

/// An operation on its way.
pub(super) struct Group<'a> {
    pub(super) key: Key<'a>,
    pub(super) drafts: Vec<Draft<'a>>,
    /// Indices of the groups that its steps must follow.
    pub(super) before: Vec<usize>,
}

impl Group<'_> {
    /// The earliest of its steps.
    pub(super) fn stage(&self, order: &OrderOfWork) -> Stage {
        let stages = self.drafts.iter().map(|d| d.stage);
        stages
            .min_by_key(|stage| order.rank(*stage))
            .unwrap_or(self.key.phase)
    }
}

/// All groups so far, and the shop's order of work.
struct Groups<'a> {
    groups: Vec<Group<'a>>,
    order: &'a OrderOfWork,
}

impl<'a> Groups<'a> {
    /// Whether `later` must come after `earlier`.
    fn follows(&self, later: usize, earlier: usize) -> bool {
        let mut stack = vec![later];
        let mut seen = vec![false; self.groups.len()];
        while let Some(at) = stack.pop() {
            if at == earlier {
                return true;
            }
            if let (Some(group), Some(seen)) = (self.groups.get(at), seen.get_mut(at))
                && !std::mem::replace(seen, true)
            {
                stack.extend(&group.before);
            }
        }
        false
    }

    /// Makes `later` come after `earlier`, unless it is the same one or that would close a circle.
    fn link(&mut self, earlier: usize, later: usize) {
        if !self.follows(earlier, later)
            && let Some(group) = self.groups.get_mut(later)
            && !group.before.contains(&earlier)
        {
            group.before.push(earlier);
        }
    }

    /// Where an element that is done once in a job was already put.
    fn done(&self, element: &Element) -> Option<usize> {
        if element.basis == Basis::PerFeature {
            return None;
        }
        self.groups
            .iter()
            .position(|g| g.drafts.iter().any(|d| d.element.code == element.code))
    }

    fn place(&mut self, chain: &Chain<'a>) {
        let made = chain.feature.filter(|_| chain.makes);
        // The limits are checked where the last cut is made; a fitter's step after it (pressing the dowel in) hides them.
        let finish = chain
            .links
            .iter()
            .rposition(|(e, _)| e.recipe.is_some())
            .or(chain.links.len().checked_sub(1));
        let mut previous: Option<usize> = None;
        let mut stage: Option<Stage> = None;
        for (i, &(element, count)) in chain.links.iter().enumerate() {
            if let Some(at) = self.done(element) {
                if let Some(previous) = previous {
                    self.link(previous, at);
                }
                previous = Some(at);
                continue;
            }
            let own = element.place_in_order(self.order);
            let reached = stage.map_or(own, |so_far| self.order.later(so_far, own));
            stage = Some(reached);
            let face = chain.feature.map(|f| f.place.face);
            let key = Key {
                machine_kind: &element.machine_kind,
                face,
                skill: &element.skill,
                phase: if face.is_some() {
                    reached.phase()
                } else {
                    reached
                },
                apart: element.apart,
            };
            let fits = |(at, group): &(usize, &Group<'a>)| {
                group.key == key && previous.is_none_or(|p| p == *at || !self.follows(p, *at))
            };
            let at = match self.groups.iter().enumerate().find(fits) {
                Some((at, _)) => at,
                None => {
                    self.groups.push(Group {
                        key,
                        drafts: Vec::new(),
                        before: Vec::new(),
                    });
                    self.groups.len() - 1
                }
            };
            if let Some(group) = self.groups.get_mut(at) {
                group.drafts.push(Draft {
                    element,
                    feature: chain.feature,
                    count,
                    stage: reached,
                    finishes: made.filter(|_| finish == Some(i)),
                    deepest: chain.deepest,
                    from: chain.from,
                });
            }
            if let Some(previous) = previous.filter(|p| *p != at) {
                self.link(previous, at);
            }
            previous = Some(at);
        }
    }

    /// A part worked on apart that nothing else waits for is wanted by the final check at the latest.
    fn bring_parts_home(&mut self) {
        let checks: Vec<usize> = (0..self.groups.len())
            .filter(|&i| {
                self.groups
                    .get(i)
                    .is_some_and(|g| !g.key.apart && g.stage(self.order) == Stage::Check)
            })
            .collect();
        for part in 0..self.groups.len() {
            let waited_for = self.groups.iter().any(|g| g.before.contains(&part));
            if self.groups.get(part).is_some_and(|g| g.key.apart) && !waited_for {
                for &check in &checks {
                    self.link(part, check);
                }
            }
        }
    }

    /// Indices in the order of work: the earliest stage first among those that wait for nothing; what is already on
    /// the table before what is not.
    fn order(&self) -> Vec<usize> {
        let mut order: Vec<usize> = Vec::with_capacity(self.groups.len());
        let mut on_table = None;
        loop {
            let ready = self.groups.iter().enumerate().filter(|(i, g)| {
                !order.contains(i) && g.before.iter().all(|before| order.contains(before))
            });
            let next = ready.min_by_key(|(i, g)| {
                let table = Some((g.key.machine_kind, g.key.face));
                (
                    self.order.rank(g.stage(self.order)),
                    table != on_table,
                    g.key.face,
                    *i,
                )
            });
            let Some((i, group)) = next else { break };
            if !group.key.apart {
                on_table = Some((group.key.machine_kind, group.key.face));
            }
            order.push(i);
        }
        order
    }
}

/// Puts chains of elements together into a route.
fn draw_up<'a>(
    mut chains: Vec<Chain<'a>>,
    part: &Part,
    elements: &'a [Element],
    (data, rules): (&CuttingData, &OrderOfWork),
) -> Result<Route, RouteError> {
    follow(&mut chains, (elements, part.metal))?;
    let mut groups = Groups {
        groups: Vec::new(),
        order: rules,
    };
    for chain in &chains {
        groups.place(chain);
    }
    groups.bring_parts_home();
    let order = groups.order();
    let mut number_of = vec![0_u32; groups.groups.len()];
    let mut operations: Vec<Operation> = Vec::with_capacity(order.len());
    // The last operation on the block: its number, what is on the table for it, and that setup in full.
    let mut on_block: Option<(u32, String, Minutes)> = None;
    for (&at, number) in order.iter().zip((10_u32..).step_by(10)) {
        let (Some(group), Some(slot)) = (groups.groups.get(at), number_of.get_mut(at)) else {
            continue;
        };
        *slot = number;
        let mut operation = operation(group, number, part, (data, rules))?;
        let parts = group
            .before
            .iter()
            .filter(|&&b| groups.groups.get(b).is_some_and(|g| g.key.apart));
        operation.after = parts
            .filter_map(|&part| number_of.get(part).copied())
            .collect();
        if !group.key.apart {
            // There is one block, so whatever is done to it is a line.
            let whole = operation.setup;
            let mut table = (number, operation.setup_key.clone(), whole);
            if let Some((before, key, set)) = on_block.take() {
                operation.after.push(before);
                if key == operation.setup_key && operation.face.is_some() {
                    operation.setup = Minutes((whole.0 - set.0).max(Decimal::ZERO));
                    table.2 = whole.max(set);
                }
            }
            on_block = Some(table);
        }
        operation.after.sort_unstable();
        operations.push(operation);
    }
    Ok(Route { operations })
}
