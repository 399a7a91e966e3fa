//! Standards that the shop's own bookings would change, each as something the owner can say yes or no to.
//!
//! An element is proposed a new standard when enough finished operations bear on it, the figure is mostly its own evidence
//! and not the mean of all, and its standard lies outside the 90 % interval. A flat time is replaced by a flat time; a time
//! that is calculated from the feature keeps its calculation and gets another percentage, so that a long hole still takes
//! longer than a short one.

use super::ratios::{ElementRatio, Findings, Interval, Part};
use crate::estimating::Element;
use crate::units::Minutes;
use chrono::{DateTime, Utc};
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// Fewer finished operations than this propose nothing: common practice, no source.
pub const LEAST_OPERATIONS: usize = 8;
/// Nor does a figure that is less its own evidence than this.
const LEAST_INFORMATION: f64 = 0.5;
/// A standard that is nearer than this is right, however sure that it is off: nobody would write 41 minutes for 40. Common
/// practice, no source.
const LEAST_CHANGE: f64 = 0.05;

/// In what a standard is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Measure {
    /// Minutes, each or for the setup.
    Minutes,
    /// Per cent of the calculated time.
    Percent,
}

/// What is to be made of an element's figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Another standard is proposed.
    Change,
    /// The standard is right as far as can be seen.
    Right,
    /// Too little was booked to say.
    TooLittle,
}

/// The standard of one element with what it would become.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// The element.
    pub element: Uuid,
    /// Its code.
    pub code: String,
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: i32,
    /// Setup or run.
    pub part: Part,
    /// In what it is measured.
    pub measure: Measure,
    /// As it is.
    pub before: Decimal,
    /// As it is proposed.
    pub after: Decimal,
}

/// What the bookings say of a standard: of one element, or of elements that are always done together.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// The standards it would change.
    pub changes: Vec<Change>,
    /// The evidence.
    pub found: ElementRatio,
    /// What is to be made of it.
    pub verdict: Verdict,
}

/// What became of a proposal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Decision {
    /// The standard is as it was proposed.
    Accepted,
    /// The owner set another.
    Changed,
    /// The standard stays.
    Refused,
}

/// A decision about a proposal, with what it rested on.
#[derive(Debug, Clone, PartialEq)]
pub struct Decided {
    /// Key.
    pub id: Uuid,
    /// The element.
    pub element: Uuid,
    /// Its code.
    pub code: String,
    /// Its name.
    pub name: String,
    /// Setup or run.
    pub part: Part,
    /// What was decided.
    pub decision: Decision,
    /// Why; may be empty unless it was refused.
    pub reason: String,
    /// In what the standard is measured.
    pub measure: Measure,
    /// The standard before.
    pub before: Decimal,
    /// As it was proposed.
    pub proposed: Decimal,
    /// From then on.
    pub after: Decimal,
    /// Actual over standard as it was then.
    pub ratio: Interval,
    /// Finished operations it rested on.
    pub operations: usize,
    /// When.
    pub at: DateTime<Utc>,
    /// Name of who decided.
    pub by: String,
}

/// A standard as it is written: to a tenth of a minute below ten minutes, to half a minute below an hour, else to the minute;
/// a percentage to the whole per cent.
#[must_use]
pub fn rounded(measure: Measure, figure: Decimal) -> Decimal {
    let to = |step: Decimal| (figure / step).round() * step;
    match measure {
        Measure::Percent => figure.round(),
        Measure::Minutes if figure < Decimal::TEN => to(Decimal::new(1, 1)),
        Measure::Minutes if figure < Decimal::from(60) => to(Decimal::new(5, 1)),
        Measure::Minutes => figure.round(),
    }
    .normalize()
}

/// The standard of a part of an element as it is.
#[must_use]
pub fn standard(element: &Element, part: Part) -> (Measure, Decimal) {
    match part {
        Part::Setup => (Measure::Minutes, element.setup.0),
        Part::Run => match (element.revised, &element.recipe) {
            (Some(revised), _) => (Measure::Minutes, revised.0),
            (None, Some(_)) => (Measure::Percent, element.calculated_percent),
            (None, None) => (Measure::Minutes, element.owner_figure.0),
        },
    }
}

