use super::*;
use crate::castings::samples::*;
use crate::castings::{Action, When};

fn fields(faults: &[Fault]) -> Vec<&'static str> {
    faults.iter().map(Fault::field).collect()
}

#[test]
fn each_fault_of_a_feature_names_its_field() {
    let pattern = pattern();
    let outline = pattern.outline(Face::Rear);
    let of = |feature: Feature| fields(&feature.faults(outline));
    assert_eq!(of(tapped("M10")), [""; 0]);
    assert_eq!(of(fitted("12", "H7")), [""; 0]);
    assert_eq!(of(at(plain("8"), "381", "-0.1")), ["across", "up"]);
    assert_eq!(
        of(at(plain("8"), "380", "320")),
        [""; 0],
        "the edge is still on it"
    );
    assert_eq!(of(on(plain("8"), Face::Rear, " ")), ["label"]);
    assert_eq!(
        of(on(plain("8"), Face::Rear, "a label too long")),
        ["label"]
    );
    assert_eq!(of(plain("0")), ["size"]);
    assert_eq!(
        of(Feature {
            depth: Some(Length::ZERO),
            ..plain("8")
        }),
        ["depth"]
    );
    assert_eq!(
        of(Feature {
            kind: FeatureKind::TappedHole,
            ..plain("8")
        }),
        ["thread"]
    );
    assert_eq!(
        of(Feature {
            kind: FeatureKind::Bore,
            ..tapped("M8")
        }),
        ["thread"]
    );
    assert_eq!(
        of(Feature {
            size: length("8.5"),
            ..tapped("M10")
        }),
        ["size"]
    );
    assert_eq!(
        of(Feature {
            fit: Some("H7".parse().unwrap()),
            ..tapped("M8")
        }),
        ["fit"]
    );
    assert_eq!(of(fitted("12", "m6")), ["fit"]);
    assert_eq!(
        of(fitted("600", "H7")),
        ["fit"],
        "ISO 286-1 is tabulated to 500 mm here"
    );
    assert_eq!(
        of(Feature {
            count: 0,
            ..plain("8")
        }),
        ["count"]
    );
    assert_eq!(
        of(Feature {
            count: MOST_ALIKE + 1,
            ..plain("8")
        }),
        ["count"]
    );
    assert_eq!(fields(&plain("8").faults(None)), ["face"]);
}

#[test]
fn a_whole_pattern_and_a_whole_variant_are_checked() {
    let mut pattern = pattern();
    assert_eq!(pattern.faults(), []);
    let whole = variant(
        "marine",
        true,
        vec![tapped("M10"), at(plain("8"), "400", "0")],
    );
    let faults = whole.faults(&pattern);
    assert_eq!(
        fields(&faults),
        ["across", "label"],
        "off the face, and R1 twice"
    );
    assert!(
        faults[0]
            .to_string()
            .starts_with("rear face, R1: off the rear face"),
        "{}",
        faults[0]
    );
    pattern.outlines.push(pattern.outlines[0].clone());
    pattern.bosses.push(pattern.bosses[0].clone());
    pattern.cylinders = 0;
    pattern.name = " ".to_owned();
    assert_eq!(
        fields(&pattern.faults()),
        ["name", "cylinders", "face", "label"]
    );
}

#[test]
fn a_rule_says_what_it_does_and_why() {
    let faults = |rule: RemedyRule| fields(&rule.faults());
    let machine = rule(10, When::MissingWithMetal, Action::Machine);
    assert_eq!(faults(machine.clone()), [""; 0]);
    assert_eq!(
        faults(RemedyRule {
            elements: vec![],
            ..machine.clone()
        }),
        ["elements"]
    );
    assert_eq!(
        faults(RemedyRule {
            elements: vec!["drill it".to_owned()],
            ..machine.clone()
        }),
        ["elements"]
    );
    let crossed = RemedyRule {
        smallest: Some(length("12")),
        largest: Some(length("10")),
        ..machine
    };
    assert_eq!(faults(crossed), ["smallest"]);
    let caution = rule(20, When::Extra, Action::Caution);
    assert_eq!(faults(caution.clone()), ["say"]);
    assert_eq!(
        faults(RemedyRule {
            elements: vec!["PLUG".to_owned()],
            say: "An open hole".to_owned(),
            ..caution
        }),
        ["elements"]
    );
}

/// The last that is taken and the first that is not, of every bound.
#[test]
fn bounds_are_inclusive() {
    let faults = |pattern: &Pattern| fields(&pattern.faults());
    let with = |change: fn(&mut Pattern)| {
        let mut changed = pattern();
        change(&mut changed);
        faults(&changed)
    };
    assert_eq!(with(|p| p.name = "n".repeat(LONGEST_NAME)), [""; 0]);
    assert_eq!(with(|p| p.name = "n".repeat(LONGEST_NAME + 1)), ["name"]);
    assert_eq!(with(|p| p.cylinders = MOST_CYLINDERS), [""; 0]);
    // A straight engine has a main bearing more than it has cylinders.
    assert_eq!(with(|p| p.mains = MOST_CYLINDERS + 1), [""; 0]);
    assert_eq!(with(|p| p.mains = MOST_CYLINDERS + 2), ["mains"]);
    assert_eq!(with(|p| p.outlines[0].width = length("10000")), [""; 0]);
    assert_eq!(
        with(|p| p.outlines[0].width = Length::from_mm(10_001.into())),
        ["width"]
    );
    assert_eq!(with(|p| p.outlines[1].height = Length::ZERO), ["height"]);
    assert_eq!(with(|p| p.bosses[0].largest = Length::ZERO), ["largest"]);
    assert_eq!(
        with(|p| p.bosses[0].deepest = Some(Length::ZERO)),
        ["deepest"]
    );

    let ruled = |change: fn(&mut RemedyRule)| {
        let mut changed = rule(10, When::MissingWithMetal, Action::Machine);
        change(&mut changed);
        fields(&changed.faults())
    };
    let one_size =
        |r: &mut RemedyRule| (r.smallest, r.largest) = (Some(length("10")), Some(length("10")));
    assert_eq!(ruled(one_size), [""; 0]);
    assert_eq!(ruled(|r| r.elements = vec!["A".repeat(40)]), [""; 0]);
    for code in [String::new(), "A".repeat(41), "lower".to_owned()] {
        let mut changed = rule(10, When::MissingWithMetal, Action::Machine);
        changed.elements = vec![code.clone()];
        assert_eq!(fields(&changed.faults()), ["elements"], "{code}");
    }
}
