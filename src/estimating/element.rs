//! Elements: the pieces of work a shop has an agreed time for.

use super::check::Check;
use super::cutting::Recipe;
use super::cutting_data::CuttingData;
use super::order::OrderOfWork;
use crate::castings::{Feature, Metal, words::words};
use crate::units::{Length, Minutes, Money, Spread};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// A kind of work, in the usual order. What comes before what in a shop is [`super::OrderOfWork`].
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    Serialize,
    Deserialize,
    EnumString,
    IntoStaticStr,
    VariantArray,
)]
#[serde(rename_all = "snake_case")]
#[strum(serialize_all = "snake_case")]
pub enum Stage {
    /// Receive and identify.
    Identify,
    /// Strip and clean.
    Clean,
    /// Crack-test and measure; a donor can fail here.
    Inspect,
    /// Cracks stitched or welded.
    Repair,
    /// Crack-tested again after a repair.
    Retest,
    /// Rough work: plugs, sleeves.
    Rough,
    /// The main line: bored, or checked.
    LineBore,
    /// The deck.
    Deck,
    /// Cylinders bored.
    Cylinder,
    /// Cylinders honed.
    Hone,
    /// Fitted dowels.
    Dowel,
    /// Drilled and tapped holes.
    Hole,
    /// Seal housing bored.
    Seal,
    /// Final hot wash.
    Wash,
    /// Seals fitted.
    SealFit,
    /// Final check.
    Check,
}

words!(Stage {
    Identify = "receive and identify";
    Clean = "strip and clean";
    Inspect = "crack-test and measure";
    Repair = "crack repair";
    Retest = "crack-test after repair";
    Rough = "rough work";
    LineBore = "main line";
    Deck = "deck";
    Cylinder = "cylinder bores";
    Hone = "hone";
    Dowel = "fitted dowels";
    Hole = "drilled and tapped holes";
    Seal = "seal housing";
    Wash = "final wash";
    SealFit = "fit seals";
    Check = "final check";
});

impl Stage {
    /// Whether metal is worked, or a seal is fitted to it: what the trade calls the machining of a job.
    #[must_use]
    pub fn is_machining(self) -> bool {
        match self {
            Self::Repair
            | Self::Rough
            | Self::LineBore
            | Self::Deck
            | Self::Cylinder
            | Self::Hone
            | Self::Dowel
            | Self::Hole
            | Self::Seal
            | Self::SealFit => true,
            Self::Identify
            | Self::Clean
            | Self::Inspect
            | Self::Retest
            | Self::Wash
            | Self::Check => false,
        }
    }

    /// Dowels and holes of one face are done in one setup, so they are one phase; every other kind of work is its own. The
    /// seal housing waits for the main line, because it is dialled in to the crankshaft's centre line.
    #[must_use]
    pub(super) fn phase(self) -> Self {
        match self {
            Self::Dowel => Self::Hole,
            other => other,
        }
    }
}

/// How often an element is done.
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
pub enum Basis {
    /// Once per job.
    Once,
    /// Once per count of the feature whose remedy asks for it.
    PerFeature,
    /// Once per main bearing.
    PerMain,
    /// Once per cylinder.
    PerCylinder,
}

words!(Basis {
    Once = "once a job";
    PerFeature = "each feature";
    PerMain = "each main bearing";
    PerCylinder = "each cylinder";
});

/// Whether an element is done without being asked for. Each includes the one before.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    Serialize,
    Deserialize,
    EnumString,
    IntoStaticStr,
    VariantArray,
)]
#[serde(rename_all = "snake_case")]
#[strum(serialize_all = "snake_case")]
pub enum Inclusion {
    /// Only where a remedy or a list of work asks.
    Asked,
    /// In every conversion.
    Conversion,
    /// On every block that comes in: conversions, found blocks, the caller's own.
    EveryBlock,
}

words!(Inclusion {
    Asked = "only when asked for";
    Conversion = "in every conversion";
    EveryBlock = "on every block";
});

/// Material an element uses up, each time it is done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Material {
    /// What.
    pub name: String,
    /// How many each time.
    pub quantity: Decimal,
    /// Price of one.
    pub price: Money,
    /// Only for features above this size; the size itself is left out.
    #[serde(default)]
    pub smallest: Option<Length>,
    /// Only for features up to this size; the size itself is included.
    #[serde(default)]
    pub largest: Option<Length>,
    /// Made by operations of the same route, which are what it costs: its price here is nothing.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub made: bool,
}

impl Material {
    /// Whether it is the one for a feature of this size. Without a feature it is the one with no upper end, so that a
    /// sleeve of unknown size is priced as the dearest.
    #[must_use]
    pub fn is_for(&self, size: Option<Length>) -> bool {
        match size {
            Some(size) => {
                self.smallest.is_none_or(|smallest| smallest < size)
                    && self.largest.is_none_or(|largest| size <= largest)
            }
            None => self.largest.is_none(),
        }
    }
}