/// Gives an element another standard. A flat time becomes the shop's revised standard; the owner's own figure stays beside
/// it.
pub fn set_standard(element: &mut Element, part: Part, measure: Measure, figure: Decimal) {
    match (part, measure) {
        (Part::Setup, _) => element.setup = Minutes(figure),
        (Part::Run, Measure::Percent) => element.calculated_percent = figure,
        (Part::Run, Measure::Minutes) => element.revised = Some(Minutes(figure)),
    }
}

impl Change {
    fn of(element: &Element, part: Part, ratio: f64) -> Self {
        let (measure, before) = standard(element, part);
        let ratio = Decimal::from_f64(ratio).unwrap_or(Decimal::ONE);
        Self {
            element: element.id,
            code: element.code.clone(),
            name: element.name.clone(),
            version: element.version,
            part,
            measure,
            before: before.normalize(),
            after: rounded(measure, before * ratio),
        }
    }
}

impl Proposal {
    /// Names it in an address: the code of its first element and the part.
    #[must_use]
    pub fn key(&self) -> Option<(Uuid, Part)> {
        self.changes.first().map(|c| (c.element, c.part))
    }

    /// The elements with these standards set: the proposed ones, or `figure` for the only one.
    #[must_use]
    pub fn applied(&self, elements: &[Element], figure: Option<Decimal>) -> Vec<Element> {
        let mut changed = elements.to_vec();
        for change in &self.changes {
            if let Some(element) = changed.iter_mut().find(|e| e.id == change.element) {
                let figure = figure.unwrap_or(change.after);
                set_standard(element, change.part, change.measure, figure);
            }
        }
        changed
    }

    /// Whether it was refused when nearly as much was known as now: it comes again when half as many operations more have
    /// been finished, or the figure has left the interval of then.
    #[must_use]
    pub fn refused<'a>(&self, decided: &'a [Decided]) -> Option<&'a Decided> {
        let (element, part) = self.key()?;
        let latest = decided
            .iter()
            .filter(|d| d.element == element && d.part == part)
            .max_by_key(|d| d.at)?;
        let known = latest.operations + latest.operations / 2;
        let within = latest.ratio.low..=latest.ratio.high;
        let stands = latest.decision == Decision::Refused
            && self.found.operations <= known
            && within.contains(&self.found.ratio.likely);
        stands.then_some(latest)
    }
}

fn verdict(found: &ElementRatio, changes: &[Change]) -> Verdict {
    let ratio = found.ratio;
    if found.operations < LEAST_OPERATIONS || found.information < LEAST_INFORMATION {
        Verdict::TooLittle
    } else if (ratio.low > 1.0 || ratio.high < 1.0)
        && (ratio.likely - 1.0).abs() >= LEAST_CHANGE
        && changes.iter().any(|c| c.before != c.after)
    {
        Verdict::Change
    } else {
        Verdict::Right
    }
}

