//! The conversion rules and crack repairs that a new shop may start from. They are starting points for the shop's own; the
//! elements they name are those of [`crate::estimating::starting`].

use super::customer::{CrackPlace, CrackRepair};
use crate::castings::{Action, Face, FeatureKind, RemedyRule, When};
use crate::units::Length;
use serde::Deserialize;
use uuid::Uuid;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    rule: Vec<Rule>,
    crack: Vec<Crack>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Rule {
    name: String,
    when: When,
    kind: Option<FeatureKind>,
    face: Option<Face>,
    smallest: Option<Length>,
    largest: Option<Length>,
    gearbox_under: Option<bool>,
    action: Action,
    #[serde(default)]
    elements: Vec<String>,
    #[serde(default)]
    say: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Crack {
    place: CrackPlace,
    repaired: bool,
    #[serde(default)]
    elements: Vec<String>,
    say: String,
}

/// The rules in the order they are tried, and the crack repairs; `new_id` makes their keys.
///
/// # Errors
/// A set that does not read, with where; the set is part of the program, so a test rules this out.
pub fn rules(
    mut new_id: impl FnMut() -> Uuid,
) -> Result<(Vec<RemedyRule>, Vec<CrackRepair>), toml::de::Error> {
    let file: File = toml::from_str(include_str!("starting.toml"))?;
    let mut rules = Vec::new();
    for (rule, place) in file.rule.into_iter().zip(1..) {
        rules.push(RemedyRule {
            id: new_id(),
            priority: 10 * place,
            name: rule.name,
            when: rule.when,
            kind: rule.kind,
            face: rule.face,
            smallest: rule.smallest,
            largest: rule.largest,
            gearbox_under: rule.gearbox_under,
            action: rule.action,
            elements: rule.elements,
            say: rule.say,
            version: 1,
        });
    }
    let mut repairs = Vec::new();
    for crack in file.crack {
        repairs.push(CrackRepair {
            id: new_id(),
            place: crack.place,
            repaired: crack.repaired,
            elements: crack.elements,
            say: crack.say,
            version: 1,
        });
    }
    Ok((rules, repairs))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimating::starting;
    use crate::units::Currency;
    use std::collections::BTreeSet;

    /// No rule has a fault, and whatever it names stands in the starting set of standard times.
    #[test]
    fn the_starting_rules_stand_on_the_starting_elements() {
        let (rules, repairs) = rules(Uuid::nil).unwrap();
        for rule in &rules {
            assert_eq!(rule.faults(), [], "{}", rule.name);
        }
        let pounds = Currency::from_code("GBP").unwrap();
        let elements = starting::elements(pounds, Uuid::nil).unwrap();
        let codes: BTreeSet<&str> = elements.iter().map(|e| e.code.as_str()).collect();
        let named = rules.iter().flat_map(|rule| &rule.elements);
        for code in named.chain(repairs.iter().flat_map(|repair| &repair.elements)) {
            assert!(codes.contains(code.as_str()), "{code}");
        }
        let bushed = rules.iter().find(|rule| rule.name.contains("bushed down"));
        assert_eq!(
            bushed.unwrap().elements,
            ["PLUG", "HOLE-DRILL", "PRESSURE-RETEST"],
            "what may leak is tested again"
        );
        for when in [
            When::MissingWithMetal,
            When::MissingNoMetal,
            When::ChangedClears,
            When::ChangedDoesNotClear,
            When::ChangedNoMetal,
            When::Extra,
        ] {
            assert!(rules.iter().any(|rule| rule.when == when), "{when}");
        }
    }
}
