//! Donors of another pattern: an engine of the same family whose castings can be made into the wanted one, with what then
//! stays different for good. The shop says which pattern that is, where its places are, what stays different, and for which
//! purposes that will not do. What nobody refuses is told to the customer with the price.

use super::customer::Purpose;
use super::wish::Supply;
use crate::castings::related::caution_of;
use crate::castings::{Correspondence, Face, Pattern, Shift};
use crate::estimating::Route;
use crate::estimating::cutting_data::CuttingData;
use crate::units::text::uncapitalised;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Something that stays different for good when a donor of another pattern is used.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Lasting {
    /// What, e.g. "ignition driven from the camshaft".
    pub what: String,
    /// For which purposes nobody would take it.
    #[serde(default)]
    pub refused_for: Vec<Purpose>,
    /// What the customer must hear of it besides; may be empty.
    #[serde(default)]
    pub caution: String,
}

impl Lasting {
    /// What stays different, without a stop at its end.
    fn in_short(&self) -> &str {
        self.what.trim().trim_end_matches('.')
    }

    /// As the customer hears and reads it.
    #[must_use]
    pub fn said(&self) -> String {
        let what = self.in_short();
        match self.caution.trim().trim_end_matches('.') {
            "" => what.to_owned(),
            caution => format!("{what} ({})", uncapitalised(caution)),
        }
    }
}

/// A pattern whose castings can be donors for another pattern.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RelatedPattern {
    /// Key.
    pub id: Uuid,
    /// The pattern that is wanted.
    pub wanted: Uuid,
    /// The pattern of the donors.
    pub donor: Uuid,
    /// Which place of the donor is which of the wanted pattern.
    pub places: Correspondence,
    /// What stays different for good.
    pub lasting: Vec<Lasting>,
    /// A note for the shop.
    pub note: String,
    /// Grows by one with every edit.
    pub version: i32,
}

/// The donor of another pattern that an option or a quote counts on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RelatedDonor {
    /// Its pattern.
    pub pattern: Uuid,
    /// The name of its pattern.
    pub name: String,
    /// Faces whose places are moved on it.
    pub shifts: Vec<Shift>,
    /// What stays different for good, as the customer hears it.
    pub lasting: Vec<String>,
}

/// What the shop knows of a related pattern and its castings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RelatedSupply {
    /// How the patterns are related.
    pub relation: RelatedPattern,
    /// The donors' pattern.
    pub pattern: Pattern,
    /// Cutting data for its metal.
    pub cutting: CuttingData,
    /// Its variants, with what is known about getting one.
    pub supplies: Vec<Supply>,
}

/// A purpose in the middle of a sentence.
const fn word(purpose: Purpose) -> &'static str {
    match purpose {
        Purpose::NotSaid => "a purpose nobody has said",
        Purpose::Original => "a restoration to original",
        Purpose::Working => "a working boat or machine",
        Purpose::Competition => "competition",
    }
}

impl RelatedPattern {
    /// Why its castings do not suit a purpose, one sentence for each reason; empty when they do.
    #[must_use]
    pub fn objections(&self, purpose: Purpose) -> Vec<String> {
        let refused = self
            .lasting
            .iter()
            .filter(|l| l.refused_for.contains(&purpose));
        refused
            .map(|lasting| format!("Not for {}: {}.", word(purpose), lasting.in_short()))
            .collect()
    }

    /// What has yet to be asked before a casting of it is offered, one sentence each.
    #[must_use]
    pub fn to_ask(&self, purpose: Purpose) -> Vec<String> {
        if purpose != Purpose::NotSaid {
            return Vec::new();
        }
        let refused = self.lasting.iter().filter(|l| !l.refused_for.is_empty());
        refused
            .map(|lasting| {
                let purposes: Vec<&str> = lasting.refused_for.iter().copied().map(word).collect();
                format!(
                    "Ask what it is for: {} will not do for {}.",
                    lasting.in_short(),
                    purposes.join(" or ")
                )
            })
            .collect()
    }