/// Where a time came from, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TimeSource {
    /// The shop's revised standard, from its own hours.
    Revised,
    /// A cutting-time calculation plus handling.
    Calculated,
    /// The owner's figure.
    Owner,
}

/// An element with its standard time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Element {
    /// Key.
    pub id: Uuid,
    /// Short code used by remedy rules, e.g. `DOWEL-REAM`.
    pub code: String,
    /// Name, e.g. "Dial in, drill and ream for fitted dowel".
    pub name: String,
    /// Where it comes in the order of work.
    pub stage: Stage,
    /// The kind of machine, as the shop names it (`mill`, `line borer`, `bench`, …); `outside` for work sent out.
    pub machine_kind: String,
    /// The skill it needs.
    pub skill: String,
    /// Setup of the block for this element; elements on the same face and machine share the longest.
    pub setup: Minutes,
    /// The shop's revised time each, if it has one.
    pub revised: Option<Minutes>,
    /// How to calculate the cutting time each, if it is cutting.
    pub recipe: Option<Recipe>,
    /// Handling each, added to a calculated time.
    pub handling: Minutes,
    /// What a calculated time with its handling is multiplied by, in per cent: 100, or what the shop's own bookings have
    /// taught.
    pub calculated_percent: Decimal,
    /// The owner's figure each.
    pub owner_figure: Minutes,
    /// Share of the run a person must attend, 0 to 1. Setup is always attended.
    pub attended_share: Decimal,
    /// Spread of its time.
    pub spread: Spread,
    /// How often.
    pub basis: Basis,
    /// Whether it is done without being asked for.
    pub standing: Inclusion,
    /// Whether a donor can fail here.
    pub can_fail: bool,
    /// What the customer must hear when it is left out; empty when it is always done.
    pub left_out: String,
    /// What is set at the machine where no cut says it: stock per pass, feed, stones. A starting point.
    pub at_machine: String,
    /// For work sent out: its price each.
    pub outside_price: Option<Money>,
    /// For work sent out: calendar days away.
    pub outside_days: Option<u32>,
    /// Checks it must pass.
    pub checks: Vec<Check>,
    /// Cautions where the work is instructed.
    pub cautions: Vec<String>,
    /// The metals it is done on; any where it is empty: magnetic particles on iron and steel, dye on aluminium.
    pub metals: Vec<Metal>,
    /// Tools it needs that come back, such as temporary bolts or a mandrel; `{part}` stands for what is worked on.
    pub tools: Vec<String>,
    /// Codes of elements that must follow wherever this one is done: a crack test after welding.
    pub followed_by: Vec<String>,
    /// Done to a part off the block (a seal housing on the bench), so it need not wait for the block.
    pub apart: bool,
    /// What it uses up.
    pub materials: Vec<Material>,
    /// Grows by one with every edit.
    pub version: i32,
}

/// The kind of machine that stands for work sent out.
pub const OUTSIDE: &str = "outside";

impl Element {
    /// Its stage, except that standing work in which a donor can fail is never left until metal has been cut.
    pub(super) fn place_in_order(&self, order: &OrderOfWork) -> Stage {
        if self.can_fail && self.standing > Inclusion::Asked {
            order.earlier(self.stage, Stage::Inspect)
        } else {
            self.stage
        }
    }

    /// Minutes each, from the best source there is, with the source and how it was reached.
    ///
    /// Best first: the shop's revised standard; the cutting time of its recipe on `feature` plus handling; the owner's
    /// figure. A recipe that cannot be calculated (no feature, no cutting data) says so beside the owner's figure.
    #[must_use]
    pub fn minutes_each(
        &self,
        feature: Option<&Feature>,
        data: &CuttingData,
    ) -> (Minutes, TimeSource, String) {
        if let Some(revised) = self.revised {
            return (
                revised,
                TimeSource::Revised,
                format!("the shop's revised standard, {revised} each"),
            );
        }
        let owner = format!("the owner's figure, {} each", self.owner_figure);
        match (&self.recipe, feature) {
            (Some(recipe), Some(feature)) => match recipe.time(feature, None, data) {
                Ok(cutting) => {
                    let share = self.calculated_percent / Decimal::ONE_HUNDRED;
                    let mut how = format!("{}; handling {}", cutting.how, self.handling);
                    if share != Decimal::ONE {
                        let percent = self.calculated_percent.normalize();
                        how.push_str(&format!("; at {percent} %, from the shop’s own bookings"));
                    }
                    let minutes = (cutting.minutes + self.handling) * share;
                    (minutes, TimeSource::Calculated, how)
                }
                Err(why) => (
                    self.owner_figure,
                    TimeSource::Owner,
                    format!("{owner}; not calculated, because {why}"),
                ),
            },
            _ => (self.owner_figure, TimeSource::Owner, owner),
        }
    }

