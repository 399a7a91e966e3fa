//! Invented blocks: a farm and a marine variant of one pattern, and one of another.

use super::*;
use crate::castings::{Boss, Face, FeatureKind};

fn mm(text: &str) -> Length {
    text.parse().unwrap()
}

fn at(label: &str) -> Place {
    Place::new(Face::Rear, label)
}

fn hole(label: &str, size: &str) -> Feature {
    Feature {
        place: at(label),
        kind: FeatureKind::PlainHole,
        at: Some(crate::castings::Point {
            x: mm("100"),
            y: mm("60"),
        }),
        size: mm(size),
        depth: None,
        thread: None,
        fit: None,
        count: 1,
        note: String::new(),
    }
}

fn tapped(label: &str, thread: &str) -> Feature {
    let thread: crate::units::Thread = thread.parse().unwrap();
    Feature {
        kind: FeatureKind::TappedHole,
        size: thread.major_diameter(),
        thread: Some(thread),
        ..hole(label, "1")
    }
}

fn pattern(id: u128, name: &str, marks: &str) -> Pattern {
    Pattern {
        id: Uuid::from_u128(id),
        name: name.to_owned(),
        cylinders: 4,
        mains: 5,
        outlines: Vec::new(),
        bosses: ["A", "B", "D1"]
            .iter()
            .map(|label| Boss {
                place: at(label),
                largest: mm("20"),
                deepest: None,
                through: true,
            })
            .collect(),
        marks: marks.to_owned(),
        metal: crate::castings::Metal::default(),
        weight_kg: None,
        sizes: crate::castings::measured::Sizes::default(),
        version: 1,
    }
}

fn variant(id: u128, of: &Pattern, name: &str, features: Vec<Feature>) -> Variant {
    Variant {
        id: Uuid::from_u128(id),
        pattern_id: of.id,
        name: name.to_owned(),
        gearbox_under: false,
        features,
        note: String::new(),
        version: 1,
    }
}

fn register() -> Vec<(Pattern, Vec<Variant>)> {
    let tarn = pattern(
        1,
        "Tarn",
        "Cast on the left: TARN and a letter for the year.",
    );
    let ousel = pattern(2, "Ousel", "Cast on the right side: OUSEL in a lozenge.");
    let farm = variant(
        11,
        &tarn,
        "Tarn farm",
        vec![hole("A", "8"), tapped("B", "M10")],
    );
    let marine = variant(
        12,
        &tarn,
        "Tarn marine",
        vec![hole("A", "12"), tapped("B", "M10"), hole("D1", "12")],
    );
    let twin = variant(21, &ousel, "Ousel twin", vec![hole("A", "8")]);
    vec![(tarn, vec![farm, marine]), (ousel, vec![twin])]
}

fn mark(kind: MarkKind, text: &str) -> Finding {
    Finding::Mark(Mark {
        kind,
        place: "left side".to_owned(),
        text: text.to_owned(),
    })
}

fn names(findings: &[Finding]) -> Vec<String> {
    let found = identify(findings, &register());
    let all: f64 = found.iter().map(|c| c.share).sum();
    assert!((all - 1.0).abs() < 1e-12, "{all}");
    found.into_iter().map(|c| c.name).collect()
}

#[test]
fn marks_tell_the_pattern_and_places_the_variant() {
    let findings = [
        mark(MarkKind::Cast, "tarn k"),
        Finding::At(at("A"), Found::Measured(mm("11.9"))),
        Finding::At(at("D1"), Found::There),
    ];
    assert_eq!(names(&findings), ["Tarn marine", "Tarn farm", "Ousel twin"]);
    let found = identify(&findings, &register());
    // By Bayes' rule the odds are 19 for each place, with an error of 1 in 20, and 9999 for the mark, with one of 1 in 10000:
    // all three speak for the marine block, the mark alone for the farm block, none for the twin.
    let [marine, farm, twin] = [19.0 * 19.0 * 9999.0, 9999.0, 1.0];
    let sum = marine + farm + twin;
    for (candidate, share) in found.iter().zip([marine / sum, farm / sum, twin / sum]) {
        assert!((candidate.share - share).abs() < 1e-12, "{candidate:?}");
    }
    let farm = &found[1];
    assert_eq!((farm.agreeing(), farm.disagreeing()), (1, 2));
    assert!(
        matches!(&farm.says[1], Says::Disagrees(why) if why == "it has a plain hole of 8 mm there"),
        "{farm:?}"
    );
}

/// Three places speak for a Tarn, and the mark in the casting says Ousel: it is an Ousel that somebody has drilled.
#[test]
fn a_cast_mark_comes_before_what_is_drilled() {
    let findings = [
        Finding::At(at("A"), Found::Measured(mm("12"))),
        Finding::At(at("B"), Found::There),
        Finding::At(at("D1"), Found::There),
        mark(MarkKind::Cast, "OUSEL"),
    ];
    assert_eq!(names(&findings)[0], "Ousel twin");
    assert_eq!(names(&findings[..3])[0], "Tarn marine");
}

#[test]
fn what_is_not_there_tells_too() {
    let findings = [Finding::At(at("D1"), Found::Absent)];
    assert_eq!(names(&findings), ["Ousel twin", "Tarn farm", "Tarn marine"]);
    let found = identify(&findings, &register());
    assert_eq!(found[0].says, [Says::Agrees]);
    assert!(matches!(&found[2].says[0], Says::Disagrees(_)));
}

#[test]
fn stamped_marks_and_empty_registers_say_nothing() {
    let stamped = [mark(MarkKind::Stamped, "OUSEL 7")];
    let found = identify(&stamped, &register());
    assert!(found.iter().all(|c| (c.share - 1.0 / 3.0).abs() < 1e-12));
    assert!(found.iter().all(|c| matches!(c.says[0], Says::Unknown(_))));
    assert_eq!(identify(&stamped, &[]), []);
    assert_eq!(identify(&[], &register()).len(), 3);
}

/// ISO 724 gives an M10 thread of 1.5 mm pitch a minor diameter of 8.376 mm.
#[test]
fn a_thread_may_be_measured_in_its_core() {
    for (size, agrees) in [
        ("10", true),
        ("8.376", true),
        ("8.1", true),
        ("7.9", false),
        ("10.4", false),
    ] {
        let found = identify(
            &[Finding::At(at("B"), Found::Measured(mm(size)))],
            &register(),
        );
        let farm = found.iter().find(|c| c.name == "Tarn farm").unwrap();
        assert_eq!(farm.says[0] == Says::Agrees, agrees, "{size}");
    }
}

#[test]
fn a_mark_of_signs_alone_agrees_with_nothing() {
    let found = identify(&[mark(MarkKind::Cast, "—")], &register());
    assert!(found.iter().all(|c| c.disagreeing() == 1));
}

#[test]
fn many_findings_do_not_run_out_of_figures() {
    let many = vec![Finding::At(at("D1"), Found::There); 5_000];
    let found = identify(&many, &register());
    assert_eq!(found[0].name, "Tarn marine");
    assert!(found.iter().all(|c| c.share.is_finite()));
}