/// What the findings say of each standard, the surest changes of the most work first. Elements that the shop has no more are
/// left out.
#[must_use]
pub fn proposals(findings: &Findings, elements: &[Element]) -> Vec<Proposal> {
    let mut proposals: Vec<Proposal> = findings
        .elements
        .iter()
        .filter_map(|found| {
            let of_code = |code: &String| elements.iter().find(|e| e.code == *code);
            let changes: Vec<Change> = found
                .codes
                .iter()
                .filter_map(of_code)
                .map(|e| Change::of(e, found.part, found.ratio.likely))
                .filter(|c| c.before > Decimal::ZERO)
                .collect();
            (!changes.is_empty()).then(|| Proposal {
                verdict: verdict(found, &changes),
                changes,
                found: found.clone(),
            })
        })
        .collect();
    let weight = |p: &Proposal| p.found.operations as f64 * (p.found.ratio.likely - 1.0).abs();
    proposals.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
    proposals
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimating::starting;
    use crate::review::ratios::Shares;
    use crate::units::Currency;
    use rust_decimal::dec;

    fn interval(low: f64, likely: f64, high: f64) -> Interval {
        Interval { low, likely, high }
    }

    fn found(code: &str, part: Part, ratio: Interval, operations: usize) -> ElementRatio {
        ElementRatio {
            codes: vec![code.to_owned()],
            part,
            ratio,
            operations,
            people: 2,
            information: 0.9,
            points: Vec::new(),
        }
    }

    fn findings(elements: Vec<ElementRatio>) -> Findings {
        let none = interval(0.1, 0.1, 0.1);
        Findings {
            elements,
            shares: Shares {
                shop: None,
                person: None,
                element: None,
                setup: None,
                job: None,
                scatter: none,
                counts: [0; 5],
            },
            level: none,
            rows: 0,
            odd: 0,
        }
    }

    /// A sure and large enough difference is proposed, in the measure of the standard; what is unsure, right or hardly seen is
    /// not. Applied, the element has the proposed standard and keeps the owner's own figure.
    #[test]
    fn what_is_sure_is_proposed_in_the_measure_of_the_standard() {
        let pounds = Currency::from_code("GBP").unwrap();
        let mut next = 0;
        let elements = starting::elements(pounds, || {
            next += 1;
            Uuid::from_u128(next)
        })
        .unwrap();
        let flat = elements
            .iter()
            .find(|e| e.recipe.is_none() && e.setup.0 > Decimal::ZERO)
            .unwrap();
        let cut = elements.iter().find(|e| e.recipe.is_some()).unwrap();
        let sure = interval(1.1, 1.2, 1.3);
        let proposals = proposals(
            &findings(vec![
                found(&flat.code, Part::Setup, sure, 30),
                found(&flat.code, Part::Run, sure, 7),
                found(&cut.code, Part::Run, sure, 40),
                found(&cut.code, Part::Setup, interval(0.95, 1.05, 1.15), 40),
                found("GONE", Part::Run, sure, 40),
            ]),
            &elements,
        );
        let said: Vec<_> = proposals
            .iter()
            .map(|p| (p.changes[0].code.as_str(), p.found.part, p.verdict))
            .collect();
        assert_eq!(
            said,
            [
                (cut.code.as_str(), Part::Run, Verdict::Change),
                (&flat.code, Part::Setup, Verdict::Change),
                (&cut.code, Part::Setup, Verdict::Right),
                (&flat.code, Part::Run, Verdict::TooLittle),
            ]
        );
        let change = &proposals[0].changes[0];
        assert_eq!(
            (change.measure, change.before, change.after),
            (Measure::Percent, dec!(100), dec!(120))
        );
        let applied = proposals[1].applied(&elements, Some(dec!(33.5)));
        let after = applied.iter().find(|e| e.id == flat.id).unwrap();
        assert_eq!(after.setup, Minutes(dec!(33.5)));
        assert_eq!(
            (after.revised, after.owner_figure),
            (flat.revised, flat.owner_figure)
        );

        // Refused, it stays away until much more is known.
        let refused = Decided {
            id: Uuid::nil(),
            element: cut.id,
            code: cut.code.clone(),
            name: String::new(),
            part: Part::Run,
            decision: Decision::Refused,
            reason: "A bad drill".to_owned(),
            measure: Measure::Percent,
            before: dec!(100),
            proposed: dec!(120),
            after: dec!(100),
            ratio: sure,
            operations: 30,
            at: DateTime::UNIX_EPOCH,
            by: String::new(),
        };
        assert!(
            proposals[0]
                .refused(std::slice::from_ref(&refused))
                .is_some()
        );
        let known = Decided {
            operations: 20,
            ..refused.clone()
        };
        assert_eq!(proposals[0].refused(&[known]), None);
        assert_eq!(proposals[1].refused(&[refused]), None);
    }

    #[test]
    fn standards_are_written_as_a_shop_writes_them() {
        for (figure, written) in [
            (dec!(3.449), dec!(3.4)),
            (dec!(24.8), dec!(25)),
            (dec!(24.7), dec!(24.5)),
            (dec!(88.6), dec!(89)),
        ] {
            assert_eq!(rounded(Measure::Minutes, figure), written);
        }
        assert_eq!(rounded(Measure::Percent, dec!(117.6)), dec!(118));
    }
}