    /// What an option keeps of it.
    #[must_use]
    pub fn as_donor(&self, pattern: &Pattern) -> RelatedDonor {
        RelatedDonor {
            pattern: pattern.id,
            name: pattern.name.clone(),
            shifts: self
                .places
                .shifts
                .iter()
                .filter(|s| s.moves())
                .cloned()
                .collect(),
            lasting: self.lasting.iter().map(Lasting::said).collect(),
        }
    }
}

impl RelatedDonor {
    /// Says on every operation on a moved face of the donor how far its places are moved.
    pub(super) fn caution(&self, route: &mut Route, wanted: &Pattern) {
        let said = |face: Face| caution_of(&self.shifts, face, &self.name, wanted);
        for operation in &mut route.operations {
            operation.cautions.extend(operation.face.and_then(said));
        }
    }

    /// What stays different, as it is said after the price; empty where nothing does.
    pub(super) fn sentence(&self) -> String {
        if self.lasting.is_empty() {
            return String::new();
        }
        format!(" It stays different for good: {}.", self.lasting.join("; "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::enquiry::tests::{ask, farm, knowledge, wish};
    use crate::enquiry::{Answer, Knowledge, OptionAnswer, OptionKind, Outcome, Wish};
    use crate::units::Code;

    const SISTER: Uuid = Uuid::from_u128(77);

    fn lasting(what: &str, refused_for: &[Purpose]) -> Lasting {
        Lasting {
            what: what.to_owned(),
            refused_for: refused_for.to_vec(),
            caution: String::new(),
        }
    }

    /// The shop whose farm blocks are of a related pattern, otherwise the same.
    fn with_sister(places: Correspondence, lasting: Vec<Lasting>) -> Knowledge {
        let mut shop = knowledge();
        let pattern = Pattern {
            id: SISTER,
            ..shop.pattern.clone()
        };
        let mut donors = shop.supplies.remove(0);
        donors.variant.pattern_id = SISTER;
        shop.related = vec![RelatedSupply {
            relation: RelatedPattern {
                id: Uuid::nil(),
                wanted: shop.pattern.id,
                donor: SISTER,
                places,
                lasting,
                note: String::new(),
                version: 1,
            },
            pattern,
            cutting: shop.cutting.clone(),
            supplies: vec![donors],
        }];
        shop
    }

    fn told(purpose: Purpose, shop: &Knowledge) -> Answer {
        let wish = Wish { purpose, ..wish() };
        ask(&wish, shop)
    }

    fn converted(answer: &Answer) -> &OptionAnswer {
        let mut options = answer.options.iter();
        options
            .find(|o| o.kind == OptionKind::ConvertShelf)
            .unwrap()
    }

    #[test]
    fn a_donor_that_differs_in_nothing_is_the_same_option_as_one_of_the_pattern() {
        for purpose in [Purpose::NotSaid, Purpose::Working, Purpose::Original] {
            let own = told(purpose, &knowledge());
            let related = told(purpose, &with_sister(Correspondence::default(), vec![]));
            let mut same = converted(&related).clone();
            if let Outcome::Possible(figures) = &mut same.outcome {
                let donor = figures.related.take().unwrap();
                assert_eq!((donor.pattern, donor.lasting), (SISTER, vec![]));
            }
            assert_eq!(&same, converted(&own));
            assert_eq!(related.sentence, own.sentence);
            assert_eq!(related.comparison, own.comparison);
        }
    }

    #[test]
    fn what_stays_different_is_told_asked_about_and_refused_by_purpose() {
        let ignition = Lasting {
            caution: "The old drive does not fit.".to_owned(),
            ..lasting("ignition driven from the camshaft", &[Purpose::Original])
        };
        let shop = with_sister(
            Correspondence::default(),
            vec![ignition, lasting("oil filter upright", &[])],
        );
        let working = told(Purpose::Working, &shop);
        let said = " It stays different for good: ignition driven from the camshaft (the old drive does not fit); oil filter upright.";
        let option = converted(&working);
        assert!(option.sentence.contains(said), "{}", option.sentence);
        assert!(!option.risks.iter().any(|r| r.starts_with("Ask what")));
        let unknown = told(Purpose::NotSaid, &shop);
        let asked = &converted(&unknown).risks[0];
        assert!(
            asked.contains("will not do for a restoration to original"),
            "{asked}"
        );
        let original = told(Purpose::Original, &shop);
        let Outcome::Impossible { reasons } = &converted(&original).outcome else {
            panic!("a donor nobody would take is offered")
        };
        assert_eq!(
            reasons,
            &["Not for a restoration to original: ignition driven from the camshaft."]
        );
    }

    #[test]
    fn another_engine_is_no_donor_and_an_own_block_of_a_related_pattern_is_one() {
        let mut shop = with_sister(Correspondence::default(), vec![]);
        let mut mine = farm();
        mine.pattern_id = SISTER;
        let own = crate::enquiry::OwnBlock {
            variant: mine,
            repairs: vec![],
            condition: crate::enquiry::Condition::Sound,
        };
        let brings = Wish {
            own: Some(own),
            ..wish()
        };
        let of_own = |answer: &Answer| {
            let mut options = answer.options.iter();
            options
                .find(|o| o.kind == OptionKind::ConvertOwn)
                .unwrap()
                .clone()
        };
        assert!(of_own(&ask(&brings, &shop)).figures().is_some());
        shop.related[0].pattern.cylinders = 6;
        let answer = ask(&brings, &shop);
        for option in [of_own(&answer), converted(&answer).clone()] {
            assert!(
                matches!(&option.outcome, Outcome::Impossible { reasons } if reasons[0].contains("6 cylinders")),
                "{option:?}"
            );
        }
    }

    #[test]
    fn operations_on_a_moved_face_say_so() {
        let moved = Shift {
            face: Face::Rear,
            across: crate::units::Length::ZERO,
            up: "6".parse().unwrap(),
        };
        let places = Correspondence {
            shifts: vec![moved],
            labels: vec![],
        };
        let answer = told(Purpose::Working, &with_sister(places, vec![]));
        let figures = converted(&answer).figures().unwrap();
        let on_rear = figures
            .route
            .operations
            .iter()
            .filter(|o| o.face == Some(Face::Rear));
        let cautions: Vec<bool> = on_rear
            .map(|o| o.cautions.iter().any(|c| c.contains("6 mm higher")))
            .collect();
        assert!(!cautions.is_empty() && cautions.iter().all(|said| *said));
        let elsewhere = figures.route.operations.iter().filter(|o| o.face.is_none());
        assert!(
            elsewhere
                .into_iter()
                .all(|o| !o.cautions.iter().any(|c| c.contains("6 mm higher")))
        );
    }

    /// Whatever is listed, a purpose that refuses any of it never gets the donor, and every other hears all of it.
    #[test]
    fn a_purpose_that_refuses_a_difference_never_gets_the_donor() {
        let lists: [[&[Purpose]; 2]; 3] = [
            [&[], &[]],
            [&[], &[Purpose::Original]],
            [
                &[Purpose::Competition],
                &[Purpose::Working, Purpose::Competition],
            ],
        ];
        for listed in lists {
            let differences = [
                lasting("difference 1", listed[0]),
                lasting("difference 2", listed[1]),
            ];
            let shop = with_sister(Correspondence::default(), differences.to_vec());
            for &purpose in Purpose::ALL {
                let answer = told(purpose, &shop);
                let option = converted(&answer);
                let refused = listed.concat().contains(&purpose);
                assert_eq!(
                    option.figures().is_none(),
                    refused,
                    "{purpose:?} {listed:?}"
                );
                if refused {
                    assert_ne!(answer.recommended.as_ref(), Some(&option.key));
                } else {
                    let said = "It stays different for good: difference 1; difference 2.";
                    assert!(option.sentence.contains(said), "{}", option.sentence);
                }
            }
        }
    }
}
