//! The order of work: which kinds of work come before which. A shop has its own, or the usual one.
//!
//! Work goes by datum. The main line is made or checked first, because deck, bores, dowels and the seal housing are all set
//! from it; a crack test comes before money is spent and again after heat; the last hot wash comes before seals go in.

use super::element::Stage;
use crate::units::Code;
use serde::{Deserialize, Serialize};

/// One kind of work that comes before another, wherever a job has both.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Precedence {
    /// The kind of work that comes first.
    pub first: Stage,
    /// The one that waits for it.
    pub then: Stage,
    /// Why, as the shop says it.
    pub why: String,
}

/// Why rules make no order.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum OrderError {
    /// Kinds of work that would all wait for one another.
    #[error("these would wait for one another: {}", names(.0))]
    Circle(Vec<Stage>),
}

fn names(stages: &[Stage]) -> String {
    let names: Vec<&str> = stages.iter().map(|stage| stage.word()).collect();
    names.join(", ")
}

/// All kinds of work in the order that the rules leave: where they say nothing, the usual one.
///
/// ```
/// use borewright::estimating::{OrderOfWork, Stage};
/// let usual = OrderOfWork::default();
/// assert!(usual.rank(Stage::LineBore) < usual.rank(Stage::Dowel));
/// assert!(usual.rank(Stage::Wash) < usual.rank(Stage::SealFit));
/// ```
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrderOfWork {
    order: Vec<Stage>,
}

impl Default for OrderOfWork {
    fn default() -> Self {
        Self {
            order: Stage::ALL.to_vec(),
        }
    }
}

impl OrderOfWork {
    /// The order that rules make.
    ///
    /// # Errors
    /// [`OrderError::Circle`].
    pub fn new(rules: &[Precedence]) -> Result<Self, OrderError> {
        let mut left: Vec<Stage> = Stage::ALL.to_vec();
        let mut order = Vec::with_capacity(left.len());
        while !left.is_empty() {
            let free = left.iter().position(|stage| {
                !rules
                    .iter()
                    .any(|rule| rule.then == *stage && left.contains(&rule.first))
            });
            match free {
                Some(at) => order.push(left.remove(at)),
                None => return Err(OrderError::Circle(circle(left, rules))),
            }
        }
        Ok(Self { order })
    }

    /// Where a kind of work comes, counted from nothing.
    #[must_use]
    pub fn rank(&self, stage: Stage) -> usize {
        self.order
            .iter()
            .position(|one| *one == stage)
            .unwrap_or(self.order.len())
    }

    /// All kinds of work, in order.
    #[must_use]
    pub fn all(&self) -> &[Stage] {
        &self.order
    }

    /// The earlier of two kinds of work.
    #[must_use]
    pub(super) fn earlier(&self, one: Stage, other: Stage) -> Stage {
        std::cmp::min_by_key(one, other, |stage| self.rank(*stage))
    }

    /// The later of two kinds of work.
    #[must_use]
    pub(super) fn later(&self, one: Stage, other: Stage) -> Stage {
        std::cmp::max_by_key(one, other, |stage| self.rank(*stage))
    }
}

/// Of kinds of work that cannot be put in order, those that wait for one another: what only waits for them is left out.
fn circle(mut left: Vec<Stage>, rules: &[Precedence]) -> Vec<Stage> {
    loop {
        let idle = left.iter().position(|stage| {
            !rules
                .iter()
                .any(|rule| rule.first == *stage && left.contains(&rule.then))
        });
        match idle {
            Some(at) => left.remove(at),
            None => return left,
        };
    }
}

/// The rules a shop starts with. All of them common practice, no source.
#[must_use]
pub fn usual() -> Vec<Precedence> {
    use Stage::{
        Check, Clean, Cylinder, Deck, Dowel, Hole, Hone, Identify, Inspect, LineBore, Repair,
        Retest, Rough, Seal, SealFit, Wash,
    };
    [
        (
            Identify,
            Clean,
            "marks are read before the wash takes paint and tags off",
        ),
        (Clean, Inspect, "a crack shows only on clean metal"),
        (
            Inspect,
            Repair,
            "what is cracked is known before it is repaired",
        ),
        (Inspect, Rough, "no money goes into a cracked casting"),
        (Inspect, LineBore, "no finish work on a cracked casting"),
        (Repair, Retest, "heat and pins can open new cracks"),
        (Retest, Rough, "tested again before finish work"),
        (Retest, LineBore, "tested again before finish work"),
        (
            Rough,
            LineBore,
            "plugs and sleeves strain the casting, so the main line comes after them",
        ),
        (
            LineBore,
            Deck,
            "the deck is set parallel to the main line and its height measured from it",
        ),
        (Deck, Cylinder, "the bores are set from deck and main line"),
        (LineBore, Cylinder, "the bores are square to the main line"),
        (Cylinder, Hone, "the hone takes the last of the bore"),
        (LineBore, Dowel, "dowels are dialled in from the main line"),
        (
            LineBore,
            Seal,
            "the seal housing runs true to the main line",
        ),
        (Deck, Wash, "swarf is washed out of everything"),
        (Hone, Wash, "honing grit is washed out of the bores"),
        (Hole, Wash, "swarf is washed out of holes and oil ways"),
        (Dowel, Wash, "swarf is washed out of holes and oil ways"),
        (Seal, Wash, "swarf is washed out of everything"),
        (Wash, SealFit, "the hot wash would spoil seals"),
        (SealFit, Check, "the check is the last of all"),
    ]
    .map(|(first, then, why)| Precedence {
        first,
        then,
        why: why.to_owned(),
    })
    .into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_usual_rules_give_the_usual_order() {
        assert_eq!(OrderOfWork::new(&usual()).unwrap(), OrderOfWork::default());
    }

    #[test]
    fn a_shop_s_rule_moves_what_it_names_and_a_circle_is_named() {
        let mut rules = usual();
        rules.retain(|rule| rule.then != Stage::Dowel);
        let rule = |first, then| Precedence {
            first,
            then,
            why: String::new(),
        };
        rules.push(rule(Stage::Dowel, Stage::LineBore));
        let order = OrderOfWork::new(&rules).unwrap();
        assert!(order.rank(Stage::Dowel) < order.rank(Stage::LineBore));
        assert!(order.rank(Stage::LineBore) < order.rank(Stage::Deck));

        rules.push(rule(Stage::Deck, Stage::Dowel));
        let OrderError::Circle(stages) = OrderOfWork::new(&rules).unwrap_err();
        assert_eq!(stages, [Stage::LineBore, Stage::Deck, Stage::Dowel]);
    }
}
