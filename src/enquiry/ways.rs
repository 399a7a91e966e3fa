//! A way to satisfy an enquiry before it is simulated: its route, where its casting comes from, what could go wrong; or why
//! there is none.

use super::answer::{Figures, OptionAnswer, OptionKind, Outcome, Terms};
use super::customer::Purpose;
use super::procurement::Procurement;
use super::proportion::MOST_TIMES_CHEAPEST;
use super::related::RelatedDonor;
use super::wish::{SearchLimits, ShelfCasting};
use crate::castings::Conversion;
use crate::estimating::Route;
use crate::estimating::cost::Donor;
use crate::sourcing::Good;
use crate::sourcing::hunt::HORIZON_DAYS;
use crate::units::Money;
use uuid::Uuid;

/// What an option is called, whether or not it can be done.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Label {
    key: String,
    kind: OptionKind,
    title: String,
}

impl Label {
    pub(super) fn new(key: impl Into<String>, kind: OptionKind, title: String) -> Self {
        Self {
            key: key.into(),
            kind,
            title,
        }
    }

    fn answer(
        &self,
        casting: Option<ShelfCasting>,
        risks: Vec<String>,
        outcome: Outcome,
    ) -> OptionAnswer {
        OptionAnswer {
            key: self.key.clone(),
            kind: self.kind,
            title: self.title.clone(),
            casting,
            risks,
            outcome,
            sentence: String::new(),
        }
    }
}

/// How an option is done.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Way {
    pub(super) casting: Option<ShelfCasting>,
    pub(super) risks: Vec<String>,
    pub(super) route: Route,
    pub(super) conversion: Option<Conversion>,
    /// The donor, when it is of a related pattern.
    pub(super) related: Option<RelatedDonor>,
    pub(super) donor: Option<Donor>,
    pub(super) procurement: Procurement,
    /// The variant of the casting.
    pub(super) casting_of: Uuid,
    /// Whether such a casting is good, if that can be said.
    pub(super) good: Option<Good>,
    /// The particular one that is on offer.
    pub(super) offer: Option<OnOffer>,
}

/// A particular casting that is on offer.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct OnOffer {
    pub(super) asked: Money,
    pub(super) carriage: Money,
}

/// Why there is no way.
pub(super) enum NoWay {
    /// One sentence each.
    Reasons(Vec<String>),
    /// Nobody knows what a casting of this variant costs.
    PriceUnknown(Uuid),
}

impl NoWay {
    pub(super) fn because(why: impl std::fmt::Display) -> Self {
        Self::Reasons(vec![why.to_string()])
    }

    fn outcome(self) -> Outcome {
        match self {
            Self::Reasons(reasons) => Outcome::Impossible { reasons },
            Self::PriceUnknown(variant) => Outcome::PriceUnknown { variant },
        }
    }
}

/// A way, or why there is none.
pub(super) type Found = Result<Way, NoWay>;

/// An option before it is simulated.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Proposal {
    label: Label,
    pub(super) way: Way,
}

impl Proposal {
    pub(super) fn possible(&self, figures: Figures, purpose: Purpose) -> OptionAnswer {
        let mut risks = self.way.risks.clone();
        if self.label.kind.is_conversion() {
            risks.splice(0..0, purpose.caution().map(str::to_owned));
        }
        if figures.never_percent > 0 {
            risks.push(never(&figures));
        }
        self.answer(risks, Outcome::Possible(Box::new(figures)))
    }

    pub(super) fn impossible(&self, reasons: Vec<String>) -> OptionAnswer {
        self.answer(Vec::new(), Outcome::Impossible { reasons })
    }

    fn answer(&self, risks: Vec<String>, outcome: Outcome) -> OptionAnswer {
        self.label.answer(self.way.casting.clone(), risks, outcome)
    }
}

/// How likely it is that nothing comes of a search, in words.
fn never(figures: &Figures) -> String {
    let percent = figures.never_percent;
    let set = match &figures.terms {
        Terms::Search(terms) => terms.limits,
        _ => SearchLimits::default(),
    };
    if set.most.is_some() || set.ends_on.is_some() {
        return format!(
            "{percent} % chance that no sound one turns up within the customer’s limits."
        );
    }
    let years = (HORIZON_DAYS / 365.0).round();
    format!(
        "{percent} % chance that no sound one turns up within {years} years, or only at more than {MOST_TIMES_CHEAPEST} times the price of the cheapest option."
    )
}

/// Options to be simulated, and those that cannot be done.
#[derive(Debug, Default)]
pub(super) struct Options {
    pub(super) proposals: Vec<Proposal>,
    pub(super) impossible: Vec<OptionAnswer>,
}

impl Options {
    pub(super) fn add(&mut self, label: Label, found: Found) {
        match found {
            Ok(way) => self.proposals.push(Proposal { label, way }),
            Err(why) => {
                let outcome = why.outcome();
                self.impossible
                    .push(label.answer(None, Vec::new(), outcome));
            }
        }
    }
}