    /// Whether it is done on a metal.
    #[must_use]
    pub fn suits(&self, metal: Metal) -> bool {
        self.metals.is_empty() || self.metals.contains(&metal)
    }

    /// What is wrong with it, each complaint with the form field it belongs beside. Empty when all is well.
    #[must_use]
    pub fn faults(&self) -> Vec<(&'static str, String)> {
        let code_reads = (2..=40).contains(&self.code.len())
            && self
                .code
                .bytes()
                .all(|b| b.is_ascii_uppercase() || b.is_ascii_digit() || b == b'-');
        let complaints = [
            (
                code_reads,
                "code",
                "Use 2 to 40 capital letters, digits and hyphens, like DOWEL-REAM",
            ),
            (
                worded(&self.name, 120),
                "name",
                "Say what is done, in up to 120 letters",
            ),
            (
                worded(&self.machine_kind, 60),
                "machine_kind",
                "Say which kind of machine: mill, bench, outside …",
            ),
            (worded(&self.skill, 60), "skill", "Say which skill it needs"),
            (timely(self.setup), "setup", MINUTES),
            (self.revised.is_none_or(timely), "revised", MINUTES),
            (timely(self.handling), "handling", MINUTES),
            (timely(self.owner_figure), "owner_figure", MINUTES),
            (
                (Decimal::TEN..=Decimal::ONE_THOUSAND).contains(&self.calculated_percent),
                "calculated_percent",
                "From 10 to 1000 per cent of the calculated time",
            ),
            (
                (Decimal::ZERO..=Decimal::ONE).contains(&self.attended_share),
                "attended_share",
                "From 0 (runs alone) to 100 per cent (always attended)",
            ),
            (
                self.recipe.as_ref().is_none_or(|r| few(r.cuts.len())),
                "cuts",
                "No more than 40 cuts",
            ),
        ];
        let mut found: Vec<_> = complaints
            .into_iter()
            .chain(self.outside_faults())
            .chain(self.list_faults())
            .filter(|(well, ..)| !well)
            .map(|(_, field, message)| (field, message.to_owned()))
            .collect();
        if let Err(why) = self.spread.validate() {
            found.push(("spread", why.to_string()));
        }
        found
    }

    /// Work sent out has a price and days away; no other work has.
    fn outside_faults(&self) -> [(bool, &'static str, &'static str); 4] {
        let sent_out = self.machine_kind == OUTSIDE;
        [
            (
                sent_out == self.outside_price.is_some(),
                "outside_price",
                "A price for work sent out, and only for that: its kind of machine is “outside”",
            ),
            (
                self.outside_price.is_none_or(payable),
                "outside_price",
                PRICE,
            ),
            (
                sent_out == self.outside_days.is_some(),
                "outside_days",
                "Days away for work sent out, and only for that",
            ),
            (
                self.outside_days.is_none_or(|d| d <= 365),
                "outside_days",
                "Up to 365 days",
            ),
        ]
    }

    /// Checks, cautions and materials, each worded and not too many.
    fn list_faults(&self) -> [(bool, &'static str, &'static str); 3] {
        [
            (
                few(self.checks.len())
                    && self
                        .checks
                        .iter()
                        .all(|c| worded(&c.what, 200) && c.fault().is_none()),
                "checks",
                "Each check says what is checked, in up to 200 letters, with its limits; no more than 40 of them",
            ),
            (
                few(self.cautions.len()) && self.cautions.iter().all(|c| worded(c, 400)),
                "cautions",
                "Up to 40 cautions of up to 400 letters",
            ),
            (
                few(self.materials.len())
                    && self.materials.iter().all(|m| {
                        worded(&m.name, 120)
                            && (Decimal::ZERO..=Decimal::from(10_000)).contains(&m.quantity)
                            && payable(m.price)
                    }),
                "materials",
                "Each material has a name, a quantity from 0 to 10 000 and a price from 0 to 1 000 000",
            ),
        ]
    }
}

fn few(lines: usize) -> bool {
    lines <= 40
}

const MINUTES: &str = "Minutes from 0 to 60 000";
const PRICE: &str = "A price from 0 to 1 000 000";

fn worded(text: &str, longest: usize) -> bool {
    !text.trim().is_empty() && text.chars().count() <= longest
}

/// A thousand hours is the longest standard that is taken as meant.
fn timely(minutes: Minutes) -> bool {
    (Decimal::ZERO..=Decimal::from(60_000)).contains(&minutes.0)
}

fn payable(price: Money) -> bool {
    (Decimal::ZERO..=Decimal::from(1_000_000)).contains(&price.amount())
}

#[cfg(test)]
mod tests;
